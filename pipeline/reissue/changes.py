"""What changed between two issues, point by point, and why.

A point is known again by its name, if it has one, and the time of its observation, which survive files that were
exported again with more rows, in another order or under another name. Of several alike the first is matched with the
first. What has another name now is known by a time that no other point has, if it lies where it lay. A point that is
issued by another of its readings now is the same point, and so is what has its name and its place and another time.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.drawn_changes import is_drawn
from pipeline.issue.geopackage.layers import CHANGES, wkb_lines
from pipeline.issue.record_types import Changes, Compared
from pipeline.reissue.another_day import wholly_gone
from pipeline.reissue.known_again import (
    are_held,
    at_other_times,
    keep_names,
    metres_between,
    numbers,
    on_grid,
    take_readings,
)
from pipeline.reissue.left_over import ranked
from pipeline.reissue.means import bare
from pipeline.reissue.side import Side, attribute, differing
from pipeline.replace import replace
from pipeline.tables import number_column
from pipeline.words import Change, Reason, counted

#: Metres. A smaller difference is the arithmetic's: a point that nothing reached has the same bits.
MOVED = 1e-4

#: How points are told of whose times differ from those of the previous issue.
_AGAIN = "known again by name and place"
#: How it ends that an issue was told against one that is not what was issued.
EDITED = "some of what changed may be somebody's edit of it"

#: Metres. A point that got another name lies within it of where it lay; common practice, no source.
RENAMED = 0.5


class Reached(Struct, frozen=True):
    """A kind of changed points: their session and raw file, each None where there is none, and what became of them.

    ``reason`` is why they are, or were, held back; empty for points.
    """

    session: str | None
    file: str | None
    change: Change
    reason: str = ""


#: Gives the reason for the change of a kind of points.
Because = Callable[[Reached], str]


class Touched(Struct, frozen=True):
    """How many points were moved or taken away, by session.

    Args:
        hanging: those that hang on a session, by what became of them: a point hangs on its session of either issue, a
            mean on those of all its readings.
        lost: those of a session before, each once, that are not issued any more.
        replaced: those of them for which another reading is issued, of the same point or as its copy.
        had: how many points of each raw file the earlier issue has.
        withdrawn: how many of them are not there any more, not even held back.
        wholly_gone: sessions of which no point is there any more, whatever it is called and whenever it was measured.
    """

    hanging: Mapping[str, Counter[Change]] = field(default_factory=dict)
    lost: Mapping[str, int] = field(default_factory=dict)
    replaced: Mapping[str, int] = field(default_factory=dict)
    had: dict[str, int] = field(default_factory=dict)
    withdrawn: dict[str, int] = field(default_factory=dict)
    wholly_gone: frozenset[str] = frozenset()


def compare(old: Side, new: Side, because: Because, axes: Axes) -> tuple[pa.RecordBatch, Compared, Touched, int]:
    """Return the rows of the layer ``changes``, the record's counts and largest moves, and what lost points hang on.

    The third are the points that were moved or taken away; the last is how many were known again by name and place
    alone, since their times differ.

    Coordinates are as the grid writes them, by ``axes``; what lies between them is metres to the east, north and up.
    """
    before, after = differing(old, new)
    there = _match((after, new), (before, old))
    _know_renamed(before, after, there, axes)
    take_readings(before, after, there, axes)
    keep_names(before, after, there, axes)
    retimed = at_other_times(before, after, there, axes)
    known = _Known.of(before, after, there, axes)
    changed = known.changed()
    recoded = known.points & (changed | known.renamed())
    kinds = _kinds(known, recoded)
    rows = {change: _rows(change, known, those, because) for change, those in kinds.items()}
    rows[Change.RECODED] = _without_differences(rows[Change.RECODED])
    attributes = [name for name in old.attributes if name in new.attributes]
    # a point has one row, and one that moved as well says there what else it was and is
    for change in (Change.MOVED, Change.RECODED):
        rows[change] = _with_values(rows[change], known, kinds[change], recoded, attributes)
    layer = pa.Table.from_batches(rows.values(), CHANGES).combine_chunks().to_batches()
    moved = rows[Change.MOVED]
    counts: Compared = {
        "moved": moved.num_rows,
        "held": rows[Change.HELD].num_rows,
        "released": rows[Change.RELEASED].num_rows,
        "added": rows[Change.ADDED].num_rows,
        "withdrawn": rows[Change.WITHDRAWN].num_rows,
        "recoded": int(recoded.sum()),
        "attributes": int((known.points & changed).sum()),
        "max_horizontal": _largest(np.hypot(numbers(moved, "d_east"), numbers(moved, "d_north"))),
        "max_vertical": _largest(np.abs(numbers(moved, "d_height"))),
    }
    lost = (Change.MOVED, Change.WITHDRAWN, Change.HELD)
    touched = _touched((before, old), (after, new), {change: kinds[change] for change in lost})
    gone, came = kinds[Change.WITHDRAWN][0], kinds[Change.ADDED][1]
    if gone is not None and came is not None and len(gone) and len(came):
        touched = replace(touched, wholly_gone=wholly_gone(before, after, gone, came, axes, old.of_session))
    return (layer[0] if layer else pa.RecordBatch.from_pylist([], CHANGES)), counts, touched, retimed


#: Some rows of the earlier issue and of the later one, each None where there are none there.
_Pairs = tuple[Integers | None, Integers | None]


class _Known(Struct, frozen=True):
    """The rows of two issues that differ, and which of them are known again.

    Args:
        before: the rows of the earlier issue.
        after: those of the later one.
        axes: how the grid writes coordinates.
        old: (k,) rows of the earlier issue that are known again.
        new: (k,) what they are in the later one.
        gone: rows of the earlier issue that are not known again.
        came: rows of the later issue that none of the earlier one is.
        was_held: (k,) which of the former are held back in the earlier issue.
        is_held: (k,) which are in the later one.
    """

    before: pa.Table
    after: pa.Table
    axes: Axes
    old: Integers
    new: Integers
    gone: Integers
    came: Integers
    was_held: Flags
    is_held: Flags

    @classmethod
    def of(cls, before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> "_Known":
        """Return what is known where row i of ``after`` is row ``there[i]`` of ``before``, (n,) with -1 for none."""
        new, came = np.flatnonzero(there >= 0), np.flatnonzero(there < 0)
        old, gone = there[new], _unmatched(there, before.num_rows)
        return cls(before, after, axes, old, new, gone, came, are_held(before)[old], are_held(after)[new])

    @property
    def points(self) -> Flags:
        """Return (k,) which are points in both issues."""
        return ~self.is_held & ~self.was_held

    def changed(self) -> Flags:
        """Return (k,) which have other attributes."""
        was, is_ = (np.asarray(table.column("attributes")) for table in (self.before, self.after))
        return np.asarray(was[self.old] != is_[self.new])

    def renamed(self) -> Flags:
        """Return (k,) which have another name: of several points with one name another one may come first now."""
        was, is_ = self.before.column("name"), self.after.column("name")
        names = was.take(pa.array(self.old)), is_.take(pa.array(self.new))
        return np.asarray(pc.not_equal(*(pc.fill_null(each, "") for each in names)), bool)

    def off(self) -> Floats:
        """Return (k,) by how much they moved along the axis along which they moved most, metres."""
        off = np.zeros(len(self.new))
        for name, count in zip(NAMES, self.axes.counts(), strict=True):
            apart = (numbers(self.after, name)[self.new] - numbers(self.before, name)[self.old]) * count
            off = np.maximum(off, np.abs(apart))
        return off

    def pairs(self, those: Flags) -> _Pairs:
        """Return those of (k,) rows."""
        return self.old[those], self.new[those]


def _kinds(known: _Known, recoded: Flags) -> dict[Change, _Pairs]:
    """Return the rows of each kind of change; ``recoded``, (k,), have another name or other attributes."""
    was_held, is_held, moves = known.was_held, known.is_held, known.points & (known.off() > MOVED)
    return {
        Change.MOVED: known.pairs(moves),
        Change.HELD: known.pairs(is_held & ~was_held),
        Change.RELEASED: known.pairs(~is_held & was_held),
        Change.ADDED: (None, known.came[~are_held(known.after)[known.came]]),
        Change.WITHDRAWN: (known.gone[~are_held(known.before)[known.gone]], None),
        Change.RECODED: known.pairs(recoded & ~moves),
    }


def _know_renamed(before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> None:
    """Match points that got another name: take them up in ``there``."""
    gone, came = _unmatched(there, before.num_rows), np.flatnonzero((there < 0) & ~are_held(after))
    gone = gone[~are_held(before)[gone]]
    if not len(gone) or not len(came):
        return
    times, rows = [], []
    for table, chosen in ((before, gone), (after, came)):
        observed = np.asarray(table.column("observed").cast(pa.int64()))[chosen]
        own, at, count = np.unique(observed, return_index=True, return_counts=True)
        times.append(own[count == 1])
        rows.append(chosen[at[count == 1]])
    _, one, other = np.intersect1d(times[0], times[1], assume_unique=True, return_indices=True)
    was, now = rows[0][one], rows[1][other]
    apart = metres_between(before, after, was, now, axes)
    near = np.hypot(apart[:, 0], apart[:, 1]) <= RENAMED
    there[now[near]] = was[near]


def _with_values(
    rows: pa.RecordBatch, known: _Known, pair: _Pairs, recoded: Flags, attributes: Sequence[str]
) -> pa.RecordBatch:
    """Return rows with what each that is ``recoded``, (k,), was and is before its reason: "code FENCE to TREE; ..."."""
    old, new = pair
    assert old is not None and new is not None  # a point in both issues
    which = np.isin(new, known.new[recoded])
    if not which.any():
        return rows
    was, now = (table.take(pa.array(at[which])) for table, at in ((known.before, old), (known.after, new)))
    whole, mask = rows, pa.array(which)
    rows = rows.filter(mask)
    pairs = [("name", _flat(was.column("name")), rows.column("name"))]
    pairs += [(name, _text(attribute(was, name)), _text(attribute(now, name))) for name in attributes]
    points = known.after.filter(pc.invert(known.after.column("held"))).column("name")
    told = []
    for name, given, other in pairs:
        one, two = pc.fill_null(given, "none"), pc.fill_null(other, "none")
        text = pc.binary_join_element_wise(f"{name} ", one, " to ", two, "")
        if name == "name":
            passed_on = pc.is_in(given, points)
            more = pc.binary_join_element_wise(text, " (", one, " is now another point)", "")
            text = pc.if_else(passed_on, more, text)
        told.append(pc.if_else(pc.not_equal(one, two), text, pa.scalar(None, pa.string())))
    values = pc.binary_join_element_wise(*told, ", ", null_handling="skip")
    because = pc.binary_join_element_wise(values, rows.column("because"), "; ")
    because = pc.replace_with_mask(whole.column("because"), mask, because)
    return whole.set_column(whole.schema.get_field_index("because"), CHANGES.field("because"), because)


def _without_differences(rows: pa.RecordBatch) -> pa.RecordBatch:
    """Return rows of points that lie where they lay: the arithmetic's remnants are no difference."""
    none = pa.nulls(rows.num_rows, pa.float64())
    for name in ("d_east", "d_north", "d_height"):
        rows = rows.set_column(rows.schema.get_field_index(name), CHANGES.field(name), none)
    return rows


