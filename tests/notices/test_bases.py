"""The base is where the log says: positions and antenna heights on the points, base ids, clocks, all planted."""

import datetime as dt
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from base_logged import COLUMNS, SMALL, at_base, late, session_of, write
from closed_forms import GRS80, WGS84, to_geocentric, utm
from every import every
from numpy.testing import assert_allclose
from running import Row, paste_session, record_of, replace_in, rewrite_export, run_written
from simulate import CANTERBURY, CENTRAL_JAVA, Place, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError


@pytest.mark.parametrize("seed", range(20))
def test_bases_where_the_log_says_are_left_in_peace(seed: int, tmp_path: Path) -> None:
    place = (CANTERBURY, CENTRAL_JAVA)[seed % 2]
    job = simulate(replace(SMALL, seed=seed, place=place, sessions=1 + seed % 3, overlap=seed % 5 == 4))
    assert check_job(write(job, tmp_path)).warnings == ()


@pytest.mark.parametrize("place", [CANTERBURY, CENTRAL_JAVA], ids=["canterbury", "central-java"])
def test_what_the_points_carry_stands_in_the_record(place: Place, tmp_path: Path) -> None:
    job = simulate(replace(SMALL, place=place))
    record = record_of(write(job, tmp_path))
    for number, session in enumerate(every(record["sessions"], SMALL.sessions)):
        (position,) = session["base_log"]["positions"]
        expected = [job.broadcast.places[number]]
        assert_allclose([[position[k] for k in ("longitude", "latitude", "height")]], expected, rtol=0, atol=1e-5)
        assert position["readings"] == 24
        assert position["from"] == job.job["session"][number]["start"].strftime("%Y-%m-%dT%H:%M:%S.000Z")
        (antenna,) = session["base_log"]["antenna_heights"]
        assert (antenna["antenna_height"], antenna["readings"]) == (1.8, 24)
        first = session["base_log"]["first_reading"]
        assert first["point"] == f"S{number + 1:02d}-START"
        assert first["from_base"] == pytest.approx(np.sqrt(1.2**2 + 0.8**2 + 0.3**2), abs=1e-4)


def test_without_the_columns_nothing_is_known(tmp_path: Path) -> None:
    record = run_job(simulate(SMALL).write(tmp_path), dry_run=True).record
    assert [session["base_log"] for session in record["sessions"]] == [None, None]


def test_a_base_set_up_anew_within_a_session(tmp_path: Path) -> None:
    """Told with both positions, when it changed, and the lines that split the session there."""
    job = simulate(SMALL)

    def anew(row: Row) -> dict[str, Any]:
        return at_base(job, 0, east=0.75, north=-1.25, up=0.5) if late(job, row, 0, 4.0) else {}

    path = write(job, tmp_path, anew)
    (told,) = check_job(path).warnings
    rows = [row for row in (tmp_path / "rover001.csv").read_text().splitlines() if row.startswith("S01-")]
    times = sorted(line.split(",")[1] for line in rows)
    since = min(time for time in times if time >= "2026-03-01T23:30:00Z")
    until = max(time for time in times if time < since)
    assert told.startswith("session session-01: its points carry 2 positions of the base: first one (")
    assert "then one +0.750 m east, -1.250 m north, +0.500 m up of the first (" in told
    assert f"{until[11:19]} UTC" in told
    assert len(run_job(path, dry_run=True).record["sessions"][0]["base_log"]["positions"]) == 2
    lines = told[told.index("# in place of") :]
    first, second = tomllib.loads(lines)["session"]
    assert (first["end"], second["start"]) == (dt.datetime.fromisoformat(since),) * 2
    assert (first["base"], second["base"], second["name"]) == ("BASE-01", "BASE-01", "session-01-2")
    paste_session(path, "session-01", lines)
    assert not any("positions of the base" in warning for warning in check_job(path).warnings)
    assert "session-01-2" in {session["session"] for session in run_job(path, dry_run=True).record["sessions"]}


