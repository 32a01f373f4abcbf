"""Finds occupations that were never measured: they have exactly the coordinates of another, at another time.

Digits of millimetres agree by chance now and then: such a row does not count as proof of its time, and no more. Finer
ones hardly do, and the row takes the proof of the whole session away. Computed coordinates (a trial job) agree exactly,
too: there nearly every check agrees with another, or with the tie, to the rounding, whatever the register has wrong, so
nothing is told. What is measured scatters by millimetres (common practice, no source).
"""

import math
from collections.abc import Iterator
from enum import Enum

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.clock import lasting
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_rows import last_digits
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.solve.compare import OnMarks
from pipeline.words import Doubt

#: Metres within which observed minus known of two occupations agree where both were computed: more than coordinates
#: that are rounded to millimetres make.
_COMPUTED = 0.0015
#: Metres that coordinates computed from a register of whole millimetres may be off these, where no digit is coarser
#: than ``_FINE``.
_WHOLE, _FINE = 0.00015, 0.0002
#: Milliseconds within which a reading may have been stored twice: it proves nothing that the first does not.
_TWICE = 600_000
#: Checks of which as many say it as all would.
_MANY = 500
#: Standard uncertainty east, north, up [m] of readings on a mark, minutes apart, that scatter little; from ours, no
#: source.
_SCATTER = np.array([0.002, 0.002, 0.003])
#: Chance, among all occupations of one mark each, up to which so many of them do not agree to the last digit.
_CHANCE = 1e-4
#: Chance above which two measurements of a mark are written alike so often that nothing follows from it: centimetres.
_OFTEN = 0.02


class _Made(Enum):
    MEASURED, COMPUTED, NOBODY_KNOWS = range(3)


class _Is(Enum):
    """What to make of an occupation that has another's coordinates."""

    COPIED, PERHAPS_COPIED, STORED_TWICE = range(3)


class _Copy(Struct, frozen=True):
    """An occupation with the coordinates of another, by their rows, what to make of it, and that in words."""

    row: int
    of: int
    found: _Is
    what: str


def without_copies(survey: Survey, on_marks: OnMarks) -> OnMarks:
    """Return occupations of which those say nothing of their time that may be copies, unless the job file trusts them.

    Where a tie is the copy of another, both still tie.
    """
    if Doubt.UNANSWERED_CHECK in survey.job.checks.confirmed:
        return on_marks
    copied = on_marks.copied.copy()
    copied[[one.row for one in _copies(survey, on_marks) if one.found is _Is.PERHAPS_COPIED]] = True
    return replace(on_marks, copied=copied)


def taken_for_measured(survey: Survey, on_marks: OnMarks) -> set[Doubt]:
    """Return the kind of doubt by whose confirmation occupations count that may be copies; nothing without such."""
    some = any(one.found is _Is.PERHAPS_COPIED for one in _copies(survey, on_marks))
    return {Doubt.UNANSWERED_CHECK} if some else set()


