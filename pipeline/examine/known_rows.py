"""Tells whether a file that lies beside the exports holds nothing but readings that they have.

Such a file is a copy: sorted in another way, a part of one, or a spreadsheet that the text was saved from.
"""

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from pipeline.job.model import Points
from pipeline.problems import JobError
from pipeline.read.columns import readings
from pipeline.read.exports import Export
from pipeline.read.findings import Unusable
from pipeline.read.sources import open_source
from pipeline.tables import milliseconds

#: Bytes of the exports, and of a file beside them, beyond which they are not read once more for this. Ours.
_EXPORTS, MUCH = 32 << 20, 8 << 20
#: Decimals to which coordinates are compared: a spreadsheet holds no more than fifteen digits.
_DECIMALS = 8
_ROWS = 1 << 14

Reading = tuple[int, float, float]


class KnownRows:
    """The readings of exports, by time and place, read when they are first asked for."""

    def __init__(self, exports: Iterable[Export]) -> None:
        self._exports = tuple(exports)
        self._known: set[Reading] | None = None

    def has_all(self, path: Path, points: Points) -> bool:
        """Tell whether a file, read as a block says, holds readings, and none that the exports do not have.

        Of most files beside them the first reading already is another.
        """
        try:
            if os.path.getsize(path) > MUCH:
                return False
            if self._known is None:
                self._known = self._read()
            found = False
            for one in _readings(path, points):
                if one not in self._known:
                    return False
                found = True
        except (OSError, ValueError, Unusable, JobError):
            return False
        return found

    def _read(self) -> set[Reading]:
        if sum(os.path.getsize(export.path) for export in self._exports) > _EXPORTS:
            return set()
        return {one for export in self._exports for one in _readings(export.path, export.points)}


def _readings(path: Path, points: Points) -> Iterator[Reading]:
    """Yield second, first and second coordinate of each row of a file that can be read. Raises what reading raises."""
    with open_source(path, points, _ROWS) as source:
        for raw in source.batches:
            batch = readings(raw, source.how)
            time = (milliseconds(batch) + 500) // 1000
            first, second = (np.asarray(batch.column(name), np.float64) for name in ("first", "second"))
            known = (time > 0) & np.isfinite(first) & np.isfinite(second)
            places = (np.round(each[known], _DECIMALS).tolist() for each in (first, second))
            yield from zip(time[known].tolist(), *places, strict=True)
