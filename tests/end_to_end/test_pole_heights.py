"""Pole heights of points beside those with which marks were occupied, in simulated days whose heights are known."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from base_logged import SMALL
from running import replace_in, rewrite_export
from simulate import simulate

from pipeline import run_job

_TRUE = 2.0


def judged(
    folder: Path,
    entered: Callable[[int], float],
    used: Callable[[int], float],
    marks: float = _TRUE,
    other_mark: float | None = None,
) -> tuple[int, list[str], list[str]]:
    """Run a day in which the ``used`` and the ``entered`` pole heights depend on the number of the point."""
    path = simulate(replace(SMALL, sessions=1, points=24)).write(folder)
    (export,) = folder.glob("rover*.csv")
    count = iter(range(1_000))

    def with_pole(row: dict[str, str]) -> dict[str, str]:
        on_mark = "-T" in row["Point"] or "-C" in row["Point"]
        number = 0 if on_mark else next(count)
        on = other_mark if other_mark is not None and "-C1" in row["Point"] else marks
        true, said = (on, on) if on_mark else (used(number), entered(number))
        return row | {"EllHt": f"{float(row['EllHt']) + true:.4f}", "Pole": f"{said:.3f}"}

    rewrite_export(export, with_pole)
    replace_in(path, {'height = "EllHt"': 'height = "EllHt", pole_height = "Pole"'})
    outcome = run_job(path, dry_run=True)
    notes = [note for note in outcome.record["notes"] if "checks with another do not prove theirs" in note]
    return outcome.exit_code, [one["kind"] for one in outcome.record["doubts"]], notes


@pytest.mark.parametrize(
    ("wrong", "some"),
    [(0.0, range(5)), (0.0, [7]), (18.0, [7]), (6.562, range(12)), (6.562, range(24)), (0.610, range(4))],
)
def test_pole_heights_that_no_pole_has(wrong: float, some: range | list[int], tmp_path: Path) -> None:
    code, doubts, notes = judged(tmp_path, lambda point: wrong if point in some else _TRUE, lambda _: _TRUE)
    assert (code, doubts, notes) == (3, ["export-heights"], [])


@pytest.mark.parametrize("other", [1.8, 3.5, 5.0])
def test_another_pole_with_which_no_mark_was_occupied_is_told(other: float, tmp_path: Path) -> None:
    def pole(point: int) -> float:
        return other if 6 <= point < 12 else _TRUE

    code, doubts, (note,) = judged(tmp_path, pole, pole)
    assert (code, doubts) == (0, []) and f"6 readings (first one here) have a pole height of {other:.3f} m" in note


@pytest.mark.parametrize(
    ("pole", "count"),
    [
        (lambda point: 1.8 if point >= 14 else _TRUE, 10),
        (lambda point: 1.8 if 4 <= point < 12 or point >= 20 else _TRUE, 12),
        (lambda _: 1.5, 24),
        (lambda point: 1.5 if point % 2 else 1.8, 24),
    ],
    ids=["an afternoon", "twice", "all day", "two, never on marks"],
)
def test_poles_of_many_points_with_which_no_mark_was_occupied_are_told_once(
    pole: Callable[[int], float], count: int, tmp_path: Path
) -> None:
    """A second pole, or heights that the controller took off already: no check shows either."""
    code, doubts, (note,) = judged(tmp_path, pole, pole)
    assert (code, doubts) == (0, []) and f"{count} readings (first one here) have" in note
    assert "leave the column unmapped" in note


def test_poles_of_many_points_are_nothing_to_tell_where_marks_have_several_too(tmp_path: Path) -> None:
    """Checks with two pole heights agree: both were entered, and taken off, as they were."""

    def pole(point: int) -> float:
        return 1.8 if point >= 14 else _TRUE

    assert judged(tmp_path, pole, pole, other_mark=2.5) == (0, [], [])


@pytest.mark.parametrize(
    ("points", "marks"),
    [
        (lambda _: 2.0, 2.0),
        (lambda _: 0.0, 0.0),
        (lambda _: 8.0, 8.0),
        (lambda point: 2.0 + 0.001 * (point % 5), 2.0),
        (lambda point: 2.3 if point % 3 else 2.0, 2.0),
    ],
    ids=["one pole", "heights of the ground", "a mast", "measured anew", "changed as usual"],
)
def test_work_as_it_should_be_is_quiet(points: Callable[[int], float], marks: float, tmp_path: Path) -> None:
    assert judged(tmp_path, points, points, marks) == (0, [], [])


@pytest.mark.parametrize("pole", [lambda point: 1.2 + 0.037 * point, lambda _: 0.0, lambda _: 5.0])
def test_poles_of_all_lengths_and_heights_of_the_ground_are_no_doubt(
    pole: Callable[[int], float], tmp_path: Path
) -> None:
    code, doubts, _ = judged(tmp_path, pole, pole, marks=1.524 if pole(0) else 0.0)
    assert (code, doubts) == (0, [])


def left(
    folder: Path, entered: Callable[[int], str], heading: str = "Pole height", marks: str = "2.000"
) -> tuple[int, list[str], list[str]]:
    """Run a day of ground positions with a column of pole heights that is not mapped, as its points' numbers have it.

    Returns the exit code, the doubts and what is said of that column.
    """
    path = simulate(replace(SMALL, sessions=1, points=24)).write(folder)
    (export,) = folder.glob("rover*.csv")
    count = iter(range(1_000))

    def with_pole(row: dict[str, str]) -> dict[str, str]:
        on_mark = "-T" in row["Point"] or "-C" in row["Point"]
        return row | {heading: marks if on_mark else entered(next(count))}

    rewrite_export(export, with_pole)
    record = (outcome := run_job(path, dry_run=True)).record
    notes = [note for note in record["notes"] if f'the column "{heading}"' in note]
    return outcome.exit_code, [one["kind"] for one in record["doubts"]], notes


@pytest.mark.parametrize(
    "heading", ["Pole height", "Rod", "Antenna height", "Stabhöhe [m]", "Hauteur canne", "Altezza palina (m)", "HR"]
)
def test_rows_without_a_pole_height_in_a_column_that_is_not_mapped_are_told(heading: str, tmp_path: Path) -> None:
    """Positions are of the ground by what was entered: with nothing entered, they are as much too high."""
    code, doubts, (note,) = left(tmp_path, lambda point: "0.000" if 5 <= point < 12 else "2.000", heading)
    assert (code, doubts) == (0, []) and "rover001.csv:" in note
    assert "7 readings (first one here) have a pole height of 0.000 m, and marks were occupied with 2.000 m" in note


@pytest.mark.parametrize(("wrong", "why"), [("6.562", "feet"), ("18.000", "no pole is that long")])
def test_lengths_that_no_pole_has_in_a_column_that_is_not_mapped_are_told(wrong: str, why: str, tmp_path: Path) -> None:
    code, doubts, (note,) = left(tmp_path, lambda point: wrong if point < 4 else "2.000")
    assert (code, doubts) == (0, []) and why in note and "4 readings" in note


@pytest.mark.parametrize("heading", ["Pole height", "Rod", "Antenna height", "HR"])
def test_another_pole_than_on_marks_in_a_column_that_is_not_mapped_is_told(heading: str, tmp_path: Path) -> None:
    """Five points of 24: an exception, and half a metre off if it was entered by mistake."""
    code, doubts, (note,) = left(tmp_path, lambda point: "1.500" if 6 <= point < 11 else "2.000", heading)
    assert (code, doubts) == (0, []) and "5 readings (first one here) have a pole height of 1.500 m" in note
    assert "occupy a mark with each" in note


@pytest.mark.parametrize(
    ("entered", "count"),
    [
        (lambda _: "1.800", 24),
        (lambda point: "1.800" if point % 2 else "1.500", 24),
        (lambda point: "1.800" if point < 12 else "2.000", 12),
        (lambda point: "1.800" if 2 <= point < 9 or point >= 18 else "2.000", 13),
    ],
    ids=["all day", "two, never on marks", "half a day", "twice"],
)
def test_another_pole_of_many_points_in_a_column_that_is_not_mapped_is_told(
    entered: Callable[[int], str], count: int, tmp_path: Path
) -> None:
    """As where the column is mapped: the more points have what no mark proves, the more are off if it was not so."""
    code, doubts, (note,) = left(tmp_path, entered)
    assert (code, doubts) == (0, []) and f"{count} readings (first one here) have" in note
    assert "occupy a mark with each" in note


@pytest.mark.parametrize(
    ("entered", "marks", "heading"),
    [
        (lambda _: "2.000", "2.000", "Pole height"),
        (lambda _: "0.000", "0.000", "Pole height"),  # taken off, and said so
        (lambda point: "0.000" if point < 4 else "2.000", "0.000", "Pole height"),
        (lambda point: "1.800" if point % 3 else "2.000", "2.000", "Pole height"),  # changed as usual
        (lambda point: "0.300" if point < 12 else "0.250", "0.200", "HR"),  # no poles
        (lambda point: f"{1.5 + 0.01 * point:.3f}" if point < 4 else "2.000", "2.000", "Rod"),  # measured each time
        (lambda point: "8.500" if point < 4 else "9.000", "9.000", "Pole"),  # of the poles that were surveyed
        (lambda point: "0.000" if point < 4 else "2.000", "2.000", "Base antenna height"),
        (lambda point: "0.000" if point < 4 else "2.000", "2.000", "Depth of cover"),
        (lambda point: "" if point < 4 else "2.000", "2.000", "Pole height"),
        (lambda point: "-" if point < 4 else "none", "2.000", "Pole height"),
        (lambda point: str(5 + point // 4), "5", "HR"),  # hours
        (lambda _: "6.562", "6.562", "Rod (ft)"),
    ],
)
def test_a_column_that_is_not_mapped_is_left_alone_elsewhere(
    entered: Callable[[int], str], marks: str, heading: str, tmp_path: Path
) -> None:
    assert left(tmp_path, entered, heading, marks) == (0, [], [])


@pytest.mark.parametrize("heading", ["Pole", "Высота вехи"])
def test_antennas_whose_unmapped_poles_put_checks_off_are_told_before_a_base_that_moved(
    heading: str, tmp_path: Path
) -> None:
    """Heights of the antenna, over a pole that was 0.2 m shorter on the marks of the afternoon."""
    path = simulate(replace(SMALL, sessions=1, points=24)).write(tmp_path)
    (export,) = tmp_path.glob("rover*.csv")

    def with_pole(row: dict[str, str]) -> dict[str, str]:
        pole = 1.8 if "-C" in row["Point"] else 2.0
        return row | {"EllHt": f"{float(row['EllHt']) + pole:.4f}", heading: f"{pole:.3f}"}

    rewrite_export(export, with_pole)
    outcome = run_job(path, dry_run=True)
    assert outcome.exit_code == 3
    first = outcome.record["diagnoses"][0]["explanations"][0]["text"]
    assert f'"{heading}"' in first and "map it as pole_height in [points.columns]" in first


def test_unmapped_poles_of_heights_of_the_ground_are_no_cause(tmp_path: Path) -> None:
    """The pole changed and was taken off in the field; a base that moved puts the checks off by something else."""
    path = simulate(replace(SMALL, sessions=1, points=24)).write(tmp_path)
    (export,) = tmp_path.glob("rover*.csv")

    def moved(row: dict[str, str]) -> dict[str, str]:
        late = "-C" in row["Point"]
        return row | {"EllHt": f"{float(row['EllHt']) + 0.35 * late:.4f}", "Pole": "1.800" if late else "2.000"}

    rewrite_export(export, moved)
    outcome = run_job(path, dry_run=True)
    told = [each["text"] for one in outcome.record["diagnoses"] for each in one["explanations"]]
    assert outcome.exit_code == 3 and not any("pole_height" in text for text in told)
