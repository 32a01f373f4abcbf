"""Every line of a text file is accounted for: one row for each record, under its own physical line number."""

import csv
import io
import math

import pyarrow as pa
import pytest
from every import every
from exports_made import GOOD, HEADER, block, find, text_table
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.read import sources
from pipeline.read.exports import read_batches
from pipeline.read.records import Stray, Unclosed, cells


def rows(table: pa.Table) -> list[tuple[int, str | None, str | None]]:
    return [(row["source_row"], row["name"], row["detail"]) for row in table.to_pylist()]


def test_blank_lines_count_as_lines_but_are_no_rows(tmp_path):
    text = f"{HEADER}\n\n{GOOD}\n   \n\t\n{GOOD}\n\n"
    assert rows(text_table(tmp_path, text)) == [(3, "P1", None), (6, "P1", None)]


def test_an_odd_line_in_one_of_many_blocks_hides_no_other(tmp_path, monkeypatch):
    """An empty line, one of space, one too short: each in a block whose other lines are all alike."""
    monkeypatch.setattr(sources, "CHUNK", 1 << 10)
    odd = {20: "", 60: " \t", 100: "P2,short", 119: ""}
    lines = [odd.get(line, GOOD) for line in range(2, 122)]
    table = text_table(tmp_path, "\n".join([HEADER, *lines]))
    assert table["source_row"].to_pylist() == [line for line in range(2, 122) if odd.get(line, GOOD).strip()]
    assert [row["source_row"] for row in table.to_pylist() if row["held"]] == [100]


def test_a_line_of_tabs_is_empty_where_tabs_delimit(tmp_path):
    text = f"{HEADER}\n{GOOD}\n{',' * 10}\n{GOOD}".replace(",", "\t")
    assert rows(text_table(tmp_path, text)) == [(2, "P1", None), (4, "P1", None)]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_line_end_and_none_at_the_last_line(tmp_path, end):
    text = end.join([HEADER, GOOD, GOOD.replace("P1", "P2")])
    assert rows(text_table(tmp_path, text)) == [(2, "P1", None), (3, "P2", None)]


def test_blank_lines_before_the_header_are_counted(tmp_path):
    assert rows(text_table(tmp_path, f"\n\n{HEADER}\n{GOOD}")) == [(4, "P1", None)]


def test_header_alone_gives_no_rows(tmp_path):
    assert text_table(tmp_path, HEADER).num_rows == 0


def test_ragged_rows_are_held_back_with_their_line_and_the_rest_goes_on(tmp_path):
    text = "\n".join([HEADER, GOOD, "P2,2026-03-02T07:30:00Z,-36.8", GOOD + ",more", GOOD])
    table = text_table(tmp_path, text)
    assert [(line, name) for line, name, _ in rows(table)] == [(2, "P1"), (3, None), (4, None), (5, "P1")]
    assert table["held"].to_pylist() == [0, 1, 1, 0]
    assert table["detail"][1].as_py() == '3 cells where the header names 11: "P2,2026-03-02T07:30:00Z,-36.8"'
    assert table["detail"][2].as_py().startswith("12 cells where the header names 11")
    assert math.isnan(table["first"][1].as_py())


@pytest.mark.parametrize("ends", [("", ","), (",", ","), (",,", ",,"), (",", ""), ("", ", ,")])
def test_trailing_delimiters_are_no_columns(tmp_path, ends):
    text = f"{HEADER}{ends[0]}\n{GOOD}{ends[1]}\n{GOOD}\n"
    table = text_table(tmp_path, text)
    assert rows(table) == [(2, "P1", None), (3, "P1", None)]
    assert table["base"].to_pylist() == ["BASE-A", "BASE-A"]


def test_a_row_of_delimiters_alone_is_a_row(tmp_path):
    table = text_table(tmp_path, f"{HEADER}\n{',' * 10}\n{GOOD}")
    assert rows(table) == [(2, None, "no longitude; no latitude; no height; no time"), (3, "P1", None)]


def test_quoted_cells_with_delimiters_quotes_and_line_ends(tmp_path):
    note = '"a, ""b""\n\nand c"'
    text = f"{HEADER},Note\n{GOOD},{note}\n{GOOD},plain\n"
    table = text_table(tmp_path, text)
    assert rows(table) == [(2, "P1", None), (5, "P1", None)]
    assert table["Note"].to_pylist() == ['a, "b"\n\nand c', "plain"]


def test_stray_quotes_spoil_their_own_line_only(tmp_path):
    lines = [HEADER, '"' + GOOD, GOOD, GOOD.replace("P1", '"P"1'), GOOD, '"' + GOOD]
    table = text_table(tmp_path, "\n".join(lines))
    assert table["source_row"].to_pylist() == [2, 3, 4, 5, 6]
    assert table["held"].to_pylist() == [1, 0, 1, 0, 1]
    assert "a quote that is not closed" in table["detail"][0].as_py()
    assert "a stray quote in a cell" in table["detail"][2].as_py()