def copied_doubts(survey: Survey, on_marks: OnMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each occupation that is a copy of another of another time, where the others were measured."""
    for one in _copies(survey, on_marks):
        if one.found is not _Is.COPIED:
            continue
        sessions = tuple({int(on_marks.session[row]) for row in (one.row, one.of)})
        line = on_marks.table.column("source_row")[one.row].as_py()
        yield Doubtful(Doubt.UNANSWERED_CHECK, one.what, sessions, _export(survey, on_marks, one.row), line)


def copied_notes(survey: Survey, on_marks: OnMarks) -> Iterator[str]:
    """Yield a note for each occupation that may be a copy of another, or was stored twice within minutes."""
    for one in _copies(survey, on_marks):
        if one.found is not _Is.COPIED:
            line = on_marks.table.column("source_row")[one.row].as_py()
            yield f"{_export(survey, on_marks, one.row)}:{line}: {one.what}"


def _copies(survey: Survey, on_marks: OnMarks) -> list[_Copy]:
    """Return the occupations that have the coordinates of another; none where all are computed."""
    number = np.asarray(on_marks.table.column("number"), np.int64).tolist()
    row_of = {each: row for row, each in enumerate(number)}
    pairs = [(row_of[a], row_of[b]) for a, b in survey.first_pass.copied.tolist() if a in row_of and b in row_of]
    if not pairs:
        return []
    others = np.ones(len(number), bool)
    others[[copy for copy, _ in pairs]] = False
    digits = _digits(survey, on_marks, [copy for copy, _ in pairs])
    made = _how(on_marks, others, bool((digits <= _FINE).all()))
    if made is _Made.COMPUTED:
        return []
    chance = chance_of_one_writing(digits)
    if chance > _OFTEN:
        return []
    apart = [pair for pair in pairs if not _stored_twice(on_marks, *pair)]
    rare = _by_chance(chance, on_marks, len(apart)) <= _CHANCE
    names, lines = (on_marks.table.column(name).to_pylist() for name in ("name", "source_row"))
    found = list[_Copy]()
    for copy, of in pairs:
        is_copy = _Is.COPIED if made is _Made.MEASURED and rare else _Is.PERHAPS_COPIED
        how = _Is.STORED_TWICE if _stored_twice(on_marks, copy, of) else is_copy
        later = int(on_marks.time[copy] - on_marks.time[of])
        what = (
            f"{names[copy]} on {on_marks.marks[copy]} has exactly the same coordinates as {names[of]}"
            f" ({_export(survey, on_marks, of)}:{lines[of]}), {lasting(abs(later))}"
            f" {'later' if later > 0 else 'earlier'}:"
            f" two measurements with such digits agree to the last one about {_seldom(chance)}{_MEANS[how]}"
        )
        found.append(_Copy(copy, of, how, what))
    return found


_RESTORE = "restore the measured values, or delete the row"
#: What follows from what an occupation is found to be.
_MEANS = {
    _Is.COPIED: f", so this row looks copied and proves nothing; {_RESTORE}",
    _Is.STORED_TWICE: f", so this row looks copied and proves nothing that the other does not; {_RESTORE}",
    _Is.PERHAPS_COPIED: (
        ", so this row may be copied and does not count as proof of its time; if it is,"
        f' {_RESTORE}; if it was measured, set [checks] confirmed = ["{Doubt.UNANSWERED_CHECK}"]'
    ),
}


def _seldom(chance: float) -> str:
    """Return a chance in words, to one figure, and no smaller than one in a thousand million."""
    times = 1.0 / max(chance, 1e-9)
    size = 10.0 ** math.floor(math.log10(times))
    return f"once in {round(times / size) * size:,.0f}"


def chance_of_one_writing(digits: Floats) -> float:
    """Return the chance at most that two measurements of a mark are written alike, east, north and up.

    They differ by a normal distribution with the square root of two times the uncertainty of one. Its density at zero
    times what the last digit is worth, (3,) ``digits`` [m], is the chance that both are rounded to one number.
    """
    return float(np.minimum(digits / (2.0 * math.sqrt(math.pi) * _SCATTER), 1.0).prod())


def _by_chance(chance: float, on_marks: OnMarks, count: int) -> float:
    """Return the chance at most that as many pairs of occupations of one mark as ``count`` agree to the last digit."""
    _, occupied = np.unique(np.array(on_marks.marks, str), return_counts=True)
    expected = chance * max(float((occupied * (occupied - 1) // 2).sum()), 1.0)
    return expected**count / math.factorial(min(count, 100)) if count else 1.0


def _digits(survey: Survey, on_marks: OnMarks, copies: list[int]) -> Floats:
    """Return (3,) what the last digits of the exports with copied occupations are worth at the most, metres.

    East, north and up. A row alone may end in zeros, which a spreadsheet leaves out: the finest of its export count.
    """
    export = np.asarray(survey.candidates.table.column("export"), np.int64)
    copied = np.unique(np.asarray(on_marks.table.column("export"), np.int64)[copies])
    digits = last_digits(survey, np.flatnonzero(np.isin(export, copied)))
    of = export[np.isin(export, copied)]
    return np.asarray(np.max([digits[of == one].min(axis=0) for one in copied.tolist()], axis=0))


def _stored_twice(on_marks: OnMarks, copy: int, of: int) -> bool:
    return abs(int(on_marks.time[copy] - on_marks.time[of])) <= _TWICE


def _export(survey: Survey, on_marks: OnMarks, row: int) -> str:
    number: int = on_marks.table.column("export")[row].as_py()
    return survey.exports[number].shown


def _how(on_marks: OnMarks, which: Flags, fine: bool) -> _Made:
    """Say how occupations came about, by the checks among ``which`` that pass, and the tie, which differs by nothing.

    A lone check may differ from it by what its mark was revised by: in a register of whole millimetres, by such. That
    says something where digits are ``fine``.
    """
    compared = on_marks.compared
    counts = which & ~on_marks.ties & compared.judged & compared.passed
    off = np.nan_to_num(compared.vectors[counts])[:_MANY]
    every = np.vstack([np.zeros((1, 3)), off])
    apart = np.linalg.norm(every[:, None] - every[None], axis=2) + np.diag(np.full(len(every), np.inf))
    if 2 * np.count_nonzero(apart.min(axis=1) <= _COMPUTED) >= len(every):
        return _Made.COMPUTED
    if len(off) > 1:
        return _Made.MEASURED
    whole = fine and len(off) == 1 and bool((np.abs(off - np.round(off, 3)) <= _WHOLE).all())
    return _Made.COMPUTED if whole else _Made.NOBODY_KNOWS
