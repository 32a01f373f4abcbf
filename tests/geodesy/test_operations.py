"""An operation as a value: portable, picklable, pure, thread-safe; named geoids; registers; epochs."""

import pickle
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pymap3d
import pytest
from every import every
from pyproj import Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion

from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.grids import Grid
from pipeline.geodesy.operations import (
    Frame,
    raw_to_working,
    register_to_working,
    working_to_geographic,
    working_to_issued,
)
from pipeline.geodesy.own_places import lonlat
from pipeline.geodesy.transform import Operation
from pipeline.replace import replace

ROOT = Path(__file__).resolve().parents[2]
AUSTRIA = Area(13.0, 47.0, 14.5, 48.0)
GEOID = "at_bev_GEOID_GRS80_Oesterreich.tif"


@pytest.fixture
def austria() -> np.ndarray:
    """Longitude, latitude, height of 2000 places in Austria, read-only."""
    rng = np.random.default_rng(7)
    places = np.array([rng.uniform(13.0, 14.5, 2000), rng.uniform(47.0, 48.0, 2000), rng.uniform(300, 1500, 2000)])
    places.setflags(write=False)
    return places


def chain(area: Area = AUSTRIA, geoid: Path | None = None) -> tuple[Operation, Operation]:
    return raw_to_working("EPSG:4937", "EPSG:25833", area), working_to_issued("EPSG:25833", "EPSG:9274", area, geoid)


def test_chain_is_projs_direct_way(real_grids: Path, austria: np.ndarray) -> None:
    """By way of X, Y, Z and directly in PROJ: the same easting, northing and height to a micrometre; and back."""
    raw, issued = chain()
    found = np.array(issued.forward(*raw.forward(*austria)))
    direct = Transformer.from_crs("EPSG:4937", "EPSG:25833+9274", always_xy=True, allow_ballpark=False)
    np.testing.assert_allclose(found, direct.transform(*austria), rtol=0, atol=1e-6)
    back = np.array(raw.inverse(*issued.inverse(*found)))
    np.testing.assert_allclose(back[:2], austria[:2], rtol=0, atol=1e-11)
    np.testing.assert_allclose(back[2], austria[2], rtol=0, atol=1e-6)


def test_working_frame_is_pymap3ds(austria: np.ndarray) -> None:
    """The same datum is a plain conversion with accuracy 0; X, Y, Z agree with an independent library."""
    raw = raw_to_working("EPSG:4937", "EPSG:25833", AUSTRIA)
    assert (raw.accuracy, raw.grids, raw.time_dependent) == (0.0, (), False)
    theirs = pymap3d.geodetic2ecef(austria[1], austria[0], austria[2], pymap3d.Ellipsoid.from_name("grs80"))
    np.testing.assert_allclose(raw.forward(*austria), theirs, rtol=0, atol=1e-7)
    back = working_to_geographic("EPSG:25833").forward(*theirs)
    np.testing.assert_allclose(back, austria, rtol=0, atol=1e-7)


def test_record_is_portable(real_grids: Path) -> None:
    """The definition names grid files by base name, with no path of this machine; the hash is the listed one."""
    _, issued = chain()
    assert f"grids={GEOID} " in issued.definition
    assert "/" not in issued.definition
    assert issued.accuracy == 0.05
    gb = Area(-3.5, 53.0, -2.5, 54.0)
    # listed beside the grids
    assert {grid.name: grid.sha256 for grid in working_to_issued("EPSG:27700", "EPSG:5701", gb).grids} == {
        "uk_os_OSTN15_NTv2_OSGBtoETRS.tif": "5d6ed64d2119952c4c559fa1fccbc594b6520fc3ec3ef2fc10be13202c4384fa",
        "uk_os_OSGM15_GB.tif": "bf0ac81f1c0c33332693d7d606f335b793c3c2995b8e69eeb1350bd94adcde3b",
    }


def test_definition_says_what_was_done(real_grids: Path, austria: np.ndarray) -> None:
    """The recorded definitions, given to PROJ as they stand with the grid on its path, give the same coordinates."""
    raw, issued = chain()
    by_hand = Transformer.from_pipeline(issued.definition).transform(
        *Transformer.from_pipeline(raw.definition).transform(*austria)
    )
    np.testing.assert_array_equal(issued.forward(*raw.forward(*austria)), by_hand)


