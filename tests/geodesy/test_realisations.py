"""Frames under the labels that exports bear: of the IGS, of WGS 84 at one time, and WGS 84 of no stated time.

The expectations are the EPSG registry's own rows, as PROJ's database carries them, and pyproj asked by another way.
"""

import os
import sqlite3
from pathlib import Path

import numpy as np
import pyproj
import pytest
from numpy.testing import assert_allclose
from pyproj.crs import CRS

from pipeline.geodesy.area import Area
from pipeline.geodesy.crs import source_crs
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import datum_to_datum, raw_to_working
from pipeline.geodesy.realisations import itrf_of, on_newest, realised

#: EPSG codes of longitude, latitude and height in frames, with the ITRF that each realises.
REALISE = {
    9002: "ITRF97", 9005: "ITRF2000", 9008: "ITRF2000", 9011: "ITRF2005", 9013: "ITRF2008", 9016: "ITRF2008",
    9018: "ITRF2014", 9379: "ITRF2014", 10177: "ITRF2020", 7657: "ITRF92", 7659: "ITRF94", 7661: "ITRF2000",
    7663: "ITRF2008", 7665: "ITRF2008", 9754: "ITRF2014", 10605: "ITRF2020",
}  # fmt: skip
#: An IGS frame between, where the registry goes by two steps.
BY = {"IGb00": "IGS00", "IGb08": "IGS08"}
MELBOURNE, VIENNA = Area(144.9, -37.9, 145.1, -37.7), Area(16.2, 48.1, 16.5, 48.3)


def steps_of_nothing(one: str, other: str) -> bool:
    """Tell whether the registry has a step of zeros, which is exact or nearly so, between two frames."""
    query = (
        "SELECT accuracy, abs(tx) + abs(ty) + abs(tz) + abs(rx) + abs(ry) + abs(rz) + abs(scale_difference)"
        " FROM helmert_transformation_table WHERE name IN (?, ?)"
    )
    places = [*pyproj.datadir.get_data_dir().split(os.pathsep), Path(pyproj.__file__).parent / "proj_dir/share/proj"]
    registries = [Path(place, "proj.db") for place in places]
    with sqlite3.connect(next(one for one in registries if one.is_file())) as registry:
        rows = registry.execute(query, (f"{one} to {other} (1)", f"{other} to {one} (1)")).fetchall()
    return len(rows) == 1 and rows[0][0] <= 0.2 and rows[0][1] == 0


@pytest.mark.parametrize("code", REALISE)
def test_each_frame_has_the_itrf_that_the_registry_joins_it_to_by_zeros(code: int) -> None:
    frame = CRS.from_epsg(code)
    itrf, same = itrf_of(frame) or (None, False)
    assert itrf is not None and itrf.name == REALISE[code]
    assert same == frame.name.startswith("IG")
    between = BY.get(frame.name)
    if between is None:
        assert steps_of_nothing(frame.name, itrf.name)
    else:
        assert steps_of_nothing(frame.name, between) and steps_of_nothing(between, itrf.name)


@pytest.mark.parametrize("code", [4979, 4937, 7912, 2193, 4978])
def test_other_frames_realise_no_itrf(code: int) -> None:
    assert itrf_of(CRS.from_epsg(code)) is None


@pytest.mark.parametrize(("frame", "itrf"), [("EPSG:10177", "EPSG:9989"), ("EPSG:9018", "EPSG:7912")])
@pytest.mark.parametrize("kind", ["geographic", "geocentric"])
def test_a_frame_of_the_igs_goes_the_way_of_its_itrf(frame: str, itrf: str, kind: str) -> None:
    """EPSG:10176 and 8227 are the geocentric ones."""
    here = (145.0, -37.8, 50.0)
    other = raw_to_working(itrf, "EPSG:7855", MELBOURNE).forward(*here, 2026.2)
    if kind == "geocentric":
        here = pyproj.Transformer.from_crs(itrf, CRS(itrf).geodetic_crs.to_3d(), always_xy=True).transform(*here)
        here = pyproj.Transformer.from_pipeline("+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad"
                                                " +step +proj=cart +ellps=GRS80").transform(*here)  # fmt: skip
        frame = {"EPSG:10177": "EPSG:10176", "EPSG:9018": "EPSG:8227"}[frame]
    operation = raw_to_working(frame, "EPSG:7855", MELBOURNE)
    assert operation.time_dependent and f"taken as {CRS(itrf).name}" in operation.name
    assert_allclose(operation.forward(*here, 2026.2), other, rtol=0, atol=1e-4)


