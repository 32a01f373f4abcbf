"""What becomes of a reading that no list names, rule by rule; each case is told as a surveyor would tell it.

A check that fails must never be issued as a point, and a point must not be held back for what stands near it. Distances
are written down, not computed; ``checks.radius`` is 0.5 m in all.
"""

from math import nan
from typing import Any

import pytest

from pipeline.occupations.features import Features, MarkNearby
from pipeline.occupations.unlisted_rules import OF_UNMAPPED_COLUMN, RULES, ruling

#: The rules that `test_a_rule` has tried.
NAMES = {rule.name for rule in (*RULES, *OF_UNMAPPED_COLUMN)}


def off(mark: str, east: float, fails: bool = True) -> MarkNearby:
    """A mark, to the east of which the reading lies."""
    return MarkNearby(mark, east, (east, 0.0, 0.004), fails)


def reading(**said: Any) -> Features:
    return Features(**{"radius": 0.5, "nearest": off("CM9", 312.0), "nearest_register": off("CM9", 312.0), **said})


#: Rule, what is known of the reading, whether it is held back, the mark to list it with, words that its reason has.
CASES: dict[str, tuple[Features, bool, str | None, str]] = {
    # coded as a check, and there is no mark anywhere near
    "check by code": (
        reading(name="c17", code="CHK", coded=True),
        True,
        None,
        "its code CHK makes it a check, but no mark is within 0.5 m: the nearest is CM9, 312.00 m away",
    ),
    # the rover's crew has filled in the mark, which the register does not know
    "check by mark column": (reading(name="c17", mark_column="CM77"), True, None, "its mark 'CM77' makes it a check"),
    # the closing check, two letters of its code changed over; it is 0.19 m low
    "code mistyped for a check's, at a mark": (
        reading(name="CM2-s1a-C", code="CKH", slip="CHK", borne=off("CM2", 0.01), beside="-s1a-c"),
        True,
        "CM2",
        "its code CKH is one slip from CHK, which makes a check, and it is beside CM2, 0.01 m away",
    ),
    # the code that the surveyor keeps for ties, after the last check, 0.8 m beside a mark: the base has moved
    "like the ties, beside a mark": (
        reading(name="G9", code="CP", ties_code="cp", ties_code_rare=True, last=True, nearest_register=off("CM2", 0.8)),
        True,
        "CM2",
        "its code CP is used almost only for ties and checks, and it is beside the mark CM2, 0.80 m away",
    ),
    # the tie was made on the neighbour of the mark that it is called after, and so was this
    "off its mark as a listed reading is": (
        reading(name="CM1-PM", borne=off("CM1", 14.2), beside="-pm", off_alike="CM1-AM is on CM01 by the job"),
        True,
        "CM1",
        "CM1-AM is on CM01 by the job; this reading, named after the mark CM1, is off it by the same vector, 14.20 m",
    ),
    # called as the closing occupation of CM1, but 3 m from it
    "named as an occupation, off the mark": (
        reading(name="CM1-PM", borne=off("CM1", 3.0), beside="-pm"),
        True,
        "CM1",
        "its name refers to the mark CM1, but that is 3.00 m away (east +3.000, north +0.000, height +0.004)",
    ),
    # the same, at the mark, where a check would fail by 0.2 m
    "named as an occupation, on the mark": (
        reading(name="CM1-PM", borne=off("CM1", 0.2), beside="-pm"),
        True,
        "CM1",
        "named after the mark CM1 and beside it, 0.20 m away",
    ),
    # a tree that is called after the mark next to it
    "named after a mark beside it": (
        reading(name="CM1 stone", code="TREE", borne=off("CM1", 3.0), beside=" stone"),
        False,
        "CM1",
        "it is named after the mark CM1, which is 3.00 m away",
    ),
    # it says "check", stands on a mark, and would fail there
    "says check or mark, on a mark": (
        reading(name="check 2", nearest=off("CM2", 0.3)),
        True,
        "CM2",
        "its name makes it a check, and it is beside CM2, 0.30 m away",
    ),
    # a witness mark to the north of CM2
    "witness of a mark near by": (
        reading(name="CM2-N", like_name=off("CM2", 4.0), borne=off("CM2", 4.0), beside="-n", namesakes=9),
        False,
        "CM2",
        "its name refers to the mark CM2, but that is 4.00 m away",
    ),
    # CM2 occupied once more, 12 m off, where no mark is
    "says the name of a mark near by": (
        reading(name="CM2", like_name=off("CM2", 12.0), plain_name=True),
        True,
        None,
        "its name refers to the mark CM2, but that is 12.00 m away",
    ),
    # a fence post 900 m away that happens to be called CM2: in a drawing one would be taken for the other
    "has the name of a far mark": (
        reading(name="CM2", code="POST", like_name=off("CM2", 900.0), plain_name=True),
        False,
        None,
        "it has the name of the mark CM2, which is 900.00 m away",
    ),
    # named as the north witness of a mark that is lost, among several of them, with a code that says check
    "witness, by words a check": (
        reading(name="CM2-N", code="check", borne=MarkNearby("CM2"), beside="-n", witnesses=4, namesakes=4),
        False,
        "CM2",
        "its code check makes it a check, but no mark is within 0.5 m",
    ),
    # a code that says nothing but check, far from every mark
    "says check on no mark": (
        reading(name="c17", code="check"),
        True,
        None,
        "its code check makes it a check, but no mark is within 0.5 m: the nearest is CM9, 312.00 m away",
    ),
    # the peg under yesterday's base, occupied again, 0.2 m off
    "named after a temporary mark, on it": (
        reading(name="PEG1", peg=off("PEG1", 0.2)),
        True,
        "PEG1",
        "named after the mark PEG1 and beside it, 0.20 m away",
    ),
    # a point a few steps from the peg, with its name
    "named after a temporary mark beside it": (
        reading(name="PEG1", peg=off("PEG1", 3.0)),
        False,
        None,
        "its name refers to the mark PEG1, but that is 3.00 m away",
    ),
    # names are a counter, the marks stand in a column that nobody mapped
    "on the mark of an unmapped column": (
        reading(name="1017", column="Remark", of_column=off("CM3", 0.2), column_readings=2),
        True,
        "CM3",
        "its unmapped column 'Remark' gives CM3, and it is beside it, 0.20 m away",
    ),
    "off the mark of an unmapped column": (
        reading(name="1017", column="Remark", of_column=off("CM3", 2.0), column_readings=2),
        True,
        "CM3",
        "its unmapped column 'Remark' gives CM3, but that is 2.00 m away",
    ),
}


