"""Exports whose headings of longitude or latitude state a hemisphere, with the signs of their sound readings."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags
from pipeline.files.hemisphere_headings import SideSaid, side_in_heading
from pipeline.intake.ledger import ReadingRows
from pipeline.read.exports import Export

_WORDS = ("longitude", "latitude")


class HeadedSide(Struct):
    """What the heading of an export's longitudes or latitudes states, and how many readings are of which sign.

    Args:
        export: its number.
        word: "longitude" or "latitude".
        heading: as it stands in the export.
        said: the hemisphere.
        above: readings in the north or east, as they are read; ``below`` those in the south or west.
    """

    export: int
    word: str
    heading: str
    said: SideSaid
    above: int = 0
    below: int = 0


def find_sides(rows: ReadingRows, counting: Flags, exports: Sequence[Export]) -> tuple[HeadedSide, ...]:
    """Return what headings state, of exports with such readings; ``counting`` are readings (n,)."""
    found: dict[int, list[HeadedSide]] = {}
    for number, export in enumerate(exports):
        for word in _WORDS:
            heading = export.headings.get(word, "")
            said = side_in_heading(heading, word)
            if said is not None:
                found.setdefault(number, []).append(HeadedSide(number, word, heading, said))
    if not found:
        return ()
    for at, (longitude, latitude) in rows.columns.pieces("longitude", "latitude"):
        for one in found.get(int(rows.export(np.array([at.start]))[0]), []):
            values = (longitude if one.word == "longitude" else latitude)[counting[at]]
            one.above += int(np.count_nonzero(values > 0))
            one.below += int(np.count_nonzero(values < 0))
    return tuple(one for of_export in found.values() for one in of_export if one.above or one.below)
