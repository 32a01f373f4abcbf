"""Rows whose times contradict the order of their file: doubted where another base comes of it, and nothing else is.

Two sessions follow one another and no row has a base id, so that a row belongs to a session by its time alone. In the
simulation rows stand in the order of observation, points by the minute and more.
"""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from running import replace_in, rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import JobError, run_job
from pipeline.check import check_job
from pipeline.issue.record_types import Record

_HOUR = np.timedelta64(3600, "s")
#: What all sentences about the order of rows have.
_SAID = ("are in time order, except", "times go back")


def day(points: int = 25, ids: bool = False) -> Simulation:
    """Return a day of which the second half, from 03:30 UTC on, hangs on another base, without base ids."""
    job = simulate(Plan(sessions=2, points=points, seed=5))
    second = job.rows["session"] == 1
    job.rows["time"][second] -= np.timedelta64(16, "h")
    for key in ("start", "end"):
        job.job["session"][1][key] -= dt.timedelta(hours=16)
    if not ids:
        job.rows["base"][:] = ""
        for session in job.job["session"]:
            session.pop("base", None)
    return job


def points_of(job: Simulation, session: int) -> np.ndarray:
    return np.flatnonzero((job.rows["session"] == session) & (job.rows["kind"] == "point"))


def ordered(job: Simulation, order: np.ndarray) -> Simulation:
    """Write the rows in another order."""
    job.rows = {key: values[order] for key, values in job.rows.items()}
    return job


def said(path: Path) -> list[str]:
    return [text for text in check_job(path).warnings if any(words in text for words in _SAID)]


def judged(path: Path) -> tuple[Record, int]:
    outcome = run_job(path, dry_run=True)
    return outcome.record, outcome.exit_code


def verdicts(record: Record) -> dict[str, str]:
    return {session["session"]: session["verdict"] for session in record["sessions"]}


def sessions_apart(job: Simulation) -> np.timedelta64:
    """Return the time from the first session's middle to the second's: a row moved by it lies in the other."""
    first, second = (np.sort(job.rows["time"][points_of(job, number)])[12] for number in (0, 1))
    return np.timedelta64(int((second - first) / _HOUR), "h")


@pytest.mark.parametrize("place", [2, 12, 22])
@pytest.mark.parametrize("later", [True, False])
def test_a_mistyped_time_that_changes_the_base_is_doubted_with_its_neighbours(
    tmp_path: Path, place: int, later: bool
) -> None:
    job = day()
    row = points_of(job, 0 if later else 1)[place]
    job.rows["time"][row] += sessions_apart(job) if later else -sessions_apart(job)
    times = [
        str(np.datetime_as_string(job.rows["time"][each], "s")).replace("T", " ") for each in (row - 1, row, row + 1)
    ]
    record, code = judged(job.write(tmp_path))
    (doubt,) = record["doubts"]
    assert code == 3 and doubt["kind"] == "time-zone"
    assert f"rover001.csv:{row + 2}:" in doubt["what"]
    assert f"at {times[1]} UTC" in doubt["what"]
    assert f"row {row + 1} of {times[0]} and row {row + 3} of {times[2]} UTC" in doubt["what"]
    assert "If the time is mistyped, correct it in the export" in doubt["what"]
    wrong, right = ("session-02", "session-01") if later else ("session-01", "session-02")
    assert f"to session {wrong}, by position in the file to session {right}" in doubt["what"]
    assert doubt["sessions"] == [wrong]
    assert verdicts(record) == {wrong: "unchecked", right: "proven"}


def test_a_few_rows_of_a_clock_that_was_set_wrong_are_doubted_together(tmp_path: Path) -> None:
    job = day(points=40)
    rows = points_of(job, 0)[10:14]
    job.rows["time"][rows] += sessions_apart(job)
    record, code = judged(job.write(tmp_path))
    (doubt,) = record["doubts"]
    assert code == 3 and doubt["sessions"] == ["session-02"]
    assert f"rover001.csv:{rows[0] + 2}:" in doubt["what"] and f"4 rows (to row {rows[-1] + 2})" in doubt["what"]