@pytest.mark.parametrize("known", ["setup", "shift", "ties"])
def test_what_ties_the_first_part_of_a_session_stays_what_it_was(known: str, tmp_path: Path) -> None:
    """A set-up or a given shift: its checks stay checks. Only the part after it, whose base is unknown, needs a tie."""
    job = simulate(SMALL)
    session = job.job["session"][0]
    if known == "setup":
        for key, values in job.register.items():
            of_base = {"mark": "BM", "hu95": 0.01, "vu95": 0.02}
            own = of_base[key] if key in of_base else getattr(job.bases, key)[0]
            job.register[key] = np.append(values, own)
        longitude, latitude, height = job.broadcast.places[0].tolist()
        base = {"longitude": longitude, "latitude": latitude, "ellipsoid_height": height}
        session |= {"ties": [], "setup": {"mark": "BM", **base}}
    if known == "shift":
        session |= {"ties": [], "shift": dict(zip(("east", "north", "up"), job.shift_enu(0).tolist(), strict=True))}
    checks = list(session["checks"])

    def anew(row: Row) -> dict[str, Any]:
        return at_base(job, 0, east=0.75) if late(job, row, 0, 4.0) and row["Point"] != "S01-C1" else {}

    (told,) = [text for text in check_job(write(job, tmp_path, anew)).warnings if "[[session]]" in text]
    first, second = tomllib.loads(told[told.index("# in place of") :])["session"]
    assert [tie["point"] for tie in first.get("ties", [])] == (["S01-T1"] if known == "ties" else [])
    assert first["checks"] + second["ties"] == checks
    assert known == "ties" or known in first
    assert "# ties" not in told


def test_two_bases_in_turn_under_one_id(tmp_path: Path) -> None:
    job = simulate(SMALL)

    def other(row: Row) -> dict[str, Any]:
        return at_base(job, 0, east=300.0) if session_of(row) == 0 and row["Point"][-1] in "13579" else {}

    (told,) = check_job(write(job, tmp_path, other)).warnings
    assert "they alternate: more than one base" in told
    assert "[[session]]" not in told


def test_positions_that_differ_by_their_printing_are_one(tmp_path: Path) -> None:
    job = simulate(SMALL)

    def rounded(row: Row) -> dict[str, Any]:
        return at_base(job, 0, up=0.002) if late(job, row, 0, 4.0) else {}

    assert check_job(write(job, tmp_path, rounded)).warnings == ()


@pytest.mark.parametrize("height", ["0.000", "320.306"])
def test_zeros_are_no_position_of_the_base(height: str, tmp_path: Path) -> None:
    """A controller logs them for some hours in which it knows none: a gap, and not another base."""
    job = simulate(SMALL)

    def unknown(row: Row) -> dict[str, Any]:
        zeros = {"BLon": "0.0", "BLat": "0.0", "BHt": height}
        return zeros if late(job, row, 0, 4.0) and not late(job, row, 0, 6.0) else {}

    path = write(job, tmp_path, unknown)
    (told,) = check_job(path).warnings
    assert "carry no position of the base, though readings before and after do" in told
    record = run_job(path, dry_run=True).record
    assert record["doubts"] == [] and len(record["sessions"][0]["base_log"]["positions"]) == 1


def test_more_positions_than_a_base_can_have(tmp_path: Path) -> None:
    """A column that is not the base's position; its values are counted, not kept."""
    job = simulate(replace(SMALL, points=60))
    path = write(job, tmp_path, lambda row: {"BLon": row["Lon"], "BLat": row["Lat"], "BHt": row["EllHt"]})
    told = check_job(path).warnings
    assert len([text for text in told if "its points carry more than " in text]) == 2
    assert all(len(text) < 1500 for text in every(told))


def test_network_corrections_come_from_anywhere(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, base_horizontal=0.0, base_vertical=0.0))
    for session in job.job["session"]:
        session |= {"shift": "none", "ties": [], "checks": [*session["ties"], *session["checks"]]}
    places = iter(range(100))  # a virtual station is another one with every row, never one of before
    path = write(job, tmp_path, lambda row: at_base(job, session_of(row), east=1.0 + 0.37 * next(places)), False)
    assert check_job(path).warnings == ()


def test_a_position_that_the_field_corrected(tmp_path: Path) -> None:
    """The base's position changes by the field shift that the job states, at its time: nothing to be told."""
    job = simulate(SMALL)
    start = job.job["session"][0]["start"] + dt.timedelta(hours=4)
    vector = {"east": 1.4, "north": -2.2, "up": 7.5}
    job.correct_in_field(0, start, **vector)
    job.job["session"][0]["field_shift"] = {"from": start, **vector}

    def corrected(row: Row) -> dict[str, Any]:
        return at_base(job, 0, **vector) if late(job, row, 0, 4.0) else {}

    (told,) = check_job(write(job, tmp_path / "stated", corrected)).warnings
    assert "only `from` says that the field shift was switched on" in told
    del job.job["session"][0]["field_shift"]
    (told,) = check_job(write(job, tmp_path / "not", corrected)).warnings
    assert "a position corrected in the field is a field_shift = { from = 2026-03-01T23:" in told


