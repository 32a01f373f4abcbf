"""A text export that was copied or sent only in part: the number that it ends within is not taken for a number."""

from pathlib import Path

import pytest
from exports_made import block, find, text_table

from pipeline.read.exports import read_batches
from pipeline.read.raw_batch import CutRow

COLUMNS = {"name": "Point", "time": "Observed", "longitude": "Lon", "latitude": "Lat", "height": "Height"}
ROWS = [
    f"P{number},2026-03-01T21:{number}:00Z,172.6{number},-43.5{number},{number}.{number}5" for number in range(10, 35)
]
TEXT = "\n".join(["Point,Observed,Lon,Lat,Height", *ROWS])


def told_as_cut(folder: Path, text: str, columns: dict[str, str], **keys: object) -> list[CutRow]:
    """Return the row that a text seems to end within, if there is one."""
    (folder / "made.csv").write_text(text)
    ((export,), problems) = find(folder, block("made.csv", columns, **keys))
    assert problems == []
    found: list[CutRow] = []
    for _ in read_batches(export, cut_off=found.append):
        pass
    return found


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("missing", [1, 2, 3, 4, 5])
def test_a_number_cut_short_is_no_number(tmp_path: Path, end: str, encoding: str, missing: int) -> None:
    text = TEXT[:-missing].replace("\n", end).encode(encoding)
    stated = {"encoding": "cp1252"} if encoding == "cp1252" else {}
    table = text_table(tmp_path, text, COLUMNS, **stated)
    told = table["detail"].to_pylist()
    assert told[:-1] == [None] * 24
    assert "the file seems cut off in this line" in told[-1] and "of the 3 decimals" in told[-1]
    assert table["source_row"].to_pylist()[-1] == 26


@pytest.mark.parametrize(
    "text",
    [
        TEXT,  # many programs write no line end behind the last line
        TEXT[:-1] + "\n",  # one that ends its lines wrote the number so
        TEXT.replace("20.205", "20.2")[:-1],  # decimals differ from row to row
        "\n".join(TEXT.splitlines()[:20])[:-1],  # few rows say little of what is usual
        TEXT + "\n\n",
        # whole numbers of fewer figures, and one value for all rows but the last
        "\n".join(f"{line},{10 + at}" if at else f"{line},Sats" for at, line in enumerate(TEXT.splitlines()))[:-1],
        "\n".join(f"{line},1.80" if at else f"{line},Pole" for at, line in enumerate(TEXT.splitlines()))[:-3],
    ],
)
def test_a_number_that_may_be_whole_is_one(tmp_path: Path, text: str) -> None:
    assert set(text_table(tmp_path, text, COLUMNS)["detail"].to_pylist()) == {None}


@pytest.mark.parametrize("missing", [1, 2, 4, 9])
def test_a_time_cut_short_is_no_time(tmp_path: Path, missing: int) -> None:
    """Without its seconds it would still be one."""
    lines = ["Point,Lon,Lat,Height,Observed"]
    lines += [f"P{number},172.6,-43.5,12.345,2026-03-01 21:{number}:30" for number in range(10, 35)]
    told = text_table(tmp_path, "\n".join(lines)[:-missing], COLUMNS)["detail"].to_pylist()
    assert told[:-1] == [None] * 24 and "the file seems cut off in this line" in told[-1]


def test_rows_are_held_against_those_of_the_block_before(tmp_path: Path) -> None:
    """However a large file is cut into blocks."""
    (tmp_path / "made.csv").write_text(TEXT[:-1])
    ((export,), problems) = find(tmp_path, block("made.csv", COLUMNS))
    assert problems == []
    details = [detail for batch in read_batches(export, 1) for detail in batch.column("detail").to_pylist()]
    assert details[:-1] == [None] * 24 and details[-1] is not None


