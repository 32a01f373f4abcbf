"""Finds occupations of the newest issue that are no longer occupations; a failed one becomes a doubt.

This is asked before anything is solved, of the readings that may be occupations. A row that stays in its export and is
held back now, for whatever reason, is no occupation any more either. What is there still is asked about by `unjudged`.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.candidates import coded_checks
from pipeline.intake.survey import Survey
from pipeline.reissue.occupations_before import OccupationsBefore
from pipeline.reissue.occupied import ALIKE, BESIDE, GONE, REPLACED, EarlierOccupation
from pipeline.reissue.plain_points import plain_points
from pipeline.tables import milliseconds
from pipeline.words import REASONS

#: Occupations that a note names.
_LISTED = 3


def gone_checks(before: OccupationsBefore, survey: Survey) -> tuple[tuple[Doubtful, ...], list[str]]:
    """Return doubts for sessions of which a failing occupation is gone, and in words which others are gone.

    Whoever leaves a failing check out of an export that is delivered again, or out of the job's list, or has it held
    back by another end of the session, solution or limit, would otherwise have points released for it. Such a doubt is
    taken along from issue to issue while its occupation is not there, and so is that of a reading which seemed to be a
    check. One that has another name now is there, and one that was far from its mark and is a point now was named by
    mistake.

    Args:
        before: the occupations of the newest issue.
        survey: the job.
    """
    there, held = _observed(survey)
    missing = list(_missing_now(before.had, survey, there))
    failed = {gone.key: gone for gone in missing if gone.failed}
    for gone in _carried_along(before.told, survey, there):
        failed.setdefault(gone.key, gone)
    far = {gone.key: gone for gone in failed.values() if gone.never_of_it(survey)}
    points = plain_points(survey, {(gone.point, gone.time) for gone in far.values()}, ALIKE)
    mistaken = [gone for gone in far.values() if (gone.point, gone.time) in points]
    for gone in mistaken:
        del failed[gone.key]
    doubts = [
        _doubt(gone, _held_then(held[gone.point], gone.time), replaced=bool(there[gone.point]))
        for gone in failed.values()
    ]
    passed = [gone for gone in missing if not gone.failed]
    # one that is held back is told as that
    unsaid = [gone.called for gone in passed if _held_then(held[gone.point], gone.time) is None]
    return confirmed_by(survey.job, doubts), [
        *(gone.noted_as_point() for gone in mistaken),
        *_note(unsaid, before.record["issue"]),
    ]


def passed_and_gone(before: OccupationsBefore, survey: Survey) -> list[EarlierOccupation]:
    """Return the occupations that passed in an issue and that no reading of the job is, nor one that is held back."""
    there, held = _observed(survey)
    gone = (one for one in _missing_now(before.had, survey, there) if not one.failed)
    return [one for one in gone if _held_then(held[one.point], one.time) is None]


#: The times of all readings that may be occupations, by name, "" where they have none.
_There = defaultdict[str, list[int]]


def _missing_now(had: Sequence[EarlierOccupation], survey: Survey, there: _There) -> Iterator[EarlierOccupation]:
    """Yield the occupations that the newest issue had and that no reading is any more, whatever it is called."""
    many = Counter(earlier.point for earlier in had)
    for earlier in had:
        # where as many of its name are there, `unjudged` looks which they are
        if len(there[earlier.point]) >= many[earlier.point] or earlier.at_any(there[earlier.point]):
            continue
        if earlier.sessions and not _renamed(earlier, survey):
            yield earlier


def _carried_along(told: Sequence[EarlierOccupation], survey: Survey, there: _There) -> Iterator[EarlierOccupation]:
    """Yield what the newest issue told already, of occupations or of what seemed to be some, and what is gone now."""
    for earlier in told:
        if earlier.sessions and not earlier.at_any(there[earlier.point]) and not _renamed(earlier, survey):
            yield earlier


#: Occupations that are held back, by name: time, file, row and reason of each.
_Held = defaultdict[str, list[tuple[int, str, int, str]]]


def _observed(survey: Survey) -> tuple[_There, _Held]:
    """Return by name the times of all readings that may be occupations, and those that are held back.

    One that repeats another is there where that one is.
    """
    there, held = _There(list), _Held(list)
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
    for name, export, row, reason, reading, time in rows:
        if not reason or duplicate_of.get(reading) in sound:
            there[name or ""].append(time)
        else:
            held[name or ""].append((time, survey.exports[export].shown, row, REASONS[reason - 1]))
    return there, held


def _renamed(earlier: EarlierOccupation, survey: Survey) -> bool:
    """Tell whether a reading that counts was observed on the mark at the time, whatever it and the mark are called.

    What it is on, the job says, or else its code and its place. One clock has no other reading at the time. Where the
    register has no mark of the name any more, the mark is another's name now if the reading lies where it lay.
    """
    candidates, register = survey.candidates, survey.register
    at_the_time = np.abs(candidates.time - earlier.time) <= ALIKE
    rows = np.flatnonzero(at_the_time & np.isin(candidates.session, earlier.sessions))
    if not len(rows) or register is None:
        return False
    mark = register.find(earlier.mark)
    named = [said.mark if (said := candidates.named[row]) is not None else None for row in rows.tolist()]
    on = [None if name is None else register.find(name) for name in named]
    unnamed = np.array([name is None for name in named])
    coded = np.asarray(coded_checks(candidates.table, survey.prepared), bool)[rows] & unnamed
    if mark is None:
        on_marks = coded | np.array([number is not None for number in on])
        return bool(earlier.lies_there(candidates.raw[rows[on_marks]], survey).any())
    if mark in on:
        return True
    if survey.operations.register is None or not coded.any():
        return False
    coordinates = register.first[mark], register.second[mark], register.third[mark]
    place = np.ravel(survey.operations.register.forward(*coordinates))
    most = np.hypot(survey.job.shift.limit_horizontal, survey.job.shift.limit_vertical) + BESIDE
    return bool((np.linalg.norm(candidates.raw[rows[coded]] - place, axis=1) <= most).any())


def _held_then(held: list[tuple[int, str, int, str]], time: int) -> tuple[int, str, int, str] | None:
    """Return the one of those held back that was observed at a time."""
    return next((row for row in held if abs(row[0] - time) <= ALIKE), None)


def _doubt(gone: EarlierOccupation, held: tuple[int, str, int, str] | None, *, replaced: bool) -> Doubtful:
    if held is None:
        return gone.doubt("gone", REPLACED if replaced else GONE, gone.sessions)
    _, file, row, reason = held
    return gone.doubt("gone", f"{GONE}: it is held back as {reason}", gone.sessions, file, row)


def _note(called: list[str], issue: int) -> list[str]:
    if not called:
        return []
    more = f" and {len(called) - _LISTED:,} more" if len(called) > _LISTED else ""
    are = "is no longer an occupation" if len(called) == 1 else "are no longer occupations"
    return [f"{', '.join(called[:_LISTED])}{more} of issue {issue:03d} {are} in the job"]