def with_setup(job: Simulation, antenna: float | None, up: float = 0.0) -> None:
    """Let the job say where its first base stood, over a mark of the register."""
    base = {"longitude": float(job.broadcast.longitude[0]), "latitude": float(job.broadcast.latitude[0]),
            "ellipsoid_height": float(job.broadcast.ellipsoid_height[0]) + up}  # fmt: skip
    job.job["session"][0]["setup"] = {"mark": "BM", **base} | ({} if antenna is None else {"antenna_height": antenna})
    mark = {"mark": "BM", "easting": job.bases.easting[0], "northing": job.bases.northing[0],
            "height": job.bases.height[0] - (antenna or 0.0), "hu95": 0.01, "vu95": 0.02}  # fmt: skip
    job.register = {name: np.append(values, mark[name]) for name, values in job.register.items()}


def test_a_setup_that_agrees_with_the_points(tmp_path: Path) -> None:
    job = simulate(SMALL)
    with_setup(job, 1.8)
    assert check_job(write(job, tmp_path)).warnings == ()


def test_points_that_carry_another_position_than_setup(tmp_path: Path) -> None:
    job = simulate(SMALL)
    with_setup(job, 1.8)
    path = write(job, tmp_path, lambda row: at_base(job, 0, 0.4, -0.3, 0.1) if session_of(row) == 0 else {})
    (told,) = check_job(path).warnings
    assert told.startswith("session session-01: the base's position on its points (rover001.csv:")
    assert told.endswith("differs from setup by +0.400 m east, -0.300 m north, +0.100 m up")


@pytest.mark.parametrize(
    ("up", "says"),
    [
        (-1.8, "that is the antenna height: the points have the mark's own height, or setup has it added twice"),
        (1.8, "that is the antenna height: setup has the mark's own height, or the points have it added twice"),
    ],
)
def test_a_position_that_differs_by_the_antenna_height(up: float, says: str, tmp_path: Path) -> None:
    job = simulate(SMALL)
    with_setup(job, 1.8)
    path = write(job, tmp_path, lambda row: at_base(job, 0, up=up) if session_of(row) == 0 else {})
    (told,) = check_job(path).warnings
    assert told.endswith(f"{up:+.3f} m up; {says}")


def test_another_antenna_height_than_setup_has(tmp_path: Path) -> None:
    job = simulate(SMALL)
    with_setup(job, 1.8)
    path = write(job, tmp_path, lambda row: {"Ant": "1.612"} if session_of(row) == 0 else {})
    (told,) = check_job(path).warnings
    assert told.startswith("session session-01: setup has an antenna height of 1.800 m, its points one of 1.612 m (")


