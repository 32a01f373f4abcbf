"""Spreadsheets as exports, registers and tables of sessions: values as stored, odd cells told, hostile files bounded.

The files are written by openpyxl, or by hand as the standard of Office Open XML (ECMA-376) has them.
"""

import datetime as dt
import io
import zipfile
from pathlib import Path

import pytest
from exports_made import COLUMNS, block, find, read
from least_job import YARD
from openpyxl import Workbook

from pipeline.control import RegisterFrame, read_register
from pipeline.files.workbook import hidden_sheets, read_workbook
from pipeline.files.workbook_parts import BrokenWorkbook
from pipeline.job.load import load_job
from pipeline.problems import Problems
from pipeline.read.skipped_comments import PassedOver
from pipeline.sessions.windows import load_sessions
from pipeline.words import Reason, reason_code

HEADER = list(COLUMNS.values())
TIME = dt.datetime(2026, 3, 2, 7, 30)
GOOD = ["P1", TIME, -36.8, 174.7, 12.5, 0.01, 0.02, 0.03, "fix", "KERB", "BASE-A"]


def book_of(*rows: list, name: str = "Sheet") -> Workbook:
    book = Workbook()
    book.active.title = name
    for row in rows:
        book.active.append(row)
    return book


def table_of(folder: Path, book: Workbook, columns=None, **keys):
    book.save(folder / "a.xlsx")
    return read(folder, block("a.xlsx", columns, **keys))


def problem_of(folder: Path, book: Workbook, columns=None, **keys) -> str:
    book.save(folder / "a.xlsx")
    (problem,) = find(folder, block("a.xlsx", columns, **keys))[1]
    return problem


def test_values_as_they_are_stored(tmp_path):
    """Numbers stay numbers, names of figures are names; rows have the sheet's numbers; a side note is carried along."""
    book = book_of(["Yard"], [], [*HEADER, "Photo"], [*GOOD, 7], [], [101, TIME, *GOOD[2:], None, "see plan"])
    book.active["A7"] = "001"
    for column, value in enumerate(GOOD[1:], start=2):
        book.active.cell(7, column, value)
    table = table_of(tmp_path, book)
    assert table["source_row"].to_pylist() == [4, 6, 7]
    assert table["name"].to_pylist() == ["P1", "101", "001"]
    assert table["time"].to_pylist() == [TIME.replace(tzinfo=dt.UTC)] * 3
    assert table["second"].to_pylist() == [-36.8] * 3
    assert (table["Photo"].to_pylist(), table["column_13"].to_pylist()) == ([7, None, None], [None, "see plan", None])


def test_dates_are_on_the_clock_of_the_zone_whatever_format_texts_have(tmp_path):
    book = book_of(HEADER, GOOD, ["P2", "02/03/2026 07:30:00", *GOOD[2:]])
    table = table_of(tmp_path, book, time_zone="Pacific/Auckland", time_format="%d/%m/%Y %H:%M:%S")
    assert table["time"].to_pylist() == [dt.datetime(2026, 3, 1, 18, 30, tzinfo=dt.UTC)] * 2


def test_cells_without_a_sure_value_are_held_with_their_row(tmp_path):
    book = book_of(HEADER, *[[f"P{number}", *GOOD[1:]] for number in range(1, 8)])
    sheet = book.active
    sheet["E3"].value, sheet["E3"].data_type = "#N/A", "e"
    sheet["C4"] = "=C3+0.001"
    sheet.merge_cells("K5:K6")
    sheet.row_dimensions[7].hidden = True
    sheet.column_dimensions["C"].hidden = True
    sheet["D8"].value, sheet["D8"].data_type = "#REF!", "e"
    table = table_of(tmp_path, book)
    assert [bool(code) for code in table["held"].to_pylist()] == [False, True, True, False, True, True, True]
    assert set(table["held"].to_pylist()) == {0, reason_code(Reason.UNREADABLE)}
    details = table["detail"].to_pylist()
    assert details[1] == "height: the cell holds the error #N/A"
    assert details[2].startswith("latitude: the cell's formula has no stored value")
    assert details[4].startswith("base: the cell is merged into K5")
    assert details[5].startswith("the row is hidden in the sheet")
    assert details[6] == "longitude: the cell holds the error #REF!"


