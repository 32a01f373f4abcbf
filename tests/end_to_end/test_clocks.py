"""Clocks that are off for a whole export: told, and in doubt where readings would belong to another base.

Offsets of zones are those of their laws: CET is UTC+1, EST is UTC-5 in America and UTC+10 in Australia; GPS - UTC is
18 s since 2017 (IERS Bulletin C 52). That a heading stays in summer what it was is common practice, no source.
"""

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pytest
from first_issue import dry_once
from network_jobs import Network
from running import replace_in
from simulate import Plan, Simulation, simulate
from simulate_files import write_job

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

UTC_LINE = 'time_zone = "UTC"\n'


def two_halves(*, coded: bool = True, points: int = 40) -> Simulation:
    """Return a day of which the second half, from 03:30 UTC on, hangs on the same base, set up again."""
    job = simulate(Plan(sessions=2, points=points))
    second = job.rows["session"] == 1
    job.rows["time"][second] -= np.timedelta64(16, "h")
    for key in ("start", "end"):
        job.job["session"][1][key] -= dt.timedelta(hours=16)
    job.rows["base"][:] = "BASE-01"
    for session in job.job["session"]:
        session["base"] = "BASE-01"
        if coded:
            session["checks"] = []
    return job


def late(job: Simulation, hours: float) -> Simulation:
    job.rows["time"] = job.rows["time"] + np.timedelta64(round(3600 * hours), "s")
    return job


def bare(path: Path, *, stated: str | None = None) -> Path:
    """Take the offset off every time, and the time zone off the job, or put another one there."""
    export = path.with_name("rover001.csv")
    export.write_text(export.read_text().replace("Z,", ","))
    replace_in(path, {UTC_LINE: "" if stated is None else f'time_zone = "{stated}"\n'})
    return path


def told(path: Path) -> list[str]:
    """What a check warns of; a run notes the same."""
    found = [text.replace(f"{path.parent}/", "") for text in check_job(path).warnings]
    notes = dry_once(path).record["notes"]
    assert set(found) <= set(notes)
    return found


def kinds(path: Path) -> list[str]:
    return [doubt["kind"] for doubt in dry_once(path).record["doubts"]]


@pytest.mark.parametrize("coded", [True, False])
def test_a_sound_clock_is_left_in_peace(coded: bool, tmp_path: Path) -> None:
    path = two_halves(coded=coded).write(tmp_path)
    assert told(path) == []
    assert dry_once(path).exit_code == 0


def test_times_with_an_offset_need_no_zone(tmp_path: Path) -> None:
    path = two_halves().write(tmp_path)
    replace_in(path, {UTC_LINE: ""})
    assert told(path) == []


def test_bare_times_of_a_zone_that_is_stated(tmp_path: Path) -> None:
    assert told(bare(two_halves().write(tmp_path), stated="UTC")) == []


def test_bare_times_without_a_zone_are_told(tmp_path: Path) -> None:
    """No other hour fits the occupations: nothing else is wrong, and nothing in doubt."""
    path = bare(two_halves(coded=False).write(tmp_path))
    (text,) = told(path)
    assert text.startswith('rover001.csv:2: the time "2026-03-01T19:40:54" has no offset from UTC')
    assert (kinds(path), dry_once(path).exit_code) == ([], 0)


def test_a_format_without_an_offset_is_bare_too(tmp_path: Path) -> None:
    path = two_halves().write(tmp_path)
    export = tmp_path / "rover001.csv"
    export.write_text(re.sub(r"(\d)T([\d:]+)Z", r"\1 \2", export.read_text()))
    files = 'files = ["rover*.csv"]'
    replace_in(path, {UTC_LINE: "", files: f'{files}\ntime_format = "%Y-%m-%d %H:%M:%S"'})
    assert ["has no offset from UTC" in text for text in told(path)] == [True]


