"""Finds marks whose coordinates were worked out from the very readings that now check them, without an issue before.

Whoever takes points of an issue for control in another folder checks a session by itself: whatever its base was off by
is in these coordinates as well. Two things tell. The register's rows still have the columns of an issue, and were
observed in the session. Or occupations agree with their marks to the rounding of millimetres, where others of the same
job scatter by many times that: a computed job agrees everywhere, and a measured one nowhere so well.
"""

import math
from collections.abc import Iterator
from contextlib import suppress

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import milliseconds_of
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_rows import written_marks
from pipeline.intake.survey import Survey
from pipeline.letter_case import folded
from pipeline.near import and_more
from pipeline.solve.compare import OnMarks
from pipeline.visible import one_line
from pipeline.words import Doubt, counted, plural

#: What the last digit of a mark may be worth [m] so that agreeing with it tells anything.
_FINEST = 1.1e-3
#: Metres within which readings agree with marks that were computed from them and written to the millimetre, all with
#: one another: one that ties takes its rounding into the others.
_EXACT = 1.1e-3
#: Occupations that scatter from which on a job is known to be measured, and by how much [m] in a second direction at
#: least: what a move, a drift or a pole height adds to a computed job has one. Ours, no source.
_SCATTERED, _SCATTER = 3, 0.0015
#: Chance up to which so many of the occupations of a job do not agree to the rounding.
_CHANCE = 1e-5
#: Marks of a session that agree so from which on it is told, and others that prove it without them.
_SEVERAL, _PROOF = 2, 2
#: What only an issue's layers of points, or of occupations, have beside the session and the time of a row.
_ISSUED = frozenset({"source_row", "source_file", "proof", "known_easting"})
#: Marks that a sentence names.
_NAMED = 3


class _Found(Struct, frozen=True):
    """Marks of one session that its own readings gave, by their numbers in the register, and what tells so."""

    session: int
    marks: tuple[int, ...]
    why: str