def test_the_sheet_is_chosen_or_asked_for(tmp_path):
    book = book_of(["Notes"], name="Notes")
    for name in ("Rover 1", "Rover 2"):
        sheet = book.create_sheet(name)
        sheet.append(HEADER)
        sheet.append([name, *GOOD[1:]])
    problem = problem_of(tmp_path, book)
    assert 'several of its sheets hold rows: "Rover 1", "Rover 2"' in problem and "as layer" in problem
    assert table_of(tmp_path, book, layer="Rover 2")["name"].to_pylist() == ["Rover 2"]
    assert 'it has no sheet "Rover 3"' in problem_of(tmp_path, book, layer="Rover 3")
    book["Rover 1"].sheet_state = "hidden"
    assert table_of(tmp_path, book)["name"].to_pylist() == ["Rover 2"]


@pytest.mark.parametrize("state", ["hidden", "veryHidden"])
def test_hidden_sheets_are_counted_and_read_where_they_are_named(tmp_path, state):
    """Rows with two cells or more that begin with a figure: neither a header, nor a list of codes, nor an empty one."""
    book = book_of(HEADER, GOOD, name="Shown")
    for name, rows in {
        "Later": [HEADER, GOOD, [*GOOD[:2], "36°50'12\"S", *GOOD[3:]]],
        "Codes": [["1", "Kerb"]],
        "None": [],
    }.items():
        sheet = book.create_sheet(name)
        sheet.sheet_state = state
        for row in rows:
            sheet.append(row)
    book.save(tmp_path / "a.xlsx")
    data = (tmp_path / "a.xlsx").read_bytes()
    assert [(one.name, one.rows) for one in hidden_sheets(data)] == [("Later", 2), ("Codes", 0)]
    (export,) = find(tmp_path, block("a.xlsx"))[0]
    assert [(one.name, one.rows) for one in export.unseen] == [("Later", 2)]
    (export,) = find(tmp_path, block("a.xlsx", layer="Later"))[0]
    told = [(one.name, one.rows, one.shown) for one in export.unseen]
    assert told == [("Shown", 1, True)]  # it has the same headings
    assert table_of(tmp_path, book, layer="Later").num_rows == 2


def test_two_sheets_as_two_blocks(tmp_path):
    book = book_of(HEADER, GOOD, name="one")
    book.create_sheet("two").append(HEADER)
    book["two"].append(["P2", *GOOD[1:]])
    book.save(tmp_path / "a.xlsx")
    exports, problems = find(tmp_path, block("a.xlsx", layer="one"), block("a.xlsx", layer="two"))
    assert (problems, [export.block for export in exports]) == ([], [0, 1])


def test_layout_as_in_a_text(tmp_path):
    numbers = {ours: number for number, ours in enumerate(COLUMNS, start=1)}
    table = table_of(tmp_path, book_of(["x"] * 11, GOOD, ["# end"]), numbers, header=0, skip=1, comment="#")
    assert table["source_row"].to_pylist() == [2]
    assert "state header = 2" in problem_of(tmp_path, book_of(["x"] * 11, HEADER, GOOD))
    assert table_of(tmp_path, book_of(["x"] * 11, HEADER, GOOD), header=2)["name"].to_pylist() == ["P1"]
    assert 'no column "Lat"' in problem_of(tmp_path, book_of([name.replace("Lat", "Breite") for name in HEADER], GOOD))