@pytest.mark.parametrize("hours", [2, 3])
def test_bare_times_that_fit_other_sessions_are_in_doubt(hours: int, tmp_path: Path) -> None:
    """Local time read as UTC: the last hours of the morning would hang on the afternoon's base."""
    path = bare(late(two_halves(), hours).write(tmp_path))
    assert "time-zone" in kinds(path)
    assert "would belong to another session and base" in told(path)[0]


@pytest.mark.parametrize("hours", [2, 3, -3])
def test_a_wrong_hour_that_moves_readings_to_another_base_is_in_doubt(hours: int, tmp_path: Path) -> None:
    job = two_halves()
    if hours < 0:  # ties stand at the opening: let them be where they are
        tie = np.isin(job.rows["kind"], ["tie"])
        job.rows["time"][tie] += np.timedelta64(4, "h")
    path = late(job, hours).write(tmp_path)
    assert kinds(path) == ["time-zone"]
    text = told(path)[0]
    assert f"with times {abs(hours)} h {'earlier' if hours > 0 else 'later'}" in text


def without_checks(plan: Plan, zone: int = 0) -> Simulation:
    """Return a job of which the checks go by their codes, its sessions written by a clock so many hours from UTC."""
    job = simulate(plan)
    for session in job.job["session"]:
        session["checks"] = []
        for key in ("start", "end"):
            session[key] = session[key].astimezone(dt.timezone(dt.timedelta(hours=zone)))
    return job


@pytest.mark.parametrize(("hours", "zone"), [(2, 0), (2, 2), (3, 1), (-3, 0)])
def test_a_clock_that_holds_a_good_part_of_a_file_back_is_in_doubt(hours: int, zone: int, tmp_path: Path) -> None:
    """No reading is in another session: what is lost is what the clock puts outside, checks among it."""
    job = without_checks(Plan(sessions=2, points=60), zone)
    if hours < 0:  # ties stand at the opening: let them be where they are
        job.rows["time"][job.rows["kind"] == "tie"] += np.timedelta64(4, "h")
    path = late(job, hours).write(tmp_path)
    outcome = run_job(path, dry_run=True)
    (doubt,) = outcome.record["doubts"]
    held = outcome.record["rows"]["by_reason"]["outside_sessions"]
    assert (outcome.exit_code, doubt["kind"], doubt["sessions"]) == (3, "time-zone", ["session-01", "session-02"])
    way = "earlier" if hours > 0 else "later"
    rows = len(job.rows["time"])
    assert f"{held} of {rows} readings are held back" in doubt["what"]
    assert f"with times {abs(hours)} h {way} all {rows} would be inside" in doubt["what"]
    assert sum("fall outside all sessions" in note for note in outcome.record["notes"]) == 0  # once is enough
    replace_in(path, {"[job]\n": '[checks]\nconfirmed = ["time-zone"]\n\n[job]\n'})
    assert run_job(path, dry_run=True).record["doubts"][0]["confirmed"]


