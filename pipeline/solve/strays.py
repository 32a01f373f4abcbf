"""Exports, or base ids, whose occupations of a session all fail while others pass: what those prove is not theirs.

A passing occupation proves where the base stood for every rover. Pole height, and which base a rover listened to, are
each rover's own (common practice, no source): where all that one stood on is off, or off from the rest by one vector,
its points are, whatever another rover found before and after them. A rover that stood on a single mark in each session
and was off on all of them is off in all.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.near import listed
from pipeline.sessions.attach import base_key
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.compare import OnMarks
from pipeline.tolerance import Tolerance, plan_and_height
from pipeline.words import counted

#: Occupations that a part has at the least where none of its own passes: a single one may be bad by itself, and makes
#: suspect what stands next to it (`own_failing`).
_LEAST = 2
#: Occupations by which one vector is told where some of them pass: of two, one that fails would make it alone.
_OF_ONE_VECTOR = 3


class Stray(Struct, frozen=True):
    """What of a session's occupations is off from the rest: those of some exports, or of one base id.

    Args:
        session: index of the session.
        exports: numbers of the exports; none where it is a base id.
        base: the base id as the first of them has it, None for exports.
        rows: the occupations, rows of `compare.OnMarks`, that are judged.
        failing: how many of them fail.
        vector: whether they are off from the rest by one vector.
    """

    session: int
    exports: tuple[int, ...]
    base: str | None
    rows: tuple[int, ...]
    failing: int
    vector: bool

    def readings(self, session: Integers, export: int, base: pa.Array | pa.ChunkedArray) -> Flags:
        """Return which readings of an export are of it, from (n,) the session and the base id of each."""
        here = np.asarray(session == self.session)
        if self.base is None:
            return here & (export in self.exports)
        rows = np.flatnonzero(here)
        key = base_key(self.base)
        here[rows] = [base_key(text) == key for text in base.take(pa.array(rows)).to_pylist()]
        return here

    def named(self, files: Sequence[str]) -> str:
        """Return what it is in words; ``files`` are the names of the exports."""
        if self.base is not None:
            return f"base id {self.base}"
        return listed(files[number] for number in self.exports)

    def why(self, files: Sequence[str]) -> str:
        """Return in words why its points are suspect."""
        if len(self.rows) == 1:
            return (
                f"the only occupation of a control mark of {self.named(files)} in its session fails, and so do all of"
                " it in other sessions: no other rover's prove it"
            )
        every = f"{counted(len(self.rows), 'occupation')} of control marks of {self.named(files)} in its session"
        if self.failing == len(self.rows):
            return f"all {every} fail: no other rover's prove it"
        return (
            f"{self.failing} of the {every} fail, and all are off from the others by one vector: no other rover's prove"
            " it"
        )


def strays(on_marks: OnMarks, windows: Sequence[SessionWindow]) -> tuple[Stray, ...]:
    """Return what of each session that has a failing occupation is off from the rest, by base id and by export."""
    compared = on_marks.compared
    failing = compared.judged & ~compared.passed
    if not failing.any():
        return ()
    export, base = np.asarray(on_marks.table.column("export"), np.int64), on_marks.table.column("base").to_pylist()
    found: list[Stray] = []
    for session in np.unique(on_marks.session[failing]).tolist():
        rows = np.flatnonzero(compared.judged & (on_marks.session == session))
        here: list[Stray] = []
        if windows[session].base is None:
            keys = [base_key(base[row]) or "" for row in rows.tolist()]
            known, number = np.unique(keys, return_inverse=True)
            for _, mine, vector in _off(on_marks, rows, number.ravel(), joined=False):
                own = rows[mine].tolist()
                if known[number.ravel()[mine][0]]:
                    here.append(Stray(session, (), base[own[0]], tuple(own), int(failing[own].sum()), vector))
        seen = {one.rows for one in here}
        # where each base has an export of its own, the id says the same and is what sessions are told apart by
        for some, mine, vector in _off(on_marks, rows, export[rows], joined=True):
            own = rows[mine].tolist()
            if tuple(own) not in seen:
                here.append(Stray(session, tuple(some), None, tuple(own), int(failing[own].sum()), vector))
        found += here
    return (*found, *_off_in_all(on_marks, export, {(one.session, number) for one in found for number in one.exports}))


def _off_in_all(on_marks: OnMarks, export: Integers, found: set[tuple[int, int]]) -> Iterator[Stray]:
    """Yield exports that stood on one mark in each of several sessions, and failed on all where others passed.

    Args:
        on_marks: the occupations.
        export: (n,) the export of each.
        found: the sessions and exports that are known to be off.
    """
    compared = on_marks.compared
    judged, passed = compared.judged, compared.passed
    off = np.where(compared.holds[:, [0, 0, 1]], compared.vectors, np.nan)
    for number in np.unique(export[judged & ~passed]).tolist():
        own = judged & (export == number)
        alone = {
            int(on_marks.session[row]): int(row)
            for row in np.flatnonzero(own).tolist()
            if (judged & passed & ~own & (on_marks.session == on_marks.session[row])).any()
        }
        if passed[own].any() or own.sum() < _LEAST or len(alone) < own.sum():
            continue
        others = judged & passed & np.isin(on_marks.session, list(alone))
        vector = _one_vector(off[own], off[others], compared.tolerance)
        for session, row in alone.items():
            if (session, number) not in found:
                yield Stray(session, (number,), None, (row,), 1, vector)


def _off(on_marks: OnMarks, rows: Integers, part: Integers, joined: bool) -> Iterator[tuple[list[int], Flags, bool]]:
    """Yield which parts of a session's occupations are off from the rest, (n,) which those are, and if by one vector.

    ``part`` (n,) is the number of each one's part. With ``joined``, parts that are off by one vector are one: a rover
    may write several exports in a day.
    """
    numbers = np.unique(part).tolist()
    if len(numbers) < 2:
        return
    compared, tolerance = on_marks.compared, on_marks.compared.tolerance
    off = np.where(compared.holds[rows][:, [0, 0, 1]], compared.vectors[rows], np.nan)
    passed = compared.passed[rows]
    together: list[tuple[list[int], Flags]] = []
    for number in numbers:
        mine = part == number
        few = mine.sum() < _OF_ONE_VECTOR
        if passed[mine].all() or (few and passed[mine].any()):
            continue
        with_it = [one for one in together if joined and _alike(off[one[1]], off[mine], tolerance)]
        if with_it:
            with_it[0][0].append(number)
            with_it[0][1][mine] = True
        else:
            together.append(([number], mine))
    for some, mine in together:
        rest = ~mine & passed if (~mine & passed).any() else ~mine
        if not rest.any():
            continue
        if mine.sum() < _LEAST:
            continue
        vector = _one_vector(off[mine], off[rest], tolerance)
        if vector or (not passed[mine].any() and passed[rest].any()):
            yield some, mine, vector


def _one_vector(off: Floats, rest: Floats, tolerance: Tolerance) -> bool:
    """Tell whether (n, 3) differences are all one vector, to the tolerance, and that is beyond it from the rest's."""
    middle = _middle(off)
    same = tolerance.passes(plan_and_height(np.nan_to_num(off - middle))).all()
    return bool(same) and not tolerance.passes(plan_and_height(np.nan_to_num(middle - _middle(rest))))


def _alike(one: Floats, other: Floats, tolerance: Tolerance) -> bool:
    """Tell whether two lots of differences, (n, 3) and (m, 3), are off by one vector."""
    return bool(tolerance.passes(plan_and_height(np.nan_to_num(_middle(one) - _middle(other)))))


def _middle(off: Floats) -> Floats:
    """Return (3,) the medians of (n, 3) differences; NaN where nothing is known."""
    known = [column[np.isfinite(column)] for column in off.T]
    return np.array([np.median(column) if len(column) else np.nan for column in known])
