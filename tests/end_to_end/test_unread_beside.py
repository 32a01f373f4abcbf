"""Exports that lie beside those that are read and that no block takes are named; what else lies there is not."""

import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import Workbook
from running import record_of, replace_in
from simulate import Plan, simulate

from pipeline import check_job, run_job

TOLD = "not read by any [[points]]"


def day(folder: Path, files: str = "rover001*.csv") -> Path:
    path = simulate(Plan(sessions=1, points=12, checks=2)).write(folder)
    text = path.read_text(encoding="utf-8")
    named = next(line for line in text.splitlines() if line.startswith("files"))
    replace_in(path, {named: f'files = ["{files}"]'})
    return path


def other_rover(folder: Path, name: str) -> None:
    """A file of the same layout with other readings."""
    header, *rows = (folder / "rover001.csv").read_text(encoding="utf-8").splitlines()
    later = [re.sub(r"2026-\d\d-\d\d", "2026-04-01", row) for row in rows[3:5]]
    (folder / name).write_text("\n".join([header, *later, ""]), encoding="utf-8")


def cells(text: str) -> list[float | str]:
    """Numbers as a spreadsheet keeps them, and texts."""
    return [float(cell) if re.fullmatch(r"-?\d+\.\d+", cell) else cell for cell in text.split(",")]


def save_as_workbook(text: Path, name: str) -> None:
    book = Workbook()
    for line in text.read_text(encoding="utf-8").splitlines():
        book.active.append(cells(line))
    book.save(text.parent / name)


def told(path: Path) -> list[str]:
    return [note for note in record_of(path)["notes"] if TOLD in note]


@pytest.mark.parametrize("files", ["rover001*.csv", "rover001.csv", "*1.csv"])
@pytest.mark.parametrize("name", ["rover2.csv", "rover2.txt", "ROVER002.TXT"])
def test_an_export_beside_is_named(files: str, name: str, tmp_path: Path) -> None:
    path = day(tmp_path, files)
    other_rover(tmp_path, name)
    (note,) = told(path)
    assert f": {name} beside rover001.csv has the same columns" in note
    assert note.startswith(f"{path.name}:")
    assert [what for what in check_job(path).warnings if TOLD in what]


@pytest.mark.parametrize("name", ["rover2.xlsx", "ROVER2.XLSX", "rover2.xlsm"])
def test_so_is_a_workbook(name: str, tmp_path: Path) -> None:
    path = day(tmp_path)
    other_rover(tmp_path, "rover2.csv")
    save_as_workbook(tmp_path / "rover2.csv", name)
    (tmp_path / "rover2.csv").unlink()
    (note,) = told(path)
    assert f": {name} beside rover001.csv has the same columns" in note


def test_so_is_a_text_beside_a_workbook(tmp_path: Path) -> None:
    path = day(tmp_path)
    save_as_workbook(tmp_path / "rover001.csv", "rover001.xlsx")
    (tmp_path / "rover001.csv").unlink()
    replace_in(path, {"rover001*.csv": "rover001.xlsx"})
    assert told(path) == []
    other_rover(day(tmp_path / "other").parent, "../rover2.csv")
    (note,) = told(path)
    assert ": rover2.csv beside rover001.xlsx has the same columns" in note


def test_a_part_that_was_cut_from_what_is_read_is_named(tmp_path: Path) -> None:
    """An export in two parts, of which the job names one."""
    path = day(tmp_path)
    header, *rows = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "rover001.csv").write_text("\n".join([header, *rows[:6], *rows[9:], ""]), encoding="utf-8")
    (tmp_path / "part2.csv").write_text("\n".join([header, *rows[6:9], ""]), encoding="utf-8")
    (note,) = told(path)
    assert ": part2.csv beside rover001.csv has the same columns" in note


def test_several_are_named_in_one_sentence(tmp_path: Path) -> None:
    path = day(tmp_path)
    for number in range(2, 8):
        other_rover(tmp_path, f"rover{number}.csv")
    (note,) = told(path)
    assert "rover2.csv, rover3.csv, rover4.csv, rover5.csv and 2 more" in note