def test_one_file_of_four_on_local_time(tmp_path: Path) -> None:
    job, part = without_checks(Plan(sessions=2, points=119), 2), 4
    points, rows = np.flatnonzero(job.rows["kind"] == "point"), len(job.rows["kind"])
    mine = points[np.linspace(0, len(points) - 1, rows // part).astype(np.int64)]
    job.rows["time"][mine] += np.timedelta64(2, "h")
    job.keep(np.concatenate([mine, np.setdiff1d(np.arange(rows), mine)]))
    path = job.write(tmp_path, files=part)
    (doubt,) = dry_once(path).record["doubts"]
    assert doubt["kind"] == "time-zone" and doubt["what"].startswith("rover001.csv: ")


def test_small_files_are_held_against_the_sessions_together(tmp_path: Path) -> None:
    """None of them has ten readings outside."""
    job = late(without_checks(Plan(sessions=2, points=36), 2), 2)
    path = job.write(tmp_path, files=8)
    assert kinds(path) == ["time-zone"]
    (what,) = [doubt["what"] for doubt in dry_once(path).record["doubts"]]
    assert re.search("of rover00.*, rover00.* are held back outside all sessions; with times 2 h earlier all", what)


@pytest.mark.parametrize("zone", [0, 1, 2])
@pytest.mark.parametrize("later", [0.0, 3.0])
def test_rows_before_and_after_work_are_in_no_doubt(zone: int, later: float, tmp_path: Path) -> None:
    """The base was switched on an hour later, or off an hour sooner, than the crew worked; windows with room or not."""
    job = without_checks(Plan(sessions=1, points=80), zone)
    (session,) = job.job["session"]
    tie = job.rows["kind"] == "tie"
    job.rows["time"][tie] += np.timedelta64(2, "h")
    session["start"] += dt.timedelta(hours=1)
    session["end"] += dt.timedelta(hours=-1 if not later else 0)
    assert kinds(job.write(tmp_path)) == []


@pytest.mark.parametrize("zone", [0, 2])
def test_floats_on_the_way_to_work_are_in_no_doubt(zone: int, tmp_path: Path) -> None:
    """Thirty readings before the base was there, and a session that was left to run for hours at the end."""
    job = without_checks(Plan(sessions=1, points=60), zone)
    (session,) = job.job["session"]
    points = np.flatnonzero(job.rows["kind"] == "point")[:30]
    job.rows["time"][points] = job.rows["time"].min() - np.arange(40, 70).astype("timedelta64[m]")
    job.rows["solution"][points] = "float"
    session["end"] += dt.timedelta(hours=2.5)
    assert kinds(job.write(tmp_path)) == []


@pytest.mark.parametrize("slack", [0, 9])
def test_a_session_that_is_left_out_is_in_no_doubt(slack: int, tmp_path: Path) -> None:
    """The morning of a day on one base, which is in the same file; the afternoon's session is as long as you like."""
    job = two_halves()
    kept = job.job["session"].pop(1)
    job.job["session"] = [kept | {"end": kept["end"] + dt.timedelta(hours=slack)}]
    assert "time-zone" not in kinds(job.write(tmp_path))


def test_one_rover_of_two_on_another_hour(tmp_path: Path) -> None:
    """Its readings alone are looked at: those of the first one are where they should be."""
    job = two_halves(points=80)
    drafted = np.flatnonzero(job.rows["kind"] == "point")
    one, other = np.flatnonzero(job.rows["kind"] != "point"), drafted[::2]
    job.rows["time"][other] += np.timedelta64(3, "h")
    job.keep(np.concatenate([one, drafted[1::2][len(one) :], other]))
    path = job.write(tmp_path, files=2)
    assert any("rover002.csv: " in text and "3 h earlier" in text for text in told(path))
    assert kinds(path) == ["time-zone"]


def test_sessions_written_in_another_zone_than_the_export_is_read_in(tmp_path: Path) -> None:
    """Standard time for the export, daylight saving for the sessions: both fit, and one may be off by an hour."""
    job = simulate(Plan(sessions=1, points=20))
    summer = dt.timezone(dt.timedelta(hours=13))
    for session in job.job["session"]:
        session["start"], session["end"] = (session[key].astimezone(summer) for key in ("start", "end"))
    path = bare(late(job, 12).write(tmp_path), stated="+12:00")
    (text,) = told(path)
    assert 'time_zone "+12:00", UTC+12:00 on that day, and session session-01 is written in UTC+13:00' in text


#: New Zealand's clocks went from 02:00 to 03:00 on 27 September 2026, at this instant (Time Order 2007).
FORWARD = np.datetime64("2026-09-26T14:00", "ms")


def through_the_change(folder: Path, zone: str, turned: bool) -> Path:
    """Return a day across the change, its times without offset: of a clock that ``turned``, or stayed on winter's."""
    job = simulate(Plan(sessions=1, points=40, start=dt.datetime(2026, 9, 26, 11, 0, tzinfo=dt.UTC)))
    summer = (job.rows["time"] >= FORWARD) & turned
    assert (job.rows["time"] >= FORWARD).any() and (job.rows["time"] < FORWARD).any()
    job.rows["time"] = job.rows["time"] + np.where(summer, np.timedelta64(13, "h"), np.timedelta64(12, "h"))
    return bare(job.write(folder), stated=zone)


def test_a_clock_that_missed_the_change_to_summer_time_is_in_doubt(tmp_path: Path) -> None:
    path = through_the_change(tmp_path, "Pacific/Auckland", turned=False)
    (doubt,) = dry_once(path).record["doubts"]
    assert doubt["kind"] == "time-zone" and doubt["sessions"] == ["session-01"]
    assert 'time_zone = "+12:00"' in doubt["what"] and "not exist in Pacific/Auckland" in doubt["what"]
    assert dry_once(path).exit_code == 3
    assert any("not exist in" in str(each) for each in check_job(path).doubts)


def test_a_check_in_the_hour_that_comes_twice_says_which_offsets_may_be_stated(tmp_path: Path) -> None:
    """New Zealand's clocks went back from +13:00 to +12:00 on 5 April 2026 at three in the morning."""
    path = through_the_change(tmp_path, "Pacific/Auckland", turned=True)
    export = next(tmp_path.glob("rover*.csv"))
    lines = export.read_text(encoding="utf-8").splitlines()
    (check,) = [at for at, line in enumerate(lines) if line.startswith("S01-C1,")]
    lines[check] = re.sub(r"20\d\d-\d\d-\d\d[T ]\d\d:\d\d", "2026-04-05T02:30", lines[check])
    export.write_text("\n".join([*lines, ""]), encoding="utf-8")
    with pytest.raises(JobError) as raised:
        run_job(path)
    told = str(raised.value)
    assert "comes twice in Pacific/Auckland" in told
    assert 'time_zone = "+13:00" or time_zone = "+12:00" (' in told and "export the times in UTC" in told


@pytest.mark.parametrize(("zone", "turned"), [("Pacific/Auckland", True), ("+12:00", False)])
def test_a_clock_that_was_turned_and_one_that_is_stated_are_in_no_doubt(
    zone: str, turned: bool, tmp_path: Path
) -> None:
    assert kinds(through_the_change(tmp_path, zone, turned)) == []


def test_a_lone_time_mistyped_into_the_hour_that_is_skipped_is_told_and_doubts_nothing(tmp_path: Path) -> None:
    """A day's work from nine in the morning, one row of which says 02:30 for 12:30: that row alone is held back."""
    job = simulate(Plan(sessions=2, points=40, start=dt.datetime(2026, 9, 25, 20, 30, tzinfo=dt.UTC)))
    clock = np.where(job.rows["time"] >= FORWARD, np.timedelta64(13, "h"), np.timedelta64(12, "h"))
    job.rows["time"] = job.rows["time"] + clock
    on_change = np.flatnonzero((job.rows["kind"] == "point") & (job.rows["time"] > np.datetime64("2026-09-27T11:30")))
    job.rows["time"][on_change[0]] = np.datetime64("2026-09-27T02:30", "ms")
    path = bare(job.write(tmp_path), stated="Pacific/Auckland")
    record = dry_once(path).record
    assert record["doubts"] == [] and record["rows"]["by_reason"]["ambiguous_time"] == 1
    assert any("no row beside it is near in time" in text for text in told(path))


def test_sessions_before_the_change_are_in_no_doubt(tmp_path: Path) -> None:
    """The night before the clock was right; the night of the change it stayed where it was."""
    job = simulate(Plan(sessions=2, points=40, start=dt.datetime(2026, 9, 25, 11, 0, tzinfo=dt.UTC)))
    job.rows["time"] = job.rows["time"] + np.timedelta64(12, "h")
    path = bare(job.write(tmp_path), stated="Pacific/Auckland")
    (doubt,) = dry_once(path).record["doubts"]
    assert doubt["kind"] == "time-zone" and doubt["sessions"] == ["session-02"]


MARKS = {"CM1": (0, 0), "CM2": (700, -500)}


def nights(*begins: str, points: tuple[int, ...], ties_later: int | None = None) -> Network:
    """Return sessions without base ids from hours of UTC on, a row every five minutes, each till the next one begins.

    The tie and the check of the session ``ties_later`` are read behind its other rows.
    """
    work = Network()
    for name, (east, north) in MARKS.items():
        work.mark(name, east, north)
    for number, (begin, count) in enumerate(zip(begins, points, strict=True)):
        start = dt.datetime.fromisoformat(begin).replace(tzinfo=dt.UTC)
        work.session(
            f"s{number}", ties=["CM1"], checks=["CM2"], points=[(30 * k, 100) for k in range(count)], start=start
        )
    rows = work.rows
    rows["time"] = rows["time"].copy()
    if ties_later is not None:
        behind = (rows["session"] == ties_later) & np.array(["CM" in name for name in rows["name"]])
        rows["time"][behind] += np.timedelta64(5 * (points[ties_later] + 2), "m")
    rows["base"] = np.full(len(rows["base"]), "")
    for number, session in enumerate(work.job["session"]):
        session.pop("base")
        session["end"] = work.job["session"][number + 1]["start"] if number + 1 < len(begins) else session["end"]
    return work


def by_clock(work: Network, folder: Path, files: int, zone: str, offset: object) -> Path:
    """Write the job with its times on a clock, (n,) timedeltas ahead of UTC, in so many files of equal length."""
    rows = {**work.rows, "time": work.rows["time"] + offset}
    work.job["source"]["time_zone"] = zone
    path = write_job(folder, rows, work.register, work.job, "csv", files, False)
    for export in path.parent.glob("rover*.csv"):
        export.write_text(export.read_text().replace("Z,", ","))
    return path


def doubted(path: Path) -> list[list[str]]:
    found = dry_once(path).record["doubts"]
    assert {doubt["kind"] for doubt in found} <= {"time-zone"}
    return [doubt["sessions"] for doubt in found]


def test_the_next_days_export_of_a_clock_that_missed_the_change_is_in_doubt_too(tmp_path: Path) -> None:
    """Its times lie in no hour that is skipped, but its first rows in the session before their own."""
    work = nights("2026-09-26T12:00", "2026-09-27T00:30", "2026-09-27T04:00", points=(44, 21, 21), ties_later=2)
    later = work.rows["session"] == 1
    work.rows["time"][later] += np.timedelta64(90, "m")
    kept = np.timedelta64(12, "h")
    path = by_clock(work, tmp_path / "kept", 2, "Pacific/Auckland", kept)
    assert doubted(path) == [["s0"], ["s1", "s2"]]
    assert doubted(by_clock(work, tmp_path / "stated", 2, "+12:00", kept)) == []
    turned = np.where(work.rows["time"] >= FORWARD, np.timedelta64(13, "h"), kept)
    assert doubted(by_clock(work, tmp_path / "turned", 2, "Pacific/Auckland", turned)) == []


#: And from 03:00 back to 02:00 on 5 April 2026.
BACK = np.datetime64("2026-04-04T14:00", "ms")


def test_a_clock_that_kept_summer_time_is_in_doubt_where_rows_would_be_another_sessions(tmp_path: Path) -> None:
    work = nights("2026-04-04T12:00", "2026-04-04T15:00", points=(30, 20))
    kept = np.timedelta64(13, "h")
    path = by_clock(work, tmp_path / "kept", 1, "Pacific/Auckland", kept)
    assert doubted(path) == [["s1"]]
    assert dry_once(path).exit_code == 3
    assert doubted(by_clock(work, tmp_path / "stated", 1, "+13:00", kept)) == []
    turned = np.where(work.rows["time"] >= BACK, np.timedelta64(12, "h"), kept)
    assert doubted(by_clock(work, tmp_path / "turned", 1, "Pacific/Auckland", turned)) == []


def headed(path: Path, heading: str, *, stated: str | None = "UTC") -> Path:
    """Take the offset off every time, give their column another heading, and put a time zone into the job."""
    bare(path, stated=stated)
    replace_in(path.with_name("rover001.csv"), {",Observed,": f",{heading},"})
    replace_in(path, {'time = "Observed"': f'time = "{heading}"'})
    return path


def day(folder: Path, hours: float = 0.0) -> Path:
    """A day of one session, which a clock that is off by an hour or two stays in."""
    return late(simulate(Plan(sessions=1, points=20)), hours).write(folder)


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("Time (CET)", "UTC+01:00"),
        ("Zeit MEZ", "UTC+01:00"),
        ("Time (UTC+2)", "UTC+02:00"),
        ("Time EST", "UTC-05:00 or UTC+10:00"),
        ("Time (GPS)", "on the GPS time scale"),
        ("Local time", "on a local clock"),
    ],
)
def test_a_heading_of_another_clock_is_told(heading: str, said: str, tmp_path: Path) -> None:
    (text,) = told(headed(day(tmp_path), heading))
    assert text == (
        f'rover001.csv: the heading "{heading}" states that times are {said}, but they are read with time_zone ='
        ' "UTC": one of the two may be wrong'
    )
    assert kinds(tmp_path / "job.toml") == []