def test_in_an_export_from_the_newest_to_the_oldest_the_same_is_doubted(tmp_path: Path) -> None:
    job = day()
    row = int(points_of(job, 0)[7])
    job.rows["time"][row] += sessions_apart(job)
    last = len(job.rows["time"]) - 1
    (told,) = said(ordered(job, np.arange(last + 1)[::-1]).write(tmp_path))
    assert f"rover001.csv:{last - row + 2}:" in told


def test_what_changes_no_session_is_a_note(tmp_path: Path) -> None:
    job = day()
    rows = points_of(job, 0)
    times = job.rows["time"]
    times[rows[3]] = times[rows[20]] + np.timedelta64(1, "s")
    path = job.write(tmp_path)
    record, code = judged(path)
    assert not record["doubts"] and code == 0
    (told,) = said(path)
    assert f"rover001.csv:{rows[3] + 2}:" in told and "belongs to session" not in told


def _by_name(job: Simulation) -> np.ndarray:
    rows = points_of(job, 0), points_of(job, 1)
    numbers = iter(range(1, 200))
    for row in np.concatenate(rows):
        job.rows["name"][row] = f"P{next(numbers)}"
    return np.argsort(job.rows["name"], kind="stable")


def _by_code(job: Simulation) -> np.ndarray:
    for number, row in enumerate(np.concatenate([points_of(job, 0), points_of(job, 1)])):
        job.rows["code"][row] = "TREE" if number % 20 == 3 else "KERB" if number % 2 else "FENCE"
    return np.argsort(job.rows["code"], kind="stable")


def _a_check_at_the_end(job: Simulation) -> np.ndarray:
    (check, *_) = np.flatnonzero((job.rows["session"] == 0) & (job.rows["kind"] == "check"))
    every = np.arange(len(job.rows["time"]))
    return np.append(every[every != check], check)


def _blocks(job: Simulation) -> np.ndarray:
    return np.argsort(-job.rows["session"], kind="stable")


def _two_rovers(job: Simulation) -> np.ndarray:
    """Every third row is of another rover, whose rows are appended."""
    return np.argsort(np.arange(len(job.rows["time"])) % 3 == 0, kind="stable")


def _a_small_rover(job: Simulation) -> np.ndarray:
    return np.argsort(np.isin(np.arange(len(job.rows["time"])), points_of(job, 0)[[3, 9, 15]]), kind="stable")


def _marks_first(job: Simulation) -> np.ndarray:
    return np.argsort(job.rows["kind"] == "point", kind="stable")


def _merged(job: Simulation) -> np.ndarray:
    late = np.random.default_rng(3).uniform(0, 600, len(job.rows["time"]))
    return np.argsort(job.rows["time"] + (late * 1000).astype("timedelta64[ms]"), kind="stable")


def _staked_out(job: Simulation) -> np.ndarray:
    return np.random.default_rng(4).permutation(len(job.rows["time"]))


@pytest.mark.parametrize(
    "order",
    [
        lambda job: np.arange(len(job.rows["time"])), lambda job: np.arange(len(job.rows["time"]))[::-1], _by_name,
        _by_code, _a_check_at_the_end, _blocks, _two_rovers, _a_small_rover, _marks_first, _merged, _staked_out,
    ],
)  # fmt: skip
def test_an_order_that_is_not_that_of_time_is_not_doubted(
    tmp_path: Path, order: Callable[[Simulation], np.ndarray]
) -> None:
    job = day()
    job.rows["name"] = job.rows["name"].astype("U20")
    job.rows["code"] = job.rows["code"].astype("U20")
    path = ordered(job, order(job)).write(tmp_path)
    record, _ = judged(path)
    assert not record["doubts"] and not said(path)
    assert set(verdicts(record).values()) == {"proven"}


