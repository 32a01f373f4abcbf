"""The ways in which PROJ lets a height go missing without a word. Each is refused here, or comes out as NaN.

Seen with pyproj 3.7.2, PROJ 9.5.1. Cases that need a missing grid run in a fresh process with empty data folders: what
a process has once found, or what a developer has in a folder of their own, must not help. The threads are in OSGeo/PROJ
(issues 1743, 3323, 2566, 3294, 1329, 4550) and pyproj4/pyproj (issue 1593).
"""

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pyproj
import pytest

from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import (
    Frame,
    raw_to_working,
    register_to_working,
    working_to_geographic,
    working_to_issued,
)
from pipeline.geodesy.own_places import lonlat

ROOT = Path(__file__).resolve().parents[2]
AUCKLAND = Area(174.5, -37.2, 175.2, -36.5)
PERTH = Area(115.5, -32.5, 116.5, -31.5)
ENGLAND = Area(-3.5, 53.0, -2.5, 54.0)
NETHERLANDS = Area(4.0, 51.5, 6.2, 53.3)


def fresh(code: str, empty: Path, **environment: str) -> str:
    """Run code in a new process whose folders for grid files are empty; return what it prints."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PROJ_")}
    kept |= {"HOME": str(empty), "XDG_DATA_HOME": str(empty), "PROJ_USER_WRITABLE_DIRECTORY": str(empty)}
    begin = "from pipeline.geodesy.operations import *\n"
    done = subprocess.run(
        [sys.executable, "-c", begin + textwrap.dedent(code)],
        cwd=ROOT,
        env=kept | environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


MISSING = [
    # 3D to a height datum whose grid is missing: PROJ's default returns the ellipsoidal height
    pytest.param("EPSG:2193", "EPSG:7839", AUCKLAND, "nz_linz_nzgeoid2016.tif", id="nzvd2016"),
    pytest.param("EPSG:7850", "EPSG:5711", PERTH, "au_ga_AUSGeoid2020", id="ahd"),
    # also with only_best=True where axes are normalised, or where one candidate is left
    pytest.param("EPSG:28992", "EPSG:5709", NETHERLANDS, "nl_nsgi_nlgeo2018.tif", id="nap"),
    pytest.param("EPSG:27700", "EPSG:5701", ENGLAND, "uk_os_OSGM15_GB.tif", id="odn"),
    pytest.param("EPSG:3395", "EPSG:5773", AUCKLAND, "us_nga_egm96_15.tif", id="egm96"),
    pytest.param("EPSG:9794", "EPSG:5720", Area(6.0, 45.0, 6.2, 45.3), "fr_ign_RAF20.tif", id="ngf"),
    pytest.param("EPSG:25832", "EPSG:5941", Area(8.2, 61.4, 8.5, 61.6), "no_kv_HREF2018B", id="nn2000"),
    pytest.param("EPSG:6677", "EPSG:6695", Area(139.5, 35.9, 139.7, 36.1), "jp_gsi_gsigeo2011.tif", id="jgd"),
]


@pytest.fixture(scope="module")
def refusals(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """The empty folder, and what is said of each missing grid, in one process that finds none."""
    empty = tmp_path_factory.mktemp("empty")
    wanted = [case.values[:3] for case in MISSING]
    said = fresh(
        f"""
        for grid, height, area in {wanted!r}:
            try:
                working_to_issued(grid, height, area)
                print("found")
            except OperationError as error:
                print(error.what, "|", error.fix)
        """,
        empty,
    )
    return empty, said.splitlines()


@pytest.mark.parametrize(("grid", "height", "area", "file"), MISSING)
def test_missing_grid_is_refused(
    grid: str, height: str, area: Area, file: str, refusals: tuple[Path, list[str]]
) -> None:
    """The error names the step, the missing file and the folders where PROJ looked (traps 7.1 to 7.5)."""
    empty, said = refusals
    (number,) = [number for number, case in enumerate(MISSING) if case.values[:3] == (grid, height, area)]
    what, fix = said[number].split("|")
    assert what.startswith("computation to grid: grid file ")
    assert file in what
    assert str(empty) in fix
    assert "PROJ_DATA" in fix
    assert "target.geoid" in fix and 'height = "ellipsoid"' in fix


def test_missing_horizontal_grid_is_refused(tmp_path: Path) -> None:
    """The datum step's own grid is named as well: ETRS89 to OSGB36 without OSTN15."""
    said = fresh(
        f"""
        try:
            raw_to_working("EPSG:4937", "EPSG:27700", {ENGLAND!r})
        except OperationError as error:
            print(error.what, error.fix)
        try:
            raw_to_working("EPSG:27200", "EPSG:2193", Area(174.0, -37.0, 175.0, -36.0))
        except OperationError as error:
            print(error.what)
        """,
        tmp_path,
    )
    assert "field datum to computation: grid file uk_os_OSTN15_NTv2_OSGBtoETRS.tif is missing" in said
    assert "target.geoid" not in said  # no geoid leads from one datum to another
    # EPSG 1567, the seven parameters: 4 m
    assert (
        "without it there is Inverse of New Zealand Map Grid + NZGD49 to NZGD2000 (2), which is accurate to 4 m" in said
    )