def _text(column: pa.ChunkedArray) -> pa.Array:
    return _flat(column).cast(pa.string())


def _touched(
    old: tuple[pa.Table, Side],
    new: tuple[pa.Table, Side],
    parts: Mapping[Change, _Pairs],
) -> Touched:
    """Return how many rows of each kind hang on every session, by the rows of two issues that differ, and its side."""
    hanging: dict[str, Counter[Change]] = {}
    lost: Counter[str] = Counter()
    replaced: dict[str, int] = {}
    for change, pair in parts.items():
        found = [
            _hanging_on(table.take(pa.array(rows)), side)
            for (table, side), rows in zip((old, new), pair, strict=True)
            if rows is not None
        ]
        # one that hangs on a session in both issues, or as a mean of several readings of it, counts once
        whole = pa.concat_tables(found).group_by(["at", "session"]).aggregate([])
        for session, count in _counted(whole.column("session")):
            hanging.setdefault(session, Counter())[change] += count
        rows = pair[0]
        if change is not Change.MOVED and rows is not None:
            sessions = old[0].column("session").take(pa.array(rows)).cast(pa.string())
            lost.update(dict(_counted(sessions)))
            if change is Change.HELD and pair[1] is not None:
                reasons = new[0].column("reason").take(pa.array(pair[1])).cast(pa.string())
                replaced = dict(_counted(sessions.filter(pc.equal(reasons, str(Reason.DUPLICATE)))))
    gone = parts[Change.WITHDRAWN][0]
    files = old[0].column("source_file").take(pa.array(gone)) if gone is not None else pa.chunked_array([], pa.string())
    return Touched(hanging, lost, replaced, dict(old[1].of_file), dict(_counted(files.cast(pa.string()))))


