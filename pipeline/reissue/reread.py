"""Reads again the exports that an issue did not have as they are, for where their readings lie."""

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import text_hashes
from pipeline.duplicates.exact import Hashes
from pipeline.intake.positions import working_positions
from pipeline.intake.survey import Survey
from pipeline.read.exports import read_batches
from pipeline.reissue.as_exported import SAME
from pipeline.reissue.points_before import PlacesBefore, PointsBefore, keys, put_back
from pipeline.solve.field_shifts import FieldReadings, FieldShifts
from pipeline.tables import milliseconds


class Reread(Struct, frozen=True):
    """Sound readings of an export whose names, or whose places, an issue has, (n,) each.

    Args:
        readings: their sessions, times, exports and base ids.
        named: hash of each one's name.
        point: which point of the issue has its name and time, -1 for none.
        lying: which point lay there, of those that are none by name and time; -1 for none.
        raw: (n, 3) as exported, working frame.
        free: (n, 3) likewise without the field shifts that they carry.
    """

    readings: FieldReadings
    named: Hashes
    point: Integers
    lying: Integers
    raw: Floats
    free: Floats

    def some(self, rows: Integers) -> "Reread":
        """Return some of them by their places."""
        of, base = self.readings, self.readings.base.take(pa.array(rows))
        readings = FieldReadings(of.session[rows], of.time[rows], of.export[rows], base)
        point, lying, raw, free = self.point[rows], self.lying[rows], self.raw[rows], self.free[rows]
        return Reread(readings, self.named[rows], point, lying, raw, free)


def reread(
    before: PointsBefore, places: PlacesBefore, survey: Survey, field: FieldShifts, number: int
) -> Iterator[Reread]:
    """Yield what export ``number`` has of names that an issue has, and of what lies where a point of it lay.

    ``field`` are the field shifts of now. Raises `JobError` where the file changed meanwhile.
    """
    export, frames, names = survey.exports[number], survey.operations.frames, np.unique(before.named)
    for batch in read_batches(export):
        sifted = survey.sieve.sift(batch, None, export.points.columns.solution is not None)
        sound = np.flatnonzero((sifted.session >= 0) & (sifted.held == 0))
        if not len(sound):
            continue
        part, session = batch.take(pa.array(sound)), np.asarray(sifted.session[sound], np.int64)
        named, time = text_hashes(part.column("name").cast(pa.string())), milliseconds(part)
        point, lying = np.full(len(sound), -1), np.full(len(sound), -1)
        rows, points = before.find(keys(named, time))
        point[rows] = points
        readings = FieldReadings(session, time, np.full(len(sound), number), part.column("base"))
        epochs = survey.operations.epochs[session, export.block]
        raw = working_positions(part, frames.to_working[export.block], epochs)
        free = field.take_out(raw, readings, frames.to_issued)
        lying[point < 0] = places.find(free[point < 0])
        seen = Reread(readings, named, point, lying, raw, free)
        yield seen.some(np.flatnonzero(np.isin(named, names) | (lying >= 0)))


def as_numbered(before: PointsBefore, seen: Reread, survey: Survey) -> tuple[Floats, Flags]:
    """Return (n, 3) where points of an issue lay free of field shifts, and (n,) whether their numbers are as they were.

    ``seen`` are readings that each are a point of it.
    """
    points, of = seen.point, seen.readings
    free = before.free(points, survey)
    then = FieldReadings(before.session[points], before.time[points], of.export, of.base)
    exported = put_back(before.carried, free, then, survey)
    return free, np.asarray(np.linalg.norm(seen.raw - exported, axis=1) <= SAME)


def joined(parts: Sequence[Reread]) -> Reread:
    """Return readings of an export as one, from one part of them or more."""
    of = [one.readings for one in parts]
    base = pa.concat_arrays([one.base.cast(pa.string()) for one in of])
    session, time, export = (
        np.concatenate(each) for each in zip(*((o.session, o.time, o.export) for o in of), strict=True)
    )
    rest = zip(*((one.named, one.point, one.lying, one.raw, one.free) for one in parts), strict=True)
    return Reread(FieldReadings(session, time, export, base), *map(np.concatenate, rest))
