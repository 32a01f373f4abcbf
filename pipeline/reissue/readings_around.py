"""Finds what became of the readings observed next to an occupation of an issue before: others too, or as they were.

A reading that a surveyor, or the office, put right alone stands among others that are as they were; where an export, a
session or a stretch of time was processed again, those next to it are others too.
"""

from collections.abc import Collection, Iterable, Mapping
from contextlib import closing

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.positions import working_positions
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.earlier_rows import Lost, read_batches
from pipeline.issue.record_types import Record
from pipeline.problems import JobError
from pipeline.read.exports import read_batches as read_export
from pipeline.reissue.as_exported import COLUMNS, SAME, Stood, as_exported, stood_in, stood_of
from pipeline.reissue.earlier import Last
from pipeline.reissue.named_occupations import named_occupations
from pipeline.reissue.occupied import ALIKE
from pipeline.tables import milliseconds

#: Readings on either side that are asked.
_NEAREST = 5
#: Readings on either side among which these are sought: others of the session may be of another export.
_SOUGHT = 200
#: By how many times more than the others a reading must differ, and by how many metres, to have done so by itself.
_MUCH, _AT_LEAST = 10.0, 0.02

_Reading = tuple[str, int]


class Around(Struct, frozen=True):
    """Metres by which the readings next to an occupation differ from an issue before: those before, and those after."""

    before: Floats
    after: Floats

    @property
    def known(self) -> bool:
        """Say whether any is known."""
        return bool(len(self.before) + len(self.after))

    @property
    def stand(self) -> bool:
        """Say whether most of them are as they were, on both sides: from a moment on, an export may be another."""
        sides = [side for side in (self.before, self.after) if len(side)]
        return bool(sides) and all(np.count_nonzero(side <= SAME) * 2 > len(side) for side in sides)

    def far_exceeded_by(self, metres: float) -> bool:
        """Say whether a reading that differs by so much differs far more than all of them."""
        most = float(np.concatenate([self.before, self.after]).max(initial=0.0))
        return self.known and metres > max(_MUCH * most, _AT_LEAST)


def readings_around(issue: Last, time: int, stood: Stood, survey: Survey, export: int, step: int) -> Around:
    """Return by how much the readings next to one of an issue differ now.

    Those on marks count where they did not fail: what failed may have been put right, as the one may. Where its own
    export has none of them, they are sought in the others. The issue's points and the exports are read once more, which
    only a check costs that failed and has other numbers.

    Args:
        issue: the issue; where its GeoPackage is gone, nothing is known.
        time: when the reading was observed by that issue, UTC milliseconds.
        stood: how it stood there.
        survey: the job.
        export: the number of the export that has the reading now.
        step: milliseconds by which its time is another now.
    """
    then = _then(issue, time, stood.session)
    found = _compared(issue, then, survey, [export], time, step)
    others = [number for number in range(len(survey.exports)) if number != export]
    return found if found.known else _compared(issue, then, survey, others, time, step)


def _compared(
    issue: Last, then: Mapping[_Reading, Stood], survey: Survey, exports: Iterable[int], time: int, step: int
) -> Around:
    """Return by how much readings of an issue, the nearest first, differ from those that some exports have now."""
    wanted, now = {(name, at + step) for name, at in then}, dict[_Reading, Floats]()
    try:
        for number in exports:
            now |= _now(survey, number, wanted)
    except JobError:  # a file that changed meanwhile is told where the points are made
        now = {}
    sides: tuple[list[float], list[float]] = ([], [])
    for (name, at), place in then.items():
        side = sides[at > time]
        if len(side) == _NEAREST or (found := now.get((name, at + step))) is None:
            continue
        was = as_exported(issue.record, place, survey)
        if len(was):
            side.append(float(np.linalg.norm(was - found, axis=1).min()))
    return Around(np.array(sides[0]), np.array(sides[1]))


def _then(issue: Last, time: int, session: str) -> dict[_Reading, Stood]:
    """Return readings of the session near a time, the nearest first, without any that was observed at that time."""
    found = _on_marks(issue.record, session)
    for layer in ("points", "held_back"):
        try:
            with closing(read_batches(issue.package, layer, COLUMNS)) as batches:
                for batch in batches:
                    table = pa.Table.from_batches([batch]).filter(pc.equal(batch.column("session"), session))
                    here = {(name, at): stood for name, at, stood in stood_in(table)}
                    found = _nearest({**found, **here}, time)
        except Lost:  # of few readings on marks nobody can tell whether a stretch between them was processed again
            return {}
    return _nearest(found, time)


def _on_marks(record: Record, session: str) -> dict[_Reading, Stood]:
    return {
        (one.name, one.time): stood_of(one.row)
        for one in named_occupations(record)
        if one.row["session"] == session and one.row["passed"] is not False
    }


def _nearest(found: dict[_Reading, Stood], time: int) -> dict[_Reading, Stood]:
    order = sorted((one for one in found if abs(one[1] - time) > ALIKE), key=lambda one: abs(one[1] - time))
    before = [one for one in order if one[1] < time][:_SOUGHT]
    after = [one for one in order if one[1] > time][:_SOUGHT]
    return {one: found[one] for one in (*before, *after)}


def _now(survey: Survey, number: int, wanted: Collection[_Reading]) -> dict[_Reading, Floats]:
    """Return where those of some readings lie as exported that one export has, in the working frame."""
    export, found = survey.exports[number], dict[_Reading, Floats]()
    names = pa.array(sorted({name for name, _ in wanted}), pa.string())
    by_second: dict[tuple[str, int], _Reading] = {}
    for name, at in wanted:  # an export may come again with its times to the second
        for second in (at // ALIKE - 1, at // ALIKE, at // ALIKE + 1):
            by_second[name, second] = (name, at)
    for batch in read_export(export):
        named = np.flatnonzero(np.asarray(pc.fill_null(pc.is_in(batch.column("name"), names), False), bool))
        sifted = survey.sieve.sift(batch, None, export.points.columns.solution is not None)
        session = np.asarray(sifted.session[named], np.int64)
        rows, session = named[session >= 0], session[session >= 0]
        if not len(rows):
            continue
        part = batch.take(pa.array(rows))
        frame = survey.operations.frames.to_working[export.block]
        raw = working_positions(part, frame, survey.operations.epochs[session, export.block])
        for at, (name, time) in enumerate(
            zip(part.column("name").to_pylist(), milliseconds(part).tolist(), strict=True)
        ):
            one = by_second.get((name, time // ALIKE))
            if one is not None and abs(one[1] - time) <= ALIKE and np.isfinite(raw[at]).all():
                found[one] = raw[at]
    return found
