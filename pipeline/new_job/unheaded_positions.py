"""Finds columns that may be positions by what they hold, where no heading of a file is known as that of one."""

from itertools import pairwise

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.headings import is_known, rank
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.precisions import is_precision
from pipeline.new_job.values import decimal_places, has_names, numbers_of

#: Decimals of degrees by which they are told from other numbers, and the least easting and northing likewise, metres.
FINE, LARGE = 6, 1_000.0
#: The least of the larger of two degrees: variances and covariances have as many decimals.
_LEAST = 1.0
#: The coordinates in plan, each with the other one of its pair.
PARTNERS = {"longitude": "latitude", "latitude": "longitude", "easting": "northing", "northing": "easting"}


def suppose_position(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Take two columns for the position for now, and ask for them; nothing where none may be it.

    They are degrees with many decimals, else large lengths with decimals; neighbours before others.
    """
    values = {name: read for name in free if (read := _measured(look, name)) is not None}
    sizes = {name: float(np.nanmax(np.abs(read))) for name, read in values.items()}
    fine = [name for name in values if decimal_places(look.columns[name]) >= FINE and sizes[name] <= 360.0]
    large = [name for name in values if float(np.nanmin(np.abs(values[name]))) > LARGE]
    degrees = _pair(look, fine)
    if (
        degrees is not None
        and min(sizes[name] for name in degrees) <= 90.0
        and max(map(sizes.__getitem__, degrees)) > _LEAST
    ):
        said = rank("longitude", degrees[0]) is not None or rank("latitude", degrees[1]) is not None
        pair = degrees if said or sizes[degrees[1]] <= 90.0 < sizes[degrees[0]] else degrees[::-1]
        words, every, found.kind = ("longitude", "latitude"), fine, "degrees"
    elif (lengths := _pair(look, large)) is not None:
        pair, words, every, found.kind, found.turned = lengths, ("easting", "northing"), large, "plane", True
    else:
        return
    found.unheaded = True
    for word, name in zip(words, pair, strict=True):
        found.columns[word] = name
        found.rivals[word] = [name, *(other for other in every if other != name)]
        free.remove(name)


def _is_half(look: FileLook, name: str) -> bool:
    """Tell whether a column is called one coordinate, and none is called the other."""
    return any(
        rank(word, name) is not None and all(rank(partner, other) is None for other in look.columns)
        for word, partner in PARTNERS.items()
    )


def _measured(look: FileLook, name: str) -> Floats | None:
    """Return the numbers of a column that has decimals and is called a coordinate, or nothing known; else None."""
    texts = look.columns[name]
    if (is_known(name) and not _is_half(look, name) and not look.numbered) or is_precision(name) or has_names(texts):
        return None
    values = numbers_of(texts)
    return values if values is not None and decimal_places(texts) else None


def _pair(look: FileLook, names: list[str]) -> tuple[str, str] | None:
    """Return the first two neighbours of some columns, else the first two; None of fewer."""
    at = {name: look.names.index(name) for name in names}
    beside = ((one, other) for one, other in pairwise(names) if at[other] - at[one] == 1)
    return next(beside, (names[0], names[1]) if len(names) > 1 else None)
