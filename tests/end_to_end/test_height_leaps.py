"""Runs of heights that leap and come back are told in one note of each kind for each export, however many they are."""

from pathlib import Path

from running import record_of, rewrite_numbered
from simulate import CENTRAL_JAVA, Plan, simulate

#: Metres that nobody climbs from one reading to the next, and no digit makes.
LEAP = 84.6
TOLD = "those before and after"


def notes_of(folder: Path, runs: list[tuple[int, int]], sessions: int = 1) -> list[str]:
    """Run days some of whose readings lie far above the others: from one row up to another."""
    job = simulate(Plan(sessions=sessions, points=60, checks=2, place=CENTRAL_JAVA, reach=30.0))
    path = job.write(folder)
    moved = {row for start, stop in runs for row in range(start, stop)}

    def change(number: int, row: dict[str, str]) -> dict[str, str]:
        return {**row, "EllHt": f"{float(row['EllHt']) + LEAP:.4f}"} if number in moved else row

    rewrite_numbered(folder / "rover001.csv", change)
    return [note for note in record_of(path)["notes"] if TOLD in note]


def test_one_run_is_told_by_its_row(tmp_path: Path) -> None:
    (note,) = notes_of(tmp_path, [(82, 86)], sessions=2)
    assert note.startswith("rover001.csv:84: session session-02: 4 readings in a row are 8")
    assert " m above those before and after (first one here), hard by them" in note


def test_several_runs_of_a_session_are_told_once(tmp_path: Path) -> None:
    (note,) = notes_of(tmp_path, [(20, 24), (40, 43)])
    assert ": session session-01: readings in a row, 2 times (" in note and " m above or below those before" in note


def test_so_are_those_of_several_sessions(tmp_path: Path) -> None:
    (note,) = notes_of(tmp_path, [(20, 24), (80, 84)], sessions=2)
    assert note.startswith("rover001.csv:22: sessions session-01, session-02: readings in a row, 2 times (8 in all,")
    assert ", from rows 22, 82) are 83" in note and "check these heights" in note


def test_none_leaps_on_a_day_as_it_was_measured(tmp_path: Path) -> None:
    assert notes_of(tmp_path, []) == []