def _hanging_on(rows: pa.Table, side: Side) -> pa.Table:
    """Return by number which sessions each of some rows hangs on: its own, and those of the readings in a mean."""
    own = _flat(rows.column("session")).cast(pa.string())
    at, sessions = np.arange(rows.num_rows), own
    if side.formed is not None and rows.num_rows:
        points = np.flatnonzero(~are_held(rows))
        means, of_means = side.formed.sessions(rows.take(pa.array(points)))
        at, sessions = np.concatenate([at, points[means]]), pa.concat_arrays([own, of_means])
    return pa.table({"at": pa.array(at, pa.int64()), "session": sessions}).drop_null()


def _counted(names: pa.ChunkedArray) -> list[tuple[str, int]]:
    """Return the names of sessions or files, and how often each is there."""
    return [(entry["values"], entry["counts"]) for entry in pc.value_counts(names.drop_null()).to_pylist()]


def _match(one: tuple[pa.Table, Side], other: tuple[pa.Table, Side]) -> Integers:
    """Return for each row of one issue the row of the other that is the same observation, -1 where none is.

    Of what is left then, names that were told apart since, or are no more, are taken without their numbers. Each issue
    is the rows that differ and its side, which has all.
    """
    (rows, side), (among, its) = one, other
    found = _matched(_keys(rows), _keys(among))
    left, free = np.flatnonzero(found < 0), _unmatched(found, among.num_rows)
    if len(left) and len(free):
        wanted = _without_numbers(rows.take(pa.array(left)), side)
        there = _without_numbers(among.take(pa.array(free)), its)
        again = _matched(_keys(wanted), _keys(there))
        found[left] = np.where(again >= 0, free[again], -1)
    return found


