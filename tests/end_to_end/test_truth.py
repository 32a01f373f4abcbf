"""Whole jobs without noise: every issued coordinate is the simulated truth to 0.1 mm, 20 km from the tie."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from closed_forms import GRS80, move, to_geocentric, turn_enu, utm
from every import every
from issued import Issue, off_truth
from numpy.testing import assert_allclose
from running import Row, replace_in, rewrite_export, run_simulated, run_written
from simulate import CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL, Place, Plan, Simulation, simulate

TENTH_MM = 1e-4
SMALLEST = Plan(sessions=1, points=12, ties=1, checks=2, marks=3, reach=20_000.0, noise=False)
PLACES = [
    pytest.param(CANTERBURY, id="canterbury"),
    pytest.param(CENTRAL_JAVA, id="central-java"),
    pytest.param(ELLIPSOIDAL, id="ellipsoidal"),
]


def holds_truth(issue: Issue, job: Simulation) -> None:
    """Every point is there, at its true place, and the farthest is nearly 20 km away."""
    assert issue.points.column("name") == list(job.rows["name"][job.rows["kind"] == "point"])
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=TENTH_MM)
    far = issue.points.xyz()[:, :2] - np.array(job.marks.of("CM1"))[:2]
    assert np.hypot(*far.T).max() > 19_900
    for row in issue.check_marks.rows:
        assert row["passed"] == (None if row["mark"] == "TM1" else 1)


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
@pytest.mark.parametrize("place", PLACES)
def test_one_session_and_one_tie(place: Place, form: str, tmp_path: Path) -> None:
    job = simulate(replace(SMALLEST, place=place))
    issue = run_simulated(job, tmp_path, form)
    holds_truth(issue, job)
    true = np.array([job.truth.geographic(name) for name in issue.points.column("name")])
    said = np.array([[row[k] for k in ("longitude", "latitude", "ellipsoid_height")] for row in issue.points.rows])
    assert_allclose(said[:, :2], true[:, :2], rtol=0, atol=1e-9)
    assert_allclose(said[:, 2], true[:, 2], rtol=0, atol=TENTH_MM)
    assert_allclose(issue.points.places, issue.points.xyz(), rtol=0, atol=0)
    (session,) = issue.sessions.rows
    assert_allclose([session[f"shift_{axis}"] for axis in "xyz"], job.shifts[0], rtol=0, atol=TENTH_MM)
    assert session["verdict"] == issue.record["verdict"] == "proven"


def test_the_shift_is_told_in_east_north_and_up(tmp_path: Path) -> None:
    """Against the truth turned at the base; the place at which it is told may be 2 km off, a third of a mm a metre."""
    job = simulate(replace(SMALLEST, reach=2_000.0))
    (session,) = run_simulated(job, tmp_path).sessions.rows
    assert_allclose([session[f"shift_{axis}"] for axis in ("east", "north", "up")], job.shift_enu(0), rtol=0, atol=0.01)


def test_a_session_tied_only_through_a_temporary_mark(tmp_path: Path) -> None:
    job = simulate(replace(SMALLEST, sessions=3, temporary=True, tied_sessions=1))
    issue = run_simulated(job, tmp_path)
    holds_truth(issue, job)
    assert [row["verdict"] for row in issue.sessions.rows] == ["proven"] * 3
    temporary = issue.check_marks.where(mark="TM1")
    assert [row["role"] for row in temporary] == ["tie"] * 3
    assert all(row["known_easting"] is None and row["d_east"] is None for row in every(temporary))


@pytest.mark.parametrize("session_file", [False, True], ids=["in-the-job-file", "in-a-csv"])
def test_overlapping_sessions_are_told_apart_by_base_id(session_file: bool, tmp_path: Path) -> None:
    job = simulate(replace(SMALLEST, sessions=3, overlap=True))
    shuffled = np.random.default_rng(3).permutation(len(job.rows["name"]))
    truth = [str(name) for name in job.rows["name"]]
    job.keep(shuffled)
    issue = run_simulated(job, tmp_path, session_file=session_file)
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=TENTH_MM)
    assert len(issue.points.rows) == sum(name[4].isdigit() for name in truth) == 36
    assert {row["name"][:3] for row in issue.points.rows if row["session"] == "session-02"} == {"S02"}


def in_grid(job: Simulation, separation: bool = False) -> np.ndarray:
    """(n, 3) the exports' easting, northing and height as printed by a controller that works on the grid."""
    lon, lat, height = (job.rows[name] for name in ("longitude", "latitude", "height"))
    down = job.plan.place.separation(lon, lat) if separation else 0.0
    return np.column_stack([*job.plan.place.projection.forward(lon, lat), height - down])


