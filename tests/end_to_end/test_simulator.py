"""The simulator's own tests: its closed forms against published values and PROJ, its files against its truth."""

import csv
import datetime as dt
import json
import tomllib
from pathlib import Path

import numpy as np
import pymap3d
import pyogrio
import pyproj
import pytest
from closed_forms import (
    GRS80,
    NZTM2000,
    WGS84,
    Ellipsoid,
    Floats,
    Geoid,
    Helmert,
    TransverseMercator,
    read_gtx,
    to_geocentric,
    to_geographic,
    turn_enu,
    utm,
    write_gtx,
)
from crop_geoid import crop
from numpy.testing import assert_allclose
from simulate import CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL, Place, Plan, Simulation, session_marks, simulate

MGA54, MGA55 = utm(54, south=True), utm(55, south=True)
PLACES = [pytest.param(CANTERBURY, id="canterbury"), pytest.param(CENTRAL_JAVA, id="central-java")]


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return whole + minutes / 60 + seconds / 3600


def around(place: Place, count: int = 500) -> tuple[Floats, Floats]:
    """Longitudes and latitudes within 0.6 degrees of a place, read-only."""
    rng = np.random.default_rng(7)
    longitude = place.longitude + rng.uniform(-0.6, 0.6, count)
    latitude = place.latitude + rng.uniform(-0.6, 0.6, count)
    longitude.flags.writeable = latitude.flags.writeable = False
    return longitude, latitude


@pytest.mark.parametrize(
    ("ellipsoid", "longitude", "latitude", "height", "expected", "tolerance"),
    [
        # IOGP 373-7-2, EPSG method 9602, three decimals printed.
        (WGS84, degrees(2, 7, 46.380), degrees(53, 48, 33.820), 73.0, (3771793.968, 140253.342, 5124304.349), 5e-4),
        # OSGeo/PROJ, test/gie/epsg_no_grid.gie.
        (WGS84, 12.0, 55.0, 10.0, (3586475.2672, 762328.8513, 5201391.7147), 1e-4),
        # Flinders Peak and Buninyong, GDA technical manual.
        (GRS80, degrees(144, 25, 29.52442), -degrees(37, 57, 3.72030), 350.948,
         (-4096088.424, 2929823.08435, -3901375.4540), 5e-4),
        (GRS80, degrees(143, 55, 35.38393), -degrees(37, 39, 10.15611), 749.855,
         (-4087103.458, 2977473.0435, -3875464.7525), 5e-4),
    ],
)  # fmt: skip
def test_geocentric_coordinates_agree_with_published_values(
    ellipsoid: Ellipsoid, longitude: float, latitude: float, height: float, expected: list[float], tolerance: float
) -> None:
    xyz = to_geocentric(longitude, latitude, height, ellipsoid)
    assert_allclose(xyz, expected, rtol=0, atol=tolerance)
    back = to_geographic(xyz, ellipsoid)
    assert_allclose(back, (longitude, latitude, height), rtol=0, atol=1e-8)


def test_geocentric_coordinates_and_turns_agree_with_pymap3d() -> None:
    """Anywhere on the earth, poles nearly included, from 500 m below to 9 km above the ellipsoid."""
    rng = np.random.default_rng(3)
    lon, lat, h = rng.uniform(-180, 180, 500), rng.uniform(-89.9, 89.9, 500), rng.uniform(-500, 9000, 500)
    earth = pymap3d.Ellipsoid.from_name("wgs84")
    xyz = to_geocentric(lon, lat, h, WGS84)
    assert_allclose(xyz.T, pymap3d.geodetic2ecef(lat, lon, h, earth), rtol=0, atol=1e-8)
    east, north, up = rng.normal(size=(3, 500))
    turned = turn_enu(lon, lat, np.stack([east, north, up], axis=-1))
    assert_allclose(turned.T, pymap3d.enu2ecefv(east, north, up, lat, lon), rtol=0, atol=1e-12)
    back = to_geographic(xyz, WGS84)
    assert_allclose(back[0], lon, rtol=0, atol=1e-12)
    assert_allclose(back[1], lat, rtol=0, atol=1e-12)
    assert_allclose(back[2], h, rtol=0, atol=1e-7)


