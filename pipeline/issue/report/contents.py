"""What stands in the report, section by section, from an issue's record alone."""

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.issue.report import meanings
from pipeline.issue.report.chosen import Chosen, choose
from pipeline.issue.report.differences import differences
from pipeline.issue.report.timeline import timeline
from pipeline.issue.report.written import many
from pipeline.words import REASONS, Change, Proof, Reason, Role, Verdict

Row = Mapping[str, Any]

#: Rows of each list that the page has at the most; the layers and the record have all of them.
SESSIONS, TIMELINES, CHECKS, TIES, MARKS, READINGS, INPUTS, NOTES = 1000, 100, 2000, 600, 1000, 60, 1000, 200
#: Bytes of the lines that split a session, beyond which they stand in the record alone: half of them are of no use.
SPLIT = 20_000


def contents(record: Row) -> dict[str, Any]:
    """Return what the templates show of a record."""
    return {
        "record": record,
        "file": f"{record['job']}-{record['issue']:03d}",
        "look": looks(record),
        "verdicts": _verdicts(record),
        "reasons": _reasons(record),
        "changes": _changes(record),
        "sessions": choose(record["sessions"], _urgency, most=SESSIONS),
        "timelines": _timelines(record),
        "checks": choose(record["checks"], lambda row: int(row["passed"] is False), most=CHECKS),
        "tolerances": _tolerances(record["checks"]),
        "differences": differences(record["checks"]),
        "readings": choose(record["diagnoses"], lambda row: 1, short=20, first=20, most=READINGS),
        "adjustment": _adjustment(record),
        "marks": choose(record["marks"], lambda row: int(row["easting"] is None or row["height"] is None), most=MARKS),
        "register": choose(record["register"], lambda row: 0, most=MARKS),
        "untied": choose(record["untied"], lambda row: 1, most=TIMELINES),
        "inputs": choose(record["inputs"], lambda row: 0, most=INPUTS),
        "notes": choose(record["notes"], lambda row: 1, most=NOTES),
        "farthest": _farthest(record["shift_model"]["farthest"]),
        "split_limit": SPLIT,
    }


def looks(record: Row) -> list[tuple[str, str]]:
    """Return what a reader should look at, each with the section that tells it, the gravest first."""
    judged = [check for check in record["checks"] if check["passed"] is not None]
    failing = sum(not check["passed"] for check in judged)
    reasons, adjustment = record["rows"]["by_reason"], record["adjustment"]
    told = []
    if failing:
        of = many(len(judged), "occupation of a control mark", "occupations of control marks")
        told.append(("checks", f"{failing} of {of} {'fails' if failing == 1 else 'fail'}"))
    elif not judged:
        told.append(("checks", "no control mark was occupied that the coordinates could be compared with"))
    for reason in (Reason.SUSPECT, Reason.UNTIED, Reason.UNCLOSED, Reason.UNCHECKED):
        if reason in reasons:
            told.append(("rows", f"{many(reasons[reason], 'row')} held back as {reason}"))
    for verdict in (Verdict.UNTIED, Verdict.UNCHECKED, Verdict.UNCLOSED):
        number = sum(session["verdict"] == verdict for session in record["sessions"])
        if number:
            told.append(("sessions", f"{many(number, 'session')} {verdict}"))
    test = adjustment["chi_square"]
    if test is not None and not test["passed"]:
        how = "worse" if adjustment["square_sum"] > test["high"] else "better"
        told.append(("adjustment", f"the ties agree {how} than their uncertainties say"))
    over = sum(map(_is_over(adjustment["critical_value"]), _statistics(record)))
    if over:
        told.append(("adjustment", f"{many(over, 'standardised residual')} over the critical value"))
    if record["notes"]:
        told.append(("notes", many(len(record["notes"]), "note")))
    return told


def result(check: Row) -> str:
    """Return in a word what a comparison with a control mark came to."""
    return {None: "not judged", True: "passed", False: "failed"}[check["passed"]]


