"""Joins times in two columns before they are read: date and time of day, or GPS week and seconds."""

from collections.abc import Iterator

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.read.cell_texts import cell_texts
from pipeline.read.columns import ReadingPlan
from pipeline.read.mapping import time_of
from pipeline.read.raw_batch import Raw
from pipeline.replace import replace

#: What databases and spreadsheets write behind a date that has no time, and before a time that has no date.
MIDNIGHT = r"[T ](?:0?0:00(?::00(?:\.0+)?)?|12:00(?::00)? ?[aA][mM])Z?$"
_NO_DAY = r"^(?:1899-12-3[01]|1900-01-0[01]|1970-01-01|12/3[01]/1899|3[01][./]12[./]1899)[T ]"


def put_together(how: ReadingPlan, batches: Iterator[Raw]) -> tuple[ReadingPlan, Iterator[Raw]]:
    """Return the plan and the batches with one column in the place of each two; as they are where none stand so."""
    pairs = time_of(how.points)
    if not pairs:
        return how, batches
    named = {word: (how.names[first], how.names[then]) for word, (first, then) in pairs.items()}
    # as a header that comes again among the rows is put together too
    called = {word: " ".join(names) for word, names in named.items()}
    return replace(how, names=how.names | called), _joined(how, batches, named, called)


def _joined(
    how: ReadingPlan, batches: Iterator[Raw], named: dict[str, tuple[str, str]], called: dict[str, str]
) -> Iterator[Raw]:
    for raw in batches:
        found = dict(raw.columns)
        for word, (first, then) in named.items():
            found[called[word]] = _pair(how, raw.columns[first], raw.columns[then], word)
        yield replace(raw, columns=found)


def _pair(how: ReadingPlan, first: pa.Array, then: pa.Array, word: str) -> pa.Array:
    """Return two columns as one of texts with a blank between, null where either is; ends with a date as they are."""
    if how.points.columns.gps_week is not None:
        return pc.binary_join_element_wise(cell_texts(first), cell_texts(then), " ")
    day = pc.replace_substring_regex(cell_texts(first), MIDNIGHT, "")
    time = pc.replace_substring_regex(cell_texts(then), _NO_DAY, "")
    both = pc.binary_join_element_wise(day, time, " ")
    if word == "time":
        return both
    dated = how.end_clock.matched(time)
    return pc.if_else(pa.array(dated), time, both) if dated.any() else both
