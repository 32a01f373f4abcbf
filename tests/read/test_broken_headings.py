"""Headings with line breaks in quotes, as spreadsheets save them: read with blanks, and rows keep the file's lines."""

import pytest
from exports_made import COLUMNS, GOOD, HEADER, problems_of, text_table

from pipeline.read.delimited_lines import whole_lines


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("sign", [",", ";"])
def test_a_heading_over_several_lines_is_read(end: str, sign: str, tmp_path) -> None:
    *names, last = HEADER.split(",")
    header = sign.join(['"Of the\ncrew"', *names, '"and\nanother\none"', last])
    row = sign.join(["A", *GOOD.split(",")[:-1], "x", GOOD.split(",")[-1]])
    table = text_table(tmp_path, f"{header}\n{row}\n{row}\n".replace("\n", end))
    assert table["source_row"].to_pylist() == [5, 6]
    assert table["Of the crew"].to_pylist() == ["A", "A"] and table["and another one"].to_pylist() == ["x", "x"]
    assert table["first"].to_pylist() == [174.7, 174.7]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_every_heading_may_go_over_several_lines(end: str, tmp_path) -> None:
    header = ",".join(f'"{name}\n(as\nmeasured)"' for name in HEADER.split(","))
    columns = {ours: f"{theirs} (as measured)" for ours, theirs in COLUMNS.items()}
    table = text_table(tmp_path, f"{header}\n{GOOD}\n{GOOD}\n".replace("\n", end), columns)
    assert table["source_row"].to_pylist() == [24, 25]
    assert (table["name"].to_pylist(), table["second"].to_pylist()) == (["P1"] * 2, [-36.8] * 2)


@pytest.mark.parametrize("stated", [2, 3])
def test_the_line_on_which_it_begins_or_ends_may_be_stated(stated: int, tmp_path) -> None:
    text = f'Title\n"Of the\ncrew",{HEADER}\nA,{GOOD}\n'
    assert text_table(tmp_path, text, header=stated)["source_row"].to_pylist() == [4]


def test_a_stray_quote_swallows_no_header(tmp_path) -> None:
    text = f'Title,"of a day\n{HEADER}\n{GOOD}\n'
    assert text_table(tmp_path, text)["source_row"].to_pylist() == [3]


def test_an_empty_line_that_is_stated_is_still_a_problem(tmp_path) -> None:
    (problem,) = problems_of(tmp_path, "a.csv", f"\n{HEADER}\n{GOOD}\n", header=1)
    assert "that line is empty" in problem


@pytest.mark.parametrize(
    ("lines", "whole"),
    [
        ([b'a,"b', b'c",d'], [b"", b'a,"b c",d']),
        ([b'a,"b', b'c","d', b'e"', b"f"], [b"", b"", b'a,"b c","d e"', b"f"]),
        (
            [b'"a', b'b","c', b'd","e', b'f","g', b'h","i', b"j", b'k","l', b'm"'],
            [b""] * 7 + [b'"a b","c d","e f","g h","i j k","l m"'],
        ),
        ([b'a,"b', *[b"c"] * 6, b'd"'], [b'a,"b', *[b"c"] * 6, b'd"']),
        ([b'12",b', b'c",d'], [b'12",b', b'c",d']),
        ([b'a,"b', b"c,d"], [b'a,"b', b"c,d"]),
        ([b'a,"b', b'c"d,e'], [b'a,"b', b'c"d,e']),
        ([b'a,"say ""x"" ', b'now",d'], [b"", b'a,"say ""x""  now",d']),
        ([b'a,"",b', b"c"], [b'a,"",b', b"c"]),
    ],
)
def test_cells_over_several_lines_stand_in_the_last(lines: list[bytes], whole: list[bytes]) -> None:
    found = whole_lines(lines)
    assert len(found) == len(lines)
    assert [b" ".join(line.split()) for line in found] == [b" ".join(line.split()) for line in whole]