def test_network_stays_off(tmp_path: Path) -> None:
    """With the network switched on from outside a missing grid is still missing, and the network is off after."""
    said = fresh(
        f"""
        import pyproj
        try:
            working_to_issued("EPSG:2193", "EPSG:7839", {AUCKLAND!r})
        except OperationError as error:
            print(error.what)
        print(pyproj.network.is_network_enabled())
        """,
        tmp_path,
        PROJ_NETWORK="ON",
    )
    assert "nz_linz_nzgeoid2016.tif is missing" in said
    assert said.split()[-1] == "False"


def test_proj_data_is_honoured(grids_folder: Path, tmp_path: Path) -> None:
    """Grids in the folder of PROJ_DATA are found, though pyproj's wheel looks only at its own database folder."""
    said = fresh(
        f"""
        area = {ENGLAND!r}
        place = raw_to_working("EPSG:4937", "EPSG:27700", area).forward(-3.04045490691, 53.77911025760, 64.940)
        print(*working_to_issued("EPSG:27700", "EPSG:5701", area).forward(*place))
        """,
        tmp_path,
        PROJ_DATA=os.pathsep.join([str(tmp_path), str(grids_folder)]),
    )
    # TP19 of the Ordnance Survey's developer pack
    np.testing.assert_allclose([float(word) for word in said.split()], [331534.564, 431920.794, 12.658], atol=8e-3)


def test_grid_that_comes_later_is_used(grids_folder: Path, tmp_path: Path) -> None:
    """A refused operation succeeds once its grid is there: nothing was remembered (trap 7.15)."""
    said = fresh(
        f"""
        import pyproj
        try:
            working_to_issued("EPSG:25833", "EPSG:9274", Area(13.0, 47.0, 14.5, 48.0))
        except OperationError:
            print("refused")
        pyproj.datadir.append_data_dir({str(grids_folder)!r})
        print(working_to_issued("EPSG:25833", "EPSG:9274", Area(13.0, 47.0, 14.5, 48.0)).grids[0].name)
        """,
        tmp_path,
    )
    assert said.split() == ["refused", "at_bev_GEOID_GRS80_Oesterreich.tif"]


def test_point_outside_the_grid_comes_out_unknown(real_grids: Path) -> None:
    """No fallback point by point (7.6, 7.8): of two points the one outside the grid is NaN in all three."""
    raw, issued = (
        raw_to_working("EPSG:4937", "EPSG:27700", ENGLAND),
        working_to_issued("EPSG:27700", "EPSG:5701", ENGLAND),
    )
    found = np.array(issued.forward(*raw.forward([-3.04045490691, 10.0], [53.77911025760, 53.0], [64.940, 500.0])))
    assert found[2, 0] == pytest.approx(12.658, rel=0, abs=2e-3)
    assert np.isnan(found[:, 1]).all()
    # the grid reached, the geoid not
    place = working_to_geographic("EPSG:25833").inverse([13.5, 5.0], [47.5, 47.5], [600.0, 600.0])
    found = np.array(working_to_issued("EPSG:25833", "EPSG:9274", Area(13.0, 47.0, 14.5, 48.0)).forward(*place))
    assert np.isfinite(found[:, 0]).all()
    assert np.isnan(found[:, 1]).all()


def test_area_outside_the_operations_use_is_refused(real_grids: Path) -> None:
    """Inside the grid but outside the operation's area of use (7.7), and an area elsewhere on the earth (7.13)."""
    with pytest.raises(OperationError, match="area of use"):
        working_to_issued("EPSG:27700", "EPSG:5701", Area(1.7, 55.3, 1.95, 55.6))
    with pytest.raises(OperationError, match="computation to grid"):
        working_to_issued("EPSG:27700", "EPSG:5701", AUCKLAND)


def test_area_larger_than_the_operations_use_is_refused(real_grids: Path) -> None:
    """A job that spans more than the operation is told so."""
    with pytest.raises(OperationError, match="does not cover the whole job"):
        working_to_issued("EPSG:25833", "EPSG:9274", Area(10.0, 44.0, 15.0, 48.5))


