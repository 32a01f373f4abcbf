"""Which readings are occupations of marks: those that a session names, and those that their code gives away."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray


@dataclass(frozen=True)
class Wanted:
    """What marks a reading as a candidate: its name, its code (lower case), or a word in its ``mark`` column."""

    names: pa.Array
    codes: pa.Array

    @classmethod
    def of(cls, names: Iterable[str], codes: Iterable[str]) -> "Wanted":
        """Gather the point names of every tie and check, and ``checks.codes``."""
        return cls(
            pa.array(sorted(set(names)), pa.string()),
            pa.array(sorted({code.strip().lower() for code in codes}), pa.string()),
        )

    def named(self, batch: pa.RecordBatch) -> NDArray[np.bool_]:
        """Return (n,) which readings of a batch have the name of a tie or check."""
        found = pc.is_in(batch.column("name"), value_set=self.names)
        return np.asarray(found.to_numpy(zero_copy_only=False), bool)

    def among(self, batch: pa.RecordBatch) -> NDArray[np.bool_]:
        """Return (n,) which readings of a batch are candidates."""
        by_name = pc.is_in(batch.column("name"), value_set=self.names)
        by_code = self.has_code(batch.column("code"))
        by_mark = pc.greater(pc.fill_null(pc.utf8_length(batch.column("mark")), 0), 0)
        return np.asarray(pc.or_(pc.or_(by_name, by_code), by_mark).to_numpy(zero_copy_only=False), bool)

    def has_code(self, codes: pa.Array) -> pa.Array:
        """Return which codes are among ``checks.codes``, upper and lower case alike."""
        return pc.is_in(pc.utf8_lower(codes), value_set=self.codes)


#: What may follow a mark's name in the name of a point that occupies it: CM3-AM, CM3_2, "CM3 closing".
_SEPARATOR = re.compile(r"[-_. /:]")


def said_mark(name: str | None, mark_column: str | None, marks: Iterable[str]) -> str | None:
    """Return the register mark that a reading says it stands on, or None.

    Its ``mark`` column decides where it names a mark of the register; otherwise its name, where that is a mark's or
    starts with one, followed by a separator (the longest such name, so that CM1-2 is not taken for CM1).
    """
    known = set(marks)
    if mark_column and mark_column.strip() in known:
        return mark_column.strip()
    name = (name or "").strip()
    if name in known:
        return name
    fitting = [mark for mark in known if name.startswith(mark) and _SEPARATOR.match(name[len(mark) :])]
    return max(fitting, key=len, default=None)
