"""What means were formed from: the sessions of the readings that are held back since they are in one."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Integers
from pipeline.draft.merged import BORNE_BY, IN_MEAN
from pipeline.duplicates import mixed_with, text_hashes

_NONE = pa.table({"key": pa.array([], pa.uint64()), "session": pa.array([], pa.string())})


class Formed:
    """The sessions that the means of one issue hang on, beside those of the readings that bear them."""

    def __init__(self) -> None:
        self._found: list[pa.Table] = []

    def add(self, held: pa.RecordBatch) -> None:
        """Take in rows of ``held_back`` with their ``detail``: of those in a mean, which reading bears it."""
        rows = held.filter(pc.fill_null(pc.starts_with(held.column("detail").cast(pa.string()), IN_MEAN), False))
        if not rows.num_rows:
            return
        by = pc.extract_regex(rows.column("detail").cast(pa.string()), BORNE_BY)
        rows, by = rows.filter(by.is_valid()), by.drop_null()
        key = _keys(pc.struct_field(by, "file"), pc.struct_field(by, "row").cast(pa.int64()))
        found = pa.table({"key": pa.array(key, pa.uint64()), "session": rows.column("session").cast(pa.string())})
        self._found.append(found.drop_null().group_by(["key", "session"]).aggregate([]))

    def sessions(self, points: pa.Table) -> tuple[Integers, pa.Array]:
        """Return which of some points (n,) are means, once per session of a reading in each, and those sessions."""
        file, row = (points.column(name).combine_chunks() for name in ("source_file", "source_row"))
        keys = _keys(file.cast(pa.string()), row)
        at = pa.table({"key": pa.array(keys, pa.uint64()), "at": pa.array(np.arange(len(keys)))})
        both = at.join(pa.concat_tables([_NONE, *self._found]), "key", join_type="inner")
        return np.asarray(both.column("at"), np.int64), pa.concat_arrays(
            [pa.array([], pa.string()), *both.column("session").chunks]
        )


def _keys(file: pa.Array, row: pa.Array) -> "np.ndarray[tuple[int], np.dtype[np.uint64]]":
    """Return (n,) keys of rows of files, which no two rows share."""
    return mixed_with(text_hashes(file), np.asarray(pc.fill_null(row, -1), np.int64))
