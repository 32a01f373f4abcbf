"""The times in which readings carry a correction that the field applied, as the sessions state them."""

import os
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from fnmatch import fnmatchcase
from itertools import combinations
from pathlib import PurePosixPath

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import stamp
from pipeline.control import Register
from pipeline.job.model import FieldShift
from pipeline.near import listed, nearest
from pipeline.problems import Problems
from pipeline.read.exports import Export
from pipeline.sessions.attach import base_key
from pipeline.sessions.windows import SessionWindow


class FieldWindow(Struct, frozen=True):
    """One field shift of a session: who carries it, and since when.

    Args:
        session: index of the session.
        name: of the session.
        position: its number among the session's field shifts.
        stated: what the job says of it.
        start, until: UTC milliseconds, half-open; ``until`` is the session's end where none is stated.
        base: key of the base id whose readings carry it, None for all; a reading without one is of ``own_base``.
        own_base: key of the session's base id, None where it has none.
        exports: numbers of the exports that carry it, None for all.
        where: file and line.
    """

    session: int
    name: str
    position: int
    stated: FieldShift
    start: int
    until: int
    base: str | None
    own_base: str | None
    exports: tuple[int, ...] | None
    where: tuple[str, int]

    def of_receiver(self, export: Integers, base: pa.Array | pa.ChunkedArray) -> Flags:
        """Return (n,) which readings are of the exports, (n,) numbers, and of the base that carry it."""
        found = np.ones(len(export), bool) if self.exports is None else np.isin(export, self.exports)
        if self.base is not None:
            coded = pc.dictionary_encode(base.combine_chunks() if isinstance(base, pa.ChunkedArray) else base)
            keys = [(base_key(text) or self.own_base) == self.base for text in coded.dictionary.to_pylist()]
            codes = np.asarray(pc.fill_null(coded.indices, len(keys)), np.int64)
            found &= np.array([*keys, self.own_base == self.base], bool)[codes]
        return found

    def carried(self, session: Integers, time: Integers, export: Integers, base: pa.Array | pa.ChunkedArray) -> Flags:
        """Return (n,) which readings carry it, by session, UTC milliseconds, number of the export and base id."""
        due = (session == self.session) & (time >= self.start) & (time < self.until)
        if (self.exports is not None or self.base is not None) and due.any():
            due &= self.of_receiver(export, base)
        return np.asarray(due, bool)

    def unsure(self, session: Integers, time: Integers, export: Integers, base: pa.Array | pa.ChunkedArray) -> Flags:
        """Return (n,) likewise which readings may carry it or not: nobody knows when it was switched on, or off."""
        due = (time >= self.first) & (time < self.start) | (time >= self.until) & (time < self.last)
        due &= session == self.session
        if (self.exports is not None or self.base is not None) and due.any():
            due &= self.of_receiver(export, base)
        return np.asarray(due, bool)

    @property
    def first(self) -> int:
        """The UTC milliseconds from which on readings may carry it."""
        return self.start if self.stated.earliest is None else milliseconds_of(self.stated.earliest)

    @property
    def last(self) -> int:
        """The UTC milliseconds from which on none does any more."""
        return self.until if self.stated.latest is None else milliseconds_of(self.stated.latest)

    def tie_row(self, table: pa.Table) -> int | None:
        """Return the row of the reading that it was worked out from, among candidates without fault.

        That is the last of the tie's name before the shift began: of the session, or, where the session has none of
        that name, of an earlier one, as the equipment keeps what it has. Readings of the same receiver come first.
        """
        rows = np.flatnonzero(np.asarray(pc.fill_null(pc.equal(table.column("name"), self.stated.tie), False)))
        session = np.asarray(table.column("session"), np.int64)[rows]
        here = rows[session == self.session]
        rows = here if len(here) else rows
        time = np.asarray(table.column("time").cast(pa.int64()).fill_null(self.until), np.int64)
        rows = rows[time[rows] < self.start]
        if not len(rows):
            return None
        taken = table.take(pa.array(rows))
        own = self.of_receiver(np.asarray(taken.column("export"), np.int64), taken.column("base"))
        rows = rows[own] if own.any() else rows
        return int(rows[np.flatnonzero(time[rows] == time[rows].max())[-1]])


def milliseconds_of(time: datetime) -> int:
    """Return UTC milliseconds."""
    return round(time.timestamp() * 1000)


