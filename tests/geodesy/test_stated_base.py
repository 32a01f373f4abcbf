"""Grids that say no datum, on the one that is stated; WKT of the first version known as the registered CRS."""

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pyproj import CRS, Proj

from pipeline.geodesy import crs
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import raw_to_working, working_to_issued

SITE = "+proj=tmerc +lat_0=-43.5 +lon_0=171.8 +k=1.00003 +x_0=10000 +y_0=50000 +ellps=GRS80 +units=m"


def as_prj(text: str) -> str:
    """WKT as GIS programs write it into a .prj: easting before northing, no codes."""
    return str(CRS(text).to_wkt("WKT1_ESRI"))


@pytest.mark.parametrize("text", [SITE, as_prj(SITE), CRS(SITE).to_wkt(), CRS(SITE).to_json()])
def test_a_grid_on_a_stated_base(text: str) -> None:
    """The whole way from the base's longitude and latitude is PROJ's projection alone: no datum lies between."""
    grid = f"{text} on EPSG:4959"
    area = Area(171.7, -43.6, 171.9, -43.4)
    lon, lat, height = np.array([171.75, 171.88]), np.array([-43.55, -43.41]), np.array([120.0, 80.0])
    xyz = raw_to_working("EPSG:4959", grid, area).forward(lon, lat, height)
    found = working_to_issued(grid, "ellipsoid", area, None).forward(*xyz)
    assert_allclose(found[:2], Proj(SITE)(lon, lat), rtol=0, atol=1e-5)
    assert_allclose(found[2], height, rtol=0, atol=1e-5)
    assert crs.same_datum(crs.target_grid(grid), crs.parse("EPSG:2193"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"{SITE} on EPSG:4979", r"GRS 1980.*298\.257222.*WGS 84.*298\.257224"),
        (f"{SITE.replace('+ellps=GRS80', '+R=6371000')} on EPSG:4959", "6371000"),
        ("EPSG:2193 on EPSG:4979", "New Zealand Geodetic Datum 2000 by its own definition"),
        (f"{SITE} on EPSG:2193", "cannot be the base"),
        (f"{SITE} on EPSG:7839", "cannot be the base"),
        (f"{SITE} on EPSG:4978", "cannot be the base"),
        (f"{SITE} on EPSG:999999", "not a CRS"),
        ("+proj=longlat +ellps=GRS80 on EPSG:4959", "takes no base"),
        (SITE, "states no datum.*target.base"),
        (as_prj(SITE), "states no datum.*target.base"),
    ],
)
def test_bases_refused(text: str, words: str) -> None:
    """Another ellipsoid, another datum of its own, no base at all: each with advice."""
    with pytest.raises(OperationError, match=re.compile(words, re.DOTALL)) as raised:
        crs.target_grid(text)
    assert raised.value.fix


def test_a_base_that_the_grid_has_already_changes_nothing() -> None:
    assert crs.registered_code(crs.target_grid("EPSG:2193 on EPSG:4959")) == "EPSG:2193"


@pytest.mark.parametrize(
    "code", [2193, 25832, 27700, 28992, 2056, 32760, 28355, 26910, 2263, 31287, 31467, 2154, 3857, 2180, 4167, 4269]
)
def test_a_prj_is_its_registered_twin(code: int) -> None:
    """Whatever order of axes the registry has: northing first in 2193, 31287, 31467 and 2180."""
    assert crs.parse(as_prj(f"EPSG:{code}")).to_epsg() == code


def test_a_prj_that_differs_by_a_metre_has_no_twin() -> None:
    changed = as_prj("EPSG:2193").replace("1600000", "1600001")
    assert changed != as_prj("EPSG:2193")
    assert crs.registered_code(crs.parse(changed)) is None


def test_brackets_without_an_end_are_refused() -> None:
    """A hundred thousand of them, as WKT and as JSON."""
    for text in ("PROJCS[" * 100_000 + "]" * 100_000, '{"a":' * 100_000 + "1" + "}" * 100_000):
        with pytest.raises(OperationError, match="nesting"):
            crs.parse(text)