@pytest.mark.parametrize("ending", ["", "\n"])
def test_a_row_of_fewer_cells_that_no_line_end_closes_is_said_to_be_cut(tmp_path: Path, ending: str) -> None:
    """A line end behind it says that the row was written so."""
    lines = TEXT.splitlines()
    told = text_table(tmp_path, "\n".join([*lines[:-1], lines[-1][: len(lines[-1]) // 3]]) + ending, COLUMNS)
    details = told["detail"].to_pylist()
    assert details[:-1] == [None] * (len(lines) - 2) and "where the header names" in details[-1]
    assert ("the file may be cut off in it" in details[-1]) is (ending == "")


HEAD = "Point,Observed,Lon,Lat,Height,Base"


def with_bases(*bases: str) -> str:
    """The rows with base ids behind them, in turn, and no line end behind the last."""
    return "\n".join([HEAD, *(f"{row},{bases[at % len(bases)]}" for at, row in enumerate(ROWS))])


BASES = COLUMNS | {"base": "Base"}


@pytest.mark.parametrize(
    ("text", "columns", "missing"),
    [
        (with_bases("BASE-A", "BASE-B")[:-1], BASES, "5 of the 6 characters"),  # of another base, as it stands
        (with_bases("BASE-A")[:-5], BASES, "1 of the 6 characters"),
        (with_bases("BASE-A")[:-5], COLUMNS, "1 of the 6 characters"),  # mapped or not
        (with_bases("fix", "float")[:-2], COLUMNS | {"solution": "Base"}, '1 of the 3 characters of "fix"'),
        (with_bases("BASE-A")[:-6], BASES, "nothing of what all the rows before have"),
        (with_bases(*(f"{number}.25" for number in range(10, 35)))[:-1], COLUMNS, "1 of the 2 decimals"),
    ],
)
def test_a_row_whose_last_word_is_cut_is_one_as_it_stands(
    tmp_path: Path, text: str, columns: dict[str, str], missing: str
) -> None:
    """Whether rows followed is all that is not known of it."""
    (cut,) = told_as_cut(tmp_path, text, columns)
    assert cut.line == 26 and '"P34"' in cut.why and missing in cut.why
    table = text_table(tmp_path, text, columns)
    assert table["detail"].to_pylist() == [None] * 25
    assert (table["name"][-1].as_py(), table["third"][-1].as_py()) == ("P34", 34.345)
    assert table["time"][-1].is_valid


CODES = COLUMNS | {"code": "Base"}


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        (with_bases("BASE-A", "BASE-B"), BASES),
        (with_bases("BASE-A", ""), BASES),  # not every row has one
        (with_bases("BASE-A")[:-6] + "BASE-C", BASES),
        (with_bases("BASE-A")[:-6] + '""', BASES),  # the quotes are closed: so the cell is whole
        (with_bases("BASE-A")[:-6] + "BASE,", BASES),  # and so is one with the sign that parts cells behind it
        (with_bases("BASE-A", "BASE").replace("BASE\n", "BASE-A\n", 5)[:-2], BASES),  # other rows have it
        (with_bases(*(f"tree {number} by the hedge" for number in range(25)))[:-4], COLUMNS),  # remarks, each another
        (with_bases("12", "14", "13")[:-1], COLUMNS),  # a whole number of fewer figures
        (with_bases("BASE-A")[:-1] + "\n", BASES),
        *((with_bases("KERB", "TREE")[:-4] + last, columns) for last in ("K", "T", "") for columns in (COLUMNS, CODES)),
        (with_bases("FENCE1")[:-1], CODES),
        (with_bases("wet grass", "by the gate", "corner of wall")[:-9] + "co", COLUMNS),
        (with_bases("good", "ok")[:-4], COLUMNS),  # not mapped, and left out
        (with_bases("A12", "B34", "C56", "D78", "E90")[:-2], CODES),
    ],
)
def test_a_last_word_that_may_be_whole_is_one(tmp_path: Path, text: str, columns: dict[str, str]) -> None:
    assert told_as_cut(tmp_path, text, columns) == []
    assert set(text_table(tmp_path, text, columns)["detail"].to_pylist()) == {None}


def test_a_word_of_a_block_long_before_is_known_again(tmp_path: Path) -> None:
    """Only one of the first rows has it, and 3 MB of rows follow."""
    rows = [f"P{n},2026-03-01T21:30:00Z,172.6,-43.5,12.345,BASE-{'A' * (n > 0)}" for n in range(60_000)]
    text = "\n".join([HEAD, *rows])
    assert [cut.line for cut in told_as_cut(tmp_path, text[:-2], BASES)] == [60_001]
    assert told_as_cut(tmp_path, text[:-1], BASES) == []


@pytest.mark.parametrize(
    "footer", ["15", "2026-06-15T18:00:00Z", "*7F", "# end", "END", "END,25", ",,", ",,,,,", "Points,25,,", "  "]
)
@pytest.mark.parametrize("ending", ["", "\n"])
def test_a_footer_is_no_row_that_is_cut(tmp_path: Path, footer: str, ending: str) -> None:
    """With a line end behind it or without, and though a row before it has a word that others begin with."""
    assert told_as_cut(tmp_path, f"{with_bases('BASE-A')[:-2]}\n{footer}{ending}", BASES) == []


@pytest.mark.parametrize(("first", "footer", "cut"), [(1001, "25", False), (0, "25", True), (1001, "102", True)])
def test_the_number_of_rows_is_no_point_number_unless_it_comes_next(
    first: int, footer: str, cut: bool, tmp_path: Path
) -> None:
    rows = [f"{first + number},{row.partition(',')[2]}" for number, row in enumerate(ROWS)]
    text = "\n".join(["Point,Observed,Lon,Lat,Height", *rows, footer])
    assert bool(told_as_cut(tmp_path, text, COLUMNS)) is cut


def test_nor_is_a_comment(tmp_path: Path) -> None:
    assert told_as_cut(tmp_path, f"{with_bases('BASE-A')[:-2]}\n# P35", BASES, comment="#") == []


@pytest.mark.parametrize(
    ("last", "cut"),
    [
        ("P", True),
        ("P35,2026-03-01T21:35:00Z,172", True),
        ('P35,"2026-03-01T21:35', True),
        ("P3", True),
        ("CHK9,2026-03-01T21:3", True),  # of a name like no other, but with a time like those before
        ("CHK9,2026-03-01T21:35:00Z,17", True),
        ("END", False),
        ("END,25", False),
        ("Points exported by the field software,25", False),
        ("P35,2026-03-01T21:35:00Z,172.6,-43.5,1.2,a remark, and more", False),  # a sign too many, and nothing missing
    ],
)
def test_a_last_line_that_no_row_begins_like_closes_the_file(tmp_path: Path, last: str, cut: bool) -> None:
    *before, told = text_table(tmp_path, f"{TEXT}\n{last}", COLUMNS)["detail"].to_pylist()
    assert before == [None] * 25
    assert told is not None and ("the file may be cut off in it" in told) is cut
