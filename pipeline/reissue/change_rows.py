"""The rows of the layer ``changes``: where each point was and is, what else of it changed, and why."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags
from pipeline.issue.geopackage.layers import CHANGES, wkb_lines
from pipeline.reissue.known_again import (
    on_grid,
)
from pipeline.reissue.known_rows import KnownRows, Pairs
from pipeline.reissue.side import attribute
from pipeline.tables import number_column
from pipeline.words import Change


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


def with_values(
    rows: pa.RecordBatch, known: KnownRows, pair: Pairs, recoded: Flags, attributes: Sequence[str]
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
    pairs = [("name", flat(was.column("name")), rows.column("name"))]
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


def without_differences(rows: pa.RecordBatch) -> pa.RecordBatch:
    """Return rows of points that lie where they lay: the arithmetic's remnants are no difference."""
    none = pa.nulls(rows.num_rows, pa.float64())
    for name in ("d_east", "d_north", "d_height"):
        rows = rows.set_column(rows.schema.get_field_index(name), CHANGES.field(name), none)
    return rows


def _text(column: pa.ChunkedArray) -> pa.Array:
    return flat(column).cast(pa.string())


def change_rows(change: Change, known: KnownRows, those: Pairs, because: Because) -> pa.RecordBatch:
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
    return pa.RecordBatch.from_arrays([flat(column) for column in columns], schema=CHANGES)


def _reached(known: KnownRows, those: Pairs, change: Change) -> tuple[pa.Array, pa.Array, pa.Array]:
    """Return session, raw file and reason for holding back of changed rows: of the issue that says most of them.

    A point that is held now may have lost its session, and one that is gone has no other row.
    """
    was, is_ = (known.before, those[0]), (known.after, those[1])
    first = was if change is Change.HELD or those[1] is None else is_
    held = {Change.HELD: is_, Change.RELEASED: was}.get(change, first)
    (one, rows), (other, others) = first, held
    assert rows is not None and others is not None
    of_held = other.take(pa.array(others))
    session, file = (flat(one.take(pa.array(rows)).column(name)) for name in ("session", "source_file"))
    return (
        session,
        file if change is not Change.HELD else flat(of_held.column("source_file")),
        flat(of_held.column("reason")),
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


def flat(column: Any) -> Any:
    """Return a column in one piece."""
    if not isinstance(column, pa.ChunkedArray):
        return column
    return column.chunk(0) if column.num_chunks == 1 else pa.concat_arrays([pa.array([], column.type), *column.chunks])
