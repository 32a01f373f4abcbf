"""Every odd file of ``tests/odd_files`` gives the same eight readings (``truth.csv``: simulated, see its maker)."""

import numpy as np
import pytest
from every import every
from exports_made import block, read
from odd_files import FOLDER, ODD, truth

#: Metres, and degrees of about as much: what the files' own rounding leaves.
NEAR = 2e-4
DEGREES = 2e-9


@pytest.mark.parametrize("name", ODD)
def test_the_readings_of_an_odd_file(name):
    odd = ODD[name]
    table = read(FOLDER, block(name, odd.columns, **odd.keys))
    wanted = {column: [row[column] for row in truth()] for column in truth()[0]}
    assert table["detail"].to_pylist() == [None] * len(truth())
    for column in ("name", "code", "solution", "base"):
        assert table[column].to_pylist() == wanted[column], column
    assert [f"{time:%Y-%m-%dT%H:%M:%SZ}" for time in table["time"].to_pylist()] == wanted["time"]
    for column in ("sigma_east", "sigma_north", "sigma_up"):
        np.testing.assert_allclose(table[column].to_numpy(), np.array(wanted[column], float), rtol=0, atol=1e-6)
    found = [table[place].to_numpy() for place in ("first", "second", "third")]
    if "x" in odd.columns:
        found = list(geographic(*found))
    for values, column in every(zip(found, odd.position, strict=True)):
        near = DEGREES if column in ("longitude", "latitude") else NEAR
        np.testing.assert_allclose(values, np.array(wanted[column], float), rtol=0, atol=near, err_msg=column)


def geographic(x, y, z):
    """Longitude, latitude and height by pymap3d."""
    import pymap3d

    latitude, longitude, height = pymap3d.ecef2geodetic(x, y, z, pymap3d.Ellipsoid.from_name("grs80"))
    return longitude, latitude, height