def test_a_realisation_of_wgs84_goes_by_its_itrf_where_that_is_better() -> None:
    """In Europe PROJ itself goes by the ensemble, good to metres; in Australia both ways agree."""
    vienna = raw_to_working("EPSG:9754", "EPSG:25833", VIENNA)
    assert vienna.accuracy is not None and vienna.accuracy < 0.2 and vienna.time_dependent
    here = (16.3, 48.2, 200.0)
    itrf = raw_to_working("EPSG:7912", "EPSG:25833", VIENNA).forward(*here, 2026.2)
    assert_allclose(vienna.forward(*here, 2026.2), itrf, rtol=0, atol=2e-4)  # the two ellipsoids differ by 0.1 mm


@pytest.mark.parametrize("crs", ["EPSG:4979", "EPSG:4326", "EPSG:4978", "EPSG:32755"])
def test_wgs84_counts_in_the_realisation_that_is_stated(crs: str) -> None:
    """In degrees, X, Y, Z and on a grid: the same place as in degrees of ITRF2014, by pyproj's own conversions."""
    there = raw_to_working("EPSG:7912", "EPSG:7855", MELBOURNE).forward(145.0, -37.8, 50.0, 2026.2)
    given = pyproj.Transformer.from_crs("EPSG:4979", CRS(crs).to_3d() if crs != "EPSG:4978" else crs, always_xy=True)
    operation = raw_to_working(realised(crs, "EPSG:7912"), "EPSG:7855", MELBOURNE)
    assert operation.time_dependent and "GDA2020" in operation.name
    assert_allclose(operation.forward(*given.transform(145.0, -37.8, 50.0), 2026.2), there, rtol=0, atol=3e-4)


def test_an_ensemble_is_reached_by_its_newest_realisation() -> None:
    """ETRS89 by ETRF2020 (EPSG:10571 in degrees and metres), as PROJ itself would go; others are left as they are."""
    here = (9.0, 49.0, 300.0)
    found = datum_to_datum("EPSG:9989", on_newest("EPSG:25832"), Area(8.9, 48.9, 9.1, 49.1)).forward(*here, 2026.2)
    steps = "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=GRS80"
    etrf = pyproj.Transformer.from_crs("EPSG:9989", "EPSG:10571", always_xy=True).transform(*here, 2026.2)[:3]
    assert_allclose(found, pyproj.Transformer.from_pipeline(steps).transform(*etrf), rtol=0, atol=1e-4)
    assert CRS(on_newest("EPSG:2193")).equals(CRS("EPSG:4167"), ignore_axis_order=True)


def test_what_stands_on_one_frame_takes_no_other() -> None:
    assert realised("EPSG:4979", None) == "EPSG:4979"
    with pytest.raises(OperationError, match="already defines its realisation"):
        realised("EPSG:7912", "EPSG:9989")
    with pytest.raises(OperationError, match="not one frame but several"):
        realised("EPSG:4979", "EPSG:4326")
    with pytest.raises(OperationError, match="is not a CRS"):
        realised("EPSG:4979", "ITRF 14")
    assert source_crs(realised("EPSG:32755+5773", "EPSG:7912")).is_compound


def test_where_proj_has_no_way_the_refusal_says_what_can_be_stated() -> None:
    with pytest.raises(OperationError) as told:
        raw_to_working("EPSG:9989", "EPSG:6677", Area(139.6, 35.6, 139.8, 35.8))
    assert "state the grid's own datum as crs" in told.value.fix and np.size(told.value.what)