def nothing(path: Path) -> None:
    """Register, geoid and job file alone."""


def read_by_another_job(path: Path) -> None:
    other_rover(path.parent, "rover2.csv")
    text = path.read_text(encoding="utf-8").replace("rover001*.csv", "rover2*.csv")
    (path.parent / "tuesday.toml").write_text(text, encoding="utf-8")


def a_copy(path: Path) -> None:
    shutil.copy(path.parent / "rover001.csv", path.parent / "copy of rover.csv")


def sorted_again(path: Path) -> None:
    header, *rows = (path.parent / "rover001.csv").read_text(encoding="utf-8").splitlines()
    (path.parent / "by name.csv").write_text("\n".join([header, *sorted(rows, reverse=True), ""]), encoding="utf-8")


def a_part_that_is_read(path: Path) -> None:
    """What was exported at noon, before the rest of the day."""
    header, *rows = (path.parent / "rover001.csv").read_text(encoding="utf-8").splitlines()
    (path.parent / "noon.csv").write_text("\n".join([header, *rows[:7], ""]), encoding="utf-8")


def saved_as_a_workbook(path: Path) -> None:
    save_as_workbook(path.parent / "rover001.csv", "rover001.xlsx")


def temporary_and_hidden(path: Path) -> None:
    for name in ("~$rover2.csv", ".rover2.csv"):
        other_rover(path.parent, name)


def another_layout(path: Path) -> None:
    (path.parent / "list.csv").write_text("Point,Lat,Lon\nA,1,2\n", encoding="utf-8")
    (path.parent / "remarks.txt").write_text("north gate was closed\n", encoding="utf-8")
    (path.parent / "empty.csv").write_bytes(b"")
    (path.parent / "photo.txt").write_bytes(bytes(range(256)))


def in_a_folder_of_its_own(path: Path) -> None:
    (path.parent / "old").mkdir()
    other_rover(path.parent, "old/rover2.csv")


def of_a_job_a_day(path: Path) -> None:
    """Fifty days in one folder: which file is whose is theirs to say."""
    for number in range(50):
        other_rover(path.parent, f"day{number}.csv")
        (path.parent / f"day{number}.toml").write_text(f'files = ["day{number}.csv"]\n', encoding="utf-8")


@pytest.mark.parametrize(
    "change",
    [
        nothing,
        of_a_job_a_day,
        read_by_another_job,
        a_copy,
        sorted_again,
        a_part_that_is_read,
        saved_as_a_workbook,
        temporary_and_hidden,
        another_layout,
        in_a_folder_of_its_own,
    ],
)
def test_what_else_lies_there_is_let_be(change: Callable[[Path], None], tmp_path: Path) -> None:
    path = day(tmp_path)
    change(path)
    assert told(path) == []


def test_issues_in_csv_beside_the_exports_are_let_be(tmp_path: Path) -> None:
    path = day(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[issue]\nformats = ["csv"]\n' if "[issue]" not in text else text, encoding="utf-8")
    assert run_job(path).issued
    for made in (tmp_path / "out" / "current").glob("*.csv"):
        shutil.copy(made, tmp_path / made.name)
    assert told(path) == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are of POSIX systems")
def test_a_pipe_beside_is_not_waited_for(tmp_path: Path) -> None:
    path = day(tmp_path)
    os.mkfifo(tmp_path / "rover2.csv")
    assert told(path) == []


@pytest.mark.parametrize("name", [b"mesures_\xe9t\xe9.csv", b"rover\n2.csv"])
def test_a_name_that_is_no_text_is_shown_as_its_bytes(name: bytes, tmp_path: Path) -> None:
    path = day(tmp_path)
    try:
        other_rover(path.parent, os.fsdecode(name))
    except OSError:
        pytest.skip("the file system takes no such name")
    (note,) = told(path)
    assert os.fsdecode(name) not in note and note.isprintable()