def _unmatched(there: Integers, count: int) -> Integers:
    """Return which of so many rows are not among those matched, -1 for none."""
    free = np.ones(count, bool)
    free[there[there >= 0]] = False
    return np.flatnonzero(free)


def _without_numbers(table: pa.Table, side: Side) -> pa.Table:
    """Return rows with their names as they were before they were told apart.

    A1_3 may be a name of the field itself. The number was put there only if the issue has a point A1, which kept the
    name. What is held back has the name of its export.
    """
    names = table.column("name").combine_chunks()
    plain = bare(names)
    put = ~are_held(table) & np.asarray(pc.fill_null(pc.not_equal(names, plain), False))
    put[put] = side.has_names(text_hashes(plain.filter(pa.array(put))))
    return table.set_column(table.schema.get_field_index("name"), "name", pc.if_else(pa.array(put), plain, names))


def _matched(wanted: NDArray[np.uint64], keys: NDArray[np.uint64]) -> Integers:
    if np.array_equal(wanted, keys):  # nearly always the same rows in the same order
        return np.arange(len(keys))
    order = np.argsort(keys, kind="stable")
    at = np.searchsorted(keys[order], wanted)
    found = np.where(at < len(keys), at, 0)
    if not len(keys):
        return np.full(len(wanted), -1)
    return np.where(keys[order][found] == wanted, order[found], -1)


def _keys(table: pa.Table) -> NDArray[np.uint64]:
    """Return a key per row: hash of name and time, and which of those alike it is."""
    pieces = [
        mixed_with(text_hashes(batch.column("name")), np.asarray(batch.column("observed").cast(pa.int64())))
        for batch in table.to_batches(max_chunksize=65_536)
    ]
    return ranked(np.concatenate(pieces or [np.zeros(0, np.uint64)]))


