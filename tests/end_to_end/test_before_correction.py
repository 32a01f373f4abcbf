"""Columns that hold what is mapped before a correction are told by a run where the two differ, and alone then."""

from collections.abc import Callable
from pathlib import Path

import pytest
from running import Row, rewrite_export
from simulate import Plan, simulate

from pipeline import run_job

TOLD = "before a correction: the two differ"


def notes(folder: Path, change: Callable[[int, Row], Row], mapped: dict[str, str] | None = None) -> list[str]:
    """Run a job of 30 rows to which columns were added, and return what is told of them."""
    path = simulate(Plan(sessions=1, points=27, noise=False)).write(folder)
    count = iter(range(100))
    rewrite_export(folder / "rover001.csv", lambda row: change(next(count), row))
    text = path.read_text(encoding="utf-8")
    for old, new in (mapped or {}).items():
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return [note for note in run_job(path, dry_run=True).record["notes"] if TOLD in note]


def before(off: Callable[[int], float]) -> Callable[[int, Row], Row]:
    return lambda at, row: row | {"Raw EllHt": f"{float(row['EllHt']) - off(at):.4f}", "Raw Lat": row["Lat"]}


def test_a_height_that_was_corrected_is_told(tmp_path: Path) -> None:
    (note,) = notes(tmp_path, before(lambda at: 3.2))
    assert note.startswith('rover001.csv:2: "Raw EllHt", not mapped, says to hold "EllHt"') and "30 rows" in note
    assert "agree in" not in note and "field_shift" in note


def test_that_only_some_rows_were_corrected_is_told(tmp_path: Path) -> None:
    (note,) = notes(tmp_path, before(lambda at: 3.2 * (at >= 10)))
    assert note.startswith("rover001.csv:12: ") and "20 rows" in note and "agree in the 10 others" in note


def test_a_position_part_of_which_is_from_before_is_told(tmp_path: Path) -> None:
    raw = {'latitude = "Lat"': 'latitude = "Raw Lat"'}
    (note,) = notes(tmp_path, before(lambda at: 3.2), raw)
    assert '"Raw EllHt"' in note


@pytest.mark.parametrize(
    ("change", "mapped"),
    [
        (before(lambda at: 0.0), {}),
        (before(lambda at: 3.2), {'height = "EllHt"': 'height = "Raw EllHt"'}),
        (lambda at, row: row | {"Raw EllHt": ""}, {}),
        (lambda at, row: row | {"Raw data": "x", "Raw PDOP": "2.1", "Original Name": "A"}, {}),
    ],
)
def test_what_is_equal_or_mapped_is_left_in_peace(
    change: Callable[[int, Row], Row], mapped: dict[str, str], tmp_path: Path
) -> None:
    assert notes(tmp_path, change, mapped) == []