def test_quotes_inside_an_unquoted_cell_are_text(tmp_path):
    table = text_table(tmp_path, f"{HEADER}\n{GOOD.replace('P1', 'pipe 5' + chr(34))}\n{GOOD}")
    assert rows(table) == [(2, 'pipe 5"', None), (3, "P1", None)]


def test_quoted_cells_after_spaces(tmp_path):
    row = GOOD.replace("P1", '"P, 1"').replace(",fix", ', "fix" ')
    table = text_table(tmp_path, f"{HEADER}\n{row}")
    assert (table["name"][0].as_py(), table["solution"][0].as_py()) == ("P, 1", "fix")


def test_spaces_around_cells_and_names_are_no_part_of_them(tmp_path):
    text = HEADER.replace(",", " , ") + "\n" + GOOD.replace(",", " ,\t") + " \n"
    table = text_table(tmp_path, text)
    assert rows(table) == [(2, "P1", None)]
    assert table["second"][0].as_py() == -36.8


def test_nul_bytes_make_a_row_unreadable(tmp_path):
    table = text_table(tmp_path, f"{HEADER}\n{GOOD}\n{GOOD.replace('P1', 'P' + chr(0) + '1')}\n{GOOD}")
    assert table["held"].to_pylist() == [0, 1, 0]
    assert table["detail"][1].as_py().startswith("a NUL byte")


def test_very_long_lines(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "CHUNK", 1 << 10)
    long = "x" * 300_000
    table = text_table(tmp_path, f"{HEADER}\n{GOOD}\n{GOOD.replace('P1', long)}\n{GOOD}\n")
    assert [len(name) for name in table["name"].to_pylist()] == [2, 300_000, 2]


def test_names_stay_text(tmp_path):
    lines = [HEADER, *(GOOD.replace("P1", name).replace("KERB", name) for name in ("001", "1E5", "NA", "null", "true"))]
    table = text_table(tmp_path, "\n".join(lines))
    assert table["name"].to_pylist() == table["code"].to_pylist() == ["001", "1E5", "NA", "null", "true"]


def test_a_note_over_many_lines_is_joined_and_one_that_never_ends_is_not(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "CHUNK", 256)
    note = '"' + "\n".join(f"line {n} of the note" for n in range(200)) + '"'
    text = f'{HEADER},Note\n{GOOD},{note}\n{GOOD},\n{GOOD},"never\n' + f"{GOOD},\n" * 1500
    table = text_table(tmp_path, text)
    assert table.num_rows == 1503
    assert table["source_row"].to_pylist()[:4] == [2, 202, 203, 204]
    assert table["held"].to_pylist() == [0, 0, 1] + [0] * 1500


def test_signs_for_as_above_swallow_no_row(tmp_path):
    """A remark's `"` opens a cell that the next row's would close: each such row is unreadable, and none is lost."""
    rest = [GOOD.replace("P1", f"P{n}") + (',"' if 3 <= n <= 8 else ",kerb") for n in range(2, 12)]
    table = text_table(tmp_path, "\n".join([f"{HEADER},Remark", f"{GOOD},kerb", *rest]))
    assert table["source_row"].to_pylist() == list(range(2, 13))
    assert [row["source_row"] for row in table.to_pylist() if row["held"]] == list(range(4, 10))


def test_signs_for_as_above_in_the_midst_of_rows_swallow_none(tmp_path):
    rest = [GOOD.replace("P1", f"P{n}").replace("KERB", '"' if n in (4, 5) else "KERB") for n in range(2, 9)]
    table = text_table(tmp_path, "\n".join([HEADER, GOOD, *rest]))
    assert table["source_row"].to_pylist() == list(range(2, 10))
    assert [row["source_row"] for row in table.to_pylist() if row["held"]] == [5, 6]


@pytest.mark.parametrize("note", ['"kerb\nleft, by gate"', '"1, 2\n3, 4, 5 and 6, 7, 8"', '"kerb\nleft side"'])
def test_a_note_over_two_lines_before_all_else_is_one_row(tmp_path, note):
    """Its last line has the rest of the row, and commas of its own."""
    table = text_table(tmp_path, f"Note,{HEADER}\n{note},{GOOD}\nplain,{GOOD}\n")
    assert rows(table) == [(2, "P1", None), (4, "P1", None)]
    assert table["Note"].to_pylist() == [note.strip('"'), "plain"]


