"""Groups the readings of a session whose heights, as exported, count from one level.

Heights of two height systems do not, nor do readings with a shift that the field applied and readings without it: the
job says so, and they lie on one ground all the same.
"""

from collections.abc import Iterator

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.geodesy.crs import source_crs
from pipeline.intake.ledger import ReadingRows
from pipeline.intake.prepare import Prepared


class LikeHeights:
    """Parts readings of a job into those whose heights may be held against one another."""

    def __init__(self, rows: ReadingRows, prepared: Prepared) -> None:
        self._rows, self._prepared = rows, prepared
        self._system = np.array([_system(export.points.crs or "") for export in prepared.exports])
        self._several = len(set(self._system.tolist())) > 1

    def of_system(self, numbers: Integers) -> list[Integers]:
        """Return the places among readings ``numbers`` (k,) of those of each height system."""
        if not self._several:
            return [np.arange(len(numbers))]
        return _parted(np.unique(self._system[self._rows.export(numbers)], return_inverse=True)[1])

    def alike(self, session: int, numbers: Integers) -> Iterator[Integers]:
        """Yield the places among readings ``numbers`` (k,) of a session of those of one system and the same shifts.

        Those of which nobody can say whether they carry a shift are left out.
        """
        windows = [one for one in self._prepared.field_windows if one.session == session]
        for here in self.of_system(numbers):
            if not windows:
                yield here
                continue
            time, number = self._rows.columns.take(numbers[here], "time", "base")
            base = pa.array(self._rows.bases, pa.string()).take(pa.array(number))
            export = self._rows.export(numbers[here]).astype(np.int64)
            by = np.full(len(here), session, np.int64), time, export, base
            state, unsure = np.zeros(len(here), np.int64), np.zeros(len(here), bool)
            for one in windows:
                state = np.unique(2 * state + one.carried(*by).astype(np.int64), return_inverse=True)[1]
                unsure |= one.unsure(*by)
            yield from (here[part[~unsure[part]]] for part in _parted(state))


def _parted(group: Integers) -> list[Integers]:
    """Return the places of each group; ``group`` is (k,) their numbers."""
    return [np.flatnonzero(group == number) for number in np.unique(group)]


def _system(crs: str) -> str:
    """Return from what heights in a CRS count: the name of a height datum, "" for an ellipsoid."""
    found = source_crs(crs)
    return str(found.sub_crs_list[1].name) if found.is_compound else ""