@pytest.mark.parametrize(
    ("grid", "longitude", "latitude", "expected", "tolerance"),
    [
        # GDA technical manual: Flinders Peak in zone 55, Buninyong in zone 55 (GeodePy's digits) and in zone 54.
        (MGA55, degrees(144, 25, 29.52440), -degrees(37, 57, 3.72030), (273741.297, 5796489.777), 5e-4),
        (MGA55, degrees(143, 55, 35.38390), -degrees(37, 39, 10.15610), (228854.0513, 5828259.0384), 2e-4),
        (MGA54, degrees(143, 55, 35.38390), -degrees(37, 39, 10.15610), (758173.797, 5828674.340), 5e-4),
        # GeodePy's tests (Geoscience Australia).
        (MGA55, degrees(144, 58, 16.44114), -degrees(37, 48, 26.67598), (321405.5592, 5813614.1613), 2e-4),
        # OSGeo/PROJ, test/gie/epsg_no_grid.gie.
        (utm(32, south=False), 12.0, 55.0, (691875.6321, 6098907.8250), 1e-4),
        # Ordnance Survey, A guide to coordinate systems in Great Britain, annex C (Airy 1830).
        (TransverseMercator(Ellipsoid(6377563.396, 299.3249646), -2.0, 0.9996012717, 400000.0, -100000.0, 49.0),
         degrees(1, 43, 4.5177), degrees(52, 39, 27.2531), (651409.903, 313177.270), 5e-4),
    ],
)  # fmt: skip
def test_grid_coordinates_agree_with_published_values(
    grid: TransverseMercator, longitude: float, latitude: float, expected: tuple[float, float], tolerance: float
) -> None:
    assert_allclose(grid.forward(longitude, latitude), expected, rtol=0, atol=tolerance)
    assert_allclose(grid.inverse(*grid.forward(longitude, latitude)), (longitude, latitude), rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("easting", "northing", "longitude", "latitude"),
    [
        # LINZ's test points for its conversion program, with nine decimals as two public ports of it print them.
        (1576041.150, 6188574.240, 172.739193967, -34.444065991),
        (1576542.010, 5515331.050, 172.723105968, -40.512408980),
        (1307103.220, 4826464.860, 169.172062008, -46.651295012),
    ],
)
def test_nztm2000_agrees_with_the_published_points(
    easting: float, northing: float, longitude: float, latitude: float
) -> None:
    assert_allclose(NZTM2000.inverse(easting, northing), (longitude, latitude), rtol=0, atol=2e-9)


@pytest.mark.parametrize("place", PLACES)
def test_the_places_grid_agrees_with_proj(place: Place) -> None:
    longitude, latitude = around(place)
    to_grid = pyproj.Transformer.from_crs(pyproj.CRS(place.grid).geodetic_crs, place.grid, always_xy=True)
    assert_allclose(
        place.projection.forward(longitude, latitude), to_grid.transform(longitude, latitude), rtol=0, atol=1e-6
    )


