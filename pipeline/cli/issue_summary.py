"""The summary of an issue: what a person reads in ten seconds, made from the issue record alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from textwrap import indent
from typing import TYPE_CHECKING

from pipeline.issue.attention import REASONS, Attention, Kind, attention, occupation_label, worth_a_look
from pipeline.issue.report.adjustment_tables import under_bases
from pipeline.issue.report.site_message import localisation
from pipeline.issue.written_axes import axes_written, written_plainly
from pipeline.visible import one_line
from pipeline.words import Reason, Role, Verdict, counted, plural

if TYPE_CHECKING:
    from pipeline.issue.field_shift_types import FieldShiftTaken
    from pipeline.issue.record_types import Diagnosis, LineworkNoted, Record, Repeats, SiteFit
    from pipeline.issue.row_types import CheckRow, SessionRow

#: How many failing occupations the summary lists before it points at the layer, how many things wholly held back.
_FAILING, _WHOLLY = 12, 12
#: How many field shifts, and new marks under bases.
_TAKEN_OUT, _NEW = 6, 6
#: How many marks of a site's localisation it lists, those that fit worst in plan first.
_SITE_MARKS = 12
_LEGEND = "  east, north, up: the shift added to the raw positions, metres"
_LEGEND_SIGMA = "  sE, sU: its sigma (one standard deviation), east and up"
#: Columns that every table keeps to, so that a mail or a chat shows its rows whole, and sessions that it lists.
_WIDTH, _SESSIONS = 80, 24


def summary(record: Record, headline: str, current: Sequence[str] = (), new_notes: Sequence[str] = ()) -> str:
    """Return the summary of an issue record.

    ``headline`` says what became of the run, ``current`` what is drawn from in the place of the issue, if anything is,
    ``new_notes`` what is noted by now and not in the record.
    """
    rows = record["rows"]
    lines = [
        _head(record, headline),
        *(f"  {one_line(line)}" for line in current),
        f"  {counted(rows['read'], 'row')} read = {counted(rows['points'], 'point')} + {rows['on_marks']:,} on marks"
        f" + {rows['held_back']:,} held back",
        f"  grid {record['target']['grid_name']}; heights {record['target']['height_name']}" + _units(record),
        *_site(record["target"]["site"]),
        "",
        *_sessions(record["sessions"]),
        *_taken_out(record["field_shifts"], record["issue"]),
        *_new_marks(record),
        "",
        *_checks(record["checks"], record["diagnoses"]),
        *_repeats(record["repeats"]),
        *_lines(record["linework"]),
    ]
    if rows["by_reason"]:
        lines.append(f"  held back: {_reasons(rows['by_reason'])}")
    found = attention(record)
    lines += _told(found)
    # a note may end in lines for the job file
    said = {*(one.what for one in found), *(line.strip() for line in current)}
    notes = [*(f"note: {note}" for note in record["notes"] if note not in said), *new_notes]
    return "\n".join([*lines, *(f"  {indent(note, '    ').lstrip()}" for note in notes)])


def needs_attention(record: Record, headline: str, current: Sequence[str] = ()) -> str:
    """Return what of an issue record needs attention, and nothing else; ``current`` as in `summary`."""
    reasons = {reason: count for reason, count in record["rows"]["by_reason"].items() if reason in REASONS}
    lines = [_head(record, headline), *(f"  {one_line(line)}" for line in current)]
    lines += _failing(record["checks"], record["diagnoses"])
    lines += _repeats(record["repeats"]) if worth_a_look(record) else []
    if reasons:
        lines.append(f"  held back: {_reasons(reasons)}")
    return "\n".join([*lines, *_told(attention(record))])


def _units(record: Record) -> str:
    """Return in words in what coordinates are issued where that is not metres to the east, to the north and upwards."""
    if written_plainly(record):
        return ""
    return f"; {axes_written(record).described}, differences in metres"


def _head(record: Record, headline: str) -> str:
    return f"{record['job']}: {headline}, verdict {record['verdict'].upper()}"


def _reasons(counts: Mapping[str, int]) -> str:
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return ", ".join(f"{count:,} {_in_words(reason)}" for reason, count in ordered)


def _in_words(reason: str) -> str:
    """Return a reason in English: its key, which the record and the layer have, is one word."""
    return f"in {reason}".replace("_", " ") if reason == Reason.TWO_SESSIONS else reason.replace("_", " ")


def _told(found: Sequence[Attention]) -> list[str]:
    """Return the lines of what needs attention, but for failing occupations and counts, which have their own."""
    lines = [f"  SUSPECT: {one.what}" for one in found if one.kind is Kind.SUSPECT]
    lines += [f"  DOUBT: {one_line(one.what)}" for one in found if one.kind is Kind.DOUBT]
    lines += [f"  ALTERED: {one_line(one.what)}" for one in found if one.kind is Kind.ALTERED]
    wholly = [one.what for one in found if one.kind is Kind.WHOLLY]
    lines += [f"  WHOLLY HELD BACK: {one_line(what)}" for what in wholly[:_WHOLLY]]
    if len(wholly) > _WHOLLY:
        lines.append(f"  and {len(wholly) - _WHOLLY} more wholly held back: see issue.json")
    return lines


def _site(site: SiteFit | None) -> list[str]:
    """Return the localisation of a site's own system, with the residuals at its marks."""
    if site is None:
        return []
    lines = [f"  site: {localisation(site)}"]
    header = ("mark", "easting", "northing", "height")
    cells = [
        (
            one_line(mark["mark"]),
            *(_metres(mark[key], sign=True) for key in ("residual_east", "residual_north", "residual_height")),
        )
        for mark in sorted(site["marks"], key=lambda mark: -math.hypot(mark["residual_east"], mark["residual_north"]))
    ]
    lines += [f"  {line}" for line in _table(header, cells[:_SITE_MARKS], left=(0,))]
    if len(cells) > _SITE_MARKS:
        lines.append(f"    and {len(cells) - _SITE_MARKS} more in issue.json")
    return [*lines, "    residuals at the common marks: from the register minus the site's own, metres"]


