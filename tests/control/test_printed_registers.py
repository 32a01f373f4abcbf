"""A register that was printed on pages, or put together of several: every mark is read, and nothing else is one."""

import random
from pathlib import Path

import pytest
from registers_read import read_marks

from pipeline.control.register import Register
from pipeline.control.table_form import Form
from pipeline.files.written_table import Written

_NAMED = {"mark": "Point", "easting": "E", "northing": "N", "height": "H"}


def _read(folder: Path, text: str, named: dict[str, str] | None = None) -> tuple[Register | None, list[str]]:
    form = Form(Written(pages=True), _NAMED if named is None else named)
    register, problems = read_marks(folder, text, form, name="marks.txt")
    return register, [str(one) for one in problems]


def _row(number: int, up: str = "") -> str:
    north, east = 6676000 + 13.217 * number, 490000 + 7.131 * number
    return f"  {600 + number}   {north:.3f}  {east:.3f}  {up or f'{20 + number / 7:.3f}'}"


def _page(page: int, rows: list[str], title: list[str], heading: list[str], foot: list[str]) -> list[str]:
    return ["\f" + title[0] if page > 1 and title else "", *title[page > 1 :], "", *heading, *rows, "", *foot]


TITLES = (
    ["  TOWN OF NORTHWICK - CONTROL MARKS   Sheet {page}", "  Grid GK25, heights N2000"],
    ["Page {page} of 4"],
    [],
)
HEADINGS = (
    ["  Point     N            E            H"],
    ["  Point     N            E            H", "  ----- ------------- ------------ --------"],
    [
        "  Point     N            E            H",
        "  -         m            m            m",
        "  ======================================",
    ],
    ["  Point     N            E            H", "  -              [m]          [m]          [m]"],
)
FEET = ([], ["   * checked 2024"], ["page {page} of 4"], ["- {page} -"], ["Printed 17.03.2026 12:15:0{page} {page}/4"],
        ["{marks} marks on this page", "Seite {page}"])  # fmt: skip


@pytest.mark.parametrize("title", TITLES)
@pytest.mark.parametrize("heading", HEADINGS)
@pytest.mark.parametrize("foot", FEET)
def test_every_mark_of_all_pages_is_read(tmp_path, title, heading, foot):
    pages = [list(map(_row, range(first, last))) for first, last in ((0, 22), (22, 40), (40, 63), (63, 70))]
    lines = []
    for number, rows in enumerate(pages, start=1):
        filled = [[one.format(page=number, marks=len(rows)) for one in part] for part in (title, foot)]
        lines += _page(number, rows, filled[0], heading, filled[1])
    register, problems = _read(tmp_path, "\n".join(lines))
    assert problems == [] and register is not None
    assert register.names == tuple(str(600 + number) for number in range(70))
    assert register.first[69] == pytest.approx(490000 + 7.131 * 69, abs=6e-4)
    assert len(register.pages.headings) == 3
    rows_at = {at for at, line in enumerate(lines, start=1) if line.strip()[:1] == "6"}
    assert not rows_at & register.pages.lines


@pytest.mark.parametrize("again", ["Point;N;E;H", "point; n ;E;h;"])
def test_tables_put_together_with_their_heading_are_one(tmp_path, again):
    register, problems = _read(
        tmp_path, f"Point;N;E;H\nA1;5160000.1;480000.2;12.1\n{again}\nA2;5160009.1;480007.2;12.5\n"
    )
    assert problems == [] and register is not None
    assert register.names == ("A1", "A2") and register.pages.lines == {3}


def test_marks_at_the_ends_of_pages_are_marks_however_they_are_alike(tmp_path):
    """Marks without a height, or with a height alone, that end each page have one form, and are in no title."""
    text = "Point;N;E;H;Note\n"
    for page in range(4):
        text += f"A{page};5160000.{page};480000.{page};12.{page};\nB{page};5160000.{page};480009.{page};;\n"
        text += f"C{page};;;13.{page};levelled\nD{page};5;7;{page};local\n"
        text += f"BM {page} to {page};;;14;lost\n" + ("Point;N;E;H;Note\n" if page < 3 else "")
    register, problems = _read(tmp_path, text)
    assert problems == [] and register is not None and len(register.names) == 20


@pytest.mark.parametrize("seed", range(40))
def test_no_mark_is_ever_left_out(tmp_path, seed):
    """Of random registers on pages each mark is read, or the register is refused."""
    chance = random.Random(seed)
    sign = chance.choice([";", "\t", " "])
    none = chance.choice(["-", "n/a", "--"] if sign == " " else ["", "-", "lost"])
    names, lines = [], []
    for page in range(chance.randint(2, 5)):
        lines += [f"Marks of the town, sheet {page + 1}", sign.join(("Point", "N", "E", "H"))]
        for _ in range(chance.randint(1, 6)):
            names.append(f"{chance.choice(['CP', '', 'Page'])}{len(names) + 1}")
            cells = [f"{chance.uniform(0, 9e6):.{chance.choice([0, 3])}f}" for _ in range(3)]
            cells[2] = none if chance.random() < 0.5 else f"{chance.uniform(0, 90):.{chance.choice([0, 2])}f}"
            lines.append(sign.join((names[-1], *cells)))
        lines += [f"Page {page + 1} of 5"] if chance.random() < 0.7 else []
    register, problems = _read(tmp_path, "\n".join(lines))
    assert (register is None and problems) or (register is not None and register.names == tuple(names))


SECOND = "Point     N      E     H\n A7   5160009.1   480007.2   12.5\n"


@pytest.mark.parametrize(
    "title",
    ["Marks of the town, grid GK{}", "Grid: zone {}", "EPSG:38{}", "Meridian {}.0", "Heights N{}", "Lambert zone {}"],
)
def test_a_page_of_another_system_is_refused_with_both_lines(tmp_path, title):
    first = f"{title.format(25)}\n{SECOND}".replace("A7", "A6")
    register, problems = _read(tmp_path, f"{first}{title.format(26)}\n{SECOND}")
    assert register is None
    assert "marks.txt:4" in problems[0] and "line 1" in problems[0]


@pytest.mark.parametrize(
    "other",
    ["Point E N H", "Point X Y Z", "Point Latitude Longitude H", "Point N E Remark", "No E N H"],
)
def test_a_page_with_other_columns_is_refused_with_both_lines(tmp_path, other):
    text = f"Marks of the town, page 1\n{SECOND}Marks of the town, page 2\n{other}\n A8 5160009.1 480007.2 12.5\n"
    register, problems = _read(tmp_path, text)
    assert register is None
    assert any("marks.txt:5" in one and "line 2" in one for one in problems)


def test_a_title_as_wide_as_the_heading_is_no_row_but_rows_above_it_are(tmp_path):
    title = "TOWN OF NORTHWICK - CONTROL MARKS 2024\n"
    register, problems = _read(tmp_path, f"{title}{SECOND}")
    assert problems == [] and register is not None and register.names == ("A7",)
    register, problems = _read(tmp_path, f"{title} A5  5160001.1 480001.2 12.5\n{SECOND}")
    assert register is None and "marks.txt:3" in problems[0] and "(line 2)" in problems[0]


def test_a_rule_below_the_heading_is_no_mark_of_a_single_page(tmp_path):
    register, problems = _read(tmp_path, f"Point;N;E;H\n-----;-----;-----;----\n{'A7;5160009.1;480007.2;12.5'}\n")
    assert problems == [] and register is not None and register.names == ("A7",)
    assert register.pages.lines == {2}
