"""What changed between two issues, point by point, and why.

A point is known again by its name, if it has one, and the time of its observation, which survive files that were
exported again with more rows, in another order or under another name. Of several alike the first is matched with the
first. What has another name now is known by a time that no other point has, if it lies where it lay. A point that is
issued by another of its readings now is the same point, and so is what has its name and its place and another time.
"""

from collections import Counter
from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.axes import Axes
from pipeline.issue.geopackage.layers import CHANGES
from pipeline.issue.record_types import Compared
from pipeline.reissue.another_day import wholly_gone
from pipeline.reissue.change_rows import Because, change_rows, flat, with_values, without_differences
from pipeline.reissue.known_again import (
    are_held,
    at_other_times,
    keep_names,
    numbers,
    take_readings,
)
from pipeline.reissue.known_rows import KnownRows, Pairs, know_renamed, match
from pipeline.reissue.side import Side, differing
from pipeline.replace import replace
from pipeline.words import Change, Reason

#: Metres. A smaller difference is the arithmetic's: a point that nothing reached has the same bits.
MOVED = 1e-4


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
    there = match((after, new), (before, old))
    know_renamed(before, after, there, axes)
    take_readings(before, after, there, axes)
    keep_names(before, after, there, axes)
    retimed = at_other_times(before, after, there, axes)
    known = KnownRows.of(before, after, there, axes)
    changed = known.changed()
    recoded = known.points & (changed | known.renamed())
    kinds = _kinds(known, recoded)
    rows = {change: change_rows(change, known, those, because) for change, those in kinds.items()}
    rows[Change.RECODED] = without_differences(rows[Change.RECODED])
    attributes = [name for name in old.attributes if name in new.attributes]
    # a point has one row, and one that moved as well says there what else it was and is
    for change in (Change.MOVED, Change.RECODED):
        rows[change] = with_values(rows[change], known, kinds[change], recoded, attributes)
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


def _kinds(known: KnownRows, recoded: Flags) -> dict[Change, Pairs]:
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


def _touched(
    old: tuple[pa.Table, Side],
    new: tuple[pa.Table, Side],
    parts: Mapping[Change, Pairs],
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
    own = flat(rows.column("session")).cast(pa.string())
    at, sessions = np.arange(rows.num_rows), own
    if side.formed is not None and rows.num_rows:
        points = np.flatnonzero(~are_held(rows))
        means, of_means = side.formed.sessions(rows.take(pa.array(points)))
        at, sessions = np.concatenate([at, points[means]]), pa.concat_arrays([own, of_means])
    return pa.table({"at": pa.array(at, pa.int64()), "session": sessions}).drop_null()


def _counted(names: pa.ChunkedArray) -> list[tuple[str, int]]:
    """Return the names of sessions or files, and how often each is there."""
    return [(entry["values"], entry["counts"]) for entry in pc.value_counts(names.drop_null()).to_pylist()]


def _largest(values: Floats) -> float | None:
    return float(values.max()) if len(values) else None
