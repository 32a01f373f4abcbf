"""A session's shift that the field applied for a while between two checks, on level ground with known truth."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from field_days import apply, since
from network_jobs import START, STEP, Network
from running import published_record
from simulate_files import write_job

_UP = 4.1
_FIRST, _POINTS = 3, 24  # steps of the day


def told(
    folder: Path, carried: range | None, roof: float = 0.0, doubted: bool = False, rough: float = 0.0, **more: object
) -> list[str]:
    """What is said of a day whose points of these numbers carry the shift; the tenth to fifteenth are on a roof.

    All are by turns so many metres above and below the slope as it is ``rough``.
    ``more`` is of the session; ``doubted`` is whether the proof is taken away.
    """
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500)):
        work.mark(name, east, north)
    points = [(14 * k, 9 * k - 300, (roof if 9 <= k < 15 else 0.0) + rough * (-1) ** k) for k in range(_POINTS)]
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


@pytest.mark.parametrize(("roof", "count"), [(_UP + 0.3, 1), (_UP + 0.9, 0), (_UP - 0.9, 0)])
def test_on_rough_ground_a_match_is_one_too(roof: float, count: int, tmp_path: Path) -> None:
    """Where each point is 0.8 m above or below the next, 0.3 m are no difference, and a fifth of the shift is one."""
    assert len(told(tmp_path, None, roof, rough=0.4)) == count


def test_a_field_shift_that_the_job_states_says_why(tmp_path: Path) -> None:
    begins, ends = (START + (_FIRST + k) * STEP for k in (4, 16))
    stated = {"from": begins, "until": ends, "tie": "day-CM1-1", "mark": "CM1"}
    assert told(tmp_path, range(4, 16), field_shift=stated) == []


def test_a_field_shift_of_another_rover_says_nothing_of_it(tmp_path: Path) -> None:
    """The second file carries the shift from its beginning on, as stated; the first one for five points."""
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500)):
        work.mark(name, east, north)
    points = [(14 * k, 9 * k - 300) for k in range(_POINTS)]
    work.session("day", ties=["CM1"], checks=["CM2"], points=points, closing=["CM2", "CM1"], shift=(0.8, -1.1, _UP))
    half = len(work.rows["name"]) // 2
    carry = np.arange(len(work.rows["name"]))
    apply(work, (carry >= half) | ((carry >= 6) & (carry < 11)), "day-CM1-1", np.array(work.marks.geographic("CM1")))
    stated = {"from": START + 1.5 * STEP, "tie": "day-CM1-1", "mark": "CM1", "files": ["rover002.csv"]}
    work.job["session"][0]["field_shift"] = stated
    of = published_record(write_job(tmp_path, work.rows, work.register, work.job, "csv", 2, False), code=3)
    (doubt,) = of["doubts"]
    assert doubt["kind"] == "shift" and "rover001.csv:8: session day: 5 readings in a row" in doubt["what"]


#: Heights that the shifts of two bases add, which run at the same time, and what is told by which steps between them.
_EAST, _WEST = 2.2, 3.0


def on_other_base(folder: Path, wrong: range, up: float = _WEST - _EAST, later: bool = False) -> list[str]:
    """What is said of a day whose points of these numbers, of session east, have the corrections of the other base.

    ``up`` are metres that its readings go up for what its shift adds more; ``later`` is whether it runs another day.
    """
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500), ("CM3", 400, -200)):
        work.mark(name, east, north)
    begins = START + dt.timedelta(days=1 if later else 0)
    for name, shift, aside, start in (("west", (1.3, 0.4, _WEST), -400, begins), ("east", (0.2, 1.1, _EAST), 0, START)):
        points = [(14 * k + aside, 9 * k - 300) for k in range(_POINTS)]
        work.session(
            name, ties=["CM1"], checks=["CM2"], points=points, closing=["CM3", "CM1"], shift=shift, start=start
        )
    names = [f"east-{number + 1}" for number in wrong]
    work.displace(np.isin(work.rows["name"], names), np.array([0.2 - 1.3, 1.1 - 0.4, -up]))
    of = published_record(work.write(folder))
    assert (of["verdict"], of["doubts"]) == ("proven", [])  # no check tells
    return [note for note in of["notes"] if "had corrections of the base of" in note]


@pytest.mark.parametrize("wrong", [range(4, 16), range(10, 13), range(14, _POINTS), range(0, 8)])
def test_points_on_the_other_base_that_runs_at_the_same_time_are_told(wrong: range, tmp_path: Path) -> None:
    """Amid the walk, up to the closing mark, and from the opening one on: marks lie too far to tell the other step."""
    (note,) = on_other_base(tmp_path, wrong)
    assert f"session east: {len(wrong)} readings in a row" in note and "corrections of the base of west" in note
    assert "off by 1.30 m in plan and 0.80 m in height" in note  # (1.1, -0.7, 0.8)


@pytest.mark.parametrize(("up", "later"), [(0.5, False), (-0.8, False), (1.2, False), (0.0, False), (0.8, True)])
def test_ground_that_steps_by_something_else_between_two_bases_is_let_be(
    up: float, later: bool, tmp_path: Path
) -> None:
    assert on_other_base(tmp_path, range(4, 16), up, later) == []


@pytest.mark.parametrize("by", [-0.2, 0.3])
def test_points_in_a_grid_with_another_pole_are_told(by: float, tmp_path: Path) -> None:
    """No pole height in the export, no mark among them: their neighbours in the next rows have other heights."""
    work = Network()
    for name, east, north in (("CM1", 0, 0), ("CM2", 700, -500)):
        work.mark(name, east, north)
    points = [(20.0 * at + 40, 20.0 * row) for row in range(9) for at in range(10)[:: -1 if row % 2 else 1]]
    work.session("day", ties=["CM1"], checks=["CM2"], points=points, closing=["CM2", "CM1"], shift=(0.8, -1.1, _UP))
    names = [f"day-{number}" for number in range(15, 66)]
    work.displace(np.isin(work.rows["name"], names), np.array([0.0, 0.0, by]))
    of = published_record(work.write(tmp_path))
    assert (of["verdict"], of["doubts"]) == ("proven", [])  # no check tells
    (note,) = [note for note in of["notes"] if "off the points around them" in note]
    assert note.startswith("rover001.csv:18: session day: 51 readings in a row") and "the last in row 68)" in note
    assert f"about {by:+.2f} m" in note and f"the pole was {'longer' if by > 0 else 'shorter'} than stated" in note
