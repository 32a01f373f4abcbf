"""Notes what the exports say of the bases in the first pass, batch by batch."""

from collections.abc import Collection, Iterable, Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.base_log import BaseLog, First, Outside, SessionLog, Values, ValueSeen
from pipeline.intake.positions import base_positions, column_numbers, raw_positions
from pipeline.intake.sort import Sifted
from pipeline.read.exports import Export
from pipeline.replace import replace
from pipeline.sessions.attach import base_key
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import milliseconds
from pipeline.words import Reason, reason_code

#: Readings outside all sessions on which time offsets are tried.
SAMPLE = 20_000

#: Millimetres, and about as much in degrees: what is the same to this is the same value.
_PER_METRE, _PER_DEGREE = 1e3, 1e8

#: The same units: base positions further apart in a coordinate are at different places.
_ELSEWHERE = 30


class _Waiting(Struct):
    """Readings outside all sessions, kept until the end."""

    times: list[Integers] = field(default_factory=list)
    bases: list[pa.Array] = field(default_factory=list)
    exports: dict[int, None] = field(default_factory=dict)

    def outside(self) -> Outside:
        times = np.concatenate(self.times or [np.zeros(0, np.int64)])
        chosen = np.unique(np.linspace(0, len(times) - 1, min(SAMPLE, len(times))).astype(np.int64))
        bases = pa.chunked_array(self.bases, pa.string()).take(pa.array(chosen)).combine_chunks()
        return Outside(times[chosen], bases, len(times), tuple(self.exports))


