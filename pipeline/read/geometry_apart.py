"""Compares a layer's geometry with the columns that are mapped instead of it, in the first rows of a file."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.geodesy.crs_comparison import disagree, is_geographic, is_projected
from pipeline.geodesy.own_places import lonlat
from pipeline.job.model import Points
from pipeline.plausible.two_positions import step_of
from pipeline.read.columns import readings
from pipeline.read.raw_batch import Raw
from pipeline.read.sources import JSON, Source
from pipeline.sphere import DEGREE
from pipeline.words import counted

#: Metres that a geometry may be off besides its digits and those of the columns, and within which rows are off alike.
_APART, _ALIKE = 0.05, 0.02


class GeometryApart(Struct, frozen=True):
    """How far geometries lie from the mapped position of their rows.

    ``count`` of ``compared`` rows are off, the first of them ``row``, by ``least`` to ``most`` metres; ``alike`` is
    whether all that were compared are off by one vector.
    """

    compared: int
    count: int
    row: int
    least: float
    most: float
    alike: bool
    words: tuple[str, str]

    def told(self, shown: str) -> str:
        """Return it in words, with the file as it is ``shown``."""
        columns = " and ".join(self.words)
        if self.alike:
            what = f"the geometry lies {self.most:.2f} m from the columns mapped as {columns}, in all rows the same way"
            fix = "it may be in another datum, or one of the two was moved"
        else:
            far = " to ".join(dict.fromkeys((f"{self.least:.2f}", f"{self.most:.2f}"))) + " m"
            rows = f"in {self.count:,} of the first {counted(self.compared, 'row')} (first one here)"
            what = f"{rows} the geometry lies {far} from the columns mapped as {columns}"
            fix = "one of the two was edited or is of other rows"
        return f"{shown}:{self.row}: {what}. The columns are used; check which is right: {fix}"


def geometry_apart(path: Path, points: Points, source: Source, first: Sequence[Raw]) -> GeometryApart | None:
    """Return how far the geometries of a file's first rows lie from its mapped columns; None where they agree.

    Degrees are compared with degrees, those too that a grid's eastings and northings are, and eastings and northings
    with those of the same grid.
    """
    position = source.how.position
    words = (position.words[0], position.words[1])
    json = path.suffix.lower() in JSON and source.crs is None
    if position.from_geometry or points.crs is None or not first:
        return None
    degrees = words[0] == "longitude"
    on_grid = not json and is_projected(source.crs)
    if degrees and not (json or on_grid or is_geographic(source.crs)):
        return None
    if not degrees and (words[0] != "easting" or not on_grid or disagree(source.crs, points.crs)):
        return None
    pairs = [_pairs(raw, source) for raw in first if raw.geometry is not None]
    stored, mapped, row = (np.concatenate(each) for each in zip(*pairs, strict=True)) if pairs else (_NO, _NO, _NO)
    known = np.isfinite(stored + mapped).all(axis=1) & stored.any(axis=1) if pairs else np.zeros(0, bool)
    if not known.any():
        return None
    stored, mapped, row = stored[known], mapped[known], row[known]
    rounding = 0.75 * step_of(stored) * (1.0 if on_grid else DEGREE) + 0.75 * step_of(mapped) * (
        DEGREE if degrees else 1.0
    )
    if degrees and on_grid and source.crs is not None:
        stored = np.column_stack(lonlat(source.crs, stored[:, 0], stored[:, 1], np.zeros(len(stored))))
    off = _off_in_degrees(stored, mapped) if degrees else _off_on_grid(stored, mapped, source.how.lengths.plan)
    far = np.hypot(*off.T)
    apart = np.flatnonzero(far > _APART + rounding)
    if not len(apart):
        return None
    alike = len(apart) == len(far) and bool((np.ptp(off, axis=0) <= _ALIKE + rounding).all())
    least, most = float(far[apart].min()), float(far[apart].max())
    return GeometryApart(len(far), len(apart), int(row[apart[0]]), least, most, alike and len(far) > 1, words)


_NO = np.zeros((0, 2))


def _pairs(raw: Raw, source: Source) -> tuple[Floats, Floats, Floats]:
    """Return (n, 2) geometries as stored, (n, 2) mapped positions in degrees or metres, and (n,) the rows' numbers."""
    assert raw.geometry is not None
    read = readings(raw, source.how.afresh())
    mapped = np.column_stack([np.asarray(read.column(word), np.float64) for word in ("first", "second")])
    return np.column_stack([raw.geometry.x, raw.geometry.y]), mapped, raw.row.astype(np.float64)


def _off_in_degrees(stored: Floats, mapped: Floats) -> Floats:
    """Return (n, 2) metres east, north by which geometries are off; a turn more or less is the same longitude."""
    off = stored - mapped
    off[:, 0] = ((off[:, 0] + 180.0) % 360.0 - 180.0) * np.cos(np.radians(mapped[:, 1]))
    return off * DEGREE


def _off_on_grid(stored: Floats, mapped: Floats, metre: float) -> Floats:
    """Return (n, 2) metres by which geometries are off, whichever of the two they have first and to whatever side."""
    offs = [np.abs(pair * metre) - np.abs(mapped) for pair in (stored, stored[:, ::-1])]
    return min(offs, key=lambda off: float(np.median(np.abs(off))))