def marks_of_readings_doubts(survey: Survey, on_marks: OnMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each session that is proven by hardly any marks but those that its own readings gave."""
    register = survey.register
    for one in _found(survey, on_marks):
        if register is not None and _others(on_marks, one, register) < _PROOF:
            what = f"{_said(survey, one, register)}, so ties and checks on {_them(one)} agree whatever the session is"
            cure = "list an occupation of a mark that is known by other means, or confirm that these are published ones"
            file, line = register.where(one.marks[0])
            yield Doubtful(Doubt.UNANSWERED_CHECK, f"{what} off by; {cure}", (one.session,), file, line)


def marks_of_readings_notes(survey: Survey, on_marks: OnMarks) -> Iterator[str]:
    """Yield in words the same of sessions that two other marks prove."""
    register = survey.register
    for one in _found(survey, on_marks):
        if register is not None and _others(on_marks, one, register) >= _PROOF:
            file, line = register.where(one.marks[0])
            said = _said(survey, one, register)
            yield f"{file}:{line}: {said}: {plural(len(one.marks), 'it proves', 'they prove')} nothing of it"


def _them(one: _Found) -> str:
    return plural(len(one.marks), "it", "them")


def _said(survey: Survey, one: _Found, register: Register) -> str:
    names = ", ".join(f"'{one_line(register.names[mark])}'" for mark in one.marks[:_NAMED])
    more = and_more(len(one.marks) - _NAMED)
    session = survey.windows[one.session].session.name
    return (
        f"session {session}: its own readings seem to have given the coordinates of"
        f" {counted(len(one.marks), 'mark')} of the register ({names}{more}): {one.why}"
    )


def _others(on_marks: OnMarks, one: _Found, register: Register) -> int:
    """Return how many other marks of the register a session occupied."""
    here = (on_marks.session == one.session) & on_marks.compared.judged & ~on_marks.temporary
    used = {register.find(on_marks.marks[row]) for row in np.flatnonzero(here).tolist()}
    return len(used - {*one.marks})


def _found(survey: Survey, on_marks: OnMarks) -> Iterator[_Found]:
    register = survey.register
    if register is None or not len(on_marks.session):
        return
    numbers = np.array([-1 if (at := register.find(mark)) is None else at for mark in on_marks.marks], np.int64)
    told = set[int]()
    for one in _by_columns(survey, on_marks, register, numbers):
        told.add(one.session)
        yield one
    yield from (one for one in _by_digits(on_marks, register, numbers) if one.session not in told)


def _by_columns(survey: Survey, on_marks: OnMarks, register: Register, numbers: Integers) -> Iterator[_Found]:
    """Yield marks in use whose rows say by the columns of an issue that a session of the job observed them."""
    given = dict[int, list[int]]()
    for number in np.unique(numbers[numbers >= 0]).tolist():
        cells = {folded(name): text for name, text in register.others[number].items()} if register.others else {}
        if not {"session", "observed"} <= cells.keys() or not _ISSUED & cells.keys():
            continue
        with suppress(ValueError):  # another's column of that name, of any text
            time = milliseconds_of(cells["observed"])
            during = [one for one in survey.windows if one.start_ms <= time < one.end_ms]
            named = [one for one in during if one.session.name == cells["session"]]
            for one in named or during[: len(during) == 1]:
                if bool(np.any((on_marks.session == one.index) & (numbers == number))):
                    given.setdefault(one.index, []).append(number)
    for session, marks in sorted(given.items()):
        first = register.others[marks[0]]
        observed = next(text for name, text in first.items() if folded(name) == "observed")
        yield _Found(session, tuple(marks), f"as in an issue, its row says that it was observed {one_line(observed)}")


def _by_digits(on_marks: OnMarks, register: Register, numbers: Integers) -> Iterator[_Found]:
    """Yield marks with which readings of a session agree to the rounding, where others scatter."""
    compared = on_marks.compared
    fine = np.zeros(len(numbers), bool)
    known = numbers >= 0
    fine[known] = (written_marks(register, numbers[known]) <= _FINEST).all(axis=1)
    judged = compared.holds.all(axis=1) & ~_sole_ties(on_marks)
    exact: Flags = judged & fine & (np.abs(np.nan_to_num(compared.vectors, nan=np.inf)) <= _EXACT).all(axis=1)
    exact &= ~on_marks.copied & ~on_marks.temporary
    if not exact.any():
        return
    others = compared.vectors[judged & ~exact & compared.passed]
    if len(others) < _SCATTERED or not _as_measured(others):
        return
    chance = _chance(others)
    for session in np.unique(on_marks.session[exact]).tolist():
        here = exact & (on_marks.session == session)
        marks = tuple(dict.fromkeys(numbers[here].tolist()))
        alike = np.ptp(np.vstack([np.zeros(3), compared.vectors[here]]), axis=0) <= _EXACT
        ways = (len(marks) + 1) * math.comb(int(judged.sum()), len(marks))
        if len(marks) >= _SEVERAL and alike.all() and ways * chance ** len(marks) <= _CHANCE:
            agree = "its readings agree with them to a millimetre, where other occupations of this job scatter by"
            yield _Found(session, marks, f"{agree} {1000 * float(np.sqrt((others**2).sum(axis=1).mean())):.0f} mm")


def _sole_ties(on_marks: OnMarks) -> Flags:
    """Return (n,) which are the only tie of their session: these agree with their mark whatever that is."""
    ties = on_marks.ties
    sole: Flags = ties & (np.bincount(on_marks.session, ties, minlength=1)[on_marks.session] == 1)
    return sole


def _as_measured(off: Floats) -> bool:
    """Tell whether (n, 3) differences scatter in more than one direction, as what is measured does."""
    sizes = np.linalg.svd(off, compute_uv=False) / math.sqrt(len(off))
    return bool(sizes[1] > _SCATTER)


def _chance(off: Floats) -> float:
    """Return the chance that one occupation lies in a box of the rounding, by the (n, 3) differences of others."""
    plan = math.sqrt(float((off[:, :2] ** 2).mean()))
    up = math.sqrt(float((off[:, 2] ** 2).mean()))
    parts = [min(1.0, _EXACT / (math.sqrt(2.0 * math.pi) * max(one, _SCATTER))) for one in (plan, plan, up)]
    return math.prod(parts)
