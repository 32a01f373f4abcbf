"""Whether two tables of marks give them the same places, by whichever coordinates both have."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.registry import grids_at, projected
from pipeline.letter_case import folded
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead
from pipeline.new_job.look_at_files import whole
from pipeline.new_job.mapped import plainest
from pipeline.new_job.values import numbers_of
from pipeline.read.findings import Unusable

#: Metres, and degrees, by which coordinates of one mark in two tables may differ: they are rounded.
SAME = {"plane": 0.0011, "degrees": 1.1e-8}
#: Metres by which they may where one table's degrees are projected: both are rounded, the degrees to nine decimals.
_PROJECTED = 0.003
_PAIRS = {"plane": ("easting", "northing"), "degrees": ("longitude", "latitude")}
#: Rows that are read.
_MOST = 50_000


def rows_of(register: RegisterRead, marks: Sequence[str]) -> list[int] | None:
    """Return the first rows of marks, which are in small letters; None where one is not there."""
    names = {folded(name): at for at, name in reversed(list(enumerate(register.names)))}
    return [names[mark] for mark in marks] if all(mark in names for mark in marks) else None


def same_places(here: RegisterRead, mine: Sequence[int], there: RegisterRead, theirs: Sequence[int]) -> bool:
    """Tell whether rows of two registers have the same coordinates: in a plane or in degrees, where both have those.

    Else in a grid in use there into which the degrees of one are projected; its datum may be no other then.
    """
    places = [_every(register, rows) for register, rows in ((here, mine), (there, theirs))]
    both = [kind for kind in SAME if all(kind in each for each in places)]
    if both:
        # a third decimal of easting and northing says more than degrees that are cut
        one, other = (each[both[0]] for each in places)
        return bool((np.abs(one - other) <= SAME[both[0]]).all())
    planes, degrees = ([each[kind] for each in places if kind in each] for kind in SAME)
    if not planes or not degrees:
        return False
    (plane,), (degree,) = planes, degrees
    if not np.isfinite(degree).all():
        return False
    for grid in grids_at(*map(float, np.median(degree, axis=0))):
        there_in = np.column_stack(projected(grid.code, *degree.T))
        for each in (plane, plane[:, ::-1]):
            if bool((np.abs(there_in - each) <= _PROJECTED).all()):
                return True
    return False


def _every(register: RegisterRead, rows: Sequence[int]) -> dict[str, Floats]:
    """Return the places of rows, (n, 2), of each kind that a table has: what is mapped, and what it says besides."""
    table = register.table
    found = {table.kind: np.column_stack([table.first, table.second])[list(rows)]}
    return found | {kind: places[list(rows)] for kind, places in _besides(register.found) if kind not in found}


def _besides(found: FileFound) -> Iterator[tuple[str, Floats]]:
    """Yield coordinates in columns that are not mapped."""
    try:
        texts, _ = whole(found.look, _MOST)
    except (Unusable, OSError):
        return
    for kind, pair in _PAIRS.items():
        values = []
        for word in pair:
            name = plainest(word, [name for name in found.look.names if name in texts], lambda _: True)
            read = numbers_of(texts[name]) if name is not None else None
            if read is not None and np.isfinite(read).any():
                values.append(read)
        if len(values) == 2:
            yield kind, np.column_stack(values)
