"""Occupations of marks that the newest issue had and that are none any more: one that failed takes its proof along.

A row that stays in its export and is held back now, for whatever reason, is no occupation any more either.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from pipeline.clock import clock, from_iso
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.candidates import coded_checks
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.issue.session_types import Session
from pipeline.reissue.plain_points import plain_points
from pipeline.sessions.attach import base_key
from pipeline.tables import milliseconds
from pipeline.words import REASONS, Doubt, Role

#: How a sentence of these goes on, by which it is known again in the record of an issue.
GONE = "is no occupation of the job any more"
_TOLD = re.compile(rf"the occupation (.*) on (.*) \(observed (.{{19}}) UTC\), which failed in issue \d+, {GONE}")
#: Milliseconds: an export may come again with its times to the second.
ALIKE = 1000
#: Metres further from its mark than the limit of a shift that a reading may be which is one of it by code alone.
_BESIDE = 1.0
#: A reading so many radii of a check from a mark, and further than two bases may be off by, was never one of it.
_RADII, _BOTH = 10.0, 2.0
#: Occupations that a note names.
_LISTED = 3


def gone_checks(last: Record, survey: Survey) -> tuple[tuple[Doubtful, ...], list[str]]:
    """Return doubts for sessions of which a failing occupation is gone, and in words which others are gone.

    Whoever leaves a failing check out of an export that is delivered again, or out of the job's list, or has it held
    back by another end of the session, solution or limit, would otherwise have points released for it. Such a doubt is
    taken along from issue to issue while its occupation is not there. One that has another name now is there,
    and one that was far from its mark and is a point now was named by mistake.

    Args:
        last: the record of the newest issue.
        survey: the job.
    """
    there, held = _observed(survey)
    missing = list(_missing_now(last, survey, there))
    failed = [one for one in missing if one.row["passed"] is False]
    told = {one.what: (one.point, one.time, one.sessions) for one in failed}
    far = {one.what: one for one in failed if one.row["role"] == Role.CHECK and one.off > never_of_it(survey)}
    points = plain_points(survey, {(one.point, one.time) for one in far.values()}, ALIKE)
    mistaken = [one for one in far.values() if (one.point, one.time) in points]
    for one in mistaken:
        del told[one.what]
    for what, point, time, sessions in _carried_along(last, survey, there):
        told.setdefault(what, (point, time, sessions))
    doubts = [_doubt(what, _near(held[point], time), sessions) for what, (point, time, sessions) in told.items()]
    others = [one for one in missing if one.row["passed"] is not False]
    unsaid = [one.called for one in others if _near(held[one.point], one.time) is None]  # what is held is told as that
    notes = [f"{one.what}: it is a point, {one.off:.1f} m from the mark, and was none of it" for one in mistaken]
    return confirmed_by(survey.job, doubts), [*notes, *_note(unsaid, last["issue"])]


#: The times of all readings that may be occupations, by name.
_There = defaultdict[str | None, list[int]]


@dataclass(frozen=True)
class _Missing:
    """An occupation of the newest issue: its row there, the UTC milliseconds, and the sessions that it would be of."""

    issue: int
    row: CheckRow
    time: int
    sessions: tuple[int, ...]

    @property
    def point(self) -> str:
        return str(self.row["point"])

    @property
    def off(self) -> float:
        """Return how many metres from its mark it was."""
        return float(self.row["d_horizontal"] or 0.0)

    @property
    def called(self) -> str:
        return f"{self.point} on {self.row['mark']} (observed {clock(self.time)} UTC)"

    @property
    def what(self) -> str:
        """Return what is told of it where it failed."""
        return f"the occupation {self.called}, which failed in issue {self.issue:03d}, {GONE}"


def _missing_now(last: Record, survey: Survey, there: _There) -> Iterator[_Missing]:
    """Yield the occupations that the newest issue had and that no reading is any more, whatever it is called."""
    had = [one for one in last["checks"] if one["role"] != Role.NOTED and None not in (one["observed"], one["point"])]
    many = Counter(one["point"] for one in had)
    before = {one["session"]: one for one in last["sessions"]}
    for check in had:
        time, names = int(from_iso(str(check["observed"])).timestamp() * 1000), there[check["point"]]
        # as many of its name are there where all times are read by another clock now
        if len(names) >= many[check["point"]] or any(abs(time - other) <= ALIKE for other in names):
            continue
        sessions = sessions_at(survey, time, check["session"], before.get(check["session"]))
        if sessions and not _renamed(survey, time, check["mark"], sessions):
            yield _Missing(last["issue"], check, time, sessions)


def _carried_along(last: Record, survey: Survey, there: _There) -> Iterator[tuple[str, str, int, tuple[int, ...]]]:
    """Yield what the newest issue told already of occupations that are still gone: name, time and sessions of each."""
    for what, point, mark, seen, names in _told_before(last):
        sessions = tuple(window.index for window in survey.windows if window.session.name in names)
        time = int(datetime.fromisoformat(f"{seen}+00:00").timestamp() * 1000)
        if sessions and seen not in map(clock, there[point]) and not _renamed(survey, time, mark, sessions):
            yield what, point, time, sessions


#: Occupations that are held back, by name: time, file, row and reason of each.
_Held = defaultdict[str | None, list[tuple[int, str, int, str]]]


def _observed(survey: Survey) -> tuple[_There, _Held]:
    """Return by name the times of all readings that may be occupations, and those that are held back.

    One that repeats another is there where that one is.
    """
    found, held = _There(list), _Held(list)
    first = survey.first_pass
    table = first.candidates
    code, number = (np.asarray(table.column(name), np.int64) for name in ("held", "number"))
    sound = set(number[code == 0].tolist())
    duplicate_of = dict(zip(first.duplicates.tolist(), first.duplicate_of.tolist(), strict=True))
    rows = zip(
        *(table.column(name).to_pylist() for name in ("name", "export", "source_row")),
        *(values.tolist() for values in (code, number, milliseconds(table))),
        strict=True,
    )
    for name, export, row, why, at, time in rows:
        if not why or duplicate_of.get(at) in sound:
            found[name].append(time)
        else:
            held[name].append((time, survey.exports[export].shown, row, REASONS[why - 1]))
    return found, held


def never_of_it(survey: Survey) -> float:
    """Return from how many metres on a reading that failed on a mark was none of it."""
    return max(_RADII * survey.job.checks.radius, _BOTH * survey.job.shift.limit_horizontal)


def _renamed(survey: Survey, time: int, mark: str, sessions: Sequence[int]) -> bool:
    """Tell whether a reading that counts was observed on a mark at a time in some sessions, whatever it is called.

    What it is on, the job says, or else its code and its place. One clock has no other reading at the time.
    """
    every = survey.candidates
    rows = np.flatnonzero((np.abs(every.time - time) <= ALIKE) & np.isin(every.session, sessions))
    of = survey.register.find(mark) if survey.register is not None else None
    if not len(rows) or of is None or survey.register is None:
        return False
    said = [every.named[row] for row in rows.tolist()]
    if any(one is not None and survey.register.find(one.mark) == of for one in said):
        return True
    coded = np.asarray(coded_checks(every.table, survey.prepared), bool)[rows]
    unsaid = coded & np.array([one is None for one in said], bool)
    if survey.operations.register is None or not unsaid.any():
        return False
    known = survey.register
    place = np.ravel(survey.operations.register.forward(known.first[of], known.second[of], known.third[of]))
    most = np.hypot(survey.job.shift.limit_horizontal, survey.job.shift.limit_vertical) + _BESIDE
    return bool((np.linalg.norm(every.raw[rows[unsaid]] - place, axis=1) <= most).any())


def _near(held: list[tuple[int, str, int, str]], time: int) -> tuple[int, str, int, str] | None:
    """Return the one of those held back that was observed at a time."""
    return next((one for one in held if abs(one[0] - time) <= ALIKE), None)


def _doubt(what: str, held: tuple[int, str, int, str] | None, sessions: tuple[int, ...]) -> Doubtful:
    if held is None:
        return Doubtful(Doubt.UNANSWERED_CHECK, what, sessions)
    _, file, row, reason = held
    return Doubtful(Doubt.UNANSWERED_CHECK, f"{what}: it is held back as {reason}", sessions, file, row)


def sessions_at(survey: Survey, time: int, name: str, before: Session | None) -> tuple[int, ...]:
    """Return the session at a time that has a name, or else those that may have its base.

    Where none runs at that time any more, those count that the session was cut down to.
    """
    base = None if before is None else before["base"]
    here = [window for window in survey.windows if window.start_ms <= time < window.end_ms]
    if not here and before is not None:
        start, end = (from_iso(before[edge]).timestamp() * 1000 for edge in ("start", "end"))
        here = [window for window in survey.windows if window.start_ms < end and start < window.end_ms]
    same = [window for window in here if window.session.name == name]
    other = [window for window in here if base_key(base) in (None, base_key(window.base)) or window.base is None]
    return tuple(window.index for window in same or other)


def _told_before(last: Record) -> Iterator[tuple[str, str, str, str, list[str]]]:
    """Yield what the newest issue says of occupations gone: its sentence, point, mark, time, and the sessions."""
    for doubt in last["doubts"]:
        if doubt["kind"] == Doubt.UNANSWERED_CHECK and (found := _TOLD.search(doubt["what"])) is not None:
            yield found[0], found[1], found[2], found[3], doubt["sessions"]


def _note(called: list[str], issue: int) -> list[str]:
    if not called:
        return []
    more = f" and {len(called) - _LISTED:,} more" if len(called) > _LISTED else ""
    are = "is no occupation" if len(called) == 1 else "are no occupations"
    return [f"{', '.join(called[:_LISTED])}{more} of issue {issue:03d} {are} of the job any more"]
