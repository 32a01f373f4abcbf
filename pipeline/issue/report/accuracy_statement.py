"""Writes the accuracy statement of the report, from the record: control, uncertainty, checks, limits."""

import math
from collections.abc import Iterator, Sequence

from pipeline.issue.record_types import Record
from pipeline.issue.report.number_format import count, many, metres
from pipeline.issue.report.session_tables import held
from pipeline.words import Holds, MarkStatus, Role, Verdict

#: Names of marks that a sentence lists.
_MARKS_LISTED_MAX = 12


def accuracy(record: Record) -> list[str]:
    """Return the accuracy statement of an issue, a sentence or two each on control, uncertainty, checks and limits."""
    return [*_control(record), *_uncertainty(record), *_checks(record), *_limits(record)]


def _control(record: Record) -> Iterator[str]:
    held = [row["mark"] for row in record["marks"] if row["status"] == MarkStatus.CONSTRAINED]
    target = record["target"]
    frame = f"{target['grid_name']}, heights {target['height_name']}"
    if not held:
        yield f"Coordinates are in {frame}. No control mark was tied to in the adjustment."
        return
    named = ", ".join(held[:_MARKS_LISTED_MAX]) + (
        f" and {count(len(held) - _MARKS_LISTED_MAX)} more" if len(held) > _MARKS_LISTED_MAX else ""
    )
    yield (
        f"Coordinates are in {frame}. They rest on {many(len(held), 'control mark')} ({named}), whose published"
        " coordinates are accepted as correct within their uncertainties."
    )


def _uncertainty(record: Record) -> Iterator[str]:
    found = record["accuracy"]
    if found is None or (found["hu95"] is None and found["vu95"] is None):
        return
    yield (
        f"95 times in 100 an issued point lies within {metres(found['hu95'])} m horizontally, and within"
        f" {metres(found['vu95'])} m in height, of its true place relative to the control. These are the largest values"
        " of all points; each point has its own, as hu95 and vu95. They are computed from the precision that the"
        " receivers state, the ties, and the uncertainties of the control marks."
    )


def _checks(record: Record) -> Iterator[str]:
    """Yield what the independent checks say; ties prove nothing, nor what was noted in the field."""
    tested = [row for row in record["checks"] if row["role"] == Role.CHECK and row["passed"] is not None]
    if not tested:
        yield "No independent check was made: only the ties themselves support these figures."
        return
    holds = held(record)
    passing = sum(row["passed"] is True for row in tested)
    # what a mark does not hold of its coordinates is no check
    level = [row for row in tested if row["tolerance_h"] is not None and holds.get(row["mark"]) != Holds.HEIGHT]
    high = [row for row in tested if row["tolerance_v"] is not None and holds.get(row["mark"]) != Holds.POSITION]
    within = [f"{metres(row['tolerance_h'])} m horizontally" for row in level[:1]]
    within += [f"{metres(row['tolerance_v'])} m in height" for row in high[:1]]
    agree = "agrees" if passing == 1 else "agree"
    yield (
        f"Of {many(len(tested), 'independent check')}, which took no part in the adjustment, {count(passing)} {agree}"
        f" with the published coordinates within {' and '.join(within)}."
        f" {_spread([row['d_horizontal'] for row in level], 'Horizontally')}"
        f" {_spread([row['d_height'] for row in high], 'In height')}".rstrip()
    )


def _spread(differences: Sequence[float | None], what: str) -> str:
    """Return the largest and the root mean square of the differences of checks, "" where none is compared."""
    off = [abs(value) for value in differences if value is not None]
    if not off:
        return ""
    square = math.sqrt(sum(value * value for value in off) / len(off))
    return f"{what} the largest difference is {metres(max(off))} m, the root mean square {metres(square)} m."


def _limits(record: Record) -> Iterator[str]:
    """Yield what is not proven."""
    if record["verdict"] != Verdict.PROVEN:
        rest = [row for row in record["sessions"] if row["verdict"] != Verdict.PROVEN]
        yield (
            f"Not all of it is proven: {count(len(rest))} of {many(len(record['sessions']), 'session')}"
            f" {'is' if len(rest) == 1 else 'are'} {' or '.join(sorted({row['verdict'] for row in rest}))}."
        )
    issued = sum(not row["held_back"] for row in record["suspect"]["points"])
    if issued:
        yield "Suspect points are among those issued, because the job allows it: the figures do not hold for them."
    if far := [row["scale"] for row in record["precision"] if row["too_good"] and row["scale"] is not None]:
        yield (
            f"Readings differ more than their stated precision allows, by a factor of {max(far):.1f}: the figures"
            " above, which depend on it, are too good by up to that factor."
        )
    if any(not doubt["confirmed"] for doubt in record["doubts"]):
        yield "While a doubt is open, all points of some sessions may be off by the same amount: see Notes."
