"""Covariances between the components of an observation: in a published network, in the figures of points, in rows."""

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from every import every
from exports_made import problems_of, text_table
from issued import current_issue
from numpy.typing import NDArray
from published_network import ADJUSTED, BASELINES, FIXED
from pyproj import Transformer

from pipeline import run_job

SIGMAS = ("sigma_east", "sigma_north", "sigma_up")
COVARIANCES = ("cov_en", "cov_eu", "cov_nu")
JOB = """
[job]
name = "network"
folder = "out"
[target]
grid = "EPSG:6345"
height = "ellipsoid"
[source]
crs = "EPSG:6317"
[[points]]
files = ["rover.csv"]
[points.columns]
name = "name"
time = "time"
x = "x"
y = "y"
z = "z"
{columns}
[quality]
ppm = 0.0
centring = 0.0
[control]
file = "register.csv"
crs = "EPSG:6319"
"""


def _turn(longitude: float, latitude: float) -> NDArray[np.float64]:
    """Rows east, north and up in X, Y, Z; closed form."""
    (sl, cl), (sp, cp) = ((np.sin(a), np.cos(a)) for a in np.radians([longitude, latitude]))
    return np.array([[-sl, cl, 0.0], [-sp * cl, -sp * sl, cp], [cp * cl, cp * sl, sp]])


