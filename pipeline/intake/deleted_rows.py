"""Readings that an export calls deleted, disabled, void or rejected, in columns that no job file maps."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Flags
from pipeline.read.deleted_headings import is_deleted, says_deleted, says_otherwise
from pipeline.read.exports import Export
from pipeline.read.mapping import mapped

#: Rows that are named.
FIRST = 5


class DeletedRows(Struct):
    """What a column's sound readings have: ``said`` are the cells that say so, as written, ``rows`` their first rows.

    ``deleted`` counts these readings and ``others`` the rest; ``other_words`` is what the rest have, "" for nothing.
    ``otherwise`` is whether the column is of something else than readings.
    """

    said: list[str] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    deleted: int = 0
    others: int = 0
    other_words: list[str] = field(default_factory=list)
    otherwise: bool = False


def note_deleted(found: dict[str, DeletedRows], batch: pa.RecordBatch, export: Export, sound: Flags) -> None:
    """Take a batch of an export into what was found of it, by column; ``sound`` (n,) says which readings are."""
    taken: set[str | int] | None = None
    for each in export.carried:
        word = says_deleted(each.name)
        if not word:
            continue
        taken = set(mapped(export.points.columns).values()) if taken is None else taken
        cells = batch.column(each.name)
        if each.name in taken or not (pa.types.is_string(cells.type) or pa.types.is_primitive(cells.type)):
            continue
        coded = pc.dictionary_encode(pc.fill_null(cells.cast(pa.string()), "").filter(pa.array(sound)))
        texts = [text.strip() for text in coded.dictionary.to_pylist()]
        flagged = np.array([is_deleted(word, text) for text in texts], bool)
        of = found.setdefault(each.name, DeletedRows())
        of.otherwise |= any(says_otherwise(word, text) for text in texts)
        for text, is_one in zip(texts, flagged.tolist(), strict=True):
            kept = of.said if is_one else of.other_words
            if len(kept) < FIRST and text not in kept:
                kept.append(text)
        here = flagged[np.asarray(coded.indices, np.int64)]
        count = int(here.sum())
        of.deleted, of.others = of.deleted + count, of.others + len(here) - count
        if count and len(of.rows) < FIRST:
            rows = np.asarray(batch.column("source_row"), np.int64)[sound][here]
            of.rows += rows[: FIRST - len(of.rows)].tolist()
