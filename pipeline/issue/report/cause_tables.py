"""Tables the possible causes of failing occupations."""

from msgspec import Struct

from pipeline.issue.record_types import Diagnosis, Explanation, Record
from pipeline.issue.report.number_format import clipped, count, many
from pipeline.issue.report.row_choice import Chosen, choose
from pipeline.issue.report.tables import Column, Table, length, table, words

#: Failures that the page has at the most, explanations of one, and points that a heading names.
_FAILURES, _EXPLANATIONS, _POINTS = 60, 8, 8
#: Characters of the lines that split a session, beyond which the record alone has them: half of them are of no use.
_SPLIT = 20_000


class Failure(Struct, frozen=True):
    """One failure: its heading, how many causes were tested, those that fit, lines for the job file of two of them."""

    heading: str
    tried: str
    explanations: Table | None
    split: str | None
    split_left_out: str
    field_shift: str | None


def causes(record: Record) -> Chosen[Failure]:
    """Return the failures of a record, each with what may have caused it."""
    chosen = choose(record["diagnoses"], lambda row: 1, short=20, first=20, most=_FAILURES)
    return Chosen([_failure(row) for row in chosen.first], [_failure(row) for row in chosen.rest], chosen.left_out)


def _failure(row: Diagnosis) -> Failure:
    named = ", ".join(point or "a point without a name" for point in row["points"][:_POINTS])
    more = f" and {count(len(row['points']) - _POINTS)} more" if len(row["points"]) > _POINTS else ""
    about = f"{named}{more}" if named else "its shift is beyond the limits"
    tried = many(row["tried"], "possible cause")
    if row["explanations"]:
        tried = f"{tried} tested, {count(row['fitting'])} {'fits' if row['fitting'] == 1 else 'fit'}."
    else:
        tried = f"None of {tried} tested explains it: occupy the mark again, and another one."
    split = row["split"]
    characters = len(split or "")
    long = characters > _SPLIT
    return Failure(
        f"Session {row['session']}: {about}",
        tried,
        _table(row) if row["explanations"] else None,
        None if long else split,
        f"they are too long for this page ({many(characters, 'character')}); see issue.json" if long else "",
        row["field_shift"],
    )


def _table(row: Diagnosis) -> Table:
    best = row["explanations"][0]

    def likely(explanation: Explanation) -> str:
        if explanation is best:
            return "most likely"
        return "about as likely" if explanation["close"] else "less likely"

    columns: list[Column[Explanation]] = [
        Column("Cause", "", _said, names=True),
        length("Unexplained, horizontal", "misfit_horizontal"),
        length("Unexplained, vertical", "misfit_vertical"),
        Column("Likelihood", "", likely),
        words("Observation that decides", "decide"),
    ]
    shown = row["explanations"][:_EXPLANATIONS]
    caption = "The most likely first; what each leaves unexplained at the failing occupations, metres."
    return table(caption, columns, Chosen(shown, (), row["fitting"] - len(shown)), "issue.json has the best 20;")


def _said(explanation: Explanation) -> str:
    return ("perhaps by chance: " if explanation["chance"] else "") + clipped(explanation["text"])