def test_rows_that_a_comment_passes_over_are_counted(tmp_path):
    book = book_of(HEADER, GOOD, ["#2", *GOOD[1:]], ["# moved here", 1, 2], ["#3", *GOOD[1:]])
    book.save(tmp_path / "a.xlsx")
    (export,), problems = find(tmp_path, block("a.xlsx", comment="#"))
    assert (problems, export.passed) == ([], PassedOver(2, 3))
    assert find(tmp_path, block("a.xlsx"))[0][0].passed is None


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.xlsx", b"PK\x03\x04 torn off", "it cannot be unpacked"),
        ("a.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 100, "protected by a password"),
        ("a.xlsx", b"Point,Observed\n", "the content does not match the extension .xlsx"),
        ("a.xls", b"\xd0\xcf\x11\xe0", "save it as .xlsx or .csv"),
        ("a.ods", b"PK\x03\x04", "save it as .xlsx or .csv"),
    ],
)
def test_files_that_are_no_spreadsheet(tmp_path, name, content, says):
    (tmp_path / name).write_bytes(content)
    assert says in find(tmp_path, block(name))[1][0]


SHEET = "xl/worksheets/sheet1.xml"
_NS = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_ONE = '<row r="1"><c r="A1"><v>1</v></c></row>'
_ENTITIES = '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'


_STRICT = (
    b'<workbook xmlns="http://purl.oclc.org/ooxml/spreadsheetml/main"'
    b' xmlns:r="http://purl.oclc.org/ooxml/officeDocument/relationships">'
    b'<sheets><sheet name="a" sheetId="1" r:id="rId1"/></sheets></workbook>'
)


def packed(part: str, content: bytes) -> bytes:
    """A spreadsheet of which one part was exchanged, or put beside the others."""
    whole, made = io.BytesIO(), io.BytesIO()
    book_of(["a"], ["b"]).save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in dict.fromkeys((*old.namelist(), part)):
            new.writestr(name, content if name == part else old.read(name))
    return made.getvalue()


def sheet(rows: str, before: str = "", after: str = "") -> bytes:
    return f'<?xml version="1.0"?>{before}<worksheet {_NS}><sheetData>{rows}</sheetData>{after}</worksheet>'.encode()


@pytest.mark.parametrize(
    ("part", "content", "says"),
    [
        (SHEET, sheet(_ONE, before=_ENTITIES), "defines a type or entities"),
        ("xl/sharedStrings.xml", sheet(_ONE, before=_ENTITIES), "defines a type or entities"),
        ("xl/styles.xml", sheet(_ONE, before=_ENTITIES), "defines a type or entities"),
        ("xl/styles.xml", b" " * (9 << 20), "more than 8 MB unpacked"),
        (SHEET, b" " * (129 << 20), "more than 128 MB unpacked"),
        (SHEET, sheet('<row r="1"><c r="XFD1"><v>1</v></c></row>'), "16,384 columns"),
        (SHEET, sheet(f'{_ONE}<row r="1048576"><c r="CZ1048576"><v>1</v></c></row>'), "nearly all empty"),
        (SHEET, sheet(f'{_ONE}<row r="99999999"><c><v>1</v></c></row>'), "numbered"),
        (SHEET, sheet(f"{_ONE}{_ONE}"), "numbered"),
        (SHEET, sheet(_ONE, after='<mergeCells><mergeCell ref="A1:B2"/></mergeCells>' * 10_001), "more merged cells"),
        (SHEET, sheet('<row r="1"><c t="s"><v>99</v></c></row>'), "its XML cannot be read"),
        (SHEET, sheet(f'<row r="1"><c><v>{"9" * 5000}</v></c></row>'), "its XML cannot be read"),
        (SHEET, b"hello", "its XML cannot be read"),
        ("xl/workbook.xml", _STRICT, "its list of sheets cannot be read"),
        ("xl/workbook.xml", f"<workbook {_NS}/>".encode(), "no sheet with rows"),
    ],
)
def test_hostile_files_are_refused_in_words(part, content, says):
    with pytest.raises(BrokenWorkbook, match=says):
        read_workbook(packed(part, content), None)


