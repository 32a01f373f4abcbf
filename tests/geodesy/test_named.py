"""CRSs named by codes, as PROJ's registry knows them; names and kinds from the EPSG registry."""

import pytest

from pipeline.geodesy.named import disagree, is_geographic, is_projected


@pytest.mark.parametrize(
    ("code", "geographic", "projected"),
    [
        ("EPSG:9489", False, True),  # SRGI2013 / UTM zone 49S
        ("EPSG:7856", False, True),  # GDA2020 / MGA zone 56
        ("EPSG:4284", True, False),  # Pulkovo 1942, without a 3D twin
        ("EPSG:4301", True, False),  # Tokyo
        ("EPSG:4979", True, False),
        ("EPSG:2193+7839", False, True),
        ("EPSG:4258+5730", True, False),
        ("OGC:CRS84", True, False),
        ("EPSG:4978", False, False),  # geocentric
        ("EPSG:5714", False, False),  # heights alone
        ("EPSG:999999", False, False),
        ("no crs", False, False),
        (None, False, False),
    ],
)
def test_kinds(code: str | None, geographic: bool, projected: bool) -> None:
    assert (is_geographic(code), is_projected(code)) == (geographic, projected)


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        ("EPSG:4284", "EPSG:4301", True),
        ("EPSG:4326", "OGC:CRS84", False),
        ("EPSG:7843", "EPSG:7844", False),
        ("EPSG:7856", "EPSG:7855", True),
        ("EPSG:9489", "EPSG:9469", True),
        ("EPSG:2193", "EPSG:2193+7839", False),
        ("EPSG:2193", None, False),
        ("EPSG:2193", "EPSG:999999", False),
    ],
)
def test_which_disagree(one: str | None, other: str | None, apart: bool) -> None:
    assert disagree(one, other) is apart
