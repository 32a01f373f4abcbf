"""What doubts of schema 7 were about is read from their sentences, once; what cannot be read is kept as it was worded.

The records of `earlier` were made by the version of then: a check that failed was taken out, one lost the height of its
mark, one became a tie; a register was said to be in another height datum; a geoid grid was raised by 0.35 m; the mark
of a field shift got another name and other numbers.
"""

from pathlib import Path
from typing import Any

import pytest
from record_made import record

from pipeline.issue.record import parse_record, read_record

FOLDER = Path(__file__).parent / "earlier"
UNTIL = ' -> nothing of it counts as proven until [checks] confirmed = ["{}"] says it is right'
OCCUPATION = "the occupation {} on {} (observed 2026-03-01 21:07:09 UTC), which failed in issue 012, {}"
GONE = "is no occupation of the job any more"
UNSETTLED = "neither the readings nor the register's numbers say which of the two is right"
HEIGHTS = "since issue 003 the heights of all points moved by about -0.350 m"


def origins(kind: str, *whats: str, **other: Any) -> list[Any]:
    """Return what a record of schema 7 with such doubts is read as to be about."""
    doubts = [
        {"kind": kind, "what": what + UNTIL.format(kind), "sessions": ["one"], "confirmed": False} for what in whats
    ]
    said = record(**{"schema": 7, "doubts": doubts} | other)
    return [one["origin"] for one in parse_record(said, Path("issue.json"))["doubts"]]


def of_file(name: str) -> list[Any]:
    return [one["origin"] for one in read_record(FOLDER / f"schema-7-{name}.json")["doubts"]]


def test_the_occupations_of_a_record_of_then() -> None:
    names = (("lost\non CM2", "CM5"), ("S01-C5", "CM6"), ("S01-C6", "CM7"))
    rest = (("02:00", "gone", None), ("02:30", "untested", ["height"]), ("03:00", "tie", ["height"]))
    assert of_file("occupations") == [
        {
            "of": "occupation", "point": point, "mark": mark, "observed": f"2026-03-02T{time}:00.000Z", "failed_in": 1,
            "now": now, "parts": parts,
        }
        for (point, mark), (time, now, parts) in zip(names, rest, strict=True)
    ]  # fmt: skip


def test_the_frames_and_the_field_shift_of_records_of_then() -> None:
    (datum,) = of_file("register-datum")
    (key,) = datum["differences"]
    assert (datum["of"], datum["since"]) == ("frame", 1) and "another shift" in datum["moved"]
    assert key == {
        "of": "control", "key": "height", "was": "EGM96 height (EPSG:5773)", "code": None, "became": "ellipsoidal",
    }  # fmt: skip
    (grid,) = of_file("grid-file")
    (file,) = grid["differences"]
    assert (grid["since"], file["of"], file["name"]) == (1, "grid file", "g.gtx") and len(file["was"]) == 8
    assert of_file("field-shift") == [{"of": "field shift", "tie": "one-CM1-1", "mark": "CM1N"}]


@pytest.mark.parametrize(
    "point", ["S01\nC2", "\n", "A on B", "P (observed 1)", "the occupation X", "x -> y", ", which"]
)
@pytest.mark.parametrize(
    ("how", "now", "parts"),
    [
        (GONE, "gone", None),
        (f"{GONE}: it is held back as poor_quality", "gone", None),
        ("is a tie now, 0.300 m in height off from T on CM1", "tie", ["height"]),
        ("is a tie now, 0.300 m in plan and 0.010 m in height off from T on CM1", "tie", ["position", "height"]),
        ("is a tie now, and its mark is not known from elsewhere", "tie", None),
        ("is not tested in position any more", "untested", ["position"]),
        ("is not tested in position and height any more", "untested", ["position", "height"]),
    ],
)
def test_an_occupation_whatever_it_is_called(point: str, how: str, now: str, parts: list[str] | None) -> None:
    (found,) = origins("unanswered-check", f"rover.csv:7: {OCCUPATION.format(point, 'CM2', how)}")
    assert found == {
        "of": "occupation", "point": point, "mark": "CM2", "observed": "2026-03-01T21:07:09.000Z", "failed_in": 12,
        "now": now, "parts": parts,
    }  # fmt: skip


def test_the_register_says_which_part_of_two_names_is_the_mark() -> None:
    mark = {"mark": "peg on A", "easting": "1", "northing": "2", "height": "3", "holds": "3d",
            "sigma horizontal": "0.004", "sigma vertical": "0.01"}  # fmt: skip
    (found,) = origins("unanswered-check", OCCUPATION.format("P", "peg on A", GONE), register=[mark])
    assert (found["point"], found["mark"]) == ("P", "peg on A")


@pytest.mark.parametrize(
    ("why", "differences"),
    [
        (
            "[control] crs was a\nb and is c; [control] epoch was 2016.0 and is not stated",
            [
                {"of": "control", "key": "crs", "was": "a\nb", "code": None, "became": "c"},
                {"of": "control", "key": "epoch", "was": "2016.0", "code": None, "became": "not stated"},
            ],
        ),
        (
            "the grid file a; b.gtx has another content (SHA-256 15b1302a... was, addca2ca... is); the register: the"
            " operation was X and is Y; the grid and its heights: the operation Z is defined otherwise",
            [
                {"of": "grid file", "name": "a; b.gtx", "was": "15b1302a", "became": "addca2ca"},
                {"of": "operation", "step": "register to computation", "was": "X", "became": "Y", "definitions": None},
                {"of": "operation", "step": "computation to grid", "was": "Z", "became": "Z", "definitions": None},
            ],
        ),
    ],
)
def test_every_difference_of_frames(why: str, differences: list[dict[str, Any]]) -> None:
    (found,) = origins("datum", f"job.toml:8: {HEIGHTS}: {why}; {UNSETTLED}; see which file or operation belongs to it")
    assert found == {"of": "frame", "since": 3, "moved": HEIGHTS, "differences": differences}


@pytest.mark.parametrize(
    ("kind", "what"),
    [
        ("unanswered-check", "P on CM2 at noon, which failed in issue 012, is lost"),
        ("unanswered-check", OCCUPATION.format("P", "CM2", "is elsewhere")),
        ("datum", f"everything moved; {UNSETTLED}"),
        ("datum", f"{HEIGHTS}: [control] colour was red and is blue; {UNSETTLED}"),
        ("shift", "session one: the field shift by P on CM9 from noon is worked out by the register as it is now"),
    ],
)
def test_what_was_to_be_taken_along_and_cannot_be_read_stays_in_its_words(kind: str, what: str) -> None:
    assert origins(kind, what) == [{"of": "words", "what": what}]


def test_doubts_that_every_run_finds_by_itself_are_about_nothing_more() -> None:
    assert origins("unanswered-check", "session one: 1 reading meant for a mark") == [None]
    assert origins("datum", "the register is in another datum") == [None]
