"""Field corrections stated by what was done: the reading on a mark that the equipment worked its shift out from.

The equipment is simulated by closed forms (`tests/support/field_days.py`); with what it applied taken out, every point
is where simulated truth has it.
"""

import datetime as dt
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from field_days import apply, apply_on_grid, on_grid, shown, since
from issued import Issue, off_truth
from network_jobs import START, STEP, Network
from numpy.testing import assert_allclose
from running import published_record, record_of, run_written
from simulate_files import write_job
from simulate_plan import CANTERBURY, ELLIPSOIDAL, Floats, Place, move, turn_enu

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.issue_summary import summary
from pipeline.job.model import FieldShift
from pipeline.problems import JobError
from pipeline.sessions.toml_lines import field_shift_text
from pipeline.trace import trace

TENTH_MM = 1e-4
POINTS = [(300 * k, 250 * k - 900) for k in range(6)]
DAYS = ("register", "typed", "degrees", "grid", "until", "again", "receiver", "yesterday")


def moment(step: int, day: int = 0) -> dt.datetime:
    """Return the time of a session's row: its first is number 1."""
    return START + day * dt.timedelta(days=1) + step * STEP


def day(work: Network, name: str, more: tuple[tuple[int, int], ...] = ()) -> int:
    """Add a day: a tie on CM1 at step 1, a check on CM2 at step 2, points, closing checks."""
    number = work.session(name, ties=["CM1"], points=[*POINTS, *more], checks=["CM2"], closing=["CM2", "CM1"])
    return number


def network(place: Place = CANTERBURY) -> Network:
    work = Network(place)
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500), ("CM3", -400, 300)):
        work.mark(name, east, north)
    return work


def true(work: Network, mark: str) -> Floats:
    return np.array(work.marks.geographic(mark))


def typed(work: Network, mark: str, enu: tuple[float, float, float]) -> Floats:
    """Return a mark's longitude, latitude and height, typed with a mistake of metres east, north and up."""
    at = true(work, mark)
    there = move(*(at[:, None]), turn_enu(at[0], at[1], np.array(enu)), work.plan.place.ellipsoid)
    return np.array([values[0] for values in there])


def written() -> tuple[Network, dict[str, Any]]:
    """Return eight days, each of which states its field shift in another way, with the keys by which it does."""
    work = network()
    for name in DAYS:
        day(work, name)
    rows, told = work.rows, {name: {"from": moment(2, n), "tie": f"{name}-CM1-1", "mark": "CM1"}
                             for n, name in enumerate(DAYS)}  # fmt: skip
    apply(work, since(work, moment(2), session=0), "register-CM1-1", true(work, "CM1"))
    wrong = typed(work, "CM1", (0.31, -0.17, 0.08))
    east, north, up = (float(value) for value in on_grid(work, wrong))
    told["typed"] |= {"easting": east, "northing": north, "height": up}
    apply(work, since(work, moment(2, 1), session=1), "typed-CM1-1", wrong)
    lon, lat, height = (float(value) for value in wrong)
    told["degrees"] |= {"longitude": lon, "latitude": lat, "ellipsoid_height": height}
    apply(work, since(work, moment(2, 2), session=2), "degrees-CM1-1", wrong)
    told["grid"] |= {"model": "grid"}
    apply_on_grid(work, since(work, moment(2, 3), session=3), "grid-CM1-1", true(work, "CM1"))
    told["until"] |= {"until": moment(5, 4)}
    apply(work, since(work, moment(2, 4), moment(5, 4), 4), "until-CM1-1", true(work, "CM1"))
    # while the first is on, CM2 is read, and the equipment works out another that takes its place
    apply(work, since(work, moment(2, 5), session=5), "again-CM1-1", true(work, "CM1"))
    apply(work, since(work, moment(4, 5), session=5), "again-CM2-1", typed(work, "CM2", (0.02, 0.03, -0.01)))
    second = on_grid(work, typed(work, "CM2", (0.02, 0.03, -0.01)))
    again: Any = [told["again"] | {"until": moment(4, 5)}, {"from": moment(4, 5), "tie": "again-CM2-1", "mark": "CM2"}]
    again[1] |= dict(zip(("easting", "northing", "height"), map(float, second), strict=True))
    other = (np.arange(len(rows["name"])) % 2 == 1) & (rows["session"] == 6)
    rows["base"] = np.where(other, "r2", rows["base"])
    told["receiver"] |= {"base": "R2"}
    apply(work, since(work, moment(2, 6), session=6) & other, "receiver-CM1-1", true(work, "CM1"))
    del work.job["session"][6]["base"]
    # what the equipment worked out a day ago, against another base, is still on; that day's rows were raw
    told["yesterday"] |= {"from": moment(0, 7), "tie": "receiver-CM1-1"}
    apply(work, since(work, moment(0, 7), session=7), "receiver-CM1-1", true(work, "CM1"))
    return work, {**told, "again": again}