def _rows(change: Change, known: _Known, those: _Pairs, because: Because) -> pa.RecordBatch:
    """Return rows of the layer ``changes``, of one kind of change."""
    before, after, axes = known.before, known.after, known.axes
    old, new = those
    # a row that is held back bears the name of its export: by it another point may go in the drawing
    named, chosen = (before, old) if change is Change.HELD or new is None else (after, new)
    assert chosen is not None
    here = named.take(pa.array(chosen))
    unknown = np.full((len(chosen), 3), np.nan)
    was = on_grid(before)[old] if old is not None else unknown
    now = on_grid(after)[new] if new is not None else unknown
    if change is Change.HELD:
        now = unknown
    if change is Change.RELEASED:
        was = unknown
    start, end = np.where(np.isnan(was), now, was), np.where(np.isnan(now), was, now)
    columns = [
        here.column("name").combine_chunks(),
        pa.array([str(change)], pa.string()).take(pa.array(np.zeros(len(chosen), np.int64))),
        *(number_column(values[:, axis]) for values in (was, now, (now - was) * axes.counts()) for axis in range(3)),
        _reasons(*_reached(known, those, change), change, because),
        wkb_lines(*(np.column_stack(axes.geometry(*of.T)) for of in (start, end))),
    ]
    return pa.RecordBatch.from_arrays([_flat(column) for column in columns], schema=CHANGES)


def _reached(known: _Known, those: _Pairs, change: Change) -> tuple[pa.Array, pa.Array, pa.Array]:
    """Return session, raw file and reason for holding back of changed rows: of the issue that says most of them.

    A point that is held now may have lost its session, and one that is gone has no other row.
    """
    was, is_ = (known.before, those[0]), (known.after, those[1])
    first = was if change is Change.HELD or those[1] is None else is_
    held = {Change.HELD: is_, Change.RELEASED: was}.get(change, first)
    (one, rows), (other, others) = first, held
    assert rows is not None and others is not None
    of_held = other.take(pa.array(others))
    session, file = (_flat(one.take(pa.array(rows)).column(name)) for name in ("session", "source_file"))
    return (
        session,
        file if change is not Change.HELD else _flat(of_held.column("source_file")),
        _flat(of_held.column("reason")),
    )


def _reasons(session: pa.Array, file: pa.Array, reason: pa.Array, change: Change, because: Because) -> pa.Array:
    """Return the reason of each row; one sentence per session, file and reason for holding back, not per point."""
    columns = [session, file, reason]
    codes = [np.asarray(pc.fill_null(column.indices, -1)).astype(np.int64) for column in columns]
    kinds, which = np.unique(np.column_stack(codes), axis=0, return_inverse=True)
    texts = []
    for kind in kinds.tolist():
        of_session, of_file, held = (_word(column, index) for column, index in zip(columns, kind, strict=True))
        texts.append(because(Reached(of_session, of_file, change, held or "")))
    return pa.array(texts, pa.string()).take(pa.array(which.ravel()))


def _word(column: pa.DictionaryArray, index: int) -> str | None:
    return None if index < 0 else str(column.dictionary[index])


def _flat(column: Any) -> Any:
    if not isinstance(column, pa.ChunkedArray):
        return column
    return column.chunk(0) if column.num_chunks == 1 else pa.concat_arrays([pa.array([], column.type), *column.chunks])


def _largest(values: Floats) -> float | None:
    return float(values.max()) if len(values) else None


def attributes_changed(compared: Compared) -> list[str]:
    """Say how many points have other attributes than before, or another name, where any have."""
    attributes = compared.get("attributes", 0)
    names = compared.get("recoded", 0) - attributes
    told = [f"the code or another attribute of {counted(attributes, 'point')} changed"] if attributes else []
    return [*told, f"{counted(names, 'point')} {'has' if names == 1 else 'have'} another name"] if names else told


def is_counted(reason: str, changes: Changes) -> bool:
    """Say whether a reason for an issue is what it counted against the previous one: that holds between those alone.

    Over several issues such counts neither add up nor need to stay.
    """
    counted_anew = is_drawn(reason) or f" {_AGAIN}: " in reason or reason.endswith(EDITED)
    return counted_anew or reason in attributes_changed(changes)


def times_differ(points: int, since: int) -> list[str]:
    """Say of how many points an issue has other times than the one before, where of any."""
    if not points:
        return []
    what = "its time differs" if points == 1 else "their times differ"
    return [f"{counted(points, 'point')} {_AGAIN}: {what} from issue {since:03d}"]