def with_columns(path: Path, values: np.ndarray, names: dict[str, str]) -> None:
    """Put other position columns into the CSV export and into the job file; ``names`` are ours and the export's."""
    rows = iter(values)

    def change(row: Row) -> Row:
        kept = {name: cell for name, cell in row.items() if name not in ("Lon", "Lat", "EllHt")}
        return kept | {name: f"{value:.5f}" for name, value in zip(names.values(), next(rows), strict=True)}

    rewrite_export(path.parent / "rover001.csv", change)
    mapped = ", ".join(f'{ours} = "{theirs}"' for ours, theirs in names.items())
    replace_in(path, {'latitude = "Lat", longitude = "Lon", height = "EllHt"': mapped})


def test_a_projected_source(tmp_path: Path) -> None:
    """Easting, northing and ellipsoidal height on the job's own grid."""
    job = simulate(SMALLEST)
    path = job.write(tmp_path)
    with_columns(path, in_grid(job), {"easting": "E", "northing": "N", "height": "H"})
    replace_in(path, {'crs = "EPSG:4959"': 'crs = "EPSG:2193"'})
    holds_truth(run_written(path), job)


def test_a_projected_source_on_another_grid(tmp_path: Path) -> None:
    """NZGD2000 / UTM zone 59S in, New Zealand Transverse Mercator out."""
    job = simulate(SMALLEST)
    path = job.write(tmp_path)
    lon, lat, height = (job.rows[name] for name in ("longitude", "latitude", "height"))
    there = np.column_stack([*utm(59, south=True).forward(lon, lat), height])
    with_columns(path, there, {"easting": "E", "northing": "N", "height": "H"})
    replace_in(path, {'crs = "EPSG:4959"': 'crs = "EPSG:2134"'})
    holds_truth(run_written(path), job)


def test_a_geocentric_source(tmp_path: Path) -> None:
    job = simulate(SMALLEST)
    path = job.write(tmp_path)
    xyz = to_geocentric(job.rows["longitude"], job.rows["latitude"], job.rows["height"], GRS80)
    with_columns(path, xyz, {"x": "X", "y": "Y", "z": "Z"})
    replace_in(path, {'crs = "EPSG:4959"': 'crs = "EPSG:4958"'})
    holds_truth(run_written(path), job)


@pytest.mark.parametrize(("units", "metres"), [("foot", 0.3048), ("us-survey-foot", 1200 / 3937)])
def test_heights_and_sigmas_in_feet(units: str, metres: float, tmp_path: Path) -> None:
    job = simulate(SMALLEST)
    path = job.write(tmp_path)

    def change(row: Row) -> Row:
        return row | {name: f"{float(row[name]) / metres:.6f}" for name in ("EllHt", "sE", "sN", "sU")}

    plain = run_written(job.write(tmp_path / "metres"))
    rewrite_export(tmp_path / "rover001.csv", change)
    replace_in(path, {"[[points]]": f'[[points]]\nunits = "{units}"'})
    issue = run_written(path)
    holds_truth(issue, job)
    assert_allclose(issue.points.column("vu95"), plain.points.column("vu95"), rtol=0, atol=1e-5)


def test_local_time_and_gps_time(tmp_path: Path) -> None:
    """The first point lies 5 s after its session begins and the last 5 s before it ends: 18 s would put one outside."""
    job = simulate(SMALLEST)
    mine = np.flatnonzero(job.rows["kind"] == "point")
    begins, ends = (np.datetime64(job.job["session"][0][key].replace(tzinfo=None), "ms") for key in ("start", "end"))
    job.rows["time"][mine[0]], job.rows["time"][mine[-1]] = begins + 5000, ends - 5000
    utc = job.rows["time"]
    for zone, ahead in (("GPS", 18_000), ("Pacific/Auckland", 13 * 3_600_000), ("+05:30", 19_800_000)):
        folder = tmp_path / zone.replace("/", "-").replace(":", "")
        job.job["source"]["time_zone"] = zone
        job.rows["time"] = utc + ahead
        path = job.write(folder)
        rewrite_export(folder / "rover001.csv", lambda row: row | {"Observed": row["Observed"].removesuffix("Z")})
        outcome = run_written(path)
        assert len(outcome.points.rows) == 12, zone
        observed = dict(zip(outcome.points.column("name"), outcome.points.column("observed"), strict=True))
        assert observed[str(job.rows["name"][mine[0]])].startswith("2026-03-01T19:30:05"), zone