def test_sent_to_another_process(real_grids: Path, tmp_path: Path, austria: np.ndarray) -> None:
    """An operation is plain values: another process, without the grids on its path, computes the same from it."""
    _, issued = chain()
    place = raw_to_working("EPSG:4937", "EPSG:25833", AUSTRIA).forward(*austria)
    (tmp_path / "sent").write_bytes(pickle.dumps((issued, place)))
    code = (
        "import pickle, pathlib\n"
        f"operation, place = pickle.loads(pathlib.Path({str(tmp_path / 'sent')!r}).read_bytes())\n"
        f"pathlib.Path({str(tmp_path / 'back')!r}).write_bytes(pickle.dumps(operation.forward(*place)))\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, timeout=120)
    back = pickle.loads((tmp_path / "back").read_bytes())
    np.testing.assert_array_equal(back, issued.forward(*place))


def test_grid_moved_since(real_grids: Path, grids_folder: Path, tmp_path: Path) -> None:
    """Where the file is no longer at its path, the same file by hash is found by name; another one is refused."""
    _, issued = chain()
    gone = replace(issued.grids[0], path=tmp_path / "gone" / GEOID)
    place = working_to_geographic("EPSG:25833").inverse(14.0, 47.5, 600.0)
    assert replace(issued, grids=(gone,)).forward(*place)[2] == pytest.approx(552.0650, rel=0, abs=1e-4)
    with pytest.raises(OperationError, match="SHA-256 differs"):
        replace(issued, grids=(replace(gone, sha256="0" * 64),)).forward(*place)
    with pytest.raises(OperationError, match=r"unknown\.tif is missing"):
        Operation("a step", "a name", issued.definition, None, (Grid("unknown.tif", "", tmp_path / "x"),)).forward(
            *place
        )


def test_threads(real_grids: Path, austria: np.ndarray) -> None:
    """Each thread builds its own PROJ object: eight threads on one operation give the one answer."""
    raw, issued = chain()
    alone = np.array(issued.forward(*raw.forward(*austria)))
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: np.array(issued.forward(*raw.forward(*austria))), range(40)))
    for answer in every(answers):
        np.testing.assert_array_equal(answer, alone)


def test_inputs_are_left_alone(real_grids: Path, austria: np.ndarray) -> None:
    """Read-only, strided, integer and empty inputs are taken; scalars give scalars; nothing is written into."""
    raw, issued = chain()
    before = austria.copy()
    raw.forward(*austria)
    np.testing.assert_array_equal(austria, before)
    rows = np.ascontiguousarray(austria.T)
    rows.setflags(write=False)
    np.testing.assert_array_equal(raw.forward(*rows.T), raw.forward(*austria))
    assert [column.shape for column in raw.forward([], [], [])] == [(0,)] * 3
    assert raw.forward(14, 47, 600)[0].shape == ()
    assert issued.forward(*raw.forward([14, 14], 47, 600))[2].shape == (2,)


def test_named_geoid_is_projs_choice(real_grids: Path, austria: np.ndarray) -> None:
    """The grid that PROJ would choose, named in the job, gives the same; the record says so, accuracy unknown."""
    raw, issued = chain()
    _, named = chain(geoid=real_grids / GEOID)
    place = raw.forward(*austria)
    np.testing.assert_array_equal(named.forward(*place), issued.forward(*place))
    assert named.accuracy is None
    assert [(grid.name, grid.sha256) for grid in named.grids] == [(grid.name, grid.sha256) for grid in issued.grids]
    assert GEOID in named.name


