"""Encodings, delimiters, decimal marks and headers: found by looking or stated, never guessed past a contradiction."""

import codecs
import hashlib

import pytest
from every import every
from exports_made import COLUMNS, GOOD, HEADER, block, find, problems_of, text_table

from pipeline.read.text_blocks import blocks


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters_are_found(tmp_path, delimiter):
    text = f"{HEADER}\n{GOOD}\n".replace(",", delimiter)
    assert text_table(tmp_path, text)["base"].to_pylist() == ["BASE-A"]


def test_delimiter_of_mapped_names_wins_over_a_more_frequent_one(tmp_path):
    text = f"{HEADER};a,b,c,d,e,f,g,h,i,j,k,l,m,n\n".replace(",", ";", 10) + GOOD.replace(",", ";") + ";note"
    table = text_table(tmp_path, text)
    assert table["a,b,c,d,e,f,g,h,i,j,k,l,m,n"].to_pylist() == ["note"]


def test_any_delimiter_may_be_stated(tmp_path):
    text = f"{HEADER}\n{GOOD}\n".replace(",", "#")
    assert text_table(tmp_path, text, delimiter="#")["base"].to_pylist() == ["BASE-A"]


def test_a_stated_delimiter_that_the_header_does_not_have(tmp_path):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}\n", delimiter=";")
    assert 'the header contains no ";"' in problem


def test_decimal_commas_are_found(tmp_path):
    text = f"{HEADER}\n{GOOD}\n".replace(",", ";").replace(".", ",")
    row = text_table(tmp_path, text).to_pylist()[0]
    assert (row["second"], row["sigma_up"]) == (-36.8, 0.03)


def test_quoted_decimal_commas_between_commas(tmp_path):
    row = GOOD.replace("-36.8", '"-36,8"').replace("174.7", '"174,7"').replace("12.5", '"12,5"')
    row = row.replace("0.01", '"0,01"').replace("0.02", '"0,02"').replace("0.03", '"0,03"')
    assert text_table(tmp_path, f"{HEADER}\n{row}")["first"].to_pylist() == [174.7]


def test_both_decimal_marks_are_a_problem_unless_one_is_stated(tmp_path):
    text = f"{HEADER}\n{GOOD}\n".replace(",", ";").replace("12.5", "12,5")
    (problem,) = problems_of(tmp_path, "a.csv", text)
    assert problem.startswith('a.csv:2: numbers with a decimal comma ("12,5") and with a decimal point')
    table = text_table(tmp_path, text, decimal=".")
    assert table["detail"].to_pylist() == [
        'height: "12,5" is not a number: it has a decimal comma, which decimal = "," states'
    ]


@pytest.mark.parametrize(
    ("encoding", "stated"),
    [
        ("utf-8", None),
        ("utf-8-sig", None),
        ("utf-8-sig", "cp1252"),
        ("utf-16", None),
        ("utf-16", "utf-8"),
        ("utf-32", None),
        ("cp1252", "cp1252"),
        ("latin-1", "ISO-8859-1"),
        ("utf-16-le", "utf-16-le"),
        ("shift_jis", "shift_jis"),
    ],
)
def test_encodings(tmp_path, encoding, stated):
    """A byte order mark is believed before what is stated."""
    name = "杭" if encoding == "shift_jis" else "Überführung é"
    text = f"{HEADER}\n{GOOD.replace('P1', name)}\n".encode(encoding)
    assert text_table(tmp_path, text, encoding=stated)["name"].to_pylist() == [name]


def test_bytes_that_are_no_utf8_name_their_line(tmp_path):
    lines = [HEADER, *[GOOD] * 90_000, GOOD.replace("P1", "Brücke"), GOOD]
    (problem,) = problems_of(tmp_path, "a.csv", "\r\n".join(lines).encode("cp1252"))
    assert problem.startswith("a.csv:90002: byte FC is not UTF-8 text")
    assert 'encoding = "cp1252"' in problem


def test_a_character_cut_off_at_the_end_of_the_file(tmp_path):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}é".encode()[:-1])
    assert problem.startswith("a.csv:2: byte C3 is not UTF-8 text")


def test_bytes_that_are_not_in_the_stated_encoding(tmp_path):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}\n".encode() + b"\x81", encoding="cp1252")
    assert problem.startswith('a.csv:3: byte 81 is not CP1252 text -> the file is not in the encoding "cp1252"')


