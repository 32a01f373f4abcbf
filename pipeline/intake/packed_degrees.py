"""Exports whose degrees seem to be degrees, minutes and seconds in one number, looked for in every sound reading."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags
from pipeline.intake.ledger import ReadingRows
from pipeline.plausible.packed import Packed, are_packed
from pipeline.read.exports import Export


class PackedExport(Struct):
    """An export whose degrees seem to be packed.

    Args:
        export: its number.
        row: of its first sound reading, in the file; ``first`` is the longitude and latitude of that, ``count`` how
            many sound readings there are.
    """

    export: int
    row: int = 0
    first: tuple[float, float] = (0.0, 0.0)
    count: int = 0
    axes: tuple[Packed, Packed] = field(default_factory=lambda: (Packed(), Packed()))

    @property
    def possible(self) -> bool:
        """Tell whether all its degrees may be packed."""
        return all(axis.possible for axis in self.axes)


def find_packed(rows: ReadingRows, counting: Flags, exports: Sequence[Export]) -> tuple[PackedExport, ...]:
    """Return the exports of which no chance makes decimal degrees look so packed; ``counting`` are readings (n,).

    Exports that are so one and all are looked at together as well: each may be of too small a place.
    """
    found = {
        number: PackedExport(number)
        for number, export in enumerate(exports)
        if rows.degrees[number] and export.points.angles != "dms"
    }
    for at, (longitude, latitude, source_row) in rows.columns.pieces("longitude", "latitude", "source_row"):
        number = int(rows.export(np.array([at.start]))[0])
        which = np.flatnonzero(counting[at])
        if (one := found.get(number)) is None or not len(which) or not one.possible:
            continue
        if not one.count:
            one.row = int(source_row[which[0]])
            one.first = (float(longitude[which[0]]), float(latitude[which[0]]))
        one.count += len(which)
        for axis, values in zip(one.axes, (longitude, latitude), strict=True):
            axis.add(values[which])
    read = [one for one in found.values() if one.count]
    told = [one for one in read if are_packed(one.axes, len(read))]
    if read and all(one.possible for one in read):
        together = [Packed(), Packed()]
        for one in read:
            for axis, own in zip(together, one.axes, strict=True):
                axis.take(own)
        if are_packed(together):
            told = read
    return tuple(told)
