"""CRSs named by codes, as PROJ's registry knows them; names and kinds from the EPSG registry."""

import pytest

from pipeline.geodesy.crs_comparison import disagree, is_geographic, is_projected, is_wgs84


@pytest.mark.parametrize(
    ("code", "geographic", "projected"),
    [
        ("EPSG:9489", False, True),  # SRGI2013 / UTM zone 49S
        ("EPSG:7856", False, True),  # GDA2020 / MGA zone 56
        ("EPSG:4284", True, False),  # Pulkovo 1942, without a 3D twin
        ("EPSG:4301", True, False),  # Tokyo
        ("EPSG:4979", True, False),
        ("EPSG:4159", True, False),  # ELD79
        ("EPSG:4268", True, False),  # NAD27 Michigan, deprecated
        ("EPSG:2192", False, True),  # ED50 / France EuroLambert, deprecated
        ("EPSG:7415", False, True),  # Amersfoort / RD New + NAP height
        ("EPSG:9518", True, False),  # WGS 84 + EGM2008 height
        ("EPSG:4936", False, False),  # ETRS89, geocentric
        ("ESRI:102008", False, True),  # North America Albers Equal Area Conic
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


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("EPSG:4326", True),
        ("EPSG:4979", True),
        ("OGC:CRS84", True),
        ("OGC:CRS84h", True),
        ("http://www.opengis.net/def/crs/OGC/1.3/CRS84", True),
        ("OGC:CRS27", False),  # NAD27
        ("OGC:CRS83", False),  # NAD83
        ("EPSG:4301", False),
        ("EPSG:32633", False),  # WGS 84, but no degrees
        ("EPSG:4978", False),
        ("EPSG:999999", False),
        (None, False),
    ],
)
def test_what_is_degrees_on_wgs84(text: str | None, says: bool) -> None:
    assert is_wgs84(text) is says
