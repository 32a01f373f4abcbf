"""Readings that an export calls deleted are told, by run and check, and asked after in a draft.

Controllers keep what was deleted and export it with a flag, so that nothing but the flag tells it apart. The words are
those that dictionaries have for it.
"""

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from folders_made import drafted
from running import Row, record_of, rewrite_numbered
from simulate import Plan, simulate

from pipeline.new_job import new_job

TOLD = "have to be taken out of the export"
#: Rows of the export that are flagged, of points.
FLAGGED = (8, 9, 15)

WORDS = [
    ("Deleted", "Yes", "No"),
    ("Deleted", "1", "0"),
    ("Deleted", "x", ""),
    ("isDeleted", "True", "False"),
    ("Void", "TRUE", "FALSE"),
    ("Disabled", "Y", "N"),
    ("Rejected", "yes", ""),
    ("Status", "deleted", "active"),
    ("State", "Rejected", ""),
    ("Gelöscht", "Ja", "Nein"),
    ("geloescht", "wahr", "falsch"),
    ("Supprimé", "Oui", "Non"),
    ("Eliminado", "Sí", "No"),
    ("Excluído", "Sim", "Não"),
    ("Eliminato", "Sì", "No"),
    ("Verwijderd", "Ja", "Nee"),
    ("Slettet", "Ja", "Nei"),
    ("Raderad", "Ja", "Nej"),
    ("Poistettu", "Kyllä", "Ei"),
    ("Usunięty", "Tak", "Nie"),
    ("Smazáno", "Ano", "Ne"),
    ("Удалено", "Да", "Нет"),
    ("削除", "はい", "いいえ"),
    ("状态", "已删除", "正常"),
    ("Valid", "No", "Yes"),
]


def notes(folder: Path, change: Callable[[int, Row], Row]) -> list[str]:
    path = simulate(Plan(points=40, ties=1, checks=3, seed=5)).write(folder)
    rewrite_numbered(folder / "rover001.csv", change)
    return [note for note in record_of(path)["notes"] if TOLD in note]


@pytest.mark.parametrize(("heading", "flag", "other"), WORDS)
def test_rows_called_deleted_are_told(heading: str, flag: str, other: str, tmp_path: Path) -> None:
    (note,) = notes(tmp_path, lambda at, row: row | {heading: flag if at in FLAGGED else other})
    assert note.startswith(f'rover001.csv:10: column "{heading}" says {flag} of 3 readings (rows 10, 11, 17) and not')


@pytest.mark.parametrize(
    ("heading", "cell"),
    [
        ("Deleted", lambda at: "No"),
        ("Deleted", lambda at: "Yes"),
        ("Deleted", lambda at: ""),
        ("Deleted", lambda at: "No" if at % 2 else ""),
        ("Void", lambda at: f"{at % 7}.2"),  # a void's depth
        ("Tree removed", lambda at: "yes" if at % 2 else "no"),
        ("Status", lambda at: "active" if at % 2 else "new"),
        ("Status", lambda at: "not deleted" if at % 2 else "OK"),
        ("Status", lambda at: "removed" if at % 5 == 0 else "existing"),
        ("Estado", lambda at: "Eliminado" if at % 5 == 0 else "Existente"),
        ("Material", lambda at: "void" if at % 2 else "concrete"),
        ("Valid", lambda at: "Yes" if at % 2 else ""),
    ],
)
def test_columns_that_call_no_row_deleted_are_let_be(heading: str, cell: Callable[[int], str], tmp_path: Path) -> None:
    assert notes(tmp_path, lambda at, row: row | {heading: cell(at)}) == []


@pytest.mark.parametrize("heading", ["Rejected", "Excluded", "Valid", "Ungültig"])
def test_counts_of_epochs_call_nothing_deleted(heading: str, tmp_path: Path) -> None:
    assert notes(tmp_path / "run", lambda at, row: row | {heading: str(at % 4)}) == []
    folder_with(tmp_path, f"Solution,{heading}", lambda at: f"fix,{at % 4}")
    assert not [each for each in drafted(new_job(tmp_path)).blocks[0].asks if "to be issued" in each.asks]


NAMES = ["CP1", "CP2", "CP3", *(str(number) for number in range(101, 131)), "CP2", "CP1"]


def folder_with(folder: Path, headings: str, cells: Callable[[int], str]) -> None:
    marks = {"CP1": (7000, 3000), "CP2": (7060, 3045), "CP3": (7120, 3090)}
    (folder / "control.csv").write_text(
        "mark,easting,northing,height\n"
        + "".join(f"{name},{east}.000,{north}.000,{at}.300\n" for at, (name, (east, north)) in enumerate(marks.items()))
    )
    lines = [f"Point,Easting,Northing,Ellipsoidal height,Time (UTC),{headings}"]
    for at, name in enumerate(NAMES):
        east, north = marks.get(name, (7010 + 3 * at, 3050 - 2 * at))
        when = f"2026-03-17T{7 + at // 30:02d}:{2 * at % 60:02d}:00Z"
        lines.append(f"{name},{east}.412,{north}.207,{at % 7}.512,{when},{cells(at)}")
    (folder / "day.csv").write_text("\n".join(lines) + "\n")


@pytest.mark.parametrize(("heading", "flag", "other"), WORDS)
def test_a_draft_asks(heading: str, flag: str, other: str, tmp_path: Path) -> None:
    folder_with(tmp_path, f"Solution,{heading}", lambda at: f"fix,{flag if at in FLAGGED else other}")
    started = new_job(tmp_path)
    (asked,) = (each.asks for each in drafted(started).blocks[0].asks if "to be issued" in each.asks)
    assert f'"{heading}" calls {flag}?' in asked and "3 rows (106, 107, 113) of 35" in asked
    tomllib.loads(Path(started.path).read_text())


def test_the_column_may_stand_in_for_that_of_solutions(tmp_path: Path) -> None:
    folder_with(tmp_path, "Deleted", lambda at: str(at in FLAGGED))
    (asked,) = (each.asks for each in drafted(new_job(tmp_path)).blocks[0].asks if "to be issued" in each.asks)
    assert 'map solution = "Deleted" and accept solutions = ["False"] in [quality]' in asked


@pytest.mark.parametrize("cell", ["No", "Yes", ""])
def test_a_draft_asks_nothing_where_all_rows_say_the_same(cell: str, tmp_path: Path) -> None:
    folder_with(tmp_path, "Solution,Deleted", lambda at: f"fix,{cell}")
    assert not [each for each in drafted(new_job(tmp_path)).blocks[0].asks if "to be issued" in each.asks]
