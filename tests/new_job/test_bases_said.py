"""Two bases make two sessions where a column says so in any language of the trade, or lines above the headers do."""

from pathlib import Path

import pytest
from every import every
from folders_made import drafted

from pipeline.new_job import new_job
from pipeline.new_job.draft import Draft
from pipeline.read.lines_above import base_above

MARKS = {"CP1": (7000, 3000), "CP2": (7060, 3045), "CP3": (7120, 3090)}
NAMES = ["CP1", "CP2", "CP3", *(str(number) for number in range(101, 119)), "CP1"]
HEADINGS = "Point,Easting,Northing,Ellipsoidal height,Time (UTC)"


def _rows(hour: int, cell: str = "", *, minutes: int = 0) -> list[str]:
    found = []
    for at, name in enumerate(NAMES):
        east, north = MARKS.get(name, (7010 + 3 * at, 3050 - 2 * at))
        time = f"2026-03-17T{hour:02d}:{minutes + 2 * at:02d}:00Z"
        found.append(f"{name},{east}.412,{north}.2{hour % 10},{at % 7}.512,{time}{cell}")
    return found


def _register(folder: Path) -> None:
    (folder / "control.csv").write_text(
        "mark,easting,northing,height\n"
        + "".join(f"{name},{east}.000,{north}.000,{at}.300\n" for at, (name, (east, north)) in enumerate(MARKS.items()))
    )


def _draft(folder: Path, **files: list[str]) -> Draft:
    _register(folder)
    for name, lines in files.items():
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return drafted(new_job(folder))


@pytest.mark.parametrize(
    "heading",
    ["Referens", "Station de base", "Station de référence", "Pivot", "Estación de referencia", "Estación base",
     "Estação de referência", "Stazione di riferimento", "Stazione di base", "Stația de bază", "Stație de referință",
     "Basisstasjon", "Referensstation", "Referenčná stanica", "Základňová stanice", "Referenčna postaja",
     "Bázisállomás", "Baasjaam", "Bazinė stotis", "Опорная станция"],
)  # fmt: skip
def test_a_base_by_its_heading(heading: str, tmp_path: Path) -> None:
    draft = _draft(tmp_path, day=[f"{HEADINGS},{heading}", *_rows(7, ",Hill"), *_rows(8, ",Quay")])
    assert [session.base for session in draft.sessions] == ["Hill", "Quay"]


@pytest.mark.parametrize("line", ["# Basis: {}", "Base station: {}", "Base,{}", "# Referensstation = {}"])
def test_a_base_above_the_header_of_each_file(line: str, tmp_path: Path) -> None:
    draft = _draft(tmp_path, a=[line.format("BS01"), HEADINGS, *_rows(7)], b=[line.format("BS02"), HEADINGS, *_rows(9)])
    assert [session.base for session in draft.sessions] == ["BS01", "BS02"]
    assert all(any("the file states" in note for note in block.notes) for block in every(draft.blocks))


def test_one_base_above_all_headers_is_one_session(tmp_path: Path) -> None:
    draft = _draft(tmp_path, a=["# Basis: BS01", HEADINGS, *_rows(7)], b=["# Basis: BS01", HEADINGS, *_rows(9)])
    assert [session.base for session in draft.sessions] == [""]


def test_bases_above_headers_that_no_times_tell_apart_are_told(tmp_path: Path) -> None:
    draft = _draft(
        tmp_path, a=["# Basis: BS01", HEADINGS, *_rows(7)], b=["# Basis: BS02", HEADINGS, *_rows(7, minutes=1)]
    )
    assert [session.base for session in draft.sessions] == [""]
    assert all(any("a column of base ids" in note for note in block.notes) for block in every(draft.blocks))


@pytest.mark.parametrize(
    "line",
    [
        "Base height: 1.5",
        "# Base: 443000.12",
        "Project: Base Road",
        "# Basisadresse: 7 Quay",
        "Base:",
        "Reference: RGF93",
    ],
)
def test_other_lines_name_no_base(line: str) -> None:
    assert base_above([line]) is None