def _sessions(sessions: Sequence[SessionRow]) -> list[str]:
    """Return the table of the sessions: of many those that are not proven, and how many the others are."""
    first = [session for session in sessions if session["verdict"] != Verdict.PROVEN] or list(sessions)
    shown = list(sessions) if len(sessions) <= _SESSIONS else first[:_SESSIONS]
    header = ("session", "verdict", "points", "tie", "check", "east", "north", "up", "sE", "sU")
    cells = [
        (
            one_line(session["session"]),
            session["verdict"],
            f"{session['points']:,}",
            str(session["ties"]),
            str(session["checks"]),
            *(_metres(session[axis], sign=True) for axis in ("shift_east", "shift_north", "shift_up")),
            _metres(session["sigma_east"]),
            _metres(session["sigma_up"]),
        )
        for session in shown
    ]
    lines = _table(header, cells, left=(0, 1))
    sigma = max(map(len, lines)) <= _WIDTH
    if not sigma:
        lines = _narrow(header[:-2], [row[:-2] for row in cells])
    if len(sessions) > len(shown):
        lines.append(f"  and {counted(len(sessions) - len(shown), 'more session')}, in the layer sessions")
        lines.append(f"  of all: {_verdicts(sessions)}")
    return [*lines, _LEGEND, *([_LEGEND_SIGMA] if sigma else [])]


def _verdicts(sessions: Sequence[SessionRow]) -> str:
    """Return how many sessions have each verdict, the gravest first."""
    found = [session["verdict"] for session in sessions]
    order = (Verdict.FAILED, Verdict.UNTIED, Verdict.UNCHECKED, Verdict.UNCLOSED, Verdict.PROVEN)
    return ", ".join(f"{found.count(word):,} {word}" for word in order if word in found)