def register_as(job: Simulation, path: Path, kind: str) -> None:
    """Write the register in another CRS than the grid: the truth by closed forms."""
    marks = job.marks
    up = {"height": marks.height, "ellipsoid_height": marks.ellipsoid_height}
    which = "ellipsoid_height" if kind.endswith("ellipsoidal") else "height"
    if kind.startswith("geographic"):
        head, plan, digits = "longitude,latitude", (marks.longitude, marks.latitude), 11
    else:
        head, plan, digits = "easting,northing", utm(59, south=True).forward(marks.longitude, marks.latitude), 5
    lines = [f"mark,{head},{which}"]
    for name, first, second, third in zip(marks.names, *plan, up[which], strict=True):
        lines.append(f"{name},{first:.{digits}f},{second:.{digits}f},{third:.5f}")
    (path.parent / "register.csv").write_text("\n".join(lines) + "\n")
    crs = "EPSG:4959" if kind.startswith("geographic") else "EPSG:2134"
    height = "ellipsoid" if which == "ellipsoid_height" else "EPSG:5773"
    replace_in(path, {'crs = "EPSG:2193"\nheight = "EPSG:5773"': f'crs = "{crs}"\nheight = "{height}"'})


@pytest.mark.parametrize("kind", ["geographic-ellipsoidal", "geographic-datum", "projected-ellipsoidal", "utm-datum"])
def test_a_register_in_another_crs_than_the_grid(kind: str, tmp_path: Path) -> None:
    job = simulate(SMALLEST)
    path = job.write(tmp_path)
    register_as(job, path, kind)
    issue = run_written(path)
    holds_truth(issue, job)
    for row in every(issue.check_marks.rows):
        known = [row[f"known_{axis}"] for axis in ("easting", "northing", "height")]
        assert_allclose(known, job.marks.of(row["mark"]), rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("wrong_by", [np.nan, 3.0, 100.0], ids=["not-given", "3-m-wrong", "100-m-wrong"])
def test_marks_that_hold_position_only_or_height_only(wrong_by: float, tmp_path: Path) -> None:
    """One mark gives the position, another the height; what they do not hold is not given, or taken off a map."""
    job = simulate(replace(SMALLEST, ties=2, marks=4))
    holds = np.array(["position", "height", "3d", "3d"], object)
    job.register["holds"] = holds
    for column, wrong in (("easting", "height"), ("northing", "height"), ("height", "position")):
        job.register[column] = job.register[column].copy()
        job.register[column][holds == wrong] += wrong_by
    issue = run_simulated(job, tmp_path)
    holds_truth(issue, job)
    assert issue.sessions.rows[0]["verdict"] == "proven"


def test_a_base_set_up_over_a_mark(tmp_path: Path) -> None:
    """The base stands 1.612 m above CM1 and broadcasts a position that is metres wrong; no rover ties it."""
    job = simulate(SMALLEST)
    lon, lat, height = job.marks.geographic("CM1")
    broadcast = move(*(np.array([v]) for v in (lon, lat, height + 1.612)), -job.shifts[0], GRS80)
    job.job["session"][0].pop("ties")
    job.job["session"][0]["setup"] = {
        "mark": "CM1", "longitude": float(broadcast[0][0]), "latitude": float(broadcast[1][0]),
        "ellipsoid_height": float(broadcast[2][0]), "antenna_height": 1.612,
    }  # fmt: skip
    job.keep(job.rows["kind"] != "tie")
    issue = run_simulated(job, tmp_path)
    holds_truth(issue, job)
    (session,), (place,) = issue.sessions.rows, issue.sessions.places
    assert_allclose([session[f"shift_{axis}"] for axis in "xyz"], job.shifts[0], rtol=0, atol=TENTH_MM)
    # "At the corrected base": of its antenna's reference point or of the mark under it, the contract leaves open.
    assert place is not None
    assert_allclose(place[:2], job.marks.of("CM1")[:2], rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("model", ["geocentric", "grid"])
def test_a_correction_made_in_the_field_is_taken_out_first(model: str, tmp_path: Path) -> None:
    """Half of the export has it and half has not."""
    job = simulate(SMALLEST)
    start = job.job["session"][0]["start"] + dt.timedelta(hours=4)
    east, north, up = 1.4, -2.2, 7.5
    if model == "geocentric":
        job.correct_in_field(0, start, east, north, up)
    else:
        later = job.rows["time"] >= np.datetime64(start.replace(tzinfo=None), "ms")
        grid = in_grid(job)[later] + [east, north, up]
        lon, lat = job.plan.place.projection.inverse(grid[:, 0], grid[:, 1])
        before = job.plan.place.separation(job.rows["longitude"][later], job.rows["latitude"][later])
        height = grid[:, 2] + job.plan.place.separation(lon, lat) - before
        for name, values in (("longitude", lon), ("latitude", lat), ("height", height)):
            job.rows[name] = job.rows[name].copy()
            job.rows[name][later] = values
    job.job["session"][0]["field_shift"] = {"from": start, "east": east, "north": north, "up": up, "model": model}
    holds_truth(run_simulated(job, tmp_path), job)


def test_network_corrections_need_no_tie(tmp_path: Path) -> None:
    """shift = "none": the exports are true as they are, and the checks prove it."""
    job = simulate(replace(SMALLEST, base_horizontal=0.0, base_vertical=0.0))
    job.job["session"][0] |= {"shift": "none", "ties": []}
    job.keep(job.rows["kind"] != "tie")
    issue = run_simulated(job, tmp_path)
    holds_truth(issue, job)
    assert issue.sessions.rows[0]["verdict"] == "proven"


def test_a_stated_shift(tmp_path: Path) -> None:
    """East, north and up at the base, where the job says where that is."""
    job = simulate(SMALLEST)
    base = job.bases
    at = move(base.longitude, base.latitude, base.ellipsoid_height, -job.shifts, GRS80)
    east, north, up = (float(part) for part in job.shift_enu(0))
    job.job["session"][0] |= {
        "shift": {"east": east, "north": north, "up": up},
        "ties": [],
        "setup": {"mark": "BM", "longitude": float(at[0][0]), "latitude": float(at[1][0]),
                  "ellipsoid_height": float(at[2][0])},
    }  # fmt: skip
    mark = {"mark": "BM", "easting": base.easting[0], "northing": base.northing[0], "height": base.height[0],
            "hu95": 0.01, "vu95": 0.02}  # fmt: skip
    job.register = {name: np.append(values, mark[name]) for name, values in job.register.items()}
    job.keep(job.rows["kind"] != "tie")
    holds_truth(run_simulated(job, tmp_path), job)


@pytest.mark.parametrize("model", ["geocentric", "grid"])
def test_a_height_shift_of_8_m_bends_only_in_the_grid(model: str, tmp_path: Path) -> None:
    """12.5 mm in plan at 10 km where it is added in the grid (8 m times 10 km / 6 371 km), nothing as a translation.

    In the grid, east of the tie comes out further east than it is: the export's vertical at the point leans outwards.
    """
    job = simulate(replace(SMALLEST, reach=10_000.0, base_horizontal=0.0, base_vertical=0.0, points=40))
    lon, lat, _ = job.marks.geographic("CM1")
    job.displace(np.ones(len(job.rows["name"]), bool), -turn_enu(lon, lat, np.array([0.0, 0.0, 8.0])))
    job.job["shift"] = {"model": model}
    issue = run_simulated(job, tmp_path)
    off = off_truth(issue.points.rows, job.truth)
    if model == "geocentric":
        assert_allclose(off, 0, rtol=0, atol=TENTH_MM)
        return
    out = issue.points.xyz()[:, :2] - np.array(job.marks.of("CM1"))[:2]
    assert_allclose(off[:, :2], out * 8.0 / 6_371_000.0, rtol=0, atol=3e-4)
    assert 0.0115 < np.hypot(off[:, 0], off[:, 1]).max() < 0.0135
