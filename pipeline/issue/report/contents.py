"""Builds the contents of the report, section by section, from the record alone."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from pipeline.issue.attention import Kind, Level, remarks
from pipeline.issue.drawn_changes import drawn_among, reasons_among
from pipeline.issue.over_critical import over_critical
from pipeline.issue.record_types import FileIssued, Record
from pipeline.issue.release import stays, waits_for
from pipeline.issue.report import word_meanings
from pipeline.issue.report.accuracy_statement import accuracy
from pipeline.issue.report.adjustment_tables import file_tables, mark_tables, model_table, statistics_tables
from pipeline.issue.report.base_tables import base_table
from pipeline.issue.report.cause_tables import causes
from pipeline.issue.report.code_tables import code_table, string_table, unknown_table
from pipeline.issue.report.differences import differences
from pipeline.issue.report.glossary import GLOSSARY
from pipeline.issue.report.number_format import local, many, minute
from pipeline.issue.report.particulars_lines import particulars
from pipeline.issue.report.repeat_tables import repeat_table
from pipeline.issue.report.row_choice import Chosen, choose
from pipeline.issue.report.session_tables import (
    base_log,
    check_table,
    field_shift_table,
    held,
    partly_held,
    session_table,
    urgency,
    wholly_given,
)
from pipeline.issue.report.site_message import localisation, site_table
from pipeline.issue.report.suspect_tables import suspect_table
from pipeline.issue.report.timeline import timeline
from pipeline.issue.row_types import CheckRow
from pipeline.issue.session_types import Session
from pipeline.issue.untied_words import of_register
from pipeline.issue.written_axes import axes_written
from pipeline.words import REASONS, Change, Proof, Role, Verdict

#: Rows of each list that the page has at the most; the layers and the record have all of them.
TIMELINES, REASONS_WHY, NOTES, WHOLLY = 100, 100, 200, 12
#: Marks that are named of those whose register coordinates would tie a session.
_MARKS_WHY = 5


def contents(record: Record, files: Callable[[], Sequence[FileIssued]] | None = None) -> dict[str, Any]:
    """Return what the templates show of a record; its files from ``files``, asked when they are shown."""
    package = f"{record['job']}-{record['issue']:03d}.gpkg"
    return {
        "record": record,
        "package": package,
        "axes": axes_written(record),
        "needed": opening_remarks(record, Level.NEEDED),
        "noted": opening_remarks(record, Level.LOOK, Level.NOTED),
        "verdicts": _verdicts(record),
        "reasons": _reasons(record),
        "changes": _changes(record),
        "waits": waits_for(record),
        "stays": stays(record),
        "particulars": particulars(record["particulars"]),
        "accuracy": accuracy(record),
        "suspects": suspect_table(record, package),
        "bases": base_table(record),
        "sessions": session_table(record, package),
        "field_shifts": field_shift_table(record),
        "timelines": _timelines(record),
        "checks": check_table(record, package),
        "repeats": repeat_table(record, package),
        "strings": string_table(record),
        "codes": list(filter(None, (unknown_table(record), code_table(record)))),
        "tolerances": _tolerances(record["checks"]),
        "partly_held": partly_held(record),
        "differences": differences(record["checks"], held(record)),
        "causes": causes(record),
        "over": over_critical(record),
        "statistics": statistics_tables(record, package),
        "marks": mark_tables(record, package),
        "untied": choose(_untied(record), lambda row: 1, most=REASONS_WHY),
        "files": file_tables(record["inputs"], files or (lambda: record["files"])),
        "notes": choose(record["notes"], lambda row: 1, most=NOTES),
        "model": model_table(record),
        "site": site_table(record),
        "localisation": localisation(record["target"]["site"]) if record["target"]["site"] else "",
        "words": _words(),
        "proof_words": [(str(proof), word_meanings.PROOFS[proof]) for proof in Proof],
    }


def _untied(record: Record) -> list[dict[str, Any]]:
    """Return what nothing ties, each with what the register would have to give instead of an occupation."""
    holds, whole = held(record), wholly_given(record)
    return [
        {**row, "of_register": of_register(row["marks"], row["lacks"], holds, _MARKS_WHY, whole)}
        for row in record["untied"]
    ]


def opening_remarks(record: Record, *levels: Level) -> list[tuple[str, str]]:
    """Return what the page says first of some levels, each with the section that tells more, the gravest first.

    What it is comes from `remarks`; of failing occupations the page has the count, of much that is wholly held back
    the first.
    """
    found = [one for one in remarks(record, many) if one.level in levels]
    lines: list[tuple[str, str]] = []
    for kind, alike in groupby(found, key=lambda one: one.kind):
        of_kind = list(alike)
        if kind is Kind.FAILING:
            lines += (("checks", what) for what in _failing(record["checks"]))
        elif kind is Kind.WHOLLY and len(of_kind) > WHOLLY:
            lines += ((one.section, one.what) for one in of_kind[:WHOLLY])
            lines.append(("notes", f"{len(of_kind) - WHOLLY} more wholly held back"))
        else:
            lines += ((one.section, one.what) for one in of_kind)
    return lines


def _failing(checks: Sequence[CheckRow]) -> Iterator[str]:
    """Yield how many occupations fail of those that the coordinates were compared with, and of what was noted."""
    compared = [check for check in checks if check["passed"] is not None]
    judged = [check for check in compared if check["role"] != Role.NOTED]
    failing = sum(not check["passed"] for check in judged)
    if failing:
        of = many(len(judged), "occupation of a control mark", "occupations of control marks")
        yield f"{failing} of {of} {'fails' if failing == 1 else 'fail'}"
    if noted := sum(not check["passed"] for check in compared) - failing:
        yield f"{many(noted, 'check')} noted in the field {'fails' if noted == 1 else 'fail'}"


def _verdicts(record: Record) -> list[tuple[str, int, str]]:
    """Return each verdict that sessions have, how many, and what it means; the gravest first."""
    found = [session["verdict"] for session in record["sessions"]]
    order = sorted(Verdict, key=lambda verdict: -word_meanings.URGENCY[verdict])
    return [(str(one), found.count(one), word_meanings.VERDICTS[one]) for one in order if one in found]


def _reasons(record: Record) -> list[tuple[str, int, str]]:
    counts = record["rows"]["by_reason"]
    return [(str(one), counts[one], word_meanings.REASONS[one]) for one in REASONS if counts.get(one)]


def _changes(record: Record) -> dict[str, Any] | None:
    found = record["changes"]
    if found is None:
        return None
    counts: Mapping[str, Any] = found
    to_do = {} if waits_for(record) else word_meanings.TO_DO
    return {
        "since": found["since"],
        "counts": [
            (str(one), counts[one], word_meanings.CHANGES[one] + to_do.get(one, "")) for one in Change if one in counts
        ],
        "because": choose(reasons_among(found["because"]), lambda row: 1, most=REASONS_WHY),
        "drawn": choose(drawn_among(found["because"]), lambda row: 1, most=REASONS_WHY),
        "horizontal": found.get("max_horizontal"),
        "vertical": found.get("max_vertical"),
    }


def _tolerances(checks: Sequence[CheckRow]) -> tuple[float | None, float | None]:
    """Return the tolerances in plan and in height of the first occupations of which that is tested."""
    in_plan, in_height = (row["tolerance_h"] for row in checks), (row["tolerance_v"] for row in checks)
    return next(filter(None, in_plan), None), next(filter(None, in_height), None)


def _timelines(record: Record) -> Chosen[Any]:
    """Return heading, drawing and base log of each session: the failing ones first where there are many."""
    by_session: dict[str, list[CheckRow]] = {}
    for check in record["checks"]:
        by_session.setdefault(check["session"], []).append(check)
    chosen = choose(record["sessions"], urgency, short=12, first=24, most=TIMELINES)

    def drawn(sessions: Sequence[Session]) -> list[dict[str, Any]]:
        return [
            {
                "name": session["session"],
                "said": _heading(session, record["local_clock"]),
                "line": timeline(session, by_session.get(session["session"], [])),
                "log": base_log(session["base_log"]),
            }
            for session in sessions
        ]

    return Chosen(drawn(chosen.first), drawn(chosen.rest), chosen.left_out)


def _heading(session: Session, zone: str | None) -> str:
    base = f", base {session['base']}" if session["base"] is not None else ""
    here = f" ({local(session['start'], zone)} to {local(session['end'], zone)}, {zone})" if zone else ""
    return f"{base}: {session['verdict']}; {minute(session['start'])} to {minute(session['end'])} UTC{here}"


def _words() -> list[tuple[str, str]]:
    """Return the words that the report uses, with what they mean: the glossary, then those of the closed lists."""
    return [
        *GLOSSARY.items(),
        *((str(word), meaning) for word, meaning in word_meanings.PLACES.items()),
        *((str(word), f"verdict of a session: {meaning}") for word, meaning in word_meanings.VERDICTS.items()),
    ]