def test_an_antenna_height_that_changes_within_an_export(tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = write(job, tmp_path, lambda row: {"Ant": "2.000"} if late(job, row, 1, 5.0) else {})
    (told,) = check_job(path).warnings
    assert told.startswith("session session-02: its points carry different antenna heights: 1.800 m (")
    assert ", 2.000 m (" in told


def test_points_before_any_mark_that_begin_far_from_the_base_are_told(tmp_path: Path) -> None:
    """In the first session, where the base is known; the second begins on a mark, which tests base and rover more."""
    job = simulate(SMALL)
    row = int(np.flatnonzero(job.rows["kind"] == "point")[0])
    job.rows["time"] = job.rows["time"].copy()
    job.rows["time"][row] = job.rows["time"].min() - np.timedelta64(60, "s")
    (text,) = check_job(write(job, tmp_path, beside=False)).warnings
    raw = (job.rows[axis][row : row + 1] for axis in ("longitude", "latitude", "height"))
    apart = to_geocentric(*raw, GRS80)[0] - to_geocentric(*job.broadcast.places[0], GRS80).ravel()
    assert text.startswith("the first reading is far from the base, and no mark was occupied before the points: ")
    assert f": {job.rows['name'][row]} of session session-01 at 2026-03-" in text and "session-02" not in text
    assert f"), {np.linalg.norm(apart):,.0f} m; " in text


def test_days_that_begin_on_marks_need_not_begin_beside_their_bases(tmp_path: Path) -> None:
    assert check_job(write(simulate(SMALL), tmp_path, beside=False)).warnings == ()


def test_the_base_on_the_points_counts_for_the_distance(tmp_path: Path) -> None:
    """1 ppm of the distance from the base, in quadrature, as with a set-up; nothing where the base is not known."""
    job = simulate(replace(SMALL, sessions=1, noise=False, reach=20_000.0))
    job.job["quality"]["ppm"] = 5.0
    known = run_written(write(job, tmp_path / "known"))
    unknown = run_written(job.write(tmp_path / "unknown"))
    plain = {row["name"]: row["vu95"] for row in unknown.points.rows}
    base = to_geocentric(*job.broadcast.places[0], GRS80).ravel()
    raw = to_geocentric(*(job.rows[axis] for axis in ("longitude", "latitude", "height")), GRS80)
    distance = dict(zip(job.rows["name"], np.linalg.norm(raw - base, axis=1), strict=True))
    assert max(distance.values()) > 18_000
    for name, vu95 in plain.items():
        # the point's own, and that of the one tie which gives the shift
        added = 1.96**2 * ((5e-6 * distance[name]) ** 2 + (5e-6 * distance["S01-T1"]) ** 2)
        assert known.points.one(name=name)["vu95"] ** 2 - vu95**2 == pytest.approx(added, rel=1e-3)


def test_base_ids_that_no_session_has(tmp_path: Path) -> None:
    """A sentence for each of them, the most frequent first; their rows are held back, as ever."""
    job = simulate(SMALL)
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["base"] = job.rows["base"].astype("U12")
    job.rows["base"][points[:7]], job.rows["base"][points[10:13]] = "Base-x", "BASE-9"
    path = job.write(tmp_path)
    first, second = check_job(path).warnings
    assert "7 readings carry the base id Base-x from 2026-03-01 " in first
    assert "3 readings carry the base id BASE-9 from " in second
    assert all("no session at that time has it: session session-01 (base BASE-01)" in told for told in (first, second))
    assert run_job(path, dry_run=True).record["rows"]["by_reason"] == {"outside_sessions": 10}


def test_two_base_ids_in_a_session_that_names_none(tmp_path: Path) -> None:
    job = simulate(SMALL)
    for session in job.job["session"]:
        del session["base"]
    assert check_job(job.write(tmp_path / "one")).warnings == ()
    job.rows["base"] = job.rows["base"].astype("U12")
    job.rows["base"][5] = "BASE-9"
    doubt, told = check_job(job.write(tmp_path / "two")).warnings
    assert "no mark was occupied with the id of 1 reading " in doubt and 'confirmed = ["base"]' in doubt
    assert told.startswith("session session-01: it names no base, and its points carry different base ids: BASE-01 (")
    assert "BASE-9 (1 at" in told


@pytest.mark.parametrize(("hours", "says"), [(-1, "1 h later"), (1, "1 h earlier"), (-13, "13 h later")])
def test_a_clock_that_is_off_by_whole_hours(hours: int, says: str, tmp_path: Path) -> None:
    """The second session's points; its ties and checks are in time, so that the job runs."""
    job = simulate(replace(SMALL, points=200))
    mine = (job.rows["session"] == 1) & (job.rows["kind"] == "point")
    job.rows["time"] = job.rows["time"] + np.where(mine, hours * 3_600_000, 0).astype("timedelta64[ms]")
    (told,) = check_job(job.write(tmp_path)).warnings
    outside = 200 if abs(hours) > 8 else pytest.approx(25, abs=2)
    assert int(told.split(" readings")[0]) == outside
    assert f"(rover001.csv) fall outside all sessions; with times {says} all of them would be inside" in told


def test_gps_time_taken_for_utc(tmp_path: Path) -> None:
    """Sixteen points in the session's last seconds, stamped 18 s late."""
    job = simulate(replace(SMALL, sessions=1))
    end = np.datetime64(job.job["session"][0]["end"].replace(tzinfo=None), "ms")
    points = np.flatnonzero(job.rows["kind"] == "point")[-16:]
    job.rows["time"][points] = end - np.arange(16, 0, -1).astype("timedelta64[s]") + np.timedelta64(18, "s")
    (told,) = check_job(job.write(tmp_path)).warnings
    assert "with times 18 s earlier all of them would be inside: GPS time, 18 s ahead of UTC," in told


def test_a_few_points_outside_are_no_news(tmp_path: Path) -> None:
    job = simulate(SMALL)
    points = np.flatnonzero(job.rows["kind"] == "point")[:9]
    job.rows["time"][points] -= np.timedelta64(13, "h")
    assert check_job(job.write(tmp_path)).warnings == ()


def test_a_whole_job_in_another_zone_is_told_the_offset(tmp_path: Path) -> None:
    """Nothing is usable then: the problem says what would put it right."""
    job = simulate(SMALL)
    job.job["source"]["time_zone"] = "+13:00"
    for session in job.job["session"]:
        session |= {"ties": [], "checks": [], "shift": "none"}
    path = job.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Observed": row["Observed"].removesuffix("Z")})
    with pytest.raises(JobError) as caught:
        check_job(path)
    (problem,) = caught.value.problems
    assert "with times 13 h later all of them would be inside" in problem.fix


def test_a_projected_export_with_a_projected_base(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, noise=False))

    def change(row: Row) -> Row:
        session = session_of(row)
        east, north = job.plan.place.projection.forward(float(row["Lon"]), float(row["Lat"]))
        at = [job.broadcast.easting[session], job.broadcast.northing[session], job.broadcast.ellipsoid_height[session]]
        kept = {name: cell for name, cell in row.items() if name not in ("Lon", "Lat")}
        base = {name: f"{value:.5f}" for name, value in zip(("BE", "BN", "BH"), at, strict=True)}
        return kept | {"E": f"{east:.5f}", "N": f"{north:.5f}"} | base

    path = job.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", change)
    mapped = 'easting = "E", northing = "N", base_easting = "BE", base_northing = "BN", base_height = "BH"'
    replace_in(path, {'latitude = "Lat", longitude = "Lon"': mapped, 'crs = "EPSG:4959"': 'crs = "EPSG:2193"'})
    record = record_of(path)
    (position,) = record["sessions"][0]["base_log"]["positions"]
    assert position["easting"] == pytest.approx(job.broadcast.easting[0], abs=1e-5)
    assert {"longitude", "latitude"}.isdisjoint(position)
    # the first session's mark lies a few hundred metres from its base
    first = record["sessions"][0]["base_log"]["first_reading"]
    apart = np.hypot(job.marks.easting[0] - job.broadcast.easting[0], job.marks.northing[0] - job.broadcast.northing[0])
    assert first["from_base"] == pytest.approx(apart, abs=20.0)


