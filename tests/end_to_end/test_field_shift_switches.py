"""What shows that a field shift was applied, and when: a mark occupied while it was, beside each switch.

The day is a tie, a check, twelve points five minutes apart and two closing checks, in that order; what the equipment
applied is simulated by closed forms (`tests/support/field_days.py`).
"""

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from field_days import apply, since
from network_jobs import START, STEP, Network
from running import published_record

from pipeline.issue.record_types import Record

TIE, CHECK, FIRST, CLOSING = 1, 2, 3, 15  # steps of the day


def moment(step: float) -> dt.datetime:
    return START + step * STEP


def record(
    folder: Path,
    applied: tuple[float, float | None] | None,
    stated: tuple[float, float | None],
    apart: float = 1.0,
    code: int = 0,
    **more: Any,
) -> Record:
    """The record of a day by when the shift was applied, and by when the job says so: from, and until or None.

    The points are ``apart`` by so many times 390 m.
    """
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500)):
        work.mark(name, east, north)
    points = [(300 * apart * k, 250 * apart * k - 900) for k in range(CLOSING - FIRST)]
    work.session("day", ties=["CM1"], checks=["CM2"], points=points, closing=["CM2", "CM1"])
    if applied is not None:
        start, until = applied
        chosen = since(work, moment(start), None if until is None else moment(until))
        apply(work, chosen, "day-CM1-1", np.array(work.marks.geographic("CM1")))
    start, until = stated
    keys = {} if until is None else {"until": moment(until)}
    told = {"from": moment(start), "tie": "day-CM1-1", "mark": "CM1", **keys, **more}
    work.job["session"][0]["field_shift"] = told
    return published_record(work.write(folder), code)


def notes(of: Record) -> list[str]:
    return [note for note in of["notes"] if "field shift" in note]


@pytest.mark.parametrize("apart", [1.0, 0.03])
@pytest.mark.parametrize("when", [TIE + 0.5, CHECK, CHECK + 0.01, CHECK + 0.99, FIRST])
def test_a_shift_switched_on_beside_a_mark_and_closed_with_it_is_proven(
    when: float, apart: float, tmp_path: Path
) -> None:
    """As a crew works: stand on the mark, apply, check or not, collect, close; whatever second it notes for it."""
    of = record(tmp_path, (TIE + 0.5 if when < CHECK else when, None), (when, None), apart=apart)
    assert of["verdict"] == "proven" and notes(of) == []


@pytest.mark.parametrize("until", [CLOSING - 0.5, CLOSING])
def test_one_that_is_switched_off_before_the_close_and_checked_at_its_start_is_proven(
    until: float, tmp_path: Path
) -> None:
    of = record(tmp_path, (CHECK, until), (CHECK, until))
    assert of["verdict"] == "proven" and notes(of) == []


@pytest.mark.parametrize("applied", [True, False])
def test_one_that_no_mark_was_occupied_with_is_unchecked(applied: bool, tmp_path: Path) -> None:
    """Tie and checks are all without it: they pass, applied or not, and in the latter case every point is off."""
    of = record(tmp_path, (FIRST, CLOSING) if applied else None, (FIRST, CLOSING))
    assert all(check["passed"] for check in every(of["checks"])) and of["verdict"] == "unchecked" and of["doubts"] == []
    (note,) = notes(of)
    assert note.startswith("session day is unchecked: its field shift (")
    assert "is taken out of 12 points, but no reading on a mark carries it" in note


def test_one_within_the_tolerances_is_let_be(tmp_path: Path) -> None:
    """No check could show 10 mm."""
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500)):
        work.mark(name, east, north)
    work.session("day", ties=["CM1"], points=[(100, 100), (200, 100)], checks=["CM2"], closing=["CM2"])
    vector = {"from": moment(3), "until": moment(5), "east": 0.006, "north": 0.0, "up": 0.008}
    work.job["session"][0]["field_shift"] = vector
    of = published_record(work.write(tmp_path))
    assert of["verdict"] == "proven" and notes(of) == []


def test_a_time_stated_late_is_told_with_the_points_that_hang_on_it(tmp_path: Path) -> None:
    """Applied before the first point and stated before the sixth: five points are off, and no check shows it."""
    of = record(tmp_path, (FIRST, None), (FIRST + 5, None))
    (note,) = notes(of)
    assert note.startswith("session day: only `from` says that the field shift was switched on at 2026-03-01 20:10:00")
    assert "where 5 points lie before that time and 7 after it" in note


@pytest.mark.parametrize(("late", "told"), [(0.5, []), (3.5, ["3 points lie before that time and 3 after it"])])
def test_the_reading_that_a_shift_is_worked_out_from_was_none_with_it(
    late: float, told: list[str], tmp_path: Path
) -> None:
    """A reading amid the points, in no list: the points before it are raw, whatever the time stated behind it."""
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500), ("CM3", 1500, 350)):
        work.mark(name, east, north)
    points = [(300 * k, 250 * k - 900) for k in range(CLOSING - FIRST)]  # the sixth is on CM3
    work.session("day", ties=["CM1"], checks=["CM2"], points=points, closing=["CM2", "CM1"])
    tie = FIRST + 5
    apply(work, since(work, moment(tie + 0.5)), "day-6", np.array(work.marks.geographic("CM3")))
    work.job["session"][0]["field_shift"] = {"from": moment(tie + late), "tie": "day-6", "mark": "CM3"}
    of = published_record(work.write(tmp_path))
    found = [note for note in notes(of) if "only `from` says" in note]
    assert len(found) == len(told) and all(what in note for what, note in zip(told, found, strict=True))


@pytest.mark.parametrize(("until", "before", "after"), [(10, 7, 5), (12, 9, 3), (8, 5, 7)])
def test_so_is_an_end_amid_points(until: int, before: int, after: int, tmp_path: Path) -> None:
    of = record(tmp_path, (CHECK, 10), (CHECK, until))
    (note,) = notes(of)
    assert "only `until` says that the field shift was switched off" in note
    assert f"where {before} points lie before that time and {after} after it" in note


@pytest.mark.parametrize("late", [4, 7])
def test_a_start_stated_right_behind_the_tie_while_it_was_switched_on_amid_points_is_told(
    late: int, tmp_path: Path
) -> None:
    """No point lies between tie and `from`; the points before the switch are exported as measured, others shifted."""
    of = record(tmp_path, (FIRST + late, None), (CHECK + 0.01, None), apart=0.03, code=3)
    (doubt,) = of["doubts"]
    assert doubt["kind"] == "shift" and of["verdict"] == "unchecked"
    assert f"switched on between 2026-03-01 {moment(FIRST + late - 1):%H:%M:%S} and" in doubt["what"]
    assert f"Then {late} points between the two are off by the whole shift" in doubt["what"]


@pytest.mark.parametrize("early", [5, 9])
def test_an_end_stated_at_the_closing_mark_while_it_was_switched_off_amid_points_is_told(
    early: int, tmp_path: Path
) -> None:
    of = record(tmp_path, (CHECK, FIRST + early), (CHECK, CLOSING - 0.5), apart=0.03, code=3)
    (doubt,) = of["doubts"]
    assert doubt["kind"] == "shift" and "seems to have been switched off" in doubt["what"]
    assert f"Then {12 - early} points between the two are off by the whole shift" in doubt["what"]


def test_who_says_that_the_end_is_not_known_is_told_nothing(tmp_path: Path) -> None:
    """The readings in between are held back."""
    of = record(tmp_path, (CHECK, 10), (CHECK, 9), code=3, latest=moment(12))
    assert notes(of) == [] and of["rows"]["by_reason"] == {"suspect": 3}