@pytest.mark.parametrize("ids", [None, "BASE"])
@pytest.mark.parametrize("many", [6, 7, 14, 24])
@pytest.mark.parametrize("later", [True, False])
def test_a_block_of_any_size_on_the_wrong_day_is_doubted(
    tmp_path: Path, many: int, later: bool, ids: str | None
) -> None:
    """Up to two in five of all rows, of which those before and behind run on, by whatever the block is off."""
    job = day(points=27)
    assert len(job.rows["time"]) == 60
    if ids is not None:
        job.rows["base"][:] = ids
    rows = points_of(job, 0 if later else 1)[2 : 2 + many]
    job.rows["time"][rows] += sessions_apart(job) if later else -sessions_apart(job)
    record, code = judged(job.write(tmp_path))
    (doubt,) = record["doubts"]
    assert code == 3 and doubt["kind"] == "time-zone"
    assert f"rover001.csv:{rows[0] + 2}:" in doubt["what"] and f"{many} rows (to row {rows[-1] + 2})" in doubt["what"]
    assert doubt["sessions"] == ["session-02" if later else "session-01"]


def test_with_base_ids_the_session_is_known_and_the_row_is_held(tmp_path: Path) -> None:
    job = day(ids=True)
    row = points_of(job, 0)[12]
    job.rows["time"][row] += sessions_apart(job)
    record, _ = judged(job.write(tmp_path))
    assert not record["doubts"] and record["rows"]["by_reason"] == {"outside_sessions": 1}


def night(folder: Path, *, right: bool) -> Path:
    """Write work by night whose date stays past midnight, while another base ran that early morning."""
    job = day(points=30)
    rows = job.rows
    count = len(rows["time"]) // 2
    morning, evening = (np.datetime64(text, "ms") for text in ("2026-03-03T00:05", "2026-03-03T20:05"))
    for session, begin in ((0, morning), (1, evening)):
        mine = np.flatnonzero(rows["session"] == session)
        assert len(mine) == count
        rows["time"][mine] = begin + np.arange(count) * np.timedelta64(14 * 60, "s")
        job.job["session"][session]["start"] = begin.astype(dt.datetime).replace(tzinfo=dt.UTC)
        job.job["session"][session]["end"] = job.job["session"][session]["start"] + dt.timedelta(hours=9)
    # the last checks of the night are not named, so that nothing refuses the job
    job.job["session"][1]["checks"] = job.job["session"][1]["checks"][:1]
    if not right:
        rows["time"][rows["time"] >= np.datetime64("2026-03-04T00:00", "ms")] -= 24 * _HOUR
    last = np.flatnonzero(rows["session"] == 1)[-1]
    rows = {key: np.delete(values, last) for key, values in rows.items()}
    job.rows = rows
    path = job.write(folder)
    replace_in(path, {'time = "Observed"': 'time = "Observed", date = "Day"'})
    rewrite_export(
        folder / "rover001.csv", lambda row: row | {"Day": row["Observed"][:10], "Observed": row["Observed"][11:]}
    )
    return path


def test_a_date_that_stays_past_midnight_is_doubted_where_another_base_ran_that_morning(tmp_path: Path) -> None:
    assert not said(night(tmp_path / "right", right=True))
    record, code = judged(night(tmp_path / "wrong", right=False))
    told = [doubt["what"] for doubt in record["doubts"]]
    assert code == 3 and len(told) == 1
    assert "the date stayed while the clock passed midnight" in told[0] and "may be a day early" in told[0]
    assert "belong to session session-02, not session-01" in told[0]