#: England, half a degree west of Greenwich.
GREENWICH = Place(
    -0.5, 51.5, 60.0, WGS84, utm(30, south=False, ellipsoid=WGS84), "EPSG:32630", "EPSG:4979", "ellipsoid", None
)
FAR: dict[str, tuple[Callable[[float, float], tuple[float, float]], str]] = {
    "minus lost": (lambda lon, lat: (lon, -lat), "with the other sign of its latitude"),
    "other longitude": (lambda lon, lat: (-lon, lat), "with the other sign of its longitude"),
    "a default": (lambda lon, lat: (8.5, 47.3), "middle of the readings. hu95"),
    "almost zero": (lambda lon, lat: (0.0001, 0.0001), "both coordinates are zero"),
}


@pytest.mark.parametrize("way", FAR)
def test_a_base_logged_on_another_part_of_the_earth_counts_for_nothing(way: str, tmp_path: Path) -> None:
    """Radio corrections do not cross the earth: every uncertainty is what it would be without the columns."""
    elsewhere, said = FAR[way]
    job = simulate(SMALL)

    def logged(row: Row) -> dict[str, Any]:
        cells = at_base(job, session_of(row))
        lon, lat = elsewhere(float(cells["BLon"]), float(cells["BLat"]))
        return {"BLon": f"{lon:.9f}", "BLat": f"{lat:.9f}"}

    wrong = record_of(write(job, tmp_path / "wrong", logged))
    unmapped = write(job, tmp_path / "none", logged)
    for ours in ("base_longitude", "base_latitude", "base_height"):
        replace_in(unmapped, {f', {ours} = "{COLUMNS[ours]}"': ""})
    without = record_of(unmapped)
    for key in ("sigma_east", "sigma_north", "sigma_up"):
        assert [one[key] for one in wrong["sessions"]] == [one[key] for one in without["sessions"]]
    (told,) = [note for note in wrong["notes"] if "the base's position on the points" in note]
    assert told.startswith("sessions session-01, session-02: rover001.csv:") and said in told
    assert "they count no distance from it" in told
    assert not any("far from the base" in note for note in wrong["notes"])
    assert [one["base_log"]["first_reading"] for one in wrong["sessions"] if one["base_log"]] == [None, None]