@pytest.mark.parametrize("crs", ["EPSG:4258", "EPSG:4937"])
def test_flat_source_with_heights(real_grids: Path, crs: str) -> None:
    """A 2D source with a height column is promoted (7.9): 64.940 is 12.658, not 64.940."""
    place = raw_to_working(crs, "EPSG:27700", ENGLAND).forward(-3.04045490691, 53.77911025760, 64.940)
    found = working_to_issued("EPSG:27700", "EPSG:5701", ENGLAND).forward(*place)
    assert found[2] == pytest.approx(12.658, rel=0, abs=2e-3)


def test_flat_projected_source_with_heights(real_grids: Path) -> None:
    """The same for a projected source: UTM 33 with ellipsoidal height 600 in Austria is 552.065 at 47.5 N 14 E.

    The expected height is the one noted when the grid was fetched (EPSG:4937 to EPSG:25833+9274).
    """
    area = Area(13.0, 47.0, 14.5, 48.0)
    east, north, _ = working_to_issued("EPSG:25833", "ellipsoid", area).forward(
        *working_to_geographic("EPSG:25833").inverse(14.0, 47.5, 600.0)
    )
    place = raw_to_working("EPSG:25833", "EPSG:25833", area).forward(east, north, 600.0)
    assert working_to_issued("EPSG:25833", "EPSG:9274", area).forward(*place)[2] == pytest.approx(552.0650, abs=1e-4)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:4979", "EPSG:4978"])
def test_wgs84_to_egm96_has_a_height_step(real_grids: Path, crs: str) -> None:
    """No "null geographic offset" with accuracy 0 and the height unchanged (7.11)."""
    raw = raw_to_working(crs, "EPSG:3395", AUCKLAND)
    place = working_to_geographic("EPSG:3395").inverse(174.8, -36.9, 100.0)
    first = place if crs == "EPSG:4978" else (174.8, -36.9, 100.0)
    issued = working_to_issued("EPSG:3395", "EPSG:5773", AUCKLAND)
    assert [grid.name for grid in issued.grids] == ["us_nga_egm96_15.tif"]
    height = issued.forward(*raw.forward(*first))[2]
    assert 60.0 < height < 70.0  # the geoid is about 34 m above the ellipsoid there


def test_heights_that_are_none_are_refused() -> None:
    """4326 as height datum (PROJ issue 3294) and a vertical CRS in place of a CRS (7.12) are refused."""
    with pytest.raises(OperationError, match="not a vertical CRS"):
        working_to_issued("EPSG:2193", "EPSG:4326", AUCKLAND)
    with pytest.raises(OperationError, match="no positions"):
        raw_to_working("EPSG:5759", "EPSG:2193", AUCKLAND)
    with pytest.raises(OperationError, match="no positions"):
        register_to_working(
            Frame("EPSG:5759", "EPSG:7839"), target=Frame("EPSG:2193", "EPSG:7839"), geoid=None, area=AUCKLAND
        )


def test_register_with_two_height_datums_is_refused() -> None:
    """A compound CRS with control.height "ellipsoid" contradicts itself."""
    with pytest.raises(OperationError, match="has a height datum"):
        register_to_working(
            Frame("EPSG:2193+7839", "ellipsoid"), target=Frame("EPSG:2193", "EPSG:7839"), geoid=None, area=AUCKLAND
        )


def test_datum_that_leads_nowhere_is_refused() -> None:
    """A grid on an unregistered datum: PROJ would hand coordinates through as a ballpark."""
    text = "+proj=tmerc +lon_0=173 +k=0.9996 +x_0=1600000 +y_0=10000000 +ellps=GRS80 +units=m +type=crs"
    unknown = pyproj.CRS(text).to_wkt().replace("Unknown based on GRS 1980 ellipsoid", "Office datum")
    with pytest.raises(OperationError, match="no operation"):
        raw_to_working("EPSG:4959", unknown, AUCKLAND)


def test_time_dependent_step_without_time() -> None:
    """ITRF2014 to GDA2020 without a time is refused as a program's mistake; a row without one is NaN (7.16)."""
    operation = raw_to_working("EPSG:7912", "EPSG:7850", PERTH)
    assert operation.time_dependent
    with pytest.raises(ValueError, match="depends on time"):
        operation.forward([116.0], [-32.0], [10.0])
    found = np.array(operation.forward([116.0] * 4, [-32.0] * 4, [10.0] * 4, [2026.0, np.nan, np.inf, 2020.0]))
    assert np.isnan(found[:, 1:3]).all()
    # 7 cm a year for six years
    assert 0.3 < np.linalg.norm(found[:, 0] - found[:, 3]) < 0.6