@pytest.fixture(scope="module", params=["at the rover", "at the base"])
def network(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session for each baseline: its base over the first station, its rover on the second."""
    folder = tmp_path_factory.mktemp("network")
    at_rover = request.param == "at the rover"
    to_degrees = Transformer.from_crs("EPSG:6317", "EPSG:6319", always_xy=True)
    tables, rows = [], []
    for number, line in enumerate(filter(None, BASELINES.splitlines())):
        base, rover, *numbers = line.split()
        vector, (xx, xy, xz, yy, yz, zz) = np.array(numbers[:3], float), map(float, numbers[3:])
        # a base over a new station said where it was to a few metres
        start = np.array(FIXED[base]) if base in FIXED else np.round(ADJUSTED[base], 0)
        place = to_degrees.transform(*start)
        turn = _turn(*place[:2])
        local = turn @ np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]]) @ turn.T
        known = dict(zip(SIGMAS, map(float, np.sqrt(np.diag(local))), strict=True))
        known |= dict(zip(COVARIANCES, map(float, local[np.triu_indices(3, 1)]), strict=True))
        begin = dt.datetime(2026, 3, 2, tzinfo=dt.UTC) + dt.timedelta(hours=number)
        firm = dict.fromkeys(SIGMAS, 1e-4) | dict.fromkeys(COVARIANCES, 0.0)
        own = "" if at_rover else "".join(f", {key} = {value!r}" for key, value in known.items())
        tables.append(
            f'[[session]]\nname = "{base}-{rover}"\nstart = {begin:%Y-%m-%dT%H:%M:%SZ}\n'
            f"end = {begin + dt.timedelta(minutes=59):%Y-%m-%dT%H:%M:%SZ}\n"
            f'ties = [{{ point = "{base}{rover}", mark = "{rover}" }}]\n'
            f'setup = {{ mark = "{base}", longitude = {place[0]!r}, latitude = {place[1]!r},'
            f" ellipsoid_height = {place[2]!r}{own} }}\n"
        )
        x, y, z = (start + vector).tolist()
        name, time = f"{base}{rover}", f"{begin + dt.timedelta(minutes=30):%Y-%m-%dT%H:%M:%SZ}"
        rows.append({"name": name, "time": time, "x": x, "y": y, "z": z} | (known if at_rover else firm))
    columns = "\n".join(f'{key} = "{key}"' for key in (*SIGMAS, *COVARIANCES))
    (folder / "job.toml").write_text(JOB.format(columns=columns) + "".join(tables))
    with (folder / "rover.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    marks = [(name, *to_degrees.transform(*xyz)) for name, xyz in FIXED.items()]
    text = "".join(f"{name},{east!r},{north!r},{up!r},0.0001,0.0001\n" for name, east, north, up in marks)
    (folder / "register.csv").write_text(f"mark,longitude,latitude,ellipsoid_height,hu95,vu95\n{text}")
    return folder / "job.toml"


def test_a_published_network_with_full_covariances_comes_out_to_its_digits(network: Path) -> None:
    """C to the 0.1 mm that the book prints; all to 0.1 mm, v'Pv / 27 = 0.61352, standard deviations of F."""
    record = run_job(network, dry_run=True).record
    to_earth = Transformer.from_pipeline(
        "+proj=pipeline +step +inv +proj=utm +zone=16 +ellps=GRS80 +step +proj=cart +ellps=GRS80"
    )
    for mark in every(record["marks"]):
        if mark["mark"] in ADJUSTED:
            found = to_earth.transform(mark["easting"], mark["northing"], mark["height"])
            np.testing.assert_allclose(found, ADJUSTED[mark["mark"]], rtol=0, atol=1e-4)
    adjustment = record["adjustment"]
    assert adjustment["degrees_of_freedom"] == 27
    assert adjustment["variance_factor"] == pytest.approx(0.61352, abs=2e-4)
    assert adjustment["chi_square"]["passed"]


def test_a_points_figures_are_those_of_its_whole_matrix(tmp_path: Path) -> None:
    """The 95 % circle of 200 000 draws from each matrix; the height's figure has no part in the correlations."""
    rows = [(0.010, 0.010, 0.9, 0.0), (0.012, 0.006, -0.7, 0.3), (0.010, 0.010, 0.0, 0.0)]
    text = "name,time,x,y,z,sigma_east,sigma_north,sigma_up,cov_en,cov_eu,cov_nu\n"
    for number, (east, north, en, eu) in enumerate(rows):
        place = f"{402.35 + 10 * number},-4652995.30,4349760.78"
        text += f"P{number},2026-03-02T10:0{number}:00Z,{place},{east},{north},0.02,"
        text += f"{en * east * north!r},{eu * east * 0.02!r},\n"
    (tmp_path / "rover.csv").write_text(text)
    columns = "\n".join(f'{key} = "{key}"' for key in (*SIGMAS, *COVARIANCES))
    (tmp_path / "job.toml").write_text(
        JOB.format(columns=columns).partition("[control]")[0]
        + '[[session]]\nname = "s"\nstart = 2026-03-02T08:00:00Z\n'
        "end = 2026-03-02T12:00:00Z\nshift = { east = 0.0, north = 0.0, up = 0.0 }\n"
    )
    run_job(tmp_path / "job.toml")
    random = np.random.default_rng(1)
    points = current_issue(tmp_path / "out").points.rows
    for point, (east, north, en, _) in every(zip(points, rows, strict=True)):
        off = en * east * north
        drawn = random.multivariate_normal([0, 0], [[east**2, off], [off, north**2]], 200_000)
        assert point["hu95"] == pytest.approx(np.quantile(np.hypot(*drawn.T), 0.95), rel=0.01)
        assert point["vu95"] == pytest.approx(1.959964 * 0.02, rel=1e-3)


MAPPED = {name: name for name in ("time", "longitude", "latitude", "height", *SIGMAS, *COVARIANCES)}


def test_rows_whose_covariances_cannot_be_are_held_back(tmp_path: Path) -> None:
    """By the definition of a positive definite matrix; units are those of the standard uncertainties, squared."""
    head = ",".join(MAPPED)
    rows = {
        "0.01,0.01,0.02,0.00005,0,0": True,
        "0.01,0.01,0.02,0.0001,0,0": False,  # a correlation of 1
        "0.01,0.01,0.02,-0.00011,0,0": False,
        "0.01,0.01,0.02,0.00008,0.00016,-0.00016": False,  # each below 1, but not together
        "0.01,0.01,0.02,,,": True,
        "0,0,0,0,0,0": True,  # software that did not know
        "0.01,,0.02,0.00005,0,0": False,  # without its standard uncertainty
    }
    text = f"{head}\n" + "".join(f"2026-03-02T10:00:00Z,174.7,-36.8,12,{row}\n" for row in rows)
    table = text_table(tmp_path, text, MAPPED, units="foot").to_pylist()
    assert [row["held"] == 0 for row in table] == list(rows.values())
    assert "positive definite" in table[1]["detail"]
    assert table[0]["cov_en"] == pytest.approx(0.00005 * 0.3048**2, rel=1e-12)


def test_a_covariance_needs_the_standard_uncertainties_that_it_joins(tmp_path: Path) -> None:
    columns = {"time": "t", "longitude": "x", "latitude": "y", "height": "z", "sigma_east": "e", "cov_en": "c"}
    (problem,) = problems_of(tmp_path, "a.csv", "t,x,y,z,e,c\n", columns=columns)
    assert "map cov_en but not sigma_north" in problem