def test_a_base_mirrored_across_the_meridian_nearby_counts_for_nothing(tmp_path: Path) -> None:
    """Greenwich: the minus lost at 0.5 degrees west puts the base some 70 km to the east."""
    job = simulate(replace(SMALL, place=GREENWICH))
    path = write(job, tmp_path, lambda row: {"BLon": at_base(job, session_of(row))["BLon"].lstrip("-")})
    (told,) = [note for note in record_of(path)["notes"] if "the base's position on the points" in note]
    assert "with the other sign of its longitude it would be among them" in told


def test_a_far_base_that_nothing_explains_still_counts(tmp_path: Path) -> None:
    """80 km with 1 ppm are 0.08 m: whoever computed against a station there afterwards has that uncertainty."""
    job = simulate(SMALL)
    record = record_of(write(job, tmp_path, lambda row: at_base(job, session_of(row), north=80_000.0), beside=False))
    assert [one["sigma_east"] for one in record["sessions"]] == pytest.approx([0.08, 0.08], abs=0.01)
    (told,) = [note for note in record["notes"] if "the base's position on the points" in note]
    assert "makes them too large" in told


def test_degrees_for_the_base_of_a_projected_export_are_a_problem(tmp_path: Path) -> None:
    path = write(simulate(SMALL), tmp_path)
    replace_in(path, {'crs = "EPSG:4959"': 'crs = "EPSG:2193"', 'latitude = "Lat", longitude = "Lon"':
                      'northing = "Lat", easting = "Lon"'})  # fmt: skip
    with pytest.raises(JobError) as caught:
        check_job(path)
    assert "the columns base_latitude, base_longitude do not go with a projected CRS" in str(caught.value)


@pytest.mark.parametrize(
    ("says", "other"),
    [
        (" are 1.5", lambda job: at_base(job, 0, east=0.75, north=-1.25, up=0.5)),
        ("base antenna heights that alternate between 1.800 and 2.300 m", lambda job: {"Ant": "2.300"}),
    ],
)
def test_another_base_between_two_checks_is_in_doubt(
    says: str, other: Callable[[Simulation], dict[str, str]], tmp_path: Path
) -> None:
    """The checks before and after it pass: neither tells what lies between."""
    job = simulate(SMALL)

    def between(row: Row) -> dict[str, Any]:
        return other(job) if late(job, row, 0, 2.0) and not late(job, row, 0, 5.0) else {}

    path = write(job, tmp_path, between, beside=False)
    outcome = run_job(path, dry_run=True)
    (doubt,) = outcome.record["doubts"]
    assert (doubt["kind"], doubt["sessions"], outcome.exit_code) == ("base", ["session-01"], 3)
    assert says in doubt["what"]
    assert [session["verdict"] for session in outcome.record["sessions"]] == ["unchecked", "proven"]
    append = 'confirmed = ["base"]\n'
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("[checks]\n", f"[checks]\n{append}") if "[checks]" in text else f"{text}\n[checks]\n{append}"
    )
    assert run_job(path, dry_run=True).record["verdict"] == "proven"


@pytest.mark.parametrize("apart", [{"up": 1.8}, {"east": 300.0}], ids=["of two rovers", "of a network"])
def test_positions_that_may_be_of_one_base_take_no_proof_away(apart: dict[str, float], tmp_path: Path) -> None:
    """One controller has the mark, another the antenna above it; and stations of a network lie far apart."""
    job = simulate(replace(SMALL, sessions=1))
    path = write(job, tmp_path, beside=False)
    export = tmp_path / "rover001.csv"
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    rewrite_export(export, lambda row: row | at_base(job, 0, **apart))
    other = export.read_text(encoding="utf-8").splitlines()[1:]
    parts = {"rover001.csv": lines[::2], "rover002.csv": other[1::2]}
    if "east" in apart:
        parts = {"rover001.csv": [(lines, other)[number % 2][number] for number in range(len(lines))]}
    for name, part in parts.items():
        (tmp_path / name).write_text("\n".join([heading, *part, ""]), encoding="utf-8")
    record = run_job(path, dry_run=True).record
    assert record["doubts"] == [] and record["verdict"] == "proven"
    assert any("2 positions of the base" in note for note in record["notes"])
