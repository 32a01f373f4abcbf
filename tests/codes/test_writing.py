"""How codes of strings are read: each job's own words, and nothing that could be meant in two ways."""

from typing import Any

import pytest

from pipeline.codes.table import Code, CodeTable
from pipeline.codes.writing import Said, Says, Writing, writing_of
from pipeline.job.linework_rules import check_linework
from pipeline.job.model import Linework
from pipeline.problems import Problems


def where(*keys: str | int) -> tuple[str, int]:
    return "job.toml", len(keys)


def writing(table: CodeTable | None = None, **said: Any) -> Writing:
    problems = Problems()
    linework = Linework.model_validate({"codes": ["KERB", "FENCE"], **said})
    check_linework(linework, table is not None, where, problems)
    found = writing_of(linework, table, ["CHK"], where, problems)
    assert found is not None and not problems.found, problems.found
    return found


def faults(table: CodeTable | None = None, **said: Any) -> list[str]:
    problems = Problems()
    linework = Linework.model_validate(said)
    check_linework(linework, table is not None, where, problems)
    if not problems.found:
        writing_of(linework, table, ["CHK"], where, problems)
    return [one.what for one in problems.found]


NONE, START, END, CLOSE, UNKNOWN = Says.NOTHING, Says.START, Says.END, Says.CLOSE, Says.UNKNOWN


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("KERB", Said(0, "", NONE)),
        ("  kerb  ", Said(0, "", NONE)),
        ("KERB start", Said(0, "", START)),
        ("KERB12\u00a0 END", Said(0, "12", END)),
        ("KERB012 close", Said(0, "12", CLOSE)),
        ("KERB0", Said(0, "0", NONE)),
        ("KERB000 start", Said(0, "0", START)),
        ("FENCE end close", Said(1, "", END | CLOSE)),
        ("FENCE start end", Said(1, "", START | END)),
        ("ＫＥＲＢ１ ｓｔａｒｔ", Said(0, "1", START)),  # wide letters are the same letters
        ("KERB begin", Said(0, "", UNKNOWN, "begin")),
        ("KERB start wet grass", Said(0, "", START | UNKNOWN, "wet")),
        ("KERB 1", Said(0, "", UNKNOWN, "1")),
        ("KERB١", None),  # figures of other scripts are no number here
        ("KERBS", None),
        ("start", None),
        ("start KERB", None),
        ("", None),
        ("KERB.*", None),
        ('"KERB"', None),
    ],
)
def test_codes_with_numbers_behind_and_words(text: str, expected: Said | None) -> None:
    assert writing().read(text) == expected