@pytest.fixture(scope="module")
def days(tmp_path_factory: pytest.TempPathFactory) -> tuple[Network, Issue]:
    work, told = written()
    for number, name in enumerate(DAYS):
        work.job["session"][number]["field_shift"] = told[name]
    # the last day's rows all carry it, its tie too: raw again, that tie shifts the day as any other
    return work, run_written(work.write(tmp_path_factory.mktemp("days")))


@pytest.mark.parametrize("name", DAYS)
def test_every_way_of_stating_it_gives_the_truth(name: str, days: tuple[Network, Issue]) -> None:
    work, issue = days
    rows = [row for row in issue.points.rows if row["session"] == name]
    assert len(rows) == len(POINTS)
    assert_allclose(off_truth(rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    of_it = every(row for row in issue.check_marks.rows if row["session"] == name)
    assert all(row["passed"] in (1, None) for row in of_it)


def test_the_record_says_what_was_taken_out_and_by_which_reading(days: tuple[Network, Issue]) -> None:
    work, issue = days
    taken = issue.record["field_shifts"]
    assert [one["session"] for one in taken] == [*DAYS[:5], "again", "again", *DAYS[6:]]
    (first,) = [one for one in taken if one["session"] == "register"]
    assert (first["tie"], first["mark"], first["coordinates"]) == ("register-CM1-1", "CM1", "register")
    assert (first["source_row"], first["since"]) == (2, 1)
    at = work.row("register-CM1-1")
    raw = np.array([work.rows[name][at][0] for name in ("longitude", "latitude", "height")])
    assert_allclose(raw, shown(work, "register-CM1-1"))
    vector = [first[key] for key in ("shift_x", "shift_y", "shift_z")]
    assert_allclose(vector, work.shifts[0], rtol=0, atol=1e-5)  # raw = truth - shift, and the tie is on the mark
    told = [note for note in issue.record["notes"] if "field shift" in note]
    amid = ("session until: only `until` says", "session again: only `from` says")  # points before and after, no mark
    assert len(told) == 2 and all(any(note.startswith(one) for note in told) for one in amid)
    assert "field shift taken out of session register" in summary(issue.record, "issue 001")


def test_a_trace_says_by_which_reading_on_which_mark(days: tuple[Network, Issue]) -> None:
    """The second shift of a day took the place of the first: that one alone is taken out of the day's last point."""
    _, issue = days
    found = trace(issue.package.parents[3] / "job.toml", f"again-{len(POINTS)}")
    (reading,) = found.readings
    assert [step.name.partition(" (")[0] for step in reading.steps] == [
        "field shift taken out, by again-CM2-1", "the session's shift"
    ]  # fmt: skip
    first = reading.steps[0]
    assert_allclose(np.add(first.before, first.added), first.after, rtol=0, atol=1e-9)
    assert not found.agreement.differences


def test_one_export_of_two_carries_it(tmp_path: Path) -> None:
    """By its name on one day, by a pattern on the next."""
    work = network()
    for name in ("one", "two"):
        day(work, name)
    rows = np.arange(len(work.rows["name"]))
    for number, (name, files) in enumerate((("one", ["rover002.csv"]), ("two", ["./rover*4.csv", "*.txt"]))):
        half = rows >= (2 * number + 1) * len(rows) // 4
        apply(work, half & (work.rows["session"] == number), f"{name}-CM1-1", true(work, "CM1"))
        stated = {"from": moment(2, number), "tie": f"{name}-CM1-1", "mark": "CM1", "files": files}
        work.job["session"][number]["field_shift"] = stated
    issue = run_written(write_job(tmp_path, work.rows, work.register, work.job, "csv", 4, False))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def usual_day() -> Network:
    work = network()
    day(work, "one")
    apply(work, since(work, moment(2)), "one-CM1-1", true(work, "CM1"))
    work.job["session"][0]["field_shift"] = {"from": moment(2), "tie": "one-CM1-1", "mark": "CM1"}
    return work


def test_a_revised_register_leaves_what_was_taken_out(tmp_path: Path) -> None:
    """The field applied what it applied: every point moves by the revision of the tie alone, 20 mm to the east.

    An issue between that does not have the shift makes no difference: the first that had it counts.
    """
    work = usual_day()
    path, table = work.write(tmp_path), work.job["session"][0]
    first = run_written(path)
    work.revise("CM1", 0.020)
    stated = table.pop("field_shift")
    work.write(tmp_path)
    assert run_job(path).exit_code == 3
    table["field_shift"] = stated
    work.write(tmp_path)
    third = run_written(path)
    moved = [row["easting"] for row in third.points.rows] - np.array([row["easting"] for row in first.points.rows])
    assert third.record["issue"] == 3
    assert_allclose(moved, 0.020, rtol=0, atol=TENTH_MM)
    assert third.record["field_shifts"] == first.record["field_shifts"]  # to the bit, since issue 001
    assert any("taken out as in issue 001" in note for note in third.record["notes"])
    work.revise("CM1", 0.010)
    work.write(tmp_path)
    fourth = run_written(path)
    assert fourth.record["field_shifts"] == first.record["field_shifts"]
    changes = fourth.record["changes"]
    assert changes is not None and "taken out as in issue 001" in changes["because"][0]


def test_a_mark_that_only_the_field_shift_names_may_be_revised(tmp_path: Path) -> None:
    """The equipment knew CM1 under another name; nothing else hangs on that, so that its revision changes nothing."""
    work = network()
    work.mark("OLD", 0, 0)
    day(work, "one")
    apply(work, since(work, moment(2)), "one-CM1-1", true(work, "OLD"))
    work.job["session"][0]["field_shift"] = {"from": moment(2), "tie": "one-CM1-1", "mark": "OLD"}
    path = work.write(tmp_path)
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    assert any("as a tie it is listed on CM1" in note for note in issue.record["notes"])
    work.revise("OLD", 0.020)
    work.write(tmp_path)
    assert not run_job(path).issued


def test_a_shift_by_the_wrong_mark_is_doubted(tmp_path: Path) -> None:
    """CM2 lies 860 m from CM1, on which the tie stood: without another mark nothing else would say so."""
    work = network()
    work.session("one", ties=["CM1"], points=POINTS)
    work.job["session"][0]["field_shift"] = {"from": moment(4), "tie": "one-CM1-1", "mark": "CM2"}
    record = record_of(work.write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "shift" and "the field shift by one-CM1-1 on CM2 is 86" in doubt["what"]


def refused(work: Network, folder: Path, stated: Any, **session: Any) -> list[str]:
    work.job["session"][0]["field_shift"] = stated
    work.job["session"][0] |= session
    with pytest.raises(JobError) as error:
        check_job(work.write(folder))
    assert all(problem.line for problem in every(error.value.problems))
    return [f"{problem.what}; {problem.fix}" for problem in error.value.problems]


BY = {"from": moment(2), "tie": "one-CM1-1", "mark": "CM1"}
VECTOR = {"east": 1.0, "north": 2.0, "up": 3.0}
REFUSED: dict[str, tuple[Any, str]] = {
    "unknown mark": (
        BY | {"mark": "CM7"},
        'refers to the mark "CM7", which is not in the register; write its coordinates',
    ),
    "mark without height": (BY | {"mark": "P4"}, 'refers to the mark "P4", which has no height in the register'),
    "unknown tie": (BY | {"tie": "one-CM1-7"}, '"one-CM1-7", but no reading has that name'),
    "tie in the window": (
        BY | {"from": moment(1)},
        "when the shift was applied already; the field shift needs a raw reading",
    ),
    "tie later": (BY | {"tie": "two-CM1-1"}, "in a later session; the field shift needs a raw reading"),
    "no file": (BY | {"files": ["rover9.csv"]}, 'the exports "rover9.csv", but no export of the job matches'),
    "no base": (BY | {"base": "B9"}, "is for base 'B9', but the session's base is 'B0000'"),
    "before the session": (BY | {"from": moment(-9), "until": moment(-5)}, "before the session begins"),
    "backwards": (BY | {"until": moment(1)}, "which is not after its start"),
    "earliest after from": (
        BY | {"earliest": moment(3)},
        "has `earliest` at or after `from`; set `earliest` before `from`",
    ),
    "both forms": (BY | VECTOR, "has both tie and mark and east and north and up"),
    "tie alone": ({"from": moment(2), "tie": "one-CM1-1"}, 'has a tie and no mark; write mark = "..."'),
    "half a vector": ({"from": moment(2), "east": 1.0}, "has east and no north and no up"),
    "nothing": ({"from": moment(2)}, "does not state what was applied"),
    "half typed": (BY | {"easting": 1.0, "northing": 2.0}, "has easting and northing of its mark and no height"),
    "typed twice": (BY | {"easting": 1.0, "latitude": 2.0}, "coordinates twice, on the grid and in degrees"),
    "typed for nothing": (VECTOR | {"from": moment(2), "easting": 1.0, "northing": 1.0, "height": 1.0}, "and no mark"),
    "no end": ([BY, VECTOR | {"from": moment(5)}], "the earlier one has no end"),
    "the same": ([BY | {"until": moment(6)}, BY | {"from": moment(5)}], "and they are the same"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_refused(case: str, tmp_path: Path) -> None:
    stated, words = REFUSED[case]
    work = network()
    work.mark("P4", 100, 100, holds="position")
    day(work, "one")
    day(work, "two")
    work.register["height"][list(work.register["mark"]).index("P4")] = np.nan
    told = refused(work, tmp_path, stated)
    assert any(words in each for each in told), told


def test_a_base_that_nothing_carries_is_refused(tmp_path: Path) -> None:
    work = network()
    day(work, "one")
    assert set(work.rows["base"]) == {"B0000"}
    del work.job["session"][0]["base"]
    (told,) = refused(work, tmp_path, BY | {"base": "B9"})
    assert "is for base B9, which no reading has; the base ids of the exports are B0000" in told


def test_what_overlaps_on_purpose_is_taken_out_twice(tmp_path: Path) -> None:
    """Both state their time: the field applied a vector as well, for a while."""
    work = usual_day()
    chosen = since(work, moment(4), moment(7))
    at = true(work, "CM1")
    there = move(*(work.rows[n][chosen] for n in ("longitude", "latitude", "height")),
                 turn_enu(at[0], at[1], np.array([1.0, 2.0, 3.0])), work.plan.place.ellipsoid)  # fmt: skip
    for name, values in zip(("longitude", "latitude", "height"), there, strict=True):
        work.rows[name][chosen] = values
    second = VECTOR | {"from": moment(4), "until": moment(7)}
    work.job["session"][0]["field_shift"] = [BY | {"until": moment(60)}, second]
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("keys", [BY, BY | {"until": moment(7), "files": ["a.csv", "b c.csv"], "base": 'B "1"'},
                                  VECTOR | {"from": moment(2), "model": "grid"}])  # fmt: skip
def test_lines_ready_to_paste_say_the_same(keys: dict[str, Any]) -> None:
    stated = FieldShift.model_validate(keys)
    text = field_shift_text(stated)
    assert FieldShift.model_validate(tomllib.loads(f"field_shift = {text}")["field_shift"]) == stated


@pytest.mark.parametrize(
    "slip",
    [
        lambda east, north: (north, east),
        lambda east, north: (east / 0.3048, north / 0.3048),
        lambda east, north: (east % 1e4, north % 1e5),
        lambda east, north: (0.0, 0.0),
    ],
    ids=["exchanged", "feet", "leading figures left out", "nought"],
)
def test_coordinates_that_lie_in_another_country_are_doubted(slip: Any, tmp_path: Path) -> None:
    """However far off: the checks fail by thousands of kilometres, and that is told as any failing check is."""
    work = network(ELLIPSOIDAL)  # a geoid grid does not reach there, and the job would be refused
    day(work, "day")
    at = true(work, "CM1")
    apply(work, since(work, moment(2)), "day-CM1-1", at)
    east, north, up = (float(value) for value in on_grid(work, at))
    one, two = slip(east, north)
    given = {"from": moment(2), "tie": "day-CM1-1", "mark": "CM1", "easting": one, "northing": two, "height": up}
    work.job["session"][0]["field_shift"] = given
    record = published_record(work.write(tmp_path), code=3)
    assert any("beyond the limits" in doubt["what"] and "CM1" in doubt["what"] for doubt in record["doubts"])
    assert record["verdict"] == "failed"