def _narrow(header: Sequence[str], cells: Sequence[Sequence[str]]) -> list[str]:
    """Return a table whose first column has the room that the others leave; a longer name stands above its row."""
    others = sum(max(len(row[column]) for row in (header, *cells)) + 2 for column in range(1, len(header)))
    room = max(_WIDTH - 2 - others, len(header[0]))
    rows = [(*([""] if len(row[0]) > room else row[:1]), *row[1:]) for row in cells]
    head, *lines = _table(header, rows, left=(0, 1))
    made = [head]
    for row, line in zip(cells, lines, strict=True):
        made += [f"  {row[0]}", line] if len(row[0]) > room else [line]
    return made


def _taken_out(found: Sequence[FieldShiftTaken], issue: int) -> list[str]:
    """Return the lines of what the field had applied already."""
    if not found:
        return []
    from pipeline.issue.field_shift_types import field_shift_message

    lines = [f"  {one_line(field_shift_message(one, issue))}" for one in found[:_TAKEN_OUT]]
    more = [f"  and {len(found) - _TAKEN_OUT} more in issue.json"] if len(found) > _TAKEN_OUT else []
    return [*lines, *more]


def _new_marks(record: Record) -> list[str]:
    """Return the lines of the marks that the adjustment gives by a base alone that stood on them."""
    new = under_bases(record)
    of_new = [mark for mark in record["marks"] if mark["mark"] in new and mark["hu95"] is not None]
    lines = [
        f"  new mark {mark['mark']} under the base of session {new[mark['mark']]}: easting {_metres(mark['easting'])},"
        f" northing {_metres(mark['northing'])}, height {_metres(mark['height'])}; 95 % {_metres(mark['hu95'])}"
        f" horizontally, {_metres(mark['vu95'])} in height"
        for mark in of_new[:_NEW]
    ]
    more = [f"  and {len(of_new) - _NEW} more in the layer marks"] if len(of_new) > _NEW else []
    return [*map(one_line, lines), *more]


def _checks(checks: Sequence[CheckRow], diagnoses: Sequence[Diagnosis]) -> list[str]:
    judged = [check for check in checks if check["passed"] is not None and check["role"] != Role.NOTED]
    passing = sum(check["passed"] is True for check in judged)
    occupations = counted(len(judged), "occupation of a control mark", "occupations of control marks")
    lines = [f"  {passing} of {occupations} {'passes' if len(judged) == 1 else 'pass'}"]
    if noted := sum(check["role"] == Role.NOTED for check in checks):
        proof = plural(noted, "proves", "prove")
        lines.append(f"  {counted(noted, 'check')} noted in the field, which {proof} nothing")
    return [*lines, *_failing(checks, diagnoses)]


def _failing(checks: Sequence[CheckRow], diagnoses: Sequence[Diagnosis]) -> list[str]:
    lines_of = {(one["session"], point): one for one in diagnoses for point in one["points"]}
    told: set[str] = set()
    first: dict[str, str] = {}
    failing = [check for check in checks if check["passed"] is False]
    lines = []
    for check in failing[:_FAILING]:
        lines.append(
            one_line(
                f"  FAILS: {occupation_label(check)} on {check['mark']} ({check['role']}, {check['place']},"
                f" session {check['session']}): {_off(check)}"
            )
        )
        if check["cause"] and check["role"] == Role.NOTED:
            lines.append(f"         noted with it: {one_line(check['cause'])}")
        elif check["cause"] in first:
            lines.append(one_line(f"         possible causes: as for {first[check['cause']]}"))
        elif check["cause"]:
            first[check["cause"]] = occupation_label(check)
            lines += [f"         {part}" for part in _parts(check, lines_of.get((check["session"], check["point"])))]
        for what, text in _ready(lines_of.get((check["session"], check["point"]))):
            if text not in told:
                told.add(text)
                lines += [f"         {what}", ""]
                lines += [f"    {line}".rstrip() for line in text.splitlines()]
                lines.append("")
    if len(failing) > _FAILING:
        lines.append(f"  and {len(failing) - _FAILING} more in the layer check_marks")
    return lines


def _ready(diagnosis: Diagnosis | None) -> Iterator[tuple[str, str]]:
    """Yield the lines for the job file that a diagnosis has, with what they are for."""
    if diagnosis is not None and diagnosis["field_shift"]:
        yield "if the field had applied it, state it:", diagnosis["field_shift"]
    if diagnosis is not None and diagnosis["split"]:
        yield "if its base moved, split the session there:", diagnosis["split"]