class BaseLogs:
    """Collects a `BaseLog`, batch by batch."""

    def __init__(self, windows: Sequence[SessionWindow]) -> None:
        self.sessions = tuple(SessionLog() for _ in windows)
        self.unnamed = np.array([window.base is None for window in windows], bool)
        self.known = {base_key(window.base) for window in windows} | {None}
        self.running = _Running(windows)
        self.without = Values()
        self.used: set[tuple[int, str]] = set()
        self.earliest = np.full(len(windows), np.iinfo(np.int64).max)
        self.newest: dict[tuple[int, int], Integers] = {}
        self.strangers = Values()
        self.waiting = _Waiting()

    def log(self, left_out: Collection[tuple[int, int]] = ()) -> BaseLog:
        """Return what was collected; no session begins with a reading that is ``left_out``, by export and row."""
        sessions = tuple(
            replace(one, first=None) if one.first is not None and (one.first.export, one.first.row) in left_out else one
            for one in self.sessions
        )
        return BaseLog(sessions, self.strangers, self.without, frozenset(self.used), self.waiting.outside())

    def take(self, batch: pa.RecordBatch, number: int, export: Export, sifted: Sifted) -> None:
        """Take one batch of export ``number``."""
        place = _Place(batch, milliseconds(batch), number, np.asarray(batch.column("source_row"), np.int64))
        sound = sifted.held == 0
        if sound.any():
            columns = export.points.columns
            self._note_first(place, sifted.session, sound, export.block)
            if columns.base_height is not None:
                self._note_positions(place, sifted.session, sound, export)
            if columns.antenna_height is not None:
                self._note_antennas(place, sifted.session, sound)
            if columns.base is not None and self.unnamed.any():
                self._note_ids(place, sifted.session, sound & self.unnamed[np.maximum(sifted.session, 0)])
        if export.points.columns.base is not None:
            self.used |= {(number, key) for key in map(base_key, pc.unique(batch.column("base")).to_pylist()) if key}
        outside = np.flatnonzero(sifted.held == reason_code(Reason.OUTSIDE_SESSIONS))
        if len(outside):
            self._note_outside(place, outside)
        two = np.flatnonzero(sifted.held == reason_code(Reason.TWO_SESSIONS))
        for group in place.groups(two, np.zeros(len(place.rows), np.int32), np.full((len(two), 1), number)):
            self.without.add(place.seen(group, (number,), ()))

    def _note_first(self, place: "_Place", session: NDArray[np.int32], sound: Flags, block: int) -> None:
        here = np.full(len(self.earliest), np.iinfo(np.int64).max)
        np.minimum.at(here, session[sound], place.time[sound])
        for number in np.flatnonzero(here < self.earliest).tolist():
            row = int(np.flatnonzero(sound & (session == number) & (place.time == here[number]))[0])
            first, second, third = (float(values[0]) for values in raw_positions(place.batch.slice(row, 1)))
            self.sessions[number].first = First(
                place.batch.column("name")[row].as_py(),
                int(here[number]),
                (first, second, third),
                block,
                place.export,
                int(place.rows[row]),
            )
        self.earliest = np.minimum(self.earliest, here)

    def _note_positions(self, place: "_Place", session: NDArray[np.int32], sound: Flags, export: Export) -> None:
        values = base_positions(place.batch)
        degrees = export.points.columns.base_longitude is not None
        known = np.isfinite(values).all(axis=1) & _somewhere(values, degrees=degrees)
        rows, bare = np.flatnonzero(sound & known), np.flatnonzero(sound & ~known)
        across = _PER_DEGREE if degrees else _PER_METRE
        keys = np.rint(values[rows] * [across, across, _PER_METRE]).astype(np.int64)
        for group in place.groups(rows, session, keys, self._entering(place, session, rows, keys)):
            seen = place.seen(group, (export.block, *group.key), values[group.early])
            self.sessions[group.session].positions.add(seen)
        for group in place.groups(bare, session, np.full((len(bare), 1), place.export)):
            self.sessions[group.session].bare.add(place.seen(group, group.key, ()))
        here = self.unnamed[np.maximum(session[rows], 0)] if export.points.columns.base is not None else None
        if here is not None and here.any():
            ids, codes = place.base_keys(rows[here])
            for group in place.groups(rows[here], session, np.column_stack([codes, keys[here]])):
                name, at = str(ids[group.key[0]] or ""), (export.block, *group.key[1:])
                seen = replace(place.seen(group, (name, *at), values[group.early]), text=name)
                self.sessions[group.session].ids_at.add(seen)

    def _entering(self, place: "_Place", session: NDArray[np.int32], rows: Integers, keys: Integers) -> Flags:
        """Return (k,) at which rows with ``keys`` (k, 3), in time, a session's base position is another than before."""
        found = np.zeros(len(rows), bool)
        if not len(rows):
            return found
        own = session[rows]
        order = np.lexsort((place.time[rows], own)) if (keys != keys[0]).any() else np.argsort(own, kind="stable")
        first = np.flatnonzero(np.diff(own[order], prepend=-1) != 0)
        found[order[1:]] = (np.abs(np.diff(keys[order], axis=0)) > _ELSEWHERE).any(axis=1)
        for start, end in zip(first.tolist(), [*(first[1:] - 1).tolist(), len(order) - 1], strict=True):
            of = int(own[order[start]]), place.export
            before = self.newest.get(of)
            found[order[start]] = before is not None and bool((np.abs(keys[order[start]] - before) > _ELSEWHERE).any())
            self.newest[of] = keys[order[end]]
        return found

    def _note_antennas(self, place: "_Place", session: NDArray[np.int32], sound: Flags) -> None:
        values = column_numbers(place.batch, "antenna_height")
        rows = np.flatnonzero(sound & np.isfinite(values))
        keys = np.rint(values[rows, None] * _PER_METRE).astype(np.int64)
        for group in place.groups(rows, session, keys):
            seen = place.seen(group, (place.export, *group.key), values[group.early : group.early + 1])
            self.sessions[group.session].antennas.add(seen)

    def _note_ids(self, place: "_Place", session: NDArray[np.int32], which: Flags) -> None:
        rows = np.flatnonzero(which)
        keys, codes = place.base_keys(rows)
        named = np.array([key is not None for key in keys], bool)[codes]
        for group in place.groups(rows[named], session, codes[named, None]):
            self.sessions[group.session].ids.add(place.seen_id(group, keys))

    def _note_outside(self, place: "_Place", rows: Integers) -> None:
        keys, codes = place.base_keys(rows)
        named = np.array([key is not None for key in keys], bool)[codes]
        known = np.array([key in self.known for key in keys], bool)[codes]
        piece = self.running.piece(place.time[rows])
        running = self.running.any[piece]
        strange = named & (running | ~known & ~self.unnamed.any())
        nowhere = np.zeros(len(place.rows), np.int32)
        for group in place.groups(rows[strange], nowhere, np.column_stack([codes, piece])[strange]):
            self.strangers.add(place.seen_id(group, keys, self.running.at(group.key[1])))
        # a clock that is off may put readings into the time of a session with another id
        rest = rows[~strange | known]
        if len(rest):
            self.waiting.times.append(place.time[rest])
            self.waiting.bases.append(place.batch.column("base").take(pa.array(rest)))
            self.waiting.exports[place.export] = None


