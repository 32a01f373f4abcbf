"""Points of one name told apart: the first in time keeps it, and no made name is another point's own."""

import numpy as np
import pyarrow as pa

from pipeline.draft.unique_names import UniqueNames
from pipeline.intake.same_names import SameNames, name_keys

NONE, NOBODY = np.zeros(0, np.int64), np.zeros((0, 2), np.int64)


def same(names: list[str], *groups: list[int]) -> SameNames:
    """Points by the names that several of them have; each group is in the order of their times."""
    number = np.array([row for group in groups for row in group], np.int64)
    name = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    none = np.zeros(len(number))
    keys = np.unique(name_keys(pa.array(names)))
    nowhere = np.zeros(0, np.int64)
    return SameNames(number, name, nowhere, nowhere, none, none, none, keys, nowhere)


def issued(names: list[str], told: UniqueNames) -> list[str]:
    return list(told.names(pa.array(names), np.arange(len(names))).to_pylist())


def test_the_first_in_time_keeps_the_name() -> None:
    names = ["P1", "P2", "P1", "P1"]
    told = UniqueNames.of(same(names, [2, 0, 3]), NONE, NOBODY)  # row 2 was observed first
    assert issued(names, told) == ["P1_2", "P2", "P1", "P1_3"]


def test_a_made_name_that_another_point_has_is_made_again() -> None:
    names = ["P1", "P1", "P1_2", "P1_2b"]
    told = UniqueNames.of(same(names, [0, 1]), NONE, NOBODY)
    assert issued(names, told) == ["P1", "P1_2bb", "P1_2", "P1_2b"]


def test_rows_that_are_no_points_do_not_count() -> None:
    names = ["P1", "P1", "P1"]
    told = UniqueNames.of(same(names, [0, 1, 2]), np.array([0]), NOBODY)
    assert issued(names, told) == ["P1", "P1", "P1_2"]


def test_a_row_counts_in_the_place_of_another() -> None:
    """Of a point that was measured twice the later reading is issued: it has the name of the earlier one's place."""
    names = ["P1", "P1", "P1"]
    told = UniqueNames.of(same(names, [0, 1, 2]), NONE, np.array([[2, 0]]))
    assert issued(names, told) == ["P1", "P1_2", "P1"]


def test_only_the_rows_asked_for_are_changed() -> None:
    names = ["P1", "P1", "P2"]
    told = UniqueNames.of(same(names, [0, 1]), NONE, NOBODY)
    assert told.names(pa.array(["P1", "P2"]), np.array([1, 2])).to_pylist() == ["P1_2", "P2"]


def test_where_no_name_repeats_nothing_is_changed() -> None:
    told = UniqueNames.of(same(["P1"]), NONE, NOBODY)
    assert not len(told.number)
    assert issued(["P1", "P1"], told) == ["P1", "P1"]