def field_windows(
    windows: Sequence[SessionWindow], exports: Sequence[Export], recorded: Callable[[str], str]
) -> tuple[FieldWindow, ...]:
    """Return the field shifts of all sessions in the order of their beginnings.

    ``recorded`` gives an absolute path as it counts from the job file's folder.
    """
    found = []
    for window in windows:
        own = base_key(window.base)
        for position, stated in enumerate(window.session.field_shifts):
            carried_by = carriers(stated.files, exports, recorded)
            until = window.end_ms if stated.until is None else round(stated.until.timestamp() * 1000)
            start, where = round(stated.start.timestamp() * 1000), window.where_field_shift(position)
            base, name = base_key(stated.base), window.session.name
            found.append(
                FieldWindow(
                    session=window.index,
                    name=name,
                    position=position,
                    stated=stated,
                    start=start,
                    until=until,
                    base=base,
                    own_base=own,
                    exports=carried_by,
                    where=where,
                )
            )
    return tuple(sorted(found, key=lambda one: (one.start, one.session, one.position)))


def carriers(files: Sequence[str], exports: Sequence[Export], recorded: Callable[[str], str]) -> tuple[int, ...] | None:
    """Return the numbers of the exports that carry a field shift of some ``files``; None for all, where none is named.

    ``recorded`` is that of `field_windows`.
    """
    if not files:
        return None
    patterns = [_pattern(pattern, recorded) for pattern in files]
    return tuple(number for number, export in enumerate(exports) if any(_matches(export, one) for one in patterns))


def _pattern(text: str, recorded: Callable[[str], str]) -> str:
    path = text.replace("\\", "/") if "/" not in text else text
    return recorded(path) if os.path.isabs(path) else os.path.normpath(path).replace(os.sep, "/")


def _matches(export: Export, pattern: str) -> bool:
    """Tell whether a pattern names an export: with its folders as the job file counts them, or by its name alone."""
    names = {os.path.normpath(export.file), os.path.normpath(export.shown)}
    if "/" not in pattern:
        names |= {PurePosixPath(name).name for name in names}
    return any(fnmatchcase(name, pattern) for name in names)


def check_windows(
    found: Sequence[FieldWindow], register: Register | None, exports: Sequence[Export], known: bool, problems: Problems
) -> None:
    """Note field shifts that no export carries, whose mark has no coordinates, or that one reading would lose twice.

    Args:
        found: the field shifts.
        register: None where the job has none, or where it is faulty.
        exports: what could be read.
        known: whether register and exports are as the job names them, without fault.
        problems: taken further.
    """
    for one in found:
        says = f"the field shift of session {one.name}"
        if one.exports == () and known:
            files = ", ".join(one.stated.files)
            what = f'{says} is limited to the exports "{files}", but no export of the job matches'
            problems.add(*one.where, what, f"the exports are {listed([export.file for export in exports])}")
        if one.stated.mark is not None and one.stated.typed is None and known:
            for what, fix in _of_mark(one.stated.mark, register):
                problems.add(*one.where, f'{says} refers to the mark "{one.stated.mark}", {what}', fix)
    for earlier, later in combinations(found, 2):
        if earlier.session == later.session and (told := _overlap(earlier, later)) is not None:
            problems.add(*later.where, *told)


_TYPE = "write its coordinates as they were typed in the field: easting, northing, height"


def _of_mark(mark: str, register: Register | None) -> Iterator[tuple[str, str]]:
    """Yield why a register gives no coordinates that a shift could have been worked out by."""
    if register is None:
        yield "and there is no [control] that has its coordinates", _TYPE
        return
    number = register.find(mark)
    if number is None:
        near = nearest(mark, register.names)
        meant = f"did you mean {' or '.join(near)}? otherwise " if near else ""
        yield "which is not in the register", f"{meant}{_TYPE}"
    elif not np.isfinite([register.first[number], register.second[number]]).all():
        yield "which has no position in the register", _TYPE
    elif not np.isfinite(register.third[number]):
        yield "which has no height in the register", _TYPE


def _overlap(earlier: FieldWindow, later: FieldWindow) -> tuple[str, str] | None:
    """Return what is wrong with two field shifts of a session that one reading carries both, None where nothing is.

    Two that both state their time may overlap: then the field applied both, and both are taken out.
    """
    exports = None if earlier.exports is None or later.exports is None else {*earlier.exports} & {*later.exports}
    apart = earlier.base is not None and later.base is not None and earlier.base != later.base
    if later.start >= earlier.until or apart or exports == set():
        return None
    said = f"two field shifts of session {later.name} overlap from {stamp(later.start)} UTC"
    file, line = earlier.where
    other = f"the other at {file}:{line}" if line != later.where[1] else "both on this line"
    if _source(earlier.stated) == _source(later.stated):
        fix = "keep one; if the field really applied the shift twice, state the second one as east, north and up"
        return f"{said}, and they are the same ({other})", fix
    if earlier.stated.until is None:
        fix = (
            f"write until = {later.stated.start.isoformat()} in the earlier one if the later took its place, or the"
            " time at which it ended if both were applied"
        )
        return f"{said}, and the earlier one has no end ({other})", fix
    return None


def _source(stated: FieldShift) -> tuple[object, ...]:
    if stated.tie is not None:
        return stated.tie, stated.mark, stated.typed
    return stated.east, stated.north, stated.up, stated.model