class _Running:
    """Which sessions run at a time, whatever their base ids."""

    def __init__(self, windows: Sequence[SessionWindow]) -> None:
        edges = sorted({edge for window in windows for edge in (window.start_ms, window.end_ms)})
        self.windows, self.cuts = windows, np.array(edges, np.int64)
        count = np.zeros(len(edges) + 1, np.int64)
        np.add.at(count, 1 + np.searchsorted(self.cuts, [window.start_ms for window in windows]), 1)
        np.add.at(count, 1 + np.searchsorted(self.cuts, [window.end_ms for window in windows]), -1)
        self.any = np.cumsum(count) > 0

    def piece(self, time: Integers) -> Integers:
        """Return (n,) the number of the piece of time, between edges of sessions, that each time [ms] lies in."""
        return np.searchsorted(self.cuts, time, side="right")

    def at(self, piece: int) -> tuple[int, ...]:
        """Return the sessions that run in a piece of time."""
        if not self.any[piece]:
            return ()
        time = int(self.cuts[piece - 1])
        return tuple(window.index for window in self.windows if window.start_ms <= time < window.end_ms)


def _somewhere(values: Floats, *, degrees: bool) -> Flags:
    """Return (n,) which of positions (n, 3) are not zeros that a controller logs as long as it knows none.

    In degrees longitude and latitude say so, whatever the height; a grid of the site's own may begin at 0 / 0.
    """
    return np.asarray((values[:, : 2 if degrees else 3] != 0.0).any(axis=1))


class _Group(Struct, frozen=True):
    """Readings of a batch that share session and key: the row of the earliest, first and last time, how many.

    ``entered`` is how many of them were marked.
    """

    session: int
    key: tuple[int, ...]
    early: int
    time: int
    last: int
    count: int
    entered: int


class _Place(Struct, frozen=True):
    """A batch and where its rows stand: (n,) UTC milliseconds and numbers in the file of one export."""

    batch: pa.RecordBatch
    time: Integers
    export: int
    rows: Integers

    def seen(self, group: _Group, key: tuple[int | str, ...], value: Iterable[float]) -> ValueSeen:
        """Return a group of readings as one value seen."""
        plain = tuple(float(part) for part in value)
        row, exports = int(self.rows[group.early]), frozenset({self.export})
        return ValueSeen(
            key=key,
            value=plain,
            time=group.time,
            last=group.last,
            count=group.count,
            export=self.export,
            row=row,
            exports=exports,
            entered=group.entered,
        )

    def seen_id(self, group: _Group, keys: Sequence[str | None], sessions: tuple[int, ...] | None = None) -> ValueSeen:
        """Return a group of readings as one base id seen; the group's key starts with its number among ``keys``.

        ``sessions`` are those that run meanwhile; with them, ids are told apart by export and by them.
        """
        written = (self.batch.column("base")[group.early].as_py() or "").strip()
        key = (str(keys[group.key[0]]),)
        if sessions is None:
            return replace(self.seen(group, key, ()), text=written)
        return replace(self.seen(group, (*key, self.export, *sessions), ()), text=written, sessions=sessions)

    def base_keys(self, rows: Integers) -> tuple[list[str | None], Integers]:
        """Return the different base ids of some rows, as `attach.base_key` has them, and (n,) which is whose."""
        coded = pc.dictionary_encode(self.batch.column("base").take(pa.array(rows)))
        texts = coded.dictionary.to_pylist()
        keys: dict[str | None, int] = {}
        number = np.array([keys.setdefault(base_key(text), len(keys)) for text in (*texts, None)])
        return list(keys), number[np.asarray(pc.fill_null(coded.indices, len(texts)), np.int64)]

    def groups(
        self, rows: Integers, session: NDArray[np.int32], keys: Integers, marked: Flags | None = None
    ) -> Iterator[_Group]:
        """Yield the readings that share session and key, in order of appearance.

        Exports hold long runs of one value, so only the first row of each run is sorted.

        Args:
            rows: (k,) of the batch.
            session: (n,) of the whole batch.
            keys: (k, m).
            marked: (k,) rows that are counted.
        """
        table = np.column_stack([session[rows], keys]).astype(np.int64, copy=False)
        if not len(table):
            return
        starts = np.concatenate([[0], 1 + np.flatnonzero((table[1:] != table[:-1]).any(axis=1))])
        different, first, inverse = np.unique(table[starts], axis=0, return_index=True, return_inverse=True)
        group = np.repeat(inverse.ravel(), np.diff(np.append(starts, len(table))))
        time = self.time[rows]
        order = np.lexsort((time, group)) if len(different) > 1 else np.argsort(time, kind="stable")
        ends = np.cumsum(np.bincount(group))
        entered = np.bincount(group[marked] if marked is not None else group[:0], minlength=len(different))
        for number in np.argsort(first).tolist():
            of_group = order[ends[number - 1] if number else 0 : ends[number]]
            own, *key = different[number].tolist()
            early, late = int(of_group[0]), int(of_group[-1])
            yield _Group(
                session=own,
                key=tuple(key),
                early=int(rows[early]),
                time=int(time[early]),
                last=int(time[late]),
                count=len(of_group),
                entered=int(entered[number]),
            )
