"""A digit that was replaced by another throughout a column is told, by the column and both digits."""

from pathlib import Path

import pytest
from running import record_of, rewrite_export, rewrite_numbered
from simulate import CANTERBURY, ELLIPSOIDAL, Place, Plan, simulate

from pipeline import run_job

TOLD = "was replaced by"


@pytest.mark.parametrize(("column", "word"), [("Lat", "latitude"), ("EllHt", "height")])
def test_a_replaced_digit_is_told(column: str, word: str, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=300, checks=3, place=ELLIPSOIDAL)).write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: {**row, column: row[column].replace("5", "6")})
    (note,) = [note for note in run_job(path, dry_run=True).record["notes"] if TOLD in note]
    assert note.startswith("rover001.csv: no digit 5 is in the last ") and f"the column of the {word}," in note


def test_so_is_one_that_was_replaced_in_the_last_rows(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=300, checks=3, place=ELLIPSOIDAL)).write(tmp_path)

    def change(number: int, row: dict[str, str]) -> dict[str, str]:
        return {**row, "EllHt": row["EllHt"].replace("5", "6")} if number >= 180 else row

    rewrite_numbered(tmp_path / "rover001.csv", change)
    (note,) = [note for note in record_of(path)["notes"] if TOLD in note]
    line = int(note.removeprefix("rover001.csv:").split(":")[0])
    assert 175 <= line <= 182 and "decimals of the column of the height, from this row to row 305," in note


@pytest.mark.parametrize("place", [ELLIPSOIDAL, CANTERBURY])
@pytest.mark.parametrize("noise", [True, False])
def test_a_day_as_it_was_exported_is_not(place: Place, noise: bool, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=300, checks=3, place=place, noise=noise)).write(tmp_path)
    assert not [note for note in record_of(path)["notes"] if TOLD in note]