def separation_by_proj(grid: Path, longitude: Floats, latitude: Floats) -> Floats:
    steps = f"+step +inv +proj=vgridshift +grids={grid} +multiplier=1"
    by_proj = pyproj.Transformer.from_pipeline(f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad {steps}")
    return -np.asarray(by_proj.transform(longitude, latitude, np.zeros_like(longitude))[2])


@pytest.mark.parametrize("place", PLACES)
def test_the_pieces_of_geoid_read_alike_here_and_in_proj(place: Place) -> None:
    assert place.geoid is not None
    longitude, latitude = around(place)
    expected = separation_by_proj(place.geoid, longitude, latitude)
    assert np.ptp(expected) > 1  # there is a geoid there, and it is not flat
    assert_allclose(place.separation(longitude, latitude), expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize("place", PLACES)
def test_the_pieces_of_geoid_are_the_worlds_egm96(place: Place, grids_folder: Path) -> None:
    """Against the GeoTIFF of the same model, which keeps its values by another route than GTX."""
    longitude, latitude = around(place)
    expected = separation_by_proj(grids_folder / "us_nga_egm96_15.tif", longitude, latitude)
    assert_allclose(place.separation(longitude, latitude), expected, rtol=0, atol=1e-4)


def test_a_crop_keeps_the_nodes_and_refuses_places_outside(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    whole = Geoid(-10.0, 20.0, 0.5, 0.25, rng.normal(size=(41, 81)).astype(np.float32))
    write_gtx(crop(whole, 30.1, 1.3, 0.6), tmp_path / "piece.gtx")
    piece = read_gtx(tmp_path / "piece.gtx")
    assert (piece.south, piece.west, piece.values.shape) == (0.5, 29.5, (4, 6))
    longitude, latitude = rng.uniform(29.5, 30.7, 50), rng.uniform(0.7, 1.9, 50)
    assert_allclose(piece.separation(longitude, latitude), whole.separation(longitude, latitude), rtol=0, atol=1e-12)
    with pytest.raises(ValueError, match="outside"):
        piece.separation(31.0, 1.0)
    with pytest.raises(SystemExit, match="does not lie within"):
        crop(whole, 39.9, 1.3, 0.6)


def test_the_datum_step_agrees_with_the_published_example() -> None:
    """GDA94 to GDA2020 at station ALIC, GDA2020 technical manual 3.1.1, taken backwards."""
    second = np.pi / 180 / 3600
    step = Helmert((0.06155, -0.01087, -0.04019), (-0.0394924 * second, -0.0327221 * second, -0.0328979 * second),
                   -0.009994e-6)  # fmt: skip
    back = step.inverse(np.array([-4052052.7379, 4212835.9897, -2545104.5898]))
    assert_allclose(back, (-4052051.7643, 4212836.2017, -2545106.0245), rtol=0, atol=1e-4)


def exported(path: Path) -> list[tuple[str, float, float, float]]:
    """Name, longitude, latitude and height of every row of an export, by readers that the simulator does not use."""
    if path.suffix == ".csv":
        with path.open(newline="") as file:
            rows = csv.DictReader(file)
            return [(row["Point"], float(row["Lon"]), float(row["Lat"]), float(row["EllHt"])) for row in rows]
    if path.suffix == ".geojson":
        features = json.loads(path.read_text())["features"]
        return [(one["properties"]["Point"], *one["geometry"]["coordinates"]) for one in features]
    frame = pyogrio.read_dataframe(path)
    return [(name, at.x, at.y, at.z) for name, at in zip(frame["Point"], frame.geometry, strict=True)]


def issued_by_proj(place: Place, raw: Floats, shifts: Floats) -> Floats:
    """(n, 3) easting, northing, height of (n, 3) raw geographic coordinates, by PROJ alone."""
    ellipsoid = pyproj.CRS(place.source).ellipsoid
    assert ellipsoid is not None
    cart = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +proj=cart +a={ellipsoid.semi_major_metre} +rf={ellipsoid.inverse_flattening}"
    )
    x, y, z = (np.array(cart.transform(*raw.T)).T + shifts).T
    lon, lat, height = cart.transform(x, y, z, direction="INVERSE")
    grid = pyproj.Transformer.from_crs(pyproj.CRS(place.grid).geodetic_crs, place.grid, always_xy=True)
    separation = 0 if place.geoid is None else separation_by_proj(place.geoid, lon, lat)
    return np.column_stack([*grid.transform(lon, lat), height - separation])


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
@pytest.mark.parametrize("place", [*PLACES, pytest.param(ELLIPSOIDAL, id="ellipsoidal")])
def test_files_without_noise_lead_back_to_the_truth(place: Place, form: str, tmp_path: Path) -> None:
    """Raw positions as printed, plus the session's geocentric shift, through PROJ: the truth to 0.1 mm, 20 km away."""
    job = simulate(Plan(sessions=2, points=40, ties=2, checks=3, reach=20_000.0, noise=False, place=place))
    job.write(tmp_path, form, files=2)
    rows = [row for path in sorted(tmp_path.glob(f"rover*.{form}")) for row in exported(path)]
    assert [row[0] for row in rows] == list(job.truth.names)
    issued = issued_by_proj(place, np.array([row[1:] for row in rows]), job.shifts[job.rows["session"]])
    truth = np.column_stack([job.truth.easting, job.truth.northing, job.truth.height])
    assert_allclose(issued, truth, rtol=0, atol=1e-4)
    far = np.hypot(*(truth[:, :2] - truth[0, :2]).T)
    assert far.max() > 19_900


def test_a_shift_is_one_geocentric_vector_of_the_size_of_a_base_error() -> None:
    job = simulate(Plan(sessions=20, points=5, noise=False))
    raw = to_geocentric(job.rows["longitude"], job.rows["latitude"], job.rows["height"], GRS80)
    true = to_geocentric(job.truth.longitude, job.truth.latitude, job.truth.ellipsoid_height, GRS80)
    assert_allclose(true - raw, job.shifts[job.rows["session"]], rtol=0, atol=1e-7)
    enu = np.array([job.shift_enu(session) for session in range(20)])
    assert_allclose(np.linalg.norm(enu, axis=1), np.linalg.norm(job.shifts, axis=1), rtol=0, atol=1e-9)
    assert np.hypot(enu[:, 0], enu[:, 1]).max() < 5 and 1 < np.abs(enu[:, 2]).max() < 20


def test_noise_has_the_sigmas_that_the_export_states() -> None:
    job = simulate(Plan(sessions=1, points=20_000, centring=0.0))
    raw = to_geocentric(job.rows["longitude"], job.rows["latitude"], job.rows["height"], GRS80) + job.shifts[0]
    true = to_geocentric(job.truth.longitude, job.truth.latitude, job.truth.ellipsoid_height, GRS80)
    enu = pymap3d.ecef2enuv(*(raw - true).T, job.truth.latitude, job.truth.longitude)
    for values, sigma in zip(enu, ("sigma_east", "sigma_north", "sigma_up"), strict=True):
        assert abs(np.std(values / job.rows[sigma]) - 1) < 0.025  # five times the deviation of a deviation
    assert_allclose(np.mean(job.rows["sigma_up"][job.rows["kind"] == "point"]), 0.015, rtol=0, atol=1e-4)
    assert job.rows["sigma_up"][job.rows["kind"] == "check"].max() < 0.008


def test_checks_stand_at_both_ends_and_never_on_a_mark_that_ties() -> None:
    plan = Plan(sessions=5, points=10, ties=2, checks=3, marks=4, temporary=True, tied_sessions=2)
    job = simulate(plan)
    for session in range(plan.sessions):
        ties, opening, closing = session_marks(plan, session)
        assert not set(ties) & set(opening + closing)
        kinds = list(job.rows["kind"][job.rows["session"] == session])
        assert kinds == ["tie"] * (len(ties) + 1) + ["check"] * 2 + ["point"] * 10 + ["check"]
        table = job.job["session"][session]
        assert [one["mark"] for one in table["ties"]] == [f"CM{mark + 1}" for mark in ties] + ["TM1"]
        assert bool(ties) == (session < 2)
    for one in [*table["ties"], *table["checks"]]:
        where = job.temporary if one["mark"] == "TM1" else job.marks
        assert_allclose(job.truth.of(one["point"]), where.of(one["mark"]), rtol=0, atol=1e-9)
    with pytest.raises(ValueError, match="more marks"):
        simulate(Plan(ties=2, marks=2))


@pytest.mark.parametrize("overlap", [False, True])
def test_rows_lie_in_their_session_and_sessions_overlap_only_when_asked(overlap: bool) -> None:
    job = simulate(Plan(sessions=3, points=20, overlap=overlap))
    starts = [one["start"].timestamp() for one in job.job["session"]]
    ends = [one["end"].timestamp() for one in job.job["session"]]
    seconds = job.rows["time"].astype("int64") / 1000
    session = job.rows["session"]
    assert np.all((np.array(starts)[session] < seconds) & (seconds < np.array(ends)[session]))
    assert (starts[1] < ends[0]) is overlap
    assert list(np.unique(job.rows["base"])) == ["BASE-01", "BASE-02", "BASE-03"]


@pytest.mark.parametrize("session_file", [False, True])
def test_the_job_file_says_what_was_simulated(session_file: bool, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=5, temporary=True))
    path = job.write(tmp_path, session_file=session_file)
    written = tomllib.loads(path.read_text())
    assert written["target"] == job.job["target"]
    assert written["points"][0]["columns"]["longitude"] == "Lon"
    if session_file:
        with (tmp_path / written["sessions"]["file"]).open(newline="") as file:
            rows = list(csv.DictReader(file))
        assert rows[1]["ties"] == "S02-T2=CM2; S02-TM1=TM1"
        assert rows[1]["checks"] == "S02-C1=CM3; S02-C2=CM4"
        starts = [dt.datetime.fromisoformat(row["start"]) for row in rows]
    else:
        assert written["session"] == job.job["session"]
        starts = [one["start"] for one in written["session"]]
    assert starts == [one["start"] for one in job.job["session"]]
    with (tmp_path / "register.csv").open(newline="") as file:
        register = {row["mark"]: row for row in csv.DictReader(file)}
    assert list(register) == ["CM1", "CM2", "CM3", "CM4"]  # TM1 has no published coordinates
    assert_allclose(float(register["CM3"]["easting"]), job.marks.of("CM3")[0], rtol=0, atol=6e-6)


def test_the_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        simulate(Plan(points=30)).write(tmp_path / folder)
    simulate(Plan(points=30, seed=2)).write(tmp_path / "c")
    a, b, c = ((tmp_path / folder / "rover001.csv").read_bytes() for folder in "abc")
    assert a == b
    assert a != c


def moved(job: Simulation, before: Simulation) -> Floats:
    """(n, 3) east, north, up by which the exports of one simulation differ from another's."""
    new, old = (to_geocentric(one.rows["longitude"], one.rows["latitude"], one.rows["height"], GRS80)
                for one in (job, before))  # fmt: skip
    return np.array(pymap3d.ecef2enuv(*(new - old).T, job.rows["latitude"], job.rows["longitude"])).T


def test_planted_blunders_move_what_they_say_and_nothing_else() -> None:
    plan = Plan(sessions=2, points=40)
    before = simulate(plan)
    mine = before.rows["session"] == 1

    job = simulate(plan)
    job.knock_base(1, 0.5, east=0.2, north=-0.1, up=0.05)
    shift = moved(job, before)
    assert_allclose(shift[~mine], 0, rtol=0, atol=1e-7)
    assert_allclose(shift[mine][:21], 0, rtol=0, atol=1e-7)
    # 2 km away the horizon leans by 2/6378 of the shift: a tenth of a millimetre.
    assert_allclose(shift[mine][22:], np.tile([-0.2, 0.1, -0.05], (21, 1)), rtol=0, atol=2e-4)

    job = simulate(plan)
    job.raise_pole(1, 0.3)
    assert_allclose(moved(job, before)[mine], np.tile([0, 0, 0.3], (43, 1)), rtol=0, atol=1e-6)

    job = simulate(plan)
    job.correct_in_field(1, job.job["session"][1]["start"] + dt.timedelta(hours=4), 1.0, 2.0, -3.0)
    later = mine & (np.hypot(*moved(job, before)[:, :2].T) > 1)
    assert 15 < later.sum() < 28
    assert np.all(np.diff(np.flatnonzero(later)) == 1)
    assert later[-1]

    job = simulate(plan)
    job.mistype("CM2", "northing", 0.09)
    changed = job.register["northing"] - before.register["northing"]
    assert_allclose(changed, [0, 0.09, 0, 0], rtol=0, atol=1e-9)

    job = simulate(plan)
    job.keep(np.r_[np.arange(5), 3])
    assert list(job.rows["name"]) == [*before.rows["name"][:5], before.rows["name"][3]]
