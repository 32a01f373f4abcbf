"""Picks, at one look, the names that may say something of their readings; most of a million points say nothing."""

from collections.abc import Iterable
from typing import Self

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.tables import flags_of, folded_column


class TellingNames(Struct, frozen=True):
    """What a name is, or holds, that is worth a closer look: ``whole`` and ``pattern``, as `folded_column` has it.

    It lets through whatever any closer look may find, and other names too.
    """

    whole: pa.Array
    pattern: str

    @classmethod
    def of(cls, names: Iterable[pa.Array], patterns: Iterable[str]) -> Self:
        """Return that of names and of patterns (of texts as `folded_column` has them); "" is none."""
        every = pa.concat_arrays([pa.array([], pa.string()), *map(folded_column, names)])
        return cls(pc.unique(every), "|".join(f"(?:{one})" for one in dict.fromkeys(patterns) if one))

    def rows(self, names: pa.Array) -> Integers:
        """Return (k,) which of (n,) names are worth a closer look, ascending."""
        small = folded_column(names)
        telling = flags_of(pc.is_in(small, value_set=self.whole))
        if self.pattern:
            telling |= flags_of(pc.match_substring_regex(small, self.pattern))
        return np.flatnonzero(telling)
