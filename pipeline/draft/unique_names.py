"""Makes point names unique by numbers, alike in every layer and format: the earliest reading keeps the bare name."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.intake.same_names import Keys, SameNames, name_keys

#: What a name gets behind its number where another point has that name already.
_BESIDE = "b"


class UniqueNames(Struct, frozen=True):
    """Which points get a number behind their names, (k,) by their numbers in the job: P12, P12_2, P12_3.

    Args:
        number: of the row, ascending.
        count: which of those with its name it is, from 2.
        keys: of all names of the job, ascending.
    """

    number: Integers
    count: Integers
    keys: Keys

    @classmethod
    def of(cls, same: SameNames, left_out: Integers, stands: Integers) -> "UniqueNames":
        """Tell the points with one name apart; ``left_out`` are numbers of rows that are none, or give way to others.

        Points that proof holds back count, so that no name changes when they are released. ``stands`` (s, 2) has the
        number of a row, and that of another of its name that it counts in the place of.
        """
        there = ~np.isin(same.number, np.union1d(left_out, stands[:, 0]))
        number, name = same.number[there], same.name[there]
        order = np.argsort(stands[:, 1])
        _, here, at = np.intersect1d(number, stands[order, 1], assume_unique=True, return_indices=True)
        number[here] = stands[order[at], 0]
        place = np.arange(len(name))
        fresh = np.ones(len(name), bool)
        fresh[1:] = name[1:] != name[:-1]
        count = place - np.maximum.accumulate(np.where(fresh, place, 0)) + 1
        later = np.flatnonzero(count > 1)
        later = later[np.argsort(number[later])]
        return cls(number[later], count[later], same.keys)

    def names(self, names: pa.Array, number: Integers) -> pa.Array:
        """Return the names (n,) of points by which they are issued; ``number`` (n,) ascending are their rows."""
        at = np.searchsorted(self.number, number)
        at = np.minimum(at, max(len(self.number) - 1, 0))
        rows = np.flatnonzero(self.number[at] == number) if len(self.number) else np.zeros(0, np.int64)
        if not len(rows):
            return names
        behind = pa.array(self.count[at[rows]]).cast(pa.string())
        made = self._free(pc.binary_join_element_wise(names.take(pa.array(rows)), behind, "_"))
        mask = np.zeros(len(names), bool)
        mask[rows] = True
        return pc.replace_with_mask(names, pa.array(mask), made)

    def _free(self, made: pa.Array) -> pa.Array:
        """Return made names, those that are another point's own with a letter behind."""
        taken = self._taken(made)
        while taken.any():
            made = pc.if_else(pa.array(taken), pc.binary_join_element_wise(made, _BESIDE, ""), made)
            taken &= self._taken(made)
        return made

    def _taken(self, made: pa.Array) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        keys = name_keys(made)
        at = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        return np.asarray(self.keys[at] == keys)
