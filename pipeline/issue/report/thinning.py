"""The points of a plan, thinned while they stream by: never more than a few thousand, the same ones on every run."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.words import Proof

#: Codes of ``kind``: the proof words in their order, and one more for what is held back.
KINDS: tuple[str, ...] = (*(str(proof) for proof in Proof), "held back")
HELD_KIND = len(KINDS) - 1

#: Finest cell, metres: 1/8, so that its doubles are exact in binary.
_CELL = 0.125
#: Cells of a row at most, in bits, from the middle of the grid.
_BITS = 28


class Thinned(Struct, frozen=True):
    """(n,) points of a plan with the code of their kind; ``total`` is how many there were, ``cell`` in metres."""

    kind: NDArray[np.uint8]
    easting: Floats
    northing: Floats
    total: int = 0
    cell: float = _CELL

    @classmethod
    def none(cls) -> "Thinned":
        """Return no points at all."""
        return cls(np.zeros(0, np.uint8), np.zeros(0), np.zeros(0))


class Thinner:
    """Keeps, per kind, the first point in every cell of a raster, whose cells double until few enough are kept.

    What is kept depends on the points and their order alone, not on the batches in which they come: cells nest, so
    that the first point of a large cell is the first of the first points of its small ones.
    """

    def __init__(self, most: int = 3000) -> None:
        self.most, self.total, self.cell = most, 0, _CELL
        self._kind = np.zeros(0, np.uint8)
        self._place = np.zeros((0, 2))
        self._taken = np.zeros(0, np.int64)

    def add(self, kind: NDArray[np.uint8], easting: Floats, northing: Floats) -> None:
        """Take in a batch of (n,) points in metres on the grid; those without a place are left out."""
        place, known = np.column_stack([easting, northing]), np.isfinite(easting) & np.isfinite(northing)
        if not known.all():
            kind, place = kind[known], place[known]
        self.total += len(kind)
        # most points lie in cells that are taken: what has to be sorted is little
        keys = self._keys(kind, place)
        fresh = np.append(self._taken, -1)[np.searchsorted(self._taken, keys)] != keys
        self._keep(np.concatenate([self._kind, kind[fresh]]), np.vstack([self._place, place[fresh]]))

    def thinned(self) -> Thinned:
        """Return the points that were kept, in their order."""
        return Thinned(self._kind, self._place[:, 0], self._place[:, 1], self.total, self.cell)

    def _keep(self, kind: NDArray[np.uint8], place: Floats) -> None:
        while True:
            self._taken, first = np.unique(self._keys(kind, place), return_index=True)
            first.sort()
            kind, place = kind[first], place[first]
            if len(kind) <= self.most or self.cell >= 2.0**_BITS:
                break
            self.cell *= 2
        self._kind, self._place = kind, place

    def _keys(self, kind: NDArray[np.uint8], place: Floats) -> Integers:
        """Return (n,) one number per kind and cell."""
        edge = 2.0**_BITS
        cells = np.clip(np.floor(place / self.cell), -edge, edge - 1).astype(np.int64) + (1 << _BITS)
        of_kind = kind.astype(np.int64) << (2 * _BITS + 2)
        keys: Integers = of_kind | (cells[:, 0] << (_BITS + 1)) | cells[:, 1]
        return keys
