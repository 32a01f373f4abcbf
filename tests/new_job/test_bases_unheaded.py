"""A column of bases that no heading shows is asked about where readings on marks are off by its values, and alone then.

Two rovers of one day work beside each other, each from a base that is off by a vector of its own.
"""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pipeline.new_job import new_job
from pipeline.new_job.questions import Question

_MARKS = {"CM1": (1506500.0, 5160600.0, 20.0), "CM2": (1507100.0, 5160650.0, 22.0), "CM3": (1506900.0, 5161200.0, 31.0)}
#: What each base is off by: east, north, up [m].
_OFF = {"N": (1.2, -0.7, 0.5), "S": (-0.4, 0.9, -0.3)}


def _readings(
    bases: str = "NS", scatter: float = 0.01, off: dict[str, tuple[float, float, float]] = _OFF, slope: float = 0.0
) -> list[dict[str, str]]:
    """Return the readings of two rovers by turns, from these bases; each begins and ends on marks.

    ``slope`` is by how much a geoid rises to the north, metres in a kilometre: heights of marks are above it.
    """
    random = np.random.default_rng(5)
    found = []
    for at in range(60):
        base, mark = bases[at % 2], list(_MARKS)[at // 2 % 3]
        on = at // 2 in (0, 1, 2, 15, 27, 28, 29)
        place = np.array(_MARKS[mark]) + (0.0 if on else np.array([50.0 + 7 * at, 30.0 + 5 * at, 1.0]))
        seen = place + np.array(off[base]) + random.normal(0.0, scatter, 3)
        seen[2] += slope * (seen[1] - 5160000.0) / 1000.0
        name = f"{mark}-{at}" if on else f"p{at}"
        said = {"Point": name, "UTC": f"2026-03-20 08:{at:02d}:00", "Code": "CHK" if on else "EDGE", "base": base}
        found.append(said | {"Easting": f"{seen[0]:.3f}", "Northing": f"{seen[1]:.3f}", "Ell Ht": f"{seen[2]:.3f}"})
    return found


def _asked(
    folder: Path, told: dict[str, Callable[[int, dict[str, str]], str]], files: bool = False, **more: object
) -> list[Question]:
    """Lay a job whose export has these further columns, in one file or in one for each base; return what is asked."""
    marks = [f"{name},{','.join(f'{value:.3f}' for value in place)}" for name, place in _MARKS.items()]
    (folder / "control.csv").write_text("\n".join(["Mark,Easting,Northing,RL", *marks]) + "\n", encoding="utf-8")
    heads = ["Point", "UTC", "Code", "Easting", "Northing", "Ell Ht"]
    readings = _readings(**more)  # type: ignore[arg-type]
    for base in ("N", "S") if files else ("",):
        lines = [",".join([*heads, *told])]
        for at, row in enumerate(readings):
            if base in ("", row["base"]):
                lines.append(",".join([*(row[head] for head in heads), *(of(at, row) for of in told.values())]))
        (folder / f"r{base}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return [one.question for one in new_job(folder).asked if one.question.key == "base"]


def _id(_: int, row: dict[str, str]) -> str:
    return row["base"]


@pytest.mark.parametrize("scatter", [0.0, 0.01])
@pytest.mark.parametrize("heading", ["Corr source", "Grumble", "Netzpunkt X", "Rover"])
def test_a_column_that_parts_readings_on_marks_as_bases_do_is_asked_about(
    heading: str, scatter: float, tmp_path: Path
) -> None:
    (asked,) = _asked(tmp_path, {heading: _id}, scatter=scatter)
    assert f'"{heading}"' in asked.asks and [each.value for each in asked.candidates] == [f'"{heading}"']


def test_one_question_stands_for_the_files_of_several_rovers(tmp_path: Path) -> None:
    (asked,) = _asked(tmp_path, {"Corr source": _id}, files=True)
    assert '"Corr source"' in asked.asks


def test_several_such_columns_are_candidates(tmp_path: Path) -> None:
    (asked,) = _asked(tmp_path, {"Corr source": _id, "Crew": lambda _, row: {"N": "Red", "S": "Blue"}[row["base"]]})
    assert [each.value for each in asked.candidates] == ['"Corr source"', '"Crew"']


def _by_turns(at: int, _: dict[str, str]) -> str:
    return "AB"[at // 7 % 2]


@pytest.mark.parametrize(
    ("told", "bases"),
    [
        ({"Crew": _by_turns}, "NS"),  # coincides with nothing
        ({"Crew": lambda at, _: "RB"[at % 2]}, "NN"),  # two crews on one base
        ({"Crew": lambda *_: "R"}, "NS"),
        ({"Weather": lambda at, _: "dry" if at < 30 else "wet", "Crew": _by_turns}, "NN"),
        ({"Remark": lambda at, row: row["base"] if at > 50 else ""}, "NS"),  # hardly filled
        ({"Sats": lambda at, _: str(14 + at % 9)}, "NS"),
        ({}, "NS"),
    ],
)
@pytest.mark.parametrize("scatter", [0.0, 0.01])
def test_columns_that_coincide_with_nothing_are_not_asked_about(
    told: dict[str, Callable[[int, dict[str, str]], str]], bases: str, scatter: float, tmp_path: Path
) -> None:
    assert _asked(tmp_path, told, bases=bases, scatter=scatter) == []


def test_a_column_that_is_known_as_that_of_bases_is_taken_without_a_question(tmp_path: Path) -> None:
    assert _asked(tmp_path, {"Base ID": _id, "Rover": _id}) == []


#: Bases that are off by the same in plan.
_IN_HEIGHT = {"N": (1.2, -0.7, 0.5), "S": (1.2, -0.7, -0.3)}


@pytest.mark.parametrize("scatter", [0.0, 0.01])
@pytest.mark.parametrize("slope", [0.0, 0.4])
def test_bases_that_are_off_in_height_alone_are_told_by_a_column_all_the_same(
    scatter: float, slope: float, tmp_path: Path
) -> None:
    (asked,) = _asked(tmp_path, {"Corr source": _id}, scatter=scatter, off=_IN_HEIGHT, slope=slope)
    assert '"Corr source"' in asked.asks


@pytest.mark.parametrize("scatter", [0.0, 0.01])
@pytest.mark.parametrize(
    ("off", "apart"), [(_OFF, (-1.6, 1.6, -0.8)), (_IN_HEIGHT, (0.0, 0.0, -0.8))], ids=["in plan", "in height"]
)
def test_files_that_hang_on_a_base_each_are_asked_about(
    off: dict[str, tuple[float, float, float]], apart: tuple[float, float, float], scatter: float, tmp_path: Path
) -> None:
    """Nothing else says which base: sessions at one time cannot be told apart without it."""
    (asked,) = _asked(tmp_path, {}, files=True, scatter=scatter, off=off)
    assert asked.asks.startswith("which base does each file hang on?")
    told = re.search(r"rN.csv in rS.csv by \(east ([-+.\d]+), north ([-+.\d]+), up ([-+.\d]+)\) m", asked.asks)
    assert told is not None and [float(each) for each in told.groups()] == pytest.approx(apart, abs=0.03)
    assert "Base ID" in asked.asks and "job of their own" in asked.asks and asked.candidates == ()


@pytest.mark.parametrize("scatter", [0.0, 0.01, 0.02])
@pytest.mark.parametrize("slope", [0.0, 0.4])
def test_files_of_two_rovers_on_one_base_are_left_in_peace(scatter: float, slope: float, tmp_path: Path) -> None:
    same = {"N": _OFF["N"], "S": _OFF["N"]}
    assert _asked(tmp_path, {}, files=True, scatter=scatter, off=same, slope=slope) == []
