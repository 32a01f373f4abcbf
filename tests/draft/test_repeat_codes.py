"""A point that was read with two codes is issued with one of them: a note says which the other was."""

from pathlib import Path

import pytest
from repeated_days import days, reading

from pipeline import run_job


def notes(folder: Path, first: str, second: str, repeats: str = "last", linework: bool = False) -> list[str]:
    """Return what is said of two days that measure eight points, of which P3 is coded as given on each."""
    work = days()
    work.rows["code"] = work.rows["code"].astype(object)
    for day, code in ((1, first), (2, second)):
        work.rows["code"][reading(work, "P3", day)] = code
    work.job["issue"] = {"repeats": repeats}
    if linework:
        work.job["linework"] = {"codes": ["FENCE"], "start": "begin", "end": ["end"]}
    record = run_job(work.write(folder), dry_run=True).record
    return [note for note in record["notes"] if "two codes" in note]


@pytest.mark.parametrize("repeats", ["last", "mean"])
def test_the_code_that_is_not_drawn_is_told(repeats: str, tmp_path: Path) -> None:
    (note,) = notes(tmp_path, "FENCE", "OTHER", repeats)
    assert (
        note.startswith("1 point was read with two codes")
        and note.endswith("), FENCE and OTHER")
        and ": P3 (rover001.csv:" in note
    )


@pytest.mark.parametrize(("first", "second"), [("FENCE", "FENCE"), ("FENCE", "fence"), ("", "FENCE")])
def test_one_code_is_not_told(first: str, second: str, tmp_path: Path) -> None:
    assert notes(tmp_path, first, second) == []


def test_every_reading_that_is_issued_keeps_its_code(tmp_path: Path) -> None:
    assert notes(tmp_path, "FENCE", "OTHER", "all") == []


def test_a_word_of_a_string_makes_no_other_code(tmp_path: Path) -> None:
    assert notes(tmp_path, "FENCE1 begin", "FENCE1", linework=True) == []