@pytest.mark.parametrize(
    ("heading", "zone", "hours"),
    [
        ("Time (UTC)", "UTC", 0),
        ("Observed", "UTC", 0),
        ("Time (NZDT)", "+13:00", 13),
        ("Time NZST", "Pacific/Auckland", 13),  # the clock of summer under winter's name
        ("Time AEST", "Australia/Sydney", 11),
        ("Time EST", "Australia/Sydney", 11),
        ("Local time", "Pacific/Auckland", 13),
        ("Time (UTC+13)", "Pacific/Auckland", 13),
    ],
)
def test_a_heading_of_the_jobs_clock_says_nothing(heading: str, zone: str, hours: int, tmp_path: Path) -> None:
    path = headed(day(tmp_path, hours), heading, stated=zone)
    assert [text for text in told(path) if "heading" in text] == []


def test_an_offset_in_figures_is_no_summer_time(tmp_path: Path) -> None:
    """In March New Zealand's clocks are thirteen hours ahead: a heading with twelve in figures is of another one."""
    texts = told(headed(day(tmp_path, 13), "Time (UTC+12)", stated="Pacific/Auckland"))
    assert ["states that times are UTC+12:00" in text for text in texts if "heading" in text] == [True]


@pytest.mark.parametrize("hours", [2, 3])
@pytest.mark.parametrize("stated", ["UTC", None])
def test_readings_that_would_change_their_base_are_in_doubt(hours: int, stated: str | None, tmp_path: Path) -> None:
    """Times of a clock that is ahead, read as UTC: the last of the morning would hang on the afternoon's base."""
    path = headed(late(two_halves(), hours).write(tmp_path), f"Time (UTC+{hours})", stated=stated)
    assert "time-zone" in kinds(path)
    (text,) = [text for text in told(path) if "heading" in text]
    assert f"with times {hours} h earlier" in text and "would belong to another session and base" in text
    assert (f'write time_zone = "+0{hours}:00"' in text) is (stated is None)