def test_texts_kept_apart_and_a_sheet_elsewhere():
    """As most programs write them: texts in a part of their own, the sheet under any name."""
    main = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{main}.sheet.main+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{main}.sharedStrings+xml"/>'
        f'<Override PartName="/xl/worksheets/yard.xml" ContentType="{main}.worksheet+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1"'
        f' Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="r7" Type="{office}/worksheet" Target="/xl/worksheets/yard.xml"/>'
        f'<Relationship Id="r8" Type="{office}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/workbook.xml": f'<x:workbook xmlns:x="{_NS[7:-1]}" xmlns:r="{office}"><x:sheets>'
        '<x:sheet name="Yard" sheetId="4" r:id="r7"/></x:sheets></x:workbook>',
        "xl/sharedStrings.xml": f"<sst {_NS}><si><t>Point</t></si><si><r><t>P</t></r><r><t>1</t></r></si></sst>",
        "xl/worksheets/yard.xml": sheet('<row><c t="s"><v>0</v></c></row><row><c t="s"><v>1</v></c></row>').decode(),
    }
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as new:
        for name, content in parts.items():
            new.writestr(name, content)
    found = read_workbook(made.getvalue(), None)
    assert (found.name, found.rows) == ("Yard", ((1, ("Point",)), (2, ("P1",))))


def test_a_formatted_cell_far_out_is_no_column():
    rows = '<row r="1"><c r="A1"><v>1</v></c><c r="XFD1" s="0"/></row><row r="9"><c r="B9"><v>2</v></c></row>'
    assert read_workbook(packed(SHEET, sheet(rows)), None).rows == ((1, (1, None)), (9, (None, 2)))


def test_a_register_in_a_spreadsheet(tmp_path):
    book = book_of(["Register of the yard"], ["mark", "easting", "northing", "ellipsoid_height", "dated", "Remark"])
    book.active.append(["CM1", 1507336.178, 5160804.096, 310, dt.date(2025, 6, 1), "in the kerb"])
    book.active.append([7, 1507446.014, 5160687.885, "309.5602"])
    book.save(tmp_path / "register.xlsx")
    problems = Problems()
    register = read_register(tmp_path / "register.xlsx", RegisterFrame("projected", True), problems)
    assert register is not None and problems.found == []
    assert (register.names, register.lines, register.dated[0]) == (("CM1", "7"), (3, 4), "2025-06-01")
    assert register.third.tolist() == [310.0, 309.5602]
    book.active["B4"] = "=B3+1"
    book.active.row_dimensions[3].hidden = True
    book.save(tmp_path / "register.xlsx")
    assert read_register(tmp_path / "register.xlsx", RegisterFrame("projected", True), problems) is None
    told = [(problem.line, problem.what) for problem in problems.found]
    assert [line for line, _ in told] == [3, 4]
    assert "hidden" in told[0][1] and "'easting': the cell's formula has no stored value" in told[1][1]


def test_sessions_in_a_spreadsheet(tmp_path):
    """08:30 in New Zealand on 2 March 2026 is 19:30 UTC the day before (its time zone database)."""
    book = book_of(["mark"], name="Marks")
    bases = book.create_sheet("Bases")
    bases.append(["name", "start", "end", "base", "ties", "setup_antenna_height"])
    bases.append(["am", dt.datetime(2026, 3, 2, 8, 30), "2026-03-02T12:00:00+13:00", 7, "T1=CM1; T2=CM2"])
    bases.append(["day", dt.date(2026, 3, 3), "2026-03-03T12:00:00+13:00", 7])
    book.save(tmp_path / "sessions.xlsx")
    job = YARD.replace("control.csv", "sessions.xlsx").replace(
        "[[points]]", 'time_zone = "Pacific/Auckland"\n[[points]]'
    )
    (tmp_path / "job.toml").write_text(f'{job}[sessions]\nfile = "sessions.xlsx"\nlayer = "Bases"\n')
    problems = Problems()
    loaded = load_job(tmp_path / "job.toml", problems)
    assert loaded is not None and problems.found == []
    (window,) = load_sessions(loaded, problems)
    assert window.session.start == dt.datetime(2026, 3, 1, 19, 30, tzinfo=dt.UTC)
    assert (window.base, len(window.session.ties), window.where[1]) == ("7", 2, 2)
    assert [problem.line for problem in problems.found] == [3]
    assert "holds '2026-03-03'" in problems.found[0].what