def test_named_geoid_in_awkward_folders(grids_folder: Path, tmp_path: Path) -> None:
    """Spaces, quotes and equal signs in the path are no matter; a comma, which PROJ takes for a list, is said."""
    place = working_to_geographic("EPSG:25833").inverse(14.0, 47.5, 600.0)
    for name in ("two words", 'a "quoted" one', "key=value step 2", "größe"):
        (tmp_path / name).mkdir()
        file = Path(shutil.copy(grids_folder / GEOID, tmp_path / name / "my geoid.tif"))
        issued = working_to_issued("EPSG:25833", "EPSG:9274", AUSTRIA, file)
        assert issued.forward(*place)[2] == pytest.approx(552.0650, rel=0, abs=1e-4)
        assert 'grids="my geoid.tif"' in issued.definition
    (tmp_path / "a,b").mkdir()
    file = Path(shutil.copy(grids_folder / GEOID, tmp_path / "a,b" / "geoid.tif"))
    with pytest.raises(OperationError, match="comma"):
        working_to_issued("EPSG:25833", "EPSG:9274", AUSTRIA, file)


def test_named_geoid_that_cannot_serve(grids_folder: Path, tmp_path: Path) -> None:
    """Absent, no grid at all, a horizontal grid, and a grid of another country: each error names the file."""
    text = tmp_path / "notes.gtx"
    text.write_text("not a grid")
    for file, words in (
        (tmp_path / "absent.gtx", r"absent\.gtx is not there"),
        (text, r"notes\.gtx"),
        (grids_folder / "nl_nsgi_rdtrans2018.tif", r"nl_nsgi_rdtrans2018\.tif"),
        (grids_folder / "fr_ign_RAF20.tif", r"fr_ign_RAF20\.tif does not cover"),
    ):
        with pytest.raises(OperationError, match=words) as raised:
            working_to_issued("EPSG:25833", "EPSG:9274", AUSTRIA, file)
        assert raised.value.what.startswith("computation to grid")
    with pytest.raises(OperationError, match=r"target\.geoid is named"):
        working_to_issued("EPSG:25833", "ellipsoid", AUSTRIA, grids_folder / GEOID)


def test_register_comes_back(real_grids: Path, austria: np.ndarray) -> None:
    """Register to computation is the inverse of computation to grid, with PROJ's geoid and with the same one named."""
    for geoid in (None, real_grids / GEOID):
        raw, issued = chain(geoid=geoid)
        place = raw.forward(*austria)
        marks = issued.forward(*place)
        register = register_to_working(
            Frame("EPSG:25833", "EPSG:9274"), target=Frame("EPSG:25833", "EPSG:9274"), geoid=geoid, area=AUSTRIA
        )
        np.testing.assert_allclose(register.forward(*marks), place, rtol=0, atol=1e-6)
        np.testing.assert_allclose(register.inverse(*place), marks, rtol=0, atol=1e-6)


def test_register_in_longitude_and_latitude(real_grids: Path) -> None:
    """Geographic registers, 2D or 3D by code, with heights in a height datum or above the ellipsoid."""
    for crs in ("EPSG:4258", "EPSG:4937"):
        place = register_to_working(
            Frame(crs, "EPSG:9274"), target=Frame("EPSG:25833", "EPSG:9274"), geoid=None, area=AUSTRIA
        ).forward(14.0, 47.5, 552.065)
        assert working_to_geographic("EPSG:25833").forward(*place)[2] == pytest.approx(600.0, rel=0, abs=1e-3)
        place = register_to_working(
            Frame(crs, "ellipsoid"), target=Frame("EPSG:25833", "EPSG:9274"), geoid=None, area=AUSTRIA
        ).forward(14.0, 47.5, 600.0)
        assert working_to_geographic("EPSG:25833").forward(*place)[2] == pytest.approx(600.0, rel=0, abs=1e-8)


def test_register_in_another_datum_with_the_named_geoid(grids_folder: Path) -> None:
    """GDA94 register, GDA2020 grid, AUSGeoid98 named: H is h minus N at the GDA2020 position, found by iteration.

    The truth is made the other way round, from a GDA2020 position by PROJ's own datum step.
    """
    area, geoid = Area(143.5, -38.2, 145.0, -37.0), grids_folder / "au_ga_AUSGeoid98.tif"
    issued = working_to_issued("EPSG:7855", "EPSG:5711", area, geoid)
    place = working_to_geographic("EPSG:7855").inverse([144.4, 144.0], [-37.9, -37.6], [350.0, 750.0])
    height = issued.forward(*place)[2]
    back = Transformer.from_crs("EPSG:7842", "EPSG:4939", always_xy=True).transform(*place)
    register = register_to_working(
        Frame("EPSG:4283", "EPSG:5711"), target=Frame("EPSG:7855", "EPSG:5711"), geoid=geoid, area=area
    )
    np.testing.assert_allclose(register.forward(back[0], back[1], height), place, rtol=0, atol=1e-6)
    lon, lat, again = register.inverse(*place)
    np.testing.assert_allclose([lon, lat], back[:2], rtol=0, atol=1e-11)
    np.testing.assert_allclose(again, height, rtol=0, atol=1e-6)
    assert pickle.loads(pickle.dumps(register)) == register
    assert [grid.name for grid in register.grids] == ["au_ga_AUSGeoid98.tif"]
    assert np.isnan(register.forward([np.nan, 10.0], [-37.9, 50.0], [1.0, 1.0])).all()


