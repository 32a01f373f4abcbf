"""A shift that the field applied and the job does not state: patterns by numbers alone, and what a surveyor is told.

Patterns are sums written by hand. Whole jobs are simulated truth (`tests/support/blunder_field.py`); the lines that are
told, pasted into the job as they are, must bring every point that is issued to where truth has it.
"""

import zlib
from pathlib import Path

import numpy as np
import pytest
from blunder_field import APPLIED
from blunder_world import World, draw
from every import every
from issued import current_issue, off_truth
from running import paste_into_session, record_of

from pipeline import run_job
from pipeline.blunders.carried import Levels, Pattern, Source, Way, patterns
from pipeline.check import check_job
from pipeline.tolerance import Tolerance

SHIFT = np.array([1.2, -0.8, -5.5])
TOLERANCE = Tolerance(0.03, 0.05)


def found(*carried: float | np.ndarray, receiver: tuple[int, ...] = (), noise: float = 0.004) -> list[Pattern]:
    """Patterns where each occupation carries so many times the shift; the first of them is its source."""
    rows = [SHIFT * (1 - np.asarray(times)) for times in carried]
    needed = np.array(rows) + noise * np.resize([1.0, -1.0], (len(rows), 3))
    number = np.array(receiver or (0,) * len(rows))
    levels = Levels(needed, np.full((len(rows), 3), 0.008), number, np.zeros(len(rows), np.int64))
    return list(patterns(levels, [Source(needed[0], needed[0], levels.sigma[0], 0, 0)], TOLERANCE))


@pytest.mark.parametrize(
    ("carried", "way", "switches"),
    [
        ((0, 1, 1, 1), Way.ONCE, 1),
        ((0, 0, 1, 1, 0), Way.ONCE, 2),
        ((0, 0, 1, 0, 1), Way.ONCE, 3),
        ((0, 2, 2), Way.TWICE, 1),
        ((0, -1, -1), Way.REVERSED, 1),
        ((0, np.array([1, 1, 0]), np.array([1, 1, 0])), Way.LEVEL, 1),
        ((0, 0, np.array([0, 0, 1])), Way.HEIGHT, 1),
        ((0, 0.95, 0.95), Way.REVISED, 1),
    ],
)
def test_a_pattern_is_told_by_its_levels(carried: tuple[float, ...], way: Way, switches: int) -> None:
    whole = [one for one in found(*carried) if not one.odd.any()]
    assert [one.way for one in whole if one.way is not Way.REVISED or way is Way.REVISED] == [way]
    (one,) = [one for one in whole if one.way is way]
    assert one.carrying.tolist() == [bool(np.any(times)) for times in carried]
    assert (one.switches, one.limited) == (switches, "")


def test_nothing_is_carried_where_every_reading_is_raw_or_off_by_something_else() -> None:
    assert found(0, 0, 0, 0) == []
    assert found(0, 0, np.array([0.1, 0.3, 0.0]), 0) == []


def test_a_receiver_explains_what_would_be_many_switches() -> None:
    (one,) = [one for one in found(0, 1, 0, 1, 0, 1, receiver=(0, 1, 0, 1, 0, 1)) if one.way is Way.ONCE]
    assert (one.limited, one.switches) == ("receiver", 1)
    assert one.among.tolist() == [False, True] * 3


def test_one_that_fits_neither_is_odd_and_most_must_fit() -> None:
    one = next(one for one in found(0, 1, 1, np.array([1, 1, 1.06]), 1) if one.way is Way.ONCE)
    assert one.odd.tolist() == [False, False, False, True, False]
    assert not [one for one in found(0, 1, np.array([0.4, 3, 2]), np.array([5, 2, 0.1])) if one.way is Way.ONCE]


def test_a_shift_below_the_tolerances_is_not_looked_for() -> None:
    needed = np.array([[0.02, 0.0, 0.03], [0.0, 0.0, 0.0]])
    levels = Levels(needed, np.full((2, 3), 0.008), np.zeros(2, np.int64), np.zeros(2, np.int64))
    assert list(patterns(levels, [Source(needed[0], needed[0], levels.sigma[0], 0, 0)], TOLERANCE)) == []


# --- whole jobs: told, pasted, right ---------------------------------------------------------------------------------


def planted(kind: str, number: int = 0) -> World:
    """The job of `tests/blunders/measure.py` of a kind, with its shift planted."""
    for attempt in range(1000):
        world = draw(zlib.crc32(f"{kind} {number} {attempt}".encode()))
        if APPLIED[kind](world) is not None:
            return world
    raise AssertionError(kind)


@pytest.mark.parametrize(
    "kind",
    [
        f"field shift not stated: {what}"
        for what in ("all after the tie", "switched off again", "one receiver of two", "in position only")
    ],
)
def test_the_lines_as_they_are_told_give_a_job_that_is_proven_and_right(kind: str, tmp_path: Path) -> None:
    world = planted(kind)
    path = world.write(tmp_path)
    first = record_of(path, 3)
    (diagnosis,) = first["diagnoses"]
    lines = diagnosis["field_shift"]
    assert lines is not None and diagnosis["explanations"][0]["kind"] == "field shift not stated"
    # before the run the same is said, with the same lines
    (warning,) = [text for text in check_job(path).warnings if "already carr" in text]
    assert warning.endswith(lines)
    paste_into_session(path, diagnosis["session"], lines)
    outcome = run_job(path)
    assert all(check["passed"] for check in every(outcome.record["checks"]))
    session = next(one for one in outcome.record["sessions"] if one["session"] == diagnosis["session"])
    assert session["verdict"] == "proven"
    # what lies where nobody knows is held back and nothing else is; what is issued is right: noise of points and ties
    assert set(outcome.record["rows"]["by_reason"]) <= {"suspect"}
    issue = current_issue(path.parent / "out")
    off = off_truth(issue.points.rows, world.job.truth)
    assert len(off) == outcome.record["rows"]["points"] and np.abs(off).max(initial=0.0) < 0.1