@pytest.mark.parametrize("twelve", [True, False])
def test_a_clock_of_twelve_hours_is_told(tmp_path: Path, twelve: bool) -> None:
    job = simulate(Plan(sessions=1, points=30, start=dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)))
    rows = job.rows
    begin = np.datetime64("2026-03-02T08:05", "ms")
    rows["time"] = begin + np.arange(len(rows["time"])) * np.timedelta64(13 * 60, "s")
    start = job.job["session"][0]["start"] = dt.datetime(2026, 3, 2, tzinfo=dt.UTC)
    job.job["session"][0]["end"] = start + dt.timedelta(days=1)
    if twelve:
        rows["time"][rows["time"] >= np.datetime64("2026-03-02T13:00", "ms")] -= 12 * _HOUR
    told = said(job.write(tmp_path))
    assert bool(told) is twelve
    assert all("a 12-hour clock without AM and PM" in text and "12:" in text for text in told)


@pytest.mark.parametrize("twelve", [True, False])
def test_a_clock_of_twelve_hours_is_told_by_the_rule_of_a_drafted_job(tmp_path: Path, twelve: bool) -> None:
    """A break of three hours at noon: whoever drafts a job file is asked about such times too."""
    job = simulate(Plan(sessions=1, points=30, start=dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)))
    rows = job.rows
    minutes = np.arange(len(rows["time"])) * 13
    rows["time"] = np.datetime64("2026-03-02T08:05", "ms") + minutes * np.timedelta64(60, "s")
    rows["time"][rows["time"] >= np.datetime64("2026-03-02T12:00", "ms")] += 3 * _HOUR
    start = job.job["session"][0]["start"] = dt.datetime(2026, 3, 2, tzinfo=dt.UTC)
    job.job["session"][0]["end"] = start + dt.timedelta(days=1)
    if twelve:
        rows["time"][rows["time"] >= np.datetime64("2026-03-02T13:00", "ms")] -= 12 * _HOUR
    told = said(job.write(tmp_path))
    assert bool(told) is twelve and all("a 12-hour clock without AM and PM" in text for text in told)


def two_days() -> Simulation:
    """Return two days without base ids, each from about 19:30 UTC on for some hours: times of day that overlap."""
    job = day(points=50)
    second = job.rows["session"] == 1
    job.rows["time"][second] += np.timedelta64(16, "h")
    for key in ("start", "end"):
        job.job["session"][1][key] += dt.timedelta(hours=16)
    return job


@pytest.mark.parametrize("day_off", [-1, 1])
@pytest.mark.parametrize("named", [True, False])
def test_a_block_at_an_end_of_the_file_is_doubted_where_its_names_run_on(
    tmp_path: Path, day_off: int, named: bool
) -> None:
    """A day more, or less, and it runs on; other names may be of another controller, whose rows were appended."""
    job = two_days()
    job.rows["name"] = job.rows["name"].astype("U20")
    # of the day with the block no mark stands beyond it: the last checks are not named, or the first tie comes later
    if day_off < 0:
        keep = np.arange(points_of(job, 1)[-1] + 1)
        block = points_of(job, 1)[26:]
        job.job["session"][1]["checks"] = job.job["session"][1]["checks"][:1]
    else:
        points = points_of(job, 0)
        first = np.flatnonzero((job.rows["session"] == 0) & (job.rows["kind"] != "point"))
        keep = np.concatenate([points, first, np.flatnonzero(job.rows["session"] == 1)])
        job.rows["time"][first] = job.rows["time"][points[-1]] + np.arange(1, len(first) + 1) * np.timedelta64(60, "s")
        block = points[:24]
    if not named:
        for number, row in enumerate(block):
            job.rows["name"][row] = f"K{number}"
    job.rows["time"][block] += np.timedelta64(24 * day_off, "h")
    path = ordered(job, keep).write(tmp_path)
    record, code = judged(path)
    (told,) = said(path)
    assert ("last, after row" if day_off < 0 else "first, before row") in told
    assert f"24 h {'later' if day_off < 0 else 'earlier'} they would fit there" in told
    kinds = [doubt["kind"] for doubt in record["doubts"]]
    assert kinds == (["time-zone"] if named else []) and (code == 3) is named