def test_every_rule_has_a_case() -> None:
    assert sorted(CASES) == sorted(NAMES)


@pytest.mark.parametrize("rule", CASES)
def test_a_rule(rule: str) -> None:
    of, held, mark, words = CASES[rule]
    found = ruling(of)
    assert found is not None
    assert (found.rule, found.held, found.mark) == (rule, held, mark)
    assert words in found.because


@pytest.mark.parametrize(
    "of",
    [
        # on the mark, and a check would pass there: it is told, not held back
        reading(name="CM1-PM", borne=off("CM1", 0.01, fails=False), beside="-pm"),
        reading(name="check 2", nearest=off("CM2", 0.01, fails=False)),
        reading(name="PEG1", peg=off("PEG1", 0.01, fails=False)),
        reading(name="1017", column="Remark", of_column=off("CM3", 0.01, fails=False), column_readings=2),
        # points are numbered from the peg: not its occupations
        reading(name="PEG1-7", peg=off("PEG1", 0.2), numbered_from_peg=True),
        # a new mark set beside an old one, before the day's last check
        reading(name="G9", code="CP", ties_code="cp", ties_code_rare=True, nearest_register=off("CM2", 0.8)),
    ],
)
def test_told_and_not_held_back(of: Features) -> None:
    found = ruling(of)
    assert found is not None and not found.held


@pytest.mark.parametrize(
    "of",
    [
        reading(name="P12", code="TREE"),
        # on a mark, but it says nothing: an ordinary point
        reading(name="P12", code="TREE", nearest=off("CM2", 0.1), nearest_register=off("CM2", 0.1)),
        # a check dam is a thing, and far from every mark
        reading(name="check dam", code="DAM"),
        # the code of ties where it agrees with the mark is an occupation that was left out, and harms nobody
        reading(name="G9", code="CP", ties_code="cp", ties_code_rare=True, nearest_register=off("CM2", 0.01, False)),
        # a manhole beside a mark, called after both; points that are numbered from a mark
        reading(name="CM2-MH1", code="MH", borne=off("CM2", 3.0), beside="-mh1"),
        reading(name="CM2 stone 8", code="TREE", borne=off("CM2", 3.0), beside=" stone 8", namesakes=4),
        # a column that says what many points were measured from, or names a mark that is far away
        reading(name="1017", column="From", of_column=off("CM3", 2.0), column_readings=7),
        reading(name="1017", column="From", of_column=off("CM3", 5.1), column_readings=2),
        # the mark of the column is occupied in this session by its name
        reading(name="1017", column="From", of_column=off("CM3", 2.0), column_readings=2, occupied_by_name=True),
        # nobody knows where the mark is
        reading(name="CM2 stone", code="TREE", borne=MarkNearby("CM2"), beside=" stone"),
    ],
)
def test_ordinary_points(of: Features) -> None:
    assert ruling(of) is None


def test_a_failing_check_by_name_goes_before_an_unmapped_column_and_a_passing_one_after_it() -> None:
    column = {"column": "Remark", "of_column": off("CM3", 2.0), "column_readings": 1}
    failing = ruling(reading(name="CM1-PM", borne=off("CM1", 0.2), beside="-pm", **column))
    passing = ruling(reading(name="CM1-PM", borne=off("CM1", 0.0, fails=False), beside="-pm", **column))
    assert failing is not None and failing.mark == "CM1"
    assert passing is not None and (passing.mark, passing.held) == ("CM3", True)


def test_an_occupation_named_once_more_is_looked_for_farther_than_a_point_beside() -> None:
    """CM1-PM 19 m from CM1 is the base that moved; CM1-PM with the code of a tree is a tree."""
    assert ruling(reading(name="CM1-PM", borne=off("CM1", 19.0), beside="-pm")) is not None
    assert ruling(reading(name="CM1-PM", borne=off("CM1", 20.1), beside="-pm")) is None
    assert ruling(reading(name="CM1-PM", code="TREE", borne=off("CM1", 19.0), beside="-pm")) is None


def test_a_distance_in_words() -> None:
    assert off("A", 1234.6).away() == "1,235 m away"
    assert MarkNearby("A", 5.0, (3.0, -4.0, nan)).away() == "5.00 m away (east +3.000, north -4.000)"


def test_without_any_mark() -> None:
    found = ruling(Features(radius=0.5, name="c17", code="CHK", coded=True))
    assert found is not None
    assert found.because.endswith("but neither the register nor a tie gives a mark with a position")