@pytest.mark.parametrize(
    ("said", "text", "expected"),
    [
        ({"separator": "-", "codes": ["ROAD-EDGE", "ROAD"]}, "Road-Edge-Start", Said(0, "", START)),
        ({"separator": "-", "codes": ["ROAD-EDGE", "ROAD"]}, "ROAD2 - end", Said(1, "2", END)),
        ({"separator": "-", "codes": ["ROAD-EDGE", "ROAD"]}, "ROAD--end-", Said(1, "", END)),
        ({"separator": ".*", "start": "(", "end": ")"}, "KERB3.*(", Said(0, "3", START)),
        ({"separator": "", "start": "S", "end": "E", "close": "C"}, "KERB07SC", Said(0, "7", START | CLOSE)),
        ({"separator": "", "start": "S", "end": "E", "close": "C"}, "FENCE", Said(1, "", NONE)),
        ({"separator": "", "start": "S", "end": "E", "close": "C"}, "FENCEE", Said(1, "", END)),
        ({"separator": "", "start": "S", "end": "E", "close": "C"}, "FENCEX", None),
        ({"number": "word"}, "KERB 02 start", Said(0, "2", START)),
        ({"number": "word"}, "KERB start 2", Said(0, "2", START)),
        ({"number": "word"}, "KERB2 start", None),
        ({"number": "word"}, "KERB 2 3", Said(0, "2", UNKNOWN, "3")),
        ({"number": "none"}, "KERB2", None),
        ({"number": "none", "start": "1", "end": "9"}, "KERB 1", Said(0, "", START)),
        ({"start": ["begin", "b"], "remarks": True}, "KERB wet B grass", Said(0, "", START)),
        ({"codes": ["START", "KERB"]}, "START start", Said(0, "", START)),
        ({"codes": ["EDGE", "EDGE OF ROAD"]}, "edge of road start", Said(1, "", START)),
        ({"codes": ["Straße"]}, "STRASSE END", Said(0, "", END)),
        ({"codes": ["a|b", "[k]*"], "start": "^", "end": "$"}, "[K]* ^", Said(1, "", START)),
        ({"codes": ["KERB", "KERB2"], "number": "none"}, "KERB2 end", Said(1, "", END)),
    ],
)
def test_words_and_places_of_a_jobs_own(said: dict[str, Any], text: str, expected: Said | None) -> None:
    assert writing(**said).read(text) == expected


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"codes": []}, "no code is defined as a string code"),
        ({"codes": ["KERB", "kerb"]}, "the code 'kerb' is listed twice, also as 'KERB'"),
        ({"codes": ["A"], "start": "x", "end": "X"}, "'X' is a word for start and for end"),
        ({"codes": ["A"], "start": "go on"}, "'go on' contains the separator between code and words, ' '"),
        ({"codes": ["A"], "separator": "-", "end": "the-end"}, "'the-end' contains the separator"),
        ({"codes": ["A"], "separator": "x"}, "letters or digits cannot separate a code from words: 'x'"),
        ({"codes": ["A"], "number": "word", "start": "1"}, "'1' cannot be distinguished from the number of a string"),
        ({"codes": ["KERB", "KERB2"]}, "the code 'KERB2' can be read as the code 'KERB' with a number"),
        ({"codes": ["KERB", "KERB start"]}, "the code 'KERB start' can be read as the code 'KERB' with a number"),
        ({"codes": ["FENC", "FENCE"], "separator": "", "end": "E"}, "the code 'FENCE' can be read as the code 'FENC'"),
        ({"codes": ["chk"]}, "the code 'chk' is both a string code and a check code"),
    ],
)
def test_what_could_be_meant_in_two_ways_is_refused(said: dict[str, Any], words: str) -> None:
    (what,) = faults(**said)
    assert what.startswith(words)


@pytest.mark.parametrize("said", [{"start": ""}, {"start": [" "]}, {"end": []}, {"codes": [""]}, {"within": "day"}])
def test_empty_words_are_none(said: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        Linework.model_validate({"codes": ["A"], **said})


def test_the_table_of_codes_says_which_are_strings() -> None:
    rows = (
        Code("KERB", "lip", "line", "", None, 2),
        Code("POND", "", "area", "", None, 3),
        Code("TREE", "", "point", "", None, 4),
        Code("WALL", "a wall", "", "", None, 5),
    )
    table = CodeTable("codes.csv", "", rows)
    found = writing(table, codes=["wall"])
    assert [(one.code, one.description, one.area) for one in found.strings] == [
        ("WALL", "a wall", False), ("KERB", "lip", False), ("POND", "", True),
    ]  # fmt: skip
    assert faults(table, codes=["tree"]) == ["the code 'tree' is a string code here, but a point in codes.csv:4"]
    bare = CodeTable("codes.csv", "", rows[2:])
    assert faults(bare) == ["no code is defined as a string code, here or in the table of codes"]


def test_misspelled_codes_with_words_are_known_as_such() -> None:
    found = writing()
    assert found.word_in("KREB start") == "start" and found.word_in("KERB start") is None
    assert found.word_in("TREE") is None and found.word_in("end") is None
    assert found.named("kerb7 end") == "KERB" and found.named("TREE 7") == "TREE 7"