def test_more_than_half_of_a_file_on_the_wrong_day_is_doubted(tmp_path: Path) -> None:
    """The other day is in a file of its own, so that three in four rows of this one are a day early."""
    job = two_days()
    block = points_of(job, 1)[1:-1]
    job.rows["time"][block] -= np.timedelta64(24, "h")
    path = job.write(tmp_path, files=2)
    (told,) = said(path)
    assert told.startswith("rover002.csv:") and f"{len(block)} rows" in told
    assert judged(path)[1] == 3


def test_two_blocks_on_the_wrong_day_are_both_doubted(tmp_path: Path) -> None:
    job = two_days()
    for session, hours in ((0, 24), (1, -24)):
        job.rows["time"][points_of(job, session)[6:15]] += np.timedelta64(hours, "h")
    record, code = judged(job.write(tmp_path))
    assert code == 3 and {each for doubt in record["doubts"] for each in doubt["sessions"]} == {
        "session-01",
        "session-02",
    }


def crews(pause: int, *, block: slice = slice(2, 16), closing: bool = False, run_on: bool = False) -> Simulation:
    """Return two days of two crews, one's rows behind the other's: B has ``block`` of day 1, and ends day 2.

    On day 2 A ends with its 20th point, or with a check of its own if ``closing``; B begins ``pause`` minutes later
    than the time that the block lasts. B's points are B001 and so on, or ``run_on`` from A's.
    """
    job = two_days()
    rows = job.rows
    first, second = points_of(job, 0), points_of(job, 1)
    lent, later = first[block], np.arange(second[20], len(rows["time"]))
    time = rows["time"]
    end = time[second[19]]
    begin = end + (time[lent[-1]] - time[lent[0]]) + np.timedelta64(pause, "m")
    late = begin - time[second[20]]
    time[later] += late
    job.job["session"][1]["end"] += late.astype("timedelta64[s]").astype(dt.timedelta)
    a_rows = np.setdiff1d(np.arange(second[20]), lent)
    if closing:
        check = np.flatnonzero((rows["session"] == 1) & (rows["kind"] == "check"))[0]
        time[check] = end + np.timedelta64(60, "s")
        a_rows = np.append(a_rows[a_rows != check], check)
        later = later[later != check]
    rows["name"] = rows["name"].astype("U20")
    points = [each[rows["kind"][each] == "point"] for each in (a_rows, np.concatenate([lent, later]))]
    for crew, own, start in (("A", points[0], 0), ("A" if run_on else "B", points[1], len(points[0]) if run_on else 0)):
        for number, row in enumerate(own):
            rows["name"][row] = f"{crew}{start + number + 1:03}"
    return ordered(job, np.concatenate([a_rows, lent, later]))


@pytest.mark.parametrize("pause", [5, 20, 40, 90])
@pytest.mark.parametrize("many", [5, 14])
@pytest.mark.parametrize("newest_first", [False, True])
def test_the_rows_of_a_second_crew_behind_those_of_the_first_are_not_doubted(
    tmp_path: Path, pause: int, many: int, newest_first: bool
) -> None:
    job = crews(pause, block=slice(2, 2 + many))
    if newest_first:
        ordered(job, np.arange(len(job.rows["time"]))[::-1])
    record, code = judged(job.write(tmp_path))
    assert not record["doubts"] and code == 0
    assert set(verdicts(record).values()) == {"proven"}