def test_epoch_of_a_moving_target() -> None:
    """A still source to a moving grid: target.epoch is the one time for all points, whatever their own.

    The truth is the plate motion model by hand: 6.1 years of its published rotation rates (GDA2020 technical manual).
    """
    area = Area(115.5, -32.5, 116.5, -31.5)
    moving = ProjectedCRS(UTMConversion(50, "S"), "ITRF2014 / zone 50", geodetic_crs="EPSG:9000").to_wkt()
    operation = raw_to_working("EPSG:7842", moving, area, epoch=2026.1)
    assert (operation.time_dependent, operation.epoch) == (False, 2026.1)
    place = np.array([-2363000.0, 4870000.0, -3360000.0])
    rotation = np.radians(np.array([1.50379e-3, 1.18346e-3, 1.20716e-3]) / 3600.0) * 6.1
    # ITRF2014 to GDA2020 is a coordinate frame rotation, X - r x X; the way back to the moved place adds r x X
    np.testing.assert_allclose(operation.forward(*place), place + np.cross(rotation, place), rtol=0, atol=1e-5)
    assert raw_to_working("EPSG:7842", moving, area).time_dependent


def test_moving_source_keeps_its_points_times() -> None:
    """With a moving source each point's own time counts; an epoch of the still target changes nothing."""
    area = Area(115.5, -32.5, 116.5, -31.5)
    plain, with_epoch = (raw_to_working("EPSG:7912", "EPSG:7850", area, epoch=epoch) for epoch in (None, 2026.2))
    assert with_epoch == plain
    assert plain.time_dependent


def test_geocentric_source_to_a_classical_datum(real_grids: Path) -> None:
    """X, Y, Z of ETRS89 to RD: by way of longitude, latitude and height, to the same point as from these."""
    area = Area(4.0, 51.5, 6.2, 53.3)
    start = (4.712120126, 51.728601274, 301.7981)
    xyz = pymap3d.geodetic2ecef(start[1], start[0], start[2], pymap3d.Ellipsoid.from_name("grs80"))
    direct = raw_to_working("EPSG:4937", "EPSG:28992", area).forward(*start)
    found = raw_to_working("EPSG:4936", "EPSG:28992", area).forward(*xyz)
    np.testing.assert_allclose(found, direct, rtol=0, atol=1e-6)


def test_grads_are_given_as_degrees() -> None:
    """A geographic CRS that counts in grads takes degrees like every other: scaled inside."""
    grads = (
        'GEOGCRS["test",DATUM["Some Reference System",ELLIPSOID["GRS 1980",6378137,298.257222101]],'
        'CS[ellipsoidal,2],AXIS["latitude",north],AXIS["longitude",east],ANGLEUNIT["grad",0.015707963267949]]'
    )
    np.testing.assert_allclose(lonlat(grads, 14.0, 47.5, 0.0), [14.0, 47.5], rtol=0, atol=1e-11)


def test_across_the_180th_meridian() -> None:
    """The Chatham Islands' side of New Zealand: an area with west greater than east finds its operation."""
    area = Area.from_degrees([178.9, -176.5], [-38.0, -44.0])
    assert area.west > area.east
    operation = raw_to_working("EPSG:4979", "EPSG:2193", area)
    assert operation.accuracy == 1.0
    assert np.isfinite(operation.forward([178.9, -176.5], [-38.0, -44.0], [0.0, 0.0])).all()