def test_inches_rows_apart_swallow_no_row(tmp_path):
    remarks = {3: '"pipe', 8: '5"'}
    lines = [f"{GOOD.replace('P1', f'P{n}')},{remarks.get(n, '')}" for n in range(1, 11)]
    table = text_table(tmp_path, "\n".join([f"{HEADER},Remark", *lines]))
    assert table["source_row"].to_pylist() == list(range(2, 12))
    assert [row["source_row"] for row in table.to_pylist() if row["held"]] == [4]


def test_cells_as_the_csv_module_has_them():
    for line in ["a,b,c", '"a","b,c",d', '"a ""q""",', ",,", '"",x', 'a"b,c', '"a\nb",c']:
        assert [cell.decode() for cell in cells(line.encode(), b",")] == next(csv.reader(io.StringIO(line, newline="")))
    with pytest.raises(Stray):
        cells(b'"a"b,c', b",")
    with pytest.raises(Unclosed):
        cells(b'"a""', b",")


# Dirty files. What each line must come to is known from how it was made, not from reading it.

_LETTER = st.characters(codec="cp1252", exclude_categories=["C", "Z"], exclude_characters='",;|')
_NAME = st.text(_LETTER, min_size=1, max_size=8)
_KINDS = st.sampled_from(
    ["good"] * 4 + ["blank", "spaces", "number", "time", "place", "short", "long", "stray", "junk", "note", "date"]
)
_EXPECTED = {
    "good": 0, "note": 0, "number": 1, "short": 1, "long": 1, "stray": 1, "junk": 1, "place": 2, "time": 3, "date": 4,
}  # fmt: skip


def _line(kind: str, name: str, delimiter: str, quote: bool) -> str:
    row = {"name": name, "time": "2026-03-02T07:30:00Z", "lat": "-36.8", "lon": "174.7", "height": "12.5", "note": ""}
    row |= {
        "number": {"lat": "-36.8S7"},
        "time": {"time": ""},
        "date": {"time": "02/03/2026 07:30"},
        "place": {"height": " "},
        "note": {"note": f'first{delimiter}\n\n"second"'},
    }.get(kind, {})
    texts = list(row.values())
    if quote or kind == "note":
        texts = ['"' + text.replace('"', '""') + '"' for text in texts]
    if kind == "short":
        texts = texts[:-2]
    if kind == "long":
        texts.append("more")
    if kind == "stray":
        texts[0] = '"' + name
    if kind == "junk":
        texts[0] = f'"{name}"x'
    return {"blank": "", "spaces": "  "}.get(kind, delimiter.join(texts))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lines=st.lists(st.tuples(_KINDS, _NAME, st.booleans()), max_size=30),
    delimiter=st.sampled_from(",;\t|"),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    last_end=st.booleans(),
    chunk=st.sampled_from([40, 100, 1000, 1 << 20]),
    rows_per_batch=st.sampled_from([1, 3, 1000]),
)
def test_rows_in_are_rows_out(tmp_path, monkeypatch, lines, delimiter, end, encoding, last_end, chunk, rows_per_batch):
    """Each line that is no blank is one row with its own number and the reason that was built into it."""
    monkeypatch.setattr(sources, "CHUNK", chunk)
    texts = [delimiter.join(["Point", "Observed", "Lat", "Lon", "EllHt", "Note"])]
    sample = ("good", "first", False)  # so that the file as a whole has a time that can be read
    expected: list[tuple[int, int]] = []
    number = 2
    for kind, name, quote in [sample, *lines]:
        text = _line(kind, name, delimiter, quote)
        if kind not in ("blank", "spaces"):
            expected.append((number, _EXPECTED[kind]))
        number += text.count("\n") + 1
        texts.append(text)
    content = "\n".join(texts) + ("\n" if last_end else "")
    (tmp_path / "dirty.csv").write_bytes(content.replace("\n", end).encode(encoding))
    columns = {"name": "Point", "time": "Observed", "latitude": "Lat", "longitude": "Lon", "height": "EllHt"}
    stated = {"encoding": encoding} if encoding == "cp1252" else {}
    exports, problems = find(tmp_path, block("dirty.csv", columns, **stated))
    assert problems == []
    found = [row for batch in read_batches(exports[0], rows_per_batch) for row in batch.to_pylist()]
    assert [(row["source_row"], row["held"]) for row in found] == expected
    made = [name for kind, name, _ in [sample, *lines] if kind not in ("blank", "spaces")]
    for row, name in every(zip(found, made, strict=True)):
        assert (row["detail"] is None) == (row["held"] == 0)
        if row["held"] == 0:
            assert row["name"] == name
            assert (row["first"], row["second"], row["third"]) == (174.7, -36.8, 12.5)
    inside_notes = sum(kind == "note" for kind, _, _ in lines)  # each note has one further line with text
    plain_count = sum(1 for line in content.split("\n")[1:] if line.strip(" \t"))
    assert len(found) == plain_count - inside_notes
