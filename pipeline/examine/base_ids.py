"""Reports base ids that keep readings out of the sessions at their time, per export, with what to write."""

from collections.abc import Iterator
from functools import reduce

from pipeline.clock import between
from pipeline.intake.base_log import ValueSeen
from pipeline.intake.clock_offset import ids_may_be_wrong
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.intake.sort import right_id, with_bases
from pipeline.intake.survey import Survey
from pipeline.sessions.attach import base_key
from pipeline.words import counted

#: Sentences of one kind before the rest is only counted.
_MOST = 8


def id_notes(survey: Survey) -> list[str]:
    """Return in words which readings are no session's because of their base ids, and which sessions' ids nobody has."""
    return [
        *wrong_ids(survey.prepared, survey.first_pass, survey.clock_offset),
        *_without_id(survey),
        *_empty(survey),
        *_unused(survey),
    ]


def wrong_ids(prepared: Prepared, first_pass: FirstPass, clock_offset: str | None) -> list[str]:
    """Return a sentence per export and base id that is not that of the sessions at its readings' time.

    Ids of other sessions are left out where one ``clock_offset`` explains them, and nothing else does.
    """
    strangers = first_pass.log.strangers
    known = {base_key(window.base) for window in prepared.windows}
    by_clock = nothing_but_clock(prepared, first_pass, clock_offset)
    groups: dict[tuple[int, str], list[ValueSeen]] = {}
    for seen in strangers:
        if not (by_clock and base_key(seen.text) in known):
            groups.setdefault((seen.export, str(seen.key[0])), []).append(seen)
    ordered = sorted(groups.values(), key=lambda seen: -sum(one.count for one in seen))
    told = [_wrong(prepared, first_pass, seen) for seen in ordered[:_MOST]]
    rest = sum(one.count for seen in ordered[_MOST:] for one in seen) + strangers.further
    more = counted(rest, "more reading carries", "more readings carry")
    return [*told, f"{more} base ids that no session at their time has"] if rest else told


def nothing_but_clock(prepared: Prepared, first_pass: FirstPass, clock_offset: str | None) -> bool:
    """Tell whether one ``clock_offset`` explains what lies outside all sessions, and base ids do not."""
    known = {base_key(window.base) for window in prepared.windows}
    return clock_offset is not None and not ids_may_be_wrong(first_pass, known)


def _wrong(prepared: Prepared, first_pass: FirstPass, found: list[ValueSeen]) -> str:
    """Say of one base id in one export what it is, what the sessions have, and what to write."""
    whole = reduce(ValueSeen.and_also, found)
    covering = [prepared.windows[number] for number in sorted({n for seen in found for n in seen.sessions})]
    export = prepared.exports[whole.export]
    readings = counted(whole.count, "reading carries", "readings carry")
    told = (
        f"{export.shown}:{whole.row}: {readings} the base id {whole.text} {between(whole.time, whole.last)}, and"
        " no session at that time has it"
    )
    cut = first_pass.cut_off.get(whole.export)
    if cut is not None and whole.count == 1 and cut.line == whole.row:
        return f"{told}; the file seems to end within that row ({cut.why}): export or copy it again"
    if not covering:
        return f"{told}, and no session covers that time: the job has {with_bases(prepared.windows)}"
    return f"{told}: {with_bases(covering)}; {right_id(whole.text, covering, prepared.windows)}"


def _without_id(survey: Survey) -> Iterator[str]:
    """Yield per export that readings lack the id that would say whose they are."""
    for seen in survey.first_pass.log.without:
        export = survey.exports[seen.export]
        column = export.points.columns.base
        fix = "map the column 'base'" if column is None else f"its column {column} is empty there: fill it in"
        yield (
            f"{export.shown}:{seen.row}: {counted(seen.count, 'reading has', 'readings have')} no base id"
            f" {between(seen.time, seen.last)}, when several sessions ran; {fix}, or end one session where the other"
            " begins"
        )


def _empty(survey: Survey) -> Iterator[str]:
    """Yield exports whose column of base ids is empty in every row, though sessions have ids."""
    if all(window.base is None for window in survey.windows):
        return
    log = survey.first_pass.log
    filled = {export for export, _ in log.used} | {seen.export for seen in log.without}
    for number, export in enumerate(survey.exports):
        column = export.points.columns.base
        if column is not None and survey.first_pass.rows[number] and number not in filled:
            yield (
                f"{export.shown}: its column {column} has no base id in any row, so its readings are assigned to"
                " sessions by time alone"
            )


def _unused(survey: Survey) -> Iterator[str]:
    """Yield sessions whose base id no reading carries, though readings carry ids, and that got no reading for it."""
    log = survey.first_pass.log
    used = {key for _, key in log.used}
    accused = {number for seen in log.strangers for number in seen.sessions}
    for window in survey.windows:
        key = base_key(window.base)
        empty = log.sessions[window.index].first is None
        if key is not None and used and key not in used and empty and window.index not in accused:
            yield (
                f"session {window.session.name}: no reading of the job carries its base id {window.base}, and none at"
                " its time lacks an id, so it has no readings; check base, start and end of the session"
            )


def nothing_but_ids(prepared: Prepared, first_pass: FirstPass, clock_offset: str | None) -> str | None:
    """Return the first sentence of `wrong_ids` where base ids, and no times, keep readings out; else None."""
    strange = first_pass.log.strangers
    running = sum(seen.count for seen in strange if seen.sessions)
    if not running or nothing_but_clock(prepared, first_pass, clock_offset):
        return None
    told = wrong_ids(prepared, first_pass, clock_offset)
    return told[0] if told else None