@pytest.mark.parametrize("how", [{"run_on": True}, {"closing": True}, {"at": 20}], ids=["names", "check", "day"])
@pytest.mark.parametrize("many", [5, 14])
def test_what_may_as_well_be_a_block_at_a_wrong_time_is_doubted(tmp_path: Path, how: dict[str, int], many: int) -> None:
    """Names run on at the step back; or begin at a check, as they do in a day's work; or the rows lack just a day."""
    at = how.get("at", 2)
    flags = {key: True for key in how if key != "at"}
    record, code = judged(crews(20, block=slice(at, at + many), **flags).write(tmp_path))
    (doubt,) = record["doubts"]
    assert code == 3 and doubt["kind"] == "time-zone" and f"{many} rows" in doubt["what"]
    assert doubt["sessions"] == ["session-01"]


@pytest.mark.parametrize("many", [6, 10, 14])
def test_a_first_crew_that_goes_on_next_day_before_the_second_begins_is_not_doubted(tmp_path: Path, many: int) -> None:
    """A leaves early on day 1 and begins day 2; behind these rows B's begin later on day 1, so that A's step out."""
    job = two_days()
    rows, time = job.rows, job.rows["time"]
    first, second = points_of(job, 0), points_of(job, 1)
    left, own = np.arange(first[20]), second[:many]
    later = np.arange(first[20], np.flatnonzero(rows["session"] == 1)[0])
    late = time[own[-1]] - time[own[0]] + np.timedelta64(30, "m")
    time[later] += late
    job.job["session"][0]["end"] += late.astype("timedelta64[s]").astype(dt.timedelta)
    rest = np.setdiff1d(np.arange(len(time)), np.concatenate([left, own, later]))
    rows["name"] = rows["name"].astype("U20")
    for crew, those in (("A", np.append(left, own)), ("B", np.append(later, rest))):
        for number, row in enumerate(those[rows["kind"][those] == "point"]):
            rows["name"][row] = f"{crew}{number + 1:03}"
    record, code = judged(ordered(job, np.concatenate([left, own, later, rest])).write(tmp_path))
    assert not record["doubts"] and code == 0


@pytest.mark.parametrize("seed", range(12))
def test_parts_of_a_file_in_any_order_are_not_doubted(tmp_path: Path, seed: int) -> None:
    """Days cut at marks into downloads, which are put together by chance; rovers side by side; points after marks."""
    random = np.random.default_rng(seed)
    job = two_days() if seed % 2 else day()
    rows = job.rows
    number = np.arange(len(rows["time"]))
    if seed % 3 == 0:  # downloads
        parts = np.split(number, np.flatnonzero(np.diff(rows["session"])) + 1)
        order = np.concatenate([parts[each] for each in random.permutation(len(parts))])
    elif seed % 3 == 1:  # two controllers, each with all its days
        order = np.argsort(random.integers(0, 2, len(number)), kind="stable")
    else:  # each point beside the one nearest to its left, in the order of names or places
        order = np.argsort(rows["longitude"], kind="stable")
    record, _ = judged(ordered(job, order).write(tmp_path))
    assert not record["doubts"]


@pytest.mark.parametrize(("off", "told"), [(24, True), (11, False)])
def test_a_refusal_names_midnight_where_a_check_is_in_its_session_one_day_later(
    tmp_path: Path, off: int, told: bool
) -> None:
    """Work from the evening to the morning whose date stays; and times that are off by a zone's hours instead."""
    job = simulate(Plan(sessions=1, points=30, start=dt.datetime(2026, 3, 2, 20, 0, tzinfo=dt.UTC)))
    rows = job.rows
    rows["time"] = np.datetime64("2026-03-02T20:05", "ms") + np.arange(len(rows["time"])) * np.timedelta64(14 * 60, "s")
    start = job.job["session"][0]["start"] = dt.datetime(2026, 3, 2, 20, 0, tzinfo=dt.UTC)
    job.job["session"][0]["end"] = start + dt.timedelta(hours=10)
    rows["time"][rows["time"] >= np.datetime64("2026-03-03T00:00", "ms")] -= off * _HOUR
    with pytest.raises(JobError) as refused:
        check_job(job.write(tmp_path))
    assert any("past midnight" in problem.fix for problem in refused.value.problems) is told