def test_a_heading_that_says_utc_is_a_statement(tmp_path: Path) -> None:
    """Without a time_zone all are read as UTC: where the heading says so, nothing is left to state."""
    path = headed(two_halves().write(tmp_path), "Time (UTC)", stated=None)
    assert (told(path), kinds(path)) == ([], [])


def test_times_that_state_their_offset_are_read_by_it(tmp_path: Path) -> None:
    """Whatever stands above them."""
    path = day(tmp_path)
    replace_in(path.with_name("rover001.csv"), {",Observed,": ",Time (CET),"})
    replace_in(path, {'time = "Observed"': 'time = "Time (CET)"'})
    assert UTC_LINE in path.read_text()
    assert [text for text in told(path) if "heading" in text] == []


def in_utc(folder: Path, *, typed_local: bool, pause: int, tied_late: bool = False) -> Path:
    """Return a day of two sessions written in UTC, its export on Vienna's clock (CET, UTC+1), a reading every 8 min.

    The base was set up again at 11:30 UTC, and work paused then by some minutes. Sessions that are ``typed_local``
    say 12:30, as that clock showed, with UTC's sign behind it.
    """
    job = simulate(Plan(sessions=2, points=26, ties=1, checks=1, start=dt.datetime(2026, 3, 10, 8, 0, tzinfo=dt.UTC)))
    rows, moved = job.rows, dt.datetime(2026, 3, 10, 11, 30)
    for number, session in enumerate(job.job["session"]):
        mine = np.flatnonzero(rows["session"] == number)
        step = np.arange(len(mine)) * np.timedelta64(8, "m")
        half = np.timedelta64(pause * 30, "s")
        first = np.datetime64(moved, "ms") + half if number else np.datetime64(moved, "ms") - half - step[-1]
        rows["time"][mine] = first + step
        session["start"] = dt.datetime(2026, 3, 10, 11 if number else 4, 30, tzinfo=dt.UTC)
        session["end"] = dt.datetime(2026, 3, 10, 16 if number else 11, 30, tzinfo=dt.UTC)
        session["base"] = "BASE-01"
        if typed_local:
            session["start"], session["end"] = (session[key] + dt.timedelta(hours=1) for key in ("start", "end"))
    rows["base"][:] = "BASE-01"
    if typed_local:  # the tie of the second session came late enough to lie in it all the same
        tie = np.flatnonzero((rows["session"] == 1) & (rows["kind"] != "point"))
        rows["time"][tie] += np.timedelta64(90, "m")
    else:  # the check at the end of the first one came an hour before: nothing but the pause tells the clock
        check = np.flatnonzero((rows["session"] == 0) & (rows["kind"] == "check"))
        rows["time"][check] -= np.timedelta64(90, "m")
    rows["time"] = rows["time"] + np.timedelta64(1, "h")
    order = np.argsort(rows["time"], kind="stable")
    job.keep(order)
    return bare(job.write(folder), stated="Europe/Vienna")


def utc_notes(path: Path) -> list[str]:
    return [note for note in dry_once(path).record["notes"] if "is written in UTC" in note]


def test_local_times_typed_as_utc_are_told(tmp_path: Path) -> None:
    """Seven readings of the second base, 8 minutes apart in an hour, would take the first one's shift."""
    path = in_utc(tmp_path, typed_local=True, pause=24)
    (note,) = utc_notes(path)
    assert "session session-01 is written in UTC" in note and "write them with +01:00" in note
    assert "time-zone" not in kinds(path)


@pytest.mark.parametrize("pause", [24, 40, 90])
def test_sessions_in_utc_that_change_where_work_paused_are_left_in_peace(pause: int, tmp_path: Path) -> None:
    path = in_utc(tmp_path, typed_local=False, pause=pause)
    assert utc_notes(path) == [] and kinds(path) == []
    assert dry_once(path).record["rows"]["held_back"] == 0


def test_sessions_in_utc_of_days_apart_are_left_in_peace(tmp_path: Path) -> None:
    """Sessions of two days: an hour more or less changes none of them."""
    path = bare(late(simulate(Plan(sessions=2, points=20)), 1).write(tmp_path), stated="+01:00")
    assert utc_notes(path) == [] and kinds(path) == []
