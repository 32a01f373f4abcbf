"""A session's shift that the field applied for a while between two checks, on level ground with known truth."""

from pathlib import Path

import numpy as np
import pytest
from field_days import apply, since
from network_jobs import START, STEP, Network
from running import published_record

_UP = 4.1
_FIRST, _POINTS = 3, 24  # steps of the day


def told(folder: Path, carried: range | None, roof: float = 0.0, doubted: bool = False, **more: object) -> list[str]:
    """What is said of a day whose points of these numbers carry the shift; the tenth to fifteenth are on a roof.

    ``more`` is of the session; ``doubted`` is whether the proof is taken away.
    """
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500)):
        work.mark(name, east, north)
    points = [(14 * k, 9 * k - 300, roof if 9 <= k < 15 else 0.0) for k in range(_POINTS)]
    shift = (0.8, -1.1, _UP)
    work.session("day", ties=["CM1"], checks=["CM2"], points=points, closing=["CM2", "CM1"], shift=shift, **more)
    if carried is not None:
        chosen = since(work, START + (_FIRST + carried.start) * STEP, START + (_FIRST + carried.stop) * STEP)
        apply(work, chosen, "day-CM1-1", np.array(work.marks.geographic("CM1")))
    of = published_record(work.write(folder), code=3 if doubted else 0)
    assert of["verdict"] == ("unchecked" if more or doubted else "proven")  # no check tells
    assert [doubt["kind"] for doubt in of["doubts"]] == (["shift"] if doubted else [])
    return [note for note in of["notes"] if "as much as the session's shift adds" in note]


@pytest.mark.parametrize("carried", [range(4, 16), range(2, 22), range(10, 13)])
def test_points_that_carry_the_shift_between_two_checks_are_a_doubt(carried: range, tmp_path: Path) -> None:
    (note,) = told(tmp_path, carried, doubted=True)
    assert f": session day: {len(carried)} readings in a row" in note
    first, last = (
        carried.start + _FIRST + 1,
        carried.stop + _FIRST,
    )  # lines of the file; the day begins with two marks
    assert note.startswith(f"rover001.csv:{first}: ") and f"the last in row {last})" in note


@pytest.mark.parametrize("roof", [_UP - 0.15, _UP + 0.15])
def test_what_is_about_as_high_as_the_shift_is_told_and_proven(roof: float, tmp_path: Path) -> None:
    """The ground falls by a decimetre from point to point: a roof may be as much off a shift of the field."""
    (note,) = told(tmp_path, None, roof)
    assert "6 readings in a row" in note


@pytest.mark.parametrize("roof", [0.0, _UP - 0.4, _UP + 0.4, -_UP, 9.0])
def test_ground_that_steps_by_something_else_is_left_alone(roof: float, tmp_path: Path) -> None:
    assert told(tmp_path, None, roof) == []


def test_a_field_shift_that_the_job_states_says_why(tmp_path: Path) -> None:
    begins, ends = (START + (_FIRST + k) * STEP for k in (4, 16))
    stated = {"from": begins, "until": ends, "tie": "day-CM1-1", "mark": "CM1"}
    assert told(tmp_path, range(4, 16), field_shift=stated) == []
