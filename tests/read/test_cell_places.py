"""Columns padded with blanks: a line with a cell in another's column is held, whatever moves cells honestly is not.

Rows are laid out as the formats of programs lay them out, so that what each cell is, is known beforehand.
"""

import unicodedata
from pathlib import Path

import numpy as np
import pytest
from exports_made import COLUMNS, HEADER, text_table

from pipeline.files.cell_places import cell_places
from pipeline.words import Reason, reason_code

NAMES = HEADER.split(",")
HELD = reason_code(Reason.UNREADABLE)


def rows(count: int, seed: int = 0) -> list[list[str]]:
    random = np.random.default_rng(seed)
    codes = ["KERB", "FENCE", "TREE", "DRAIN", "MH"]
    found = []
    for number in range(1, count + 1):
        lat, lon = -36.8 + random.normal(0, 0.02), 174.7 + random.normal(0, 0.02)
        height = f"{random.uniform(-20, 300):.3f}"
        time = f"2026-03-02T07:{number // 60 % 60:02d}:{number % 60:02d}Z"
        sigmas = [f"{random.uniform(0.004, 0.02):.3f}" for _ in range(3)]
        code = codes[random.integers(len(codes))]
        found.append([f"P{number}", time, f"{lat:.9f}", f"{lon:.9f}", height, *sigmas, "fix", code, "BASE-A"])
    return found


def on_screen(text: str) -> int:
    return sum(1 + (unicodedata.east_asian_width(sign) in "WF") for sign in text)


def padded(cells: list[str], widths: list[int], align: str, measure=len, gap: str = " ") -> str:
    """A line as print formats make it: a cell that is too long moves those behind it."""
    blanks = [" " * max(width - measure(cell), 0) for cell, width in zip(cells, widths, strict=True)]
    sides = [align if align != "mixed" else ("right" if 2 <= at <= 7 else "left") for at in range(len(cells))]
    return gap.join(
        cell + blank if side == "left" else blank + cell for cell, blank, side in zip(cells, blanks, sides, strict=True)
    ).rstrip()


WIDE = [10, 21, 15, 15, 10, 7, 7, 7, 6, 10, 8]
TIGHT = [8, 20, 13, 13, 8, 6, 6, 6, 4, 7, 7]
#: A blank in one cell and an empty cell elsewhere: the columns concerned, and what the first holds.
SHIFTS = [
    ("name and code", 0, "CP 1", 9),
    ("name and solution", 0, "P 1", 8),
    ("name and time", 0, "A B", 1),
    ("code and base", 9, "MH N", 10),
    ("code and solution", 9, "MH N", 8),
    ("base and code", 10, "B 1", 9),
    ("base and one sigma", 10, "BASE A", 6),
    ("name and base", 0, "CP 12", 10),
    ("a name as long as the column", 0, "CORNER 1", 9),
]


@pytest.mark.parametrize("align", ["left", "right", "mixed"])
@pytest.mark.parametrize("widths", [WIDE, TIGHT], ids=["wide", "tight"])
@pytest.mark.parametrize(("blank", "text", "empty"), [each[1:] for each in SHIFTS], ids=[each[0] for each in SHIFTS])
def test_a_blank_in_one_cell_and_an_empty_one_are_held(
    tmp_path: Path, align: str, widths: list[int], blank: int, text: str, empty: int
) -> None:
    table = rows(40)
    table[17][blank], table[17][empty] = text, ""
    lines = [padded(cells, widths, align) for cells in [NAMES, *table]]
    assert len(lines[18].split()) == len(NAMES)
    read = text_table(tmp_path, "\n".join(lines) + "\n", COLUMNS, delimiter="blanks")
    assert read["held"].to_pylist() == [HELD if at == 17 else 0 for at in range(40)]
    assert "stand in other columns" in read["detail"][17].as_py()
    assert read["source_row"][17].as_py() == 19