def over(check: Row) -> str:
    """Return in a sentence by how much a failing comparison is over the tolerances."""
    off, up = check["d_horizontal"], check["d_height"]
    told = []
    if off is not None and off > check["tolerance_h"]:
        told.append(f"{off - check['tolerance_h']:.3f} m over in position")
    if up is not None and abs(up) > check["tolerance_v"]:
        told.append(f"{abs(up) - check['tolerance_v']:.3f} m over in height")
    return f"Fails: {' and '.join(told) or 'it cannot be compared'}."


def _urgency(session: Row) -> int:
    return meanings.URGENCY[Verdict(session["verdict"])]


def _verdicts(record: Row) -> list[tuple[str, int, str]]:
    """Return each verdict that sessions have, how many, and what it means; the gravest first."""
    found = [session["verdict"] for session in record["sessions"]]
    order = sorted(Verdict, key=lambda verdict: -meanings.URGENCY[verdict])
    return [(str(one), found.count(one), meanings.VERDICTS[one]) for one in order if one in found]


def _reasons(record: Row) -> list[tuple[str, int, str]]:
    counts = record["rows"]["by_reason"]
    return [(str(one), counts[one], meanings.REASONS[one]) for one in REASONS if counts.get(one)]


def _changes(record: Row) -> dict[str, Any] | None:
    found = record["changes"]
    if found is None:
        return None
    counts = [(str(one), found[one], meanings.CHANGES[one]) for one in Change if one in found]
    because = choose(found["because"], lambda row: 1, most=TIMELINES)
    return {
        "since": found["since"],
        "counts": counts,
        "because": because,
        "horizontal": found.get("max_horizontal"),
        "vertical": found.get("max_vertical"),
    }


def _timelines(record: Row) -> Chosen[Any]:
    """Return sessions with their drawings: the failing ones first where there are many."""
    by_session: dict[str, list[Row]] = {}
    for check in record["checks"]:
        by_session.setdefault(check["session"], []).append(check)
    chosen = choose(record["sessions"], _urgency, short=12, first=24, most=TIMELINES)

    def drawn(sessions: Sequence[Row]) -> list[tuple[Row, Any]]:
        return [(session, timeline(session, by_session.get(session["session"], []))) for session in sessions]

    return Chosen(drawn(chosen.first), drawn(chosen.rest), chosen.left_out, chosen.sorted)


def _tolerances(checks: Sequence[Row]) -> tuple[float, float] | None:
    return (checks[0]["tolerance_h"], checks[0]["tolerance_v"]) if checks else None


def _statistics(record: Row) -> list[Row]:
    """Return the observations that have statistics: ties, set-ups of bases, control coordinates."""
    adjustment = record["adjustment"]
    ties = [check for check in record["checks"] if check["role"] == Role.TIE]
    return [*ties, *adjustment["set_ups"], *adjustment["control"]]


def _is_over(critical: float | None) -> Any:
    def over(row: Row) -> bool:
        found = [row[f"standardised_{axis}"] for axis in ("east", "north", "up")]
        return critical is not None and any(value is not None and abs(value) > critical for value in found)

    return over


def _adjustment(record: Row) -> dict[str, Any]:
    found = record["adjustment"]
    over = _is_over(found["critical_value"])
    ties = [check for check in record["checks"] if check["role"] == Role.TIE]
    named = (
        ("ties", "Ties: rovers on marks", ties),
        ("set-ups", "Set-ups: bases over marks", found["set_ups"]),
        ("control", "Control: coordinates of the register", found["control"]),
    )
    return {
        "tables": [(key, title, choose(rows, lambda row: int(over(row)), most=TIES)) for key, title, rows in named],
        "over": sum(over(row) for row in _statistics(record)),
    }


def _farthest(found: Sequence[Row]) -> Chosen[Row]:
    return choose(found, lambda row: round(1000 * row["horizontal"]), most=TIMELINES)


#: The proof words with what they mean, for the legends.
PROOF_WORDS = [(str(proof), meanings.PROOFS[proof]) for proof in Proof]
