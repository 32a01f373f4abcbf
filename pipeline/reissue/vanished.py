"""Occupations of marks that the newest issue had and that are none any more: one that failed takes its proof along."""

import re
from collections import Counter, defaultdict
from collections.abc import Iterator

from pipeline.clock import clock, from_iso
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.sessions.attach import base_key
from pipeline.tables import milliseconds
from pipeline.words import Doubt, Role

#: How a sentence of these ends, by which it is known again in the record of an issue.
_GONE = "is no occupation of the job any more"
_TOLD = re.compile(rf"the occupation (.*) on (.*) \(observed (.{{19}}) UTC\), which failed in issue \d+, {_GONE}")
#: Milliseconds: an export may come again with its times to the second.
_ALIKE = 1000
#: Occupations that a note names.
_LISTED = 3


def gone_checks(last: Record, survey: Survey) -> tuple[tuple[Doubtful, ...], list[str]]:
    """Return doubts for sessions of which a failing occupation is gone, and in words which others are gone.

    Whoever leaves a failing check out of an export that is delivered again, or out of the job's list, would otherwise
    have points released for it. Such a doubt is taken along from issue to issue while its occupation is not there.

    Args:
        last: the record of the newest issue.
        survey: the job.
    """
    there = _observed(survey)
    had = [one for one in last["checks"] if one["role"] != Role.NOTED and None not in (one["observed"], one["point"])]
    many = Counter(one["point"] for one in had)
    bases = {one["session"]: one["base"] for one in last["sessions"]}
    told: dict[str, tuple[int, ...]] = {}
    others = []
    for check in had:
        time, names = int(from_iso(str(check["observed"])).timestamp() * 1000), there[check["point"]]
        # as many of its name are there where all times are read by another clock now
        if len(names) >= many[check["point"]] or any(abs(time - other) <= _ALIKE for other in names):
            continue
        called = f"{check['point']} on {check['mark']} (observed {clock(time)} UTC)"
        sessions = _at(survey, time, check["session"], bases.get(check["session"]))
        if sessions and check["passed"] is False:
            told[f"the occupation {called}, which failed in issue {last['issue']:03d}, {_GONE}"] = sessions
        elif sessions:
            others.append(called)
    for what, point, seen, names_before in _told_before(last):
        sessions = tuple(window.index for window in survey.windows if window.session.name in names_before)
        if sessions and seen not in map(clock, there[point]):
            told.setdefault(what, sessions)
    doubts = [Doubtful(Doubt.UNANSWERED_CHECK, what, sessions) for what, sessions in told.items()]
    return confirmed_by(survey.job, doubts), _note(others, last["issue"])


def _observed(survey: Survey) -> defaultdict[str | None, list[int]]:
    """Return by name the times of all readings that may be occupations, also of those that are held back."""
    found = defaultdict[str | None, list[int]](list)
    table = survey.first_pass.candidates
    for name, time in zip(table.column("name").to_pylist(), milliseconds(table).tolist(), strict=True):
        found[name].append(time)
    return found


def _at(survey: Survey, time: int, name: str, base: str | None) -> tuple[int, ...]:
    """Return the session at a time that has a name, or else those that may have its base."""
    here = [window for window in survey.windows if window.start_ms <= time < window.end_ms]
    same = [window for window in here if window.session.name == name]
    other = [window for window in here if base_key(base) in (None, base_key(window.base)) or window.base is None]
    return tuple(window.index for window in same or other)


def _told_before(last: Record) -> Iterator[tuple[str, str, str, list[str]]]:
    """Yield what the newest issue says of occupations gone: its sentence, their point and time, and the sessions."""
    for doubt in last["doubts"]:
        if doubt["kind"] == Doubt.UNANSWERED_CHECK and (found := _TOLD.match(doubt["what"])) is not None:
            yield found[0], found[1], found[3], doubt["sessions"]


def _note(called: list[str], issue: int) -> list[str]:
    if not called:
        return []
    more = f" and {len(called) - _LISTED:,} more" if len(called) > _LISTED else ""
    are = "is no occupation" if len(called) == 1 else "are no occupations"
    return [f"{', '.join(called[:_LISTED])}{more} of issue {issue:03d} {are} of the job any more"]