def test_a_file_of_two_rows_and_one_whose_rows_all_do(tmp_path: Path) -> None:
    """The header says where the columns are, if the other lines are few or do as this one does."""
    for count, spoilt in ((2, {0}), (1, {0}), (30, set(range(30)))):
        table = rows(count)
        for at in spoilt:
            table[at][0], table[at][9] = f"CP {at % 10}", ""
        lines = [padded(cells, WIDE, "mixed") for cells in [NAMES, *table]]
        read = text_table(tmp_path, "\n".join(lines) + "\n", COLUMNS, delimiter="blanks")
        assert read["held"].to_pylist() == [HELD if at in spoilt else 0 for at in range(count)]


def test_tabs_that_part_a_row_otherwise(tmp_path: Path) -> None:
    table = rows(5)
    table[2][0], table[2][9] = "CP 1", ""
    lines = ["\t".join(cells) for cells in [NAMES, *table]]
    read = text_table(tmp_path, "\n".join(lines) + "\n", COLUMNS, delimiter="blanks")
    assert read["held"].to_pylist() == [0, 0, HELD, 0, 0]


@pytest.mark.parametrize("measure", [len, on_screen, lambda text: len(text.encode())], ids=["signs", "screen", "bytes"])
def test_wide_signs(tmp_path: Path, measure) -> None:
    """Names in signs that take two columns of a screen and three bytes, padded as each program counts."""
    table = rows(40)
    for at, cells in enumerate(table):
        cells[0] = f"{'杭点角石'[at % 4] * (1 + at % 3)}{at}" if at % 3 else cells[0]
        cells[9] = "側溝" if at % 5 == 0 else cells[9]
    lines = [padded(cells, WIDE, "mixed", measure) for cells in [NAMES, *table]]
    read = text_table(tmp_path, "\n".join(lines) + "\n", COLUMNS, delimiter="blanks")
    assert read["held"].to_pylist() == [0] * 40
    table[20][0], table[20][9] = "点 1", ""
    lines = [padded(cells, WIDE, "mixed", measure) for cells in [NAMES, *table]]
    read = text_table(tmp_path, "\n".join(lines) + "\n", COLUMNS, delimiter="blanks")
    assert read["held"].to_pylist() == [HELD if at == 20 else 0 for at in range(40)]


@pytest.mark.parametrize("align", ["left", "right", "mixed", "free", "free beyond the name", "a tab and blanks"])
@pytest.mark.parametrize("seed", range(12))
def test_honest_rows_are_none(align: str, seed: int) -> None:
    """Short names and long ones, overflowing numbers, codes of one sign, free tables: nothing stands elsewhere."""
    random = np.random.default_rng(seed)
    table = rows(300, seed)
    for cells in table:
        if random.random() < 0.2:
            cells[0] = "CORNER-OF-THE-OLD-HOUSE-" + cells[0] if random.random() < 0.3 else cells[0][:1]
        if random.random() < 0.2:
            cells[4] = f"{random.uniform(-1, 1) * 10 ** random.integers(0, 9):.{random.integers(1, 5)}f}"
        if random.random() < 0.3:
            cells[8], cells[9] = "4", str(random.choice(["K", "1", "12", "LIGHTING-COLUMN"]))
        if random.random() < 0.1:
            cells[10] = "B"
    widths = [5, 20, 14, 14, 8, 6, 6, 6, 4, 6, 6] if seed % 2 else WIDE
    if align == "free":
        lines = [("  " if seed % 3 else " ").join(cells) for cells in [NAMES, *table]]
    elif align == "free beyond the name":
        lines = [f"{cells[0]:<8} " + " ".join(cells[1:]) for cells in [NAMES, *table]]
    elif align == "a tab and blanks":
        lines = [f"{cells[0]}\t" + padded(cells[1:], widths[1:], "left") for cells in [NAMES, *table]]
    else:
        lines = [padded(cells, widths, align) for cells in [NAMES, *table]]
    texts = [line.encode() for line in lines]
    for header in (texts[0], b"", " ".join(NAMES).encode()):
        places = cell_places(header, texts[1:201], len(NAMES))
        assert places.misplaced(b"\n".join(texts[1:]) + b"\n") == []


@pytest.mark.parametrize("text", ["", "\n", "a b\n", "1 2 3\n4 5 6\n", '"a b" 2 3\n'])
def test_tables_of_next_to_nothing(text: str) -> None:
    places = cell_places(b"x y z", text.encode().split(b"\n")[:-1], 3)
    assert places.misplaced(text.encode()) == []
