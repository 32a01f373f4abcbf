"""What failing occupations may mean, as the report tells it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.issue.report.chosen import Chosen, choose
from pipeline.issue.report.tables import Column, Table, length, table, words
from pipeline.issue.report.written import clipped, count, many

Row = Mapping[str, Any]

#: Failures that the page has at the most, readings of one, and points that a heading names.
_FAILURES, _READINGS, _POINTS = 60, 8, 8
#: Characters of the lines that split a session, beyond which the record alone has them: half of them are of no use.
_SPLIT = 20_000


@dataclass(frozen=True)
class Failure:
    """One failure: its heading, how many causes were tried, the readings that fit, lines that split its session."""

    heading: str
    tried: str
    readings: Table | None
    split: str | None
    split_left_out: str


def readings(record: Row) -> Chosen[Failure]:
    """Return the failures of a record, each read."""
    chosen = choose(record["diagnoses"], lambda row: 1, short=20, first=20, most=_FAILURES)
    return Chosen([_failure(row) for row in chosen.first], [_failure(row) for row in chosen.rest], chosen.left_out)


def _failure(row: Row) -> Failure:
    named = ", ".join(point or "a point without a name" for point in row["points"][:_POINTS])
    more = f" and {count(len(row['points']) - _POINTS)} more" if len(row["points"]) > _POINTS else ""
    about = f"{named}{more}" if named else "its shift is beyond the limits"
    tried = many(row["tried"], "cause")
    if row["readings"]:
        tried = f"{tried} tried, {count(row['fitting'])} {'fits' if row['fitting'] == 1 else 'fit'}."
    else:
        tried = f"None of {tried} tried explains it: occupy the mark again, and another one."
    split = row["split"]
    long = split is not None and len(split) > _SPLIT
    return Failure(
        f"Session {row['session']}: {about}",
        tried,
        _table(row) if row["readings"] else None,
        None if long else split,
        f"they are too long for this page ({count(len(split))} characters) and stand in issue.json" if long else "",
    )


def _table(row: Row) -> Table:
    best = row["readings"][0]

    def likely(reading: Row) -> str:
        return "the best" if reading is best else "too close to tell" if reading["close"] else "less likely"

    columns = [
        Column("Reading", "", _said, names=True),
        length("Leaves horiz.", "misfit_horizontal"),
        length("Leaves height", "misfit_vertical"),
        Column("Against the first", "", likely),
        words("What would decide", "decide"),
    ]
    shown = row["readings"][:_READINGS]
    caption = "Readings, best first; what each leaves at the failing occupations, metres."
    return table(caption, columns, Chosen(shown, (), row["fitting"] - len(shown)), "issue.json has the best 20;")


def _said(reading: Row) -> str:
    return ("perhaps by chance: " if reading["chance"] else "") + clipped(reading["text"])
