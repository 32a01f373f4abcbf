"""Columns of precisions, by their headings, that no job file maps: how large their numbers are beside what is used."""

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.intake.positions import stated_sigmas
from pipeline.job.model import Quality
from pipeline.read.exports import Export
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.mapping import mapped
from pipeline.read.numeric import plain_numbers
from pipeline.read.precision_headings import PrecisionHeading, Side, precision_in_heading

_PLACES = {Side.EAST: (0,), Side.NORTH: (1,), Side.UP: (2,), Side.PLAN: (0, 1)}
#: Headings that leave the side open are held against the largest of all.
_ANY = (0, 1, 2)


class LeftPrecision(Struct):
    """A column that is a precision by its heading and is carried along: sums of squares over ``count`` sound readings.

    ``stated`` [m2] is of what the column says, ``used`` [m2] of the standard uncertainties that are used instead.
    ``below`` tells that it has numbers below zero, which no precision has.
    """

    said: PrecisionHeading
    stated: float = 0.0
    used: float = 0.0
    count: int = 0
    below: bool = False

    def take(self, values: Floats, used: Floats) -> None:
        """Take readings: what the column says (n,), and what is used to the east, north and up (n, 3), both [m]."""
        values = np.sqrt(values, where=values > 0.0, out=values.copy()) if self.said.square else values
        known = np.isfinite(values)
        self.below |= bool((values[known] < 0.0).any())
        places = list(_PLACES.get(self.said.side, _ANY))
        self.stated += float(np.square(values[known]).sum())
        self.used += float(np.square(used[known][:, places].max(axis=1)).sum()) if known.any() else 0.0
        self.count += int(known.sum())


def note_left(
    found: dict[str, LeftPrecision], batch: pa.RecordBatch, export: Export, sound: Flags, quality: Quality
) -> None:
    """Take a batch of an export: its ``sound`` (n,) readings, into what was found of it by the columns' headings."""
    taken = set(mapped(export.points.columns).values())  # those that another word is made from are carried too
    own = [
        (field.name, said)
        for field in export.carried
        if field.name not in taken and (said := precision_in_heading(field.name)) is not None
    ]
    if not own:
        return
    default = (quality.sigma_horizontal, quality.sigma_horizontal, quality.sigma_vertical)
    stated = np.column_stack(stated_sigmas(batch))[sound]
    used = np.where(stated > 0.0, stated, np.array(default))
    for name, said in own:
        cells = batch.column(name)
        if not (pa.types.is_string(cells.type) or pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type)):
            continue
        values = plain_numbers(cells)
        metre = (metres_in_heading(name) or (1.0,))[0]
        found.setdefault(name, LeftPrecision(said)).take(values[sound] * metre, used)