def _off(check: CheckRow) -> str:
    """Return the differences of a failing occupation, or what of them was noted."""
    if check["d_east"] is None and check["d_horizontal"] is not None:
        plan = f"horizontally {_metres(check['d_horizontal'])}"
    else:
        plan = f"east {_metres(check['d_east'], sign=True)}, north {_metres(check['d_north'], sign=True)}"
    when = f"; {check['observed']}" if check["role"] == Role.NOTED else ""
    return f"{plan}, height {_metres(check['d_height'], sign=True)}{when}"


def _repeats(found: Repeats) -> list[str]:
    """Return how the readings of points measured twice agree, and the pairs that do not."""
    lines = []
    if found["pairs"]:
        pairs = counted(found["pairs"], "pair of readings", "pairs of readings")
        lines.append(f"  {found['pairs'] - found['failed']:,} of {pairs} of one point agree")
    if found["means"]:
        lines.append(
            f"  {counted(found['means'], 'point is', 'points are')} issued as the mean of several readings, the"
            f" farthest {_metres(found['spread_horizontal'])} m in plan and {_metres(found['spread_vertical'])} m in"
            " height from it"
        )
    for pair in found["failing"][:_FAILING]:
        lines.append(
            one_line(
                f"  REPEAT FAILS: {pair['name'] or 'a point without a name'}, session {pair['session_b']} compared"
                f" with {pair['session_a']}: east {_metres(pair['d_east'], sign=True)}, north"
                f" {_metres(pair['d_north'], sign=True)}, height {_metres(pair['d_height'], sign=True)}; expected"
                f" within {_metres(pair['hu95'])} in plan and {_metres(pair['vu95'])} in height (95 %)"
            )
        )
    if found["failed"] > _FAILING:
        lines.append(f"  and {found['failed'] - _FAILING:,} more in the layer repeats")
    return lines


def _lines(found: LineworkNoted | None) -> list[str]:
    """Return how many strings are drawn, and how many not; why not stands in a note."""
    if found is None:
        return []
    closed = f", {found['closed']:,} of them closed" if found["closed"] else ""
    not_drawn = f"; {counted(found['not_drawn'], 'string')} not drawn" if found["not_drawn"] else ""
    return [f"  {counted(found['lines'], 'line')} of {counted(found['points'], 'point')}{closed}{not_drawn}"]


def _parts(check: CheckRow, diagnosis: Diagnosis | None) -> list[str]:
    """Return a cause as lines: one for each possible cause, and one for what would decide between them.

    Where these begin the diagnosis says: a name may have the words between them too. Without one the mark is one that
    no register has, whose ties are asked for.
    """
    explanations = diagnosis["explanations"] if diagnosis is not None else []
    texts = [one_line(one["text"]) for one in explanations]
    begins = [begin for text in texts for begin in (text, f"perhaps by chance: {text}")]
    cause = one_line(check["cause"] or "")
    head = "possible cause: " if diagnosis is None or cause.startswith(tuple(begins)) else ""
    for begin in begins:
        cause = cause.replace(f"; or {begin}", f"\nor {begin}")
    decide = [one["decide"] or "" for one in explanations] if diagnosis is not None else [f"{check['mark']} and "]
    for what in filter(None, dict.fromkeys(map(one_line, decide))):
        cause = cause.replace(f"; to decide: {what}", f"\nto decide: {what}")
    return f"{head}{cause}".split("\n")


def _metres(value: float | None, *, sign: bool = False) -> str:
    if value is None:
        return "-"
    return f"{value:+.3f}" if sign else f"{value:.3f}"


def _table(header: Sequence[str], cells: Sequence[Sequence[str]], left: Sequence[int]) -> list[str]:
    widths = [max(len(row[column]) for row in (header, *cells)) for column in range(len(header))]
    return [
        "  "
        + "  ".join(
            text.ljust(width) if column in left else text.rjust(width)
            for column, (text, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (header, *cells)
    ]
