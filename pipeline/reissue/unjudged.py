"""Finds readings that failed on a mark in the newest issue, are still there and are no longer tested.

Whoever takes the mark out of the register, has it hold no more what failed, or makes a tie of the check, leaves the
reading in its export and loses what it said. This is asked once the job is adjusted, of what is an occupation or counts
as a point; what is no sound reading any more is told by `vanished` before.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import LostOccupation, Now
from pipeline.issue.record_types import Record
from pipeline.reissue.occupations_before import OccupationsBefore
from pipeline.reissue.occupied import GONE, PARTS, REPLACED, TIE, UNTESTED, EarlierOccupation
from pipeline.reissue.other_numbers import Alone, OtherNumbers, other_numbers
from pipeline.reissue.passing_now import PassingNow, passing_notes, passing_now
from pipeline.replace import replace
from pipeline.solve.solve import Adjusted
from pipeline.tolerance import plan_and_height
from pipeline.words import Role

#: Readings of one session and export next to which others are looked for; what holds of these holds of more of them.
_SEEN = 3


def unjudged_doubts(
    before: OccupationsBefore, survey: Survey, adjusted: Adjusted
) -> tuple[tuple[Doubtful, ...], list[str]]:
    """Return doubts for sessions of which a failing occupation is judged by nothing any more, and notes in words.

    A check that became a tie is answered where it agrees with the other ties of its session as a check of it would;
    without any on a mark that is known well enough, where it and the session that it failed in each have a check of
    another mark that passes. A point that was far from every tolerance was called a check by mistake, and is noted.
    One that passes now is a doubt where its reading alone has other numbers than it had; else it is noted why it does.

    Args:
        before: the occupations of the newest issue.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
    """
    ask = _Ask(before, survey, adjusted)
    asked = [one for one in before.failed
             if not any(one.told_by(doubt) or one.asked_by(doubt) for doubt in adjusted.doubts)]  # fmt: skip
    told = [said for one in asked for said in _told(one, ask)]
    doubts = [one for one in told if isinstance(one, Doubtful)]
    passing = [one for one in told if isinstance(one, PassingNow)]
    return confirmed_by(survey.job, doubts), [
        *(one for one in told if isinstance(one, str)),
        *passing_notes(passing),
    ]


class _Ask(Struct, frozen=True):
    """What an occupation that failed is asked about with."""

    before: OccupationsBefore
    survey: Survey
    adjusted: Adjusted
    seen: dict[tuple[int, int], list[Alone]] = field(default_factory=dict)

    def other(self, failed: EarlierOccupation, candidates: Integers) -> OtherNumbers | None:
        """Return how some candidates, its reading, differ from what it was."""
        table, (row, *_) = self.survey.candidates.table, candidates.tolist()
        of = int(self.survey.candidates.session[row]), int(table.column("export")[row].as_py())
        seen, supposed = self.seen.setdefault(of, []), None
        if len(seen) >= _SEEN:  # what reads the points of an issue and an export again is not done for hundreds
            supposed = Alone.YES if Alone.YES in seen else seen[-1]
        found = other_numbers(failed, candidates, self.before, self.survey, supposed)
        if found is not None:
            seen.append(found.alone)
        return found


def _told(failed: EarlierOccupation, ask: _Ask) -> Iterator[Doubtful | PassingNow | str]:
    """Yield what is to be told of an occupation that failed: a doubt, a note in words, or that it passes now."""
    survey, adjusted = ask.survey, ask.adjusted
    if len(rows := _rows(failed, survey, adjusted)):
        yield from _told_of_rows(failed, rows, ask)
    elif not len(readings := _readings(failed, survey)):
        if failed.sessions and failed.reach and not failed.never_of_it(survey):
            # else `vanished` looked for it among the points; or its session has left the job
            replaced = failed.point in survey.candidates.names
            yield failed.doubt("gone", REPLACED if replaced else GONE, failed.reach)
    elif set(readings.tolist()) & _held(survey, adjusted):
        return  # told of as what it is at its time by now
    elif failed.never_of_it(survey):
        yield failed.noted_as_point()
    elif failed.reach and not any(_agrees(failed, row, adjusted) for row in readings.tolist()):
        yield failed.doubt("gone", f"{GONE}: it now counts as a point", failed.reach)
    elif failed.reach and (other := ask.other(failed, readings)) is not None and other.alone is Alone.YES:
        yield failed.doubt("gone", other.words, failed.reach)


def _told_of_rows(failed: EarlierOccupation, rows: Integers, ask: _Ask) -> Iterator[Doubtful | PassingNow]:
    """Yield the same of one that is an occupation still, or occupations: these ``rows``."""
    survey, adjusted = ask.survey, ask.adjusted
    found = _still_judged(failed, rows, ask.before.record, survey, adjusted)
    if found is not None:
        now, why, more = found
        if more:
            yield failed.doubt(now, why, tuple(sorted({*failed.reach, *more})))
        return
    compared = adjusted.occupations.compared
    judged = rows[compared.judged[rows]]
    if not len(judged):
        return
    passes = bool(compared.passed[judged].all())
    # one that fails still may pass by the next thing that changes, when these numbers are the ones that it had before
    other = ask.other(failed, _candidates(judged, survey, adjusted))
    if other is not None and other.alone is Alone.YES:
        if failed.reach:
            yield failed.doubt("gone", other.words, failed.reach)
    elif passes:
        yield from passing_now(failed, int(judged[0]), other, ask.before.record, survey, adjusted)


def asked_since(before: OccupationsBefore, survey: Survey, doubts: Sequence[Doubtful]) -> tuple[Doubtful, ...]:
    """Return the doubts of a run; those of readings that the newest issue had in doubt, or failing, are so since then.

    What had failed of one is not forgotten while it is in no list. One that never was on a mark is taken as it is now.
    """
    had = [one for one in before.failed if not one.never_of_it(survey)]
    return tuple(
        next((_since(one, doubt) for one in had if one.asked_by(doubt)), doubt) if doubt.origin else doubt
        for doubt in doubts
    )


def _since(had: EarlierOccupation, doubt: Doubtful) -> Doubtful:
    now = doubt.origin
    if now is None or now["of"] != "occupation" or doubt.sessions is None:
        return doubt
    parts = set(now["parts"] or ()) | {part for part, bad in zip(PARTS, _parts_of(had), strict=True) if bad}
    listed = [part for part in PARTS if part in parts] or None
    origin: LostOccupation = {**now, "mark": had.mark or now["mark"], "failed_in": had.issue, "parts": listed}
    return replace(doubt, origin=origin, sessions=tuple(sorted({*doubt.sessions, *had.reach})))


def _parts_of(had: EarlierOccupation) -> Flags:
    return had.parts if had.parts is not None else np.zeros(2, bool)


def _rows(failed: EarlierOccupation, survey: Survey, adjusted: Adjusted) -> Integers:
    """Return which occupations are the one that failed: by name and time, or by mark and time.

    Where the register has no mark of the name any more, the mark has another name now if the occupation lies where it
    lay.
    """
    on_marks, known = adjusted.occupations, survey.register
    named = np.array([name == failed.point for name in on_marks.table.column("name").to_pylist()], bool)
    timely = failed.at(on_marks.time)
    if (named & timely).any():
        return np.flatnonzero(named & timely)
    of = known.find(failed.mark) if known is not None else None
    same = [mark == failed.mark or (of is not None and known is not None and known.find(mark) == of)
            for mark in on_marks.marks]  # fmt: skip
    there = timely & np.isin(on_marks.session, failed.reach)
    there &= np.array(same, bool) if of is not None else np.array(same, bool) | failed.lies_there(on_marks.raw, survey)
    return np.flatnonzero(there)


def _readings(failed: EarlierOccupation, survey: Survey) -> Integers:
    """Return which candidates are the reading, sound still: by name and time."""
    candidates = survey.candidates
    named = np.array([(name or "") == failed.point for name in candidates.names], bool)
    return np.flatnonzero(named & failed.at(candidates.time))


def _candidates(rows: Integers, survey: Survey, adjusted: Adjusted) -> Integers:
    """Return which candidates some occupations are."""
    numbers = np.asarray(adjusted.occupations.table.column("number"), np.int64)[rows]
    return np.flatnonzero(np.isin(np.asarray(survey.candidates.table.column("number"), np.int64), numbers))


def _held(survey: Survey, adjusted: Adjusted) -> set[int]:
    """Return the candidates that are held back as they seem to be checks and are compared with nothing."""
    numbers = survey.candidates.table.column("number").to_pylist()
    return {row for row, number in enumerate(numbers) if number in adjusted.unanswered}


def _agrees(failed: EarlierOccupation, row: int, adjusted: Adjusted) -> bool:
    """Tell whether a candidate that no list names lies on its mark as a check that passes does, in all that failed.

    As where the register was put right after the reading had left the lists.
    """
    if failed.mark not in adjusted.reference.names:
        return False
    number = adjusted.reference.names.index(failed.mark)
    holds, parts = adjusted.reference.holds()[number], failed.parts if failed.parts is not None else np.zeros(2, bool)
    off = np.nan_to_num(plan_and_height(adjusted.at[row] - adjusted.reference.grid[number]), nan=np.inf)
    passes = adjusted.occupations.compared.tolerance.passes(off, holds)
    return bool(holds.any() and (holds | ~parts).all() and passes)


def _still_judged(
    failed: EarlierOccupation, rows: Integers, last: Record, survey: Survey, adjusted: Adjusted
) -> tuple[Now, str, tuple[int, ...]] | None:
    """Return None where an occupation that failed is judged as it was; else how it is not, and the sessions."""
    on_marks, of_register = adjusted.occupations, {row["mark"] for row in last["register"]}
    why: tuple[Now, str, tuple[int, ...]] | None = None
    for row in rows.tolist():
        session = (int(on_marks.session[row]),)
        if on_marks.roles[row] is Role.TIE:
            apart = _tie_at_odds(failed, row, last, survey, adjusted)
            if apart is None:
                return None
            why = why or ("tie", f"{TIE}{apart[0]}", (*session, *apart[1]))
            continue
        lost = ~on_marks.compared.holds[row] & (failed.parts if failed.parts is not None else False)
        if not on_marks.compared.judged[row]:
            lost = np.ones(2, bool) if failed.parts is None else failed.parts
        elif on_marks.temporary[row] and on_marks.compared.passed[row] and failed.mark in of_register:
            lost = np.ones(2, bool)
        if not np.any(lost):
            return None
        words = " and ".join(word for word, part in zip(PARTS, lost, strict=True) if part)
        why = why or ("untested", UNTESTED.format(words), session)
    return why


def _tie_at_odds(
    failed: EarlierOccupation, row: int, last: Record, survey: Survey, adjusted: Adjusted
) -> tuple[str, tuple[int, ...]] | None:
    """Return None where a tie that was a failing check is answered; else in words why not, and the sessions."""
    on_marks = adjusted.occupations
    parts = failed.parts if failed.parts is not None else np.ones(2, bool)
    was_tie = failed.row is not None and failed.row["role"] == Role.TIE
    if was_tie and failed.parts is not None and on_marks.compared.judged[row]:
        return None  # a tie that failed is compared with its mark as before
    if not (on_marks.compared.holds[row] | ~parts).all():
        return ", and nothing else shows where its mark is", ()
    names = on_marks.table.column("name").to_pylist()
    tied = {one["point"] for one in last["checks"] if one["role"] == Role.TIE}
    here = (on_marks.session == on_marks.session[row]) & on_marks.compared.judged & ~on_marks.temporary
    others = [
        other
        for other in np.flatnonzero(here).tolist()
        if other != row and (on_marks.roles[other] is Role.TIE or names[other] in tied)
        and (on_marks.compared.holds[other] | ~parts).all()
        and not (_poor(on_marks.marks[other], survey, adjusted) & parts).any()
    ]  # fmt: skip
    if others:
        off = _off(row, adjusted) - np.mean([_off(other, adjusted) for other in others], axis=0)
        if on_marks.compared.tolerance.passes(np.nan_to_num(plan_and_height(off), nan=np.inf), parts):
            return None
        listed = ", ".join(f"{names[other]} on {on_marks.marks[other]}" for other in others[:3])
        apart = [f"{np.hypot(*off[:2]):.3f} m in plan", f"{abs(off[2]):.3f} m in height"]
        differs = " and ".join(text for text, part in zip(apart, parts, strict=True) if part)
        return f", and differs by {differs} from {listed}", ()
    sessions = tuple(dict.fromkeys((*failed.reach, int(on_marks.session[row]))))
    if all(_passes_elsewhere(session, on_marks.marks[row], adjusted) for session in sessions):
        return None
    return ", and not every session that it concerns has a passing check on another mark", sessions


def _poor(mark: str | None, survey: Survey, adjusted: Adjusted) -> Flags:
    """Return (2,) whether the register states position, height of a mark so poorly that it cannot judge another."""
    register = survey.register
    at = register.find(mark) if register is not None and mark is not None else None
    if register is None or at is None:
        return np.zeros(2, bool)
    known_to = np.array([register.sigma_east[at] * CIRCLE_95, register.sigma_up[at] * NORMAL_95])
    return np.asarray(register.stated[at] & (known_to > adjusted.occupations.compared.tolerance.allowed()))


def _off(row: int, adjusted: Adjusted) -> Floats:
    """Return (3,) observed minus known of an occupation, east, north, up."""
    compared = adjusted.occupations.compared
    return np.array([compared.east[row], compared.north[row], compared.height[row]])


def _passes_elsewhere(session: int, mark: str, adjusted: Adjusted) -> bool:
    """Tell whether a session has a check that passes, on a mark that neither ties it nor is the one named."""
    on_marks = adjusted.occupations
    here = np.flatnonzero(on_marks.session == session).tolist()
    ties = {mark, *(on_marks.marks[row] for row in here if on_marks.roles[row] is Role.TIE)}
    checks = [row for row in here if on_marks.roles[row] is not Role.TIE and on_marks.marks[row] not in ties]
    judged = on_marks.compared.judged & on_marks.compared.passed & ~on_marks.temporary
    return any(bool(judged[row]) for row in checks)