@pytest.mark.parametrize("encoding", ["utf-9", "hex", "rot13"])
def test_encodings_that_are_none(tmp_path, encoding):
    assert problems_of(tmp_path, "a.csv", HEADER, encoding=encoding) == [
        f'job.toml:100: there is no encoding "{encoding}"'
    ]


def test_utf16_without_a_mark(tmp_path):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}".encode("utf-16-le"))
    assert problem.startswith("a.csv:1: the header has NUL bytes")


def test_duplicate_names_in_the_header(tmp_path):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER},Note,Lat, Note \n{GOOD},1,2,3")
    assert problem.startswith('a.csv:1: the header has the same name more than once: "Lat", "Note"')


def test_carried_names_that_differ_only_in_case_stay_what_the_file_calls_them(tmp_path):
    table = text_table(tmp_path, f"{HEADER},Note,NOTE,,note\n{GOOD},1,2,3,4")
    assert table.column_names[-4:] == ["Note", "NOTE", "column_14", "note"]
    assert [table[name][0].as_py() for name in table.column_names[-4:]] == ["1", "2", "3", "4"]


def test_missing_columns_with_their_nearest(tmp_path):
    text = f"{HEADER}\n{GOOD}".replace("Lat", "Latitude").replace("Lon", "LON")
    (problem,) = problems_of(tmp_path, "a.csv", text)
    assert problem.startswith('a.csv:1: no column "Lon" (mapped as longitude) and no column "Lat" (mapped as latitude)')
    assert '"LON"' in problem and '"Latitude"' in problem


@pytest.mark.parametrize("text", ["", "\n\n  \n", "\ufeff"])
def test_no_header_at_all(tmp_path, text):
    (problem,) = problems_of(tmp_path, "a.csv", text)
    assert "the file is empty" in problem


def test_times_that_are_not_iso_in_the_whole_file(tmp_path):
    row = GOOD.replace("2026-03-02T07:30:00Z", "02/03/2026 07:30:00")
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{row}\n{row}")
    assert problem.startswith('a.csv:2: the time "02/03/2026 07:30:00" is not ISO 8601')
    assert "time_format" in problem
    table = text_table(tmp_path, f"{HEADER}\n{row}\n{GOOD}")
    assert table["held"].to_pylist() == [4, 0]


def test_times_that_do_not_match_the_stated_format(tmp_path):
    (problem,) = problems_of(tmp_path, "a.csv", f"{HEADER}\n{GOOD}", time_format="%d/%m/%Y %H:%M")
    assert problem.startswith('a.csv:2: the time "2026-03-02T07:30:00Z" does not match time_format "%d/%m/%Y %H:%M"')


def test_faults_of_a_block_name_its_keys_once_for_all_files(tmp_path):
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text(f"{HEADER}\n{GOOD}\n")
    _, problems = find(tmp_path, block("*.csv", time_zone="Pacific/Aukland", time_format="%d", delimiter='"'))
    assert len(problems) == 3
    assert all(problem.startswith("job.toml:100: ") for problem in every(problems))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"latitude": None}, "longitude, height but not latitude"),
        ({"height": None}, "but not height"),
        ({"easting": "E"}, "more than one kind of position"),
        ({"time": None}, "map no time"),
        ({"latitude": None, "longitude": None}, "maps no position columns"),
    ],
)
def test_mappings_that_make_no_position(tmp_path, change, says):
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD}\n")
    columns = {word: name for word, name in (COLUMNS | change).items() if name}
    (problem,) = find(tmp_path, block("a.csv", columns))[1]
    assert says in problem


def test_hash_is_of_the_bytes(tmp_path):
    content = codecs.BOM_UTF8 + f"{HEADER}\r\n{GOOD}".encode()
    (tmp_path / "a.csv").write_bytes(content)
    ((export,), _) = find(tmp_path, block("a.csv"))
    assert export.sha256 == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 100])
def test_blocks_are_whole_lines_whatever_the_cut(tmp_path, size):
    """As the standard library's universal newlines read the same text."""
    text = "one\r\ntwo\n\rthree\r\r\nüë four\n\nlast"
    for encoding in ("utf-8", "utf-16"):
        (tmp_path / "a.txt").write_bytes(text.encode(encoding))
        found = list(blocks(tmp_path / "a.txt", None, size))
        with (tmp_path / "a.txt").open(encoding=encoding) as file:
            assert b"".join(found).decode() == file.read() + "\n"
        assert all(part.endswith(b"\n") for part in every(found))