def test_wgs84_as_such_does_not_move() -> None:
    """WGS 84 to GDA2020 is a null step of metres' accuracy and no time; a realisation of it moves (7.17)."""
    still = raw_to_working("EPSG:4979", "EPSG:7850", PERTH)
    assert not still.time_dependent
    assert still.accuracy == 3.0
    assert raw_to_working("EPSG:9754", "EPSG:7850", PERTH).time_dependent


def test_unknown_in_one_is_unknown_in_all() -> None:
    """NaN in any of the three is NaN in all three (7.18), forward and back; so is infinity."""
    start = np.array(
        [[174.8, np.nan, 174.8, 174.8, np.inf], [-36.9, -36.9, np.nan, -36.9, -36.9], [1.0, 1.0, 1.0, np.nan, 1.0]]
    )
    operation = raw_to_working("EPSG:4959", "EPSG:2193", AUCKLAND)
    found = np.array(operation.forward(*start))
    assert np.isfinite(found[:, 0]).all()
    assert np.isnan(found[:, 1:]).all()
    back = np.array(operation.inverse(*found))
    np.testing.assert_array_equal(np.isfinite(back), np.isfinite(found))


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:4979"])
def test_classical_datum_carries_the_height(real_grids: Path, crs: str) -> None:
    """WGS 84 to RD and NAP: a Helmert on one side and a grid shift on the other would lose 43 m between them.

    PROJ's direct way, an independent chain, says what the height is; the plan may differ by the Helmert's accuracy.
    """
    place = raw_to_working(crs, "EPSG:28992", NETHERLANDS, height="EPSG:5709").forward(
        4.712120126, 51.728601274, 301.7981
    )
    found = working_to_issued("EPSG:28992", "EPSG:5709", NETHERLANDS).forward(*place)
    np.testing.assert_allclose(found[:2], [108360.8790, 415757.2745], rtol=0, atol=0.25)
    assert found[2] == pytest.approx(258.0057, rel=0, abs=1e-3)


def test_classical_source_carries_the_height(real_grids: Path) -> None:
    """A register on RD with ellipsoidal heights comes to ETRS89 with them; with NAP heights, through the geoid."""
    area, grid = NETHERLANDS, "EPSG:25831"
    east, north = 108360.8790, 415757.2745  # RDNAPTRANS point 30010000, h 301.7981, H 258.0057
    to_geographic = working_to_geographic(grid)
    for height, third in (("ellipsoid", 301.7981), ("EPSG:5709", 258.0057)):
        place = register_to_working(
            Frame("EPSG:28992", height), target=Frame(grid, "EPSG:5709"), geoid=None, area=area
        ).forward(east, north, third)
        found = to_geographic.forward(*place)
        np.testing.assert_allclose(found[:2], [4.712120126, 51.728601274], rtol=0, atol=2e-8)
        assert found[2] == pytest.approx(301.7981, rel=0, abs=1e-3)


def test_pyproj_itself_still_loses_them(tmp_path: Path) -> None:
    """The reason for all this, on the library as installed: without its grid the height is handed on unchanged.

    Where this fails after an update of pyproj, the traps have changed: read them again.
    """
    said = fresh(
        """
        from pyproj import Transformer
        flat = Transformer.from_crs("EPSG:4959", "EPSG:2193+7839", always_xy=True, only_best=True)
        print(flat.transform(174.8, -36.9, 100.0)[2])
        """,
        tmp_path,
    )
    if pyproj.proj_version_str < "9.6":
        assert float(said) == 100.0


def test_lonlat_needs_no_height() -> None:
    """The job's area is found also where heights are unknown, and for a compound source without its geoid."""
    lon, lat = lonlat("EPSG:2193+7839", [1600000.0], [5500000.0], [np.nan])
    np.testing.assert_allclose(lon, [173.0], rtol=0, atol=1e-12)
    assert -41.0 < lat[0] < -40.0


def test_two_meanings_of_a_height_are_noticed(real_grids: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without carrying, the halves of the way from WGS 84 to RD and NAP differ by 43 m: the proof refuses that."""
    monkeypatch.setattr("pipeline.geodesy.datum_steps._carried", lambda operation, target: operation)
    with pytest.raises(OperationError, match=r"differ by 4\d\.\d m"):
        raw_to_working("EPSG:4979", "EPSG:28992", NETHERLANDS, height="EPSG:5709")
