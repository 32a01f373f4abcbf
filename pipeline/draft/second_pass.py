"""The second pass: every reading corrected, given its proof word, and either drafted or held back with a reason."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.earlier_numbers import Reuse
from pipeline.draft.merged_readings import MergedReadings
from pipeline.draft.unique_names import UniqueNames
from pipeline.geodesy.axes import Axes
from pipeline.intake.coverage import why_outside
from pipeline.intake.mean_rows import Means
from pipeline.intake.positions import raw_positions, working_positions
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export, read_again
from pipeline.replace import replace
from pipeline.solve.correct import VALUES, Corrected, correct
from pipeline.solve.field_shifts import FieldReadings
from pipeline.solve.proof import PROOFS
from pipeline.solve.reading_precision import Precision, observed_precision, scale_of
from pipeline.solve.solve import Solved
from pipeline.tables import milliseconds
from pipeline.words import REASONS, REASONS_OF_PROOF, Proof, Reason, reason_code

#: How the words of `Proof` that may be held back are called as reasons.
_AS_REASON = {Proof(reason): reason for reason in REASONS_OF_PROOF}

_WHY_PROOF = {
    Reason.SUSPECT: "an occupation of a control mark next to it in time failed",
    Reason.UNCLOSED: "no passing occupation of a control mark on both sides of it in time",
    Reason.UNCHECKED: "its session has no independent check, or none of a field shift in it",
}
#: Codes of what has coordinates: points, and what is held back for its proof.
_PLACED = np.array([0, *map(reason_code, REASONS_OF_PROOF)], np.uint8)
_WHY_UNSURE = (
    "it is not known whether it carries the field shift: it was observed between `earliest` and `from`,"
    " or between `until` and `latest`"
)

#: Gives the numbers of an earlier issue that a batch of an export has already.
Lookup = Callable[[pa.RecordBatch, Export], Reuse | None]


class Drafted(Struct, frozen=True, kw_only=True):
    """One batch after the second pass: (n,) each.

    ``number`` is that of its export among the job's, and ``start`` that of its first row among all of the job.
    ``corrected`` has easting, northing and height as the grid writes them: in its unit, to its sides. ``held`` is 0 for
    points and occupations of marks; ``on_mark`` tells the two apart. ``apart`` (n, 2) is how far the
    two models of the shift differ, horizontally and in height, where the job uses the grid model.
    """

    batch: pa.RecordBatch
    export: Export
    number: int
    start: int
    session: NDArray[np.int32]
    corrected: Corrected
    proof: NDArray[np.uint8]
    held: NDArray[np.uint8]
    on_mark: Flags
    apart: Floats | None = None

    @property
    def points(self) -> Flags:
        """Return (n,) which readings are drafted."""
        drafted: Flags = (self.held == 0) & ~self.on_mark
        return drafted

    def placed(self, rows: Integers) -> Flags:
        """Return (k,) which of some rows are no occupations, and are points or held back for their proof alone."""
        placed: Flags = np.isin(self.held[rows], _PLACED) & ~self.on_mark[rows]
        return placed


@dataclass(frozen=True)
class Drafter:
    """Everything the second pass needs, frozen: no method changes it, so that batches may be worked in any order.

    ``merged`` is what is issued of points measured twice; another one makes another Drafter (`draft/merged.py`).
    """

    survey: Survey
    solved: Solved
    merged: MergedReadings = field(default_factory=MergedReadings)

    @cached_property
    def names(self) -> UniqueNames:
        """The names that several points have, told apart."""
        left_out = np.concatenate([self.solved.not_points, self.merged.gone, self.merged.aside])
        return UniqueNames.of(self.survey.first_pass.same_names, left_out, self.merged.stands)

    def batches(self, ready: Lookup | None = None) -> Iterator[Drafted]:
        """Read the exports again and yield every batch, worked.

        ``ready`` gives each the numbers that it has of an earlier issue.
        """
        start = 0
        for number, rows in enumerate(self.survey.first_pass.rows):
            yield from self.batches_of(number, start, ready)
            start += rows

    def batches_of(self, number: int, start: int, ready: Lookup | None = None) -> Iterator[Drafted]:
        """Read one export again, whose first row is number ``start`` of the job, and yield every batch, worked."""
        export = self.survey.exports[number]
        for batch in read_again(export, self.survey.first_pass.kept[number]):
            yield self.work(batch, number, start, ready(batch, export) if ready is not None else None)
            start += batch.num_rows

    def work(self, batch: pa.RecordBatch, number: int, start: int, reuse: Reuse | None = None) -> Drafted:
        """Work one batch of export ``number``, whose first row is number ``start`` of the job.

        ``reuse`` has numbers that stand.
        """
        export, rows = self.survey.exports[number], batch.num_rows
        duplicates = within(self.survey.first_pass.duplicates, start, rows)
        sifted = self.survey.sieve.sift(batch, duplicates, export.points.columns.solution is not None)
        held, session = sifted.held.copy(), sifted.session
        corrected, apart = self._correct(batch, number, session, reuse)

        def hold(which: Flags, reason: Reason) -> None:
            held[which & (held == 0)] = reason_code(reason)

        on_mark = within(np.asarray(self.solved.occupations.table.column("number"), np.int64), start, rows)
        hold(within(self.survey.first_pass.implausible.numbers, start, rows) & ~on_mark, Reason.IMPLAUSIBLE)
        hold(~self.solved.shifts.fully_tied[session], Reason.UNTIED)
        hold(~(np.isfinite(corrected.easting) & np.isfinite(corrected.height)), Reason.OUTSIDE_COVERAGE)
        unanswered = np.fromiter(self.solved.unanswered, np.int64)
        hold(within(unanswered, start, rows), Reason.SUSPECT)
        time, whole = milliseconds(batch), session.astype(np.int64)
        proof = self._proof(time, session)
        self._less_proven(proof, session, start)
        proof[self._unsure(batch, number, session)] = PROOFS.index(Proof.SUSPECT)
        for stray in self.solved.strays:
            proof[stray.readings(whole, number, batch.column("base"))] = PROOFS.index(Proof.SUSPECT)
        source_row = np.asarray(batch.column("source_row"), np.int64)
        for own in self.solved.own_failing:
            proof[own.reached(whole, time, number, source_row)] = PROOFS.index(Proof.SUSPECT)
        for word in self.survey.job.issue.hold_back:
            hold(~on_mark & (proof == PROOFS.index(Proof(word))), _AS_REASON[Proof(word)])
        hold(within(self.merged.gone, start, rows), Reason.DUPLICATE)
        corrected, means, which = self.merged.put_means(corrected, start)
        proof[means] = self.merged.proof[which]
        return Drafted(
            batch=batch,
            export=export,
            number=number,
            start=start,
            session=session,
            corrected=corrected,
            proof=proof,
            held=held,
            on_mark=on_mark & (held == 0),
            apart=apart,
        )

    def _correct(
        self, batch: pa.RecordBatch, number: int, session: NDArray[np.int32], reuse: Reuse | None
    ) -> tuple[Corrected, Floats | None]:
        """Correct the readings that have a session; the others come out as NaN.

        Here the coordinates leave metres and are written as the grid writes them. Where the grid model is used, returns
        also (n, 2) metres by which the geocentric model differs. Numbers that an earlier issue has, and that no change
        reaches, are taken over.
        """
        ready, numbers = _ready(reuse, batch, self.survey.exports[number], session)
        rows = np.flatnonzero((session >= 0) & ~ready)
        whole = len(rows) == batch.num_rows
        there = batch if whole else batch.take(pa.array(rows))
        sessions = session[rows].astype(np.int64)
        operations = self.survey.operations
        xyz, precision = self.observed(there, number, sessions)
        models = [self.solved.applied]
        if models[0].grid is not None:
            models.append(replace(models[0], grid=None))
        found = [correct(operations, xyz, sessions, precision, model) for model in models]
        apart = _apart(*found) if len(found) > 1 else None
        issued = written(found[0], self.survey.axes)
        if not whole:
            issued = _spread(issued, rows, ready, numbers)
            if apart is not None:
                of_rows, apart = apart, np.full((len(ready), 2), np.nan)
                apart[rows] = of_rows
        return issued, apart

    def observed(self, batch: pa.RecordBatch, number: int, session: Integers) -> tuple[Floats, Precision]:
        """Return (n, 3) raw positions in the working frame, field shifts taken out, and how certain they are.

        ``number`` is that of their export.
        """
        export = self.survey.exports[number]
        frames, quality = self.survey.operations.frames, self.survey.job.quality
        epochs = self.survey.operations.epochs[session, export.block]
        xyz = working_positions(batch, frames.to_working[export.block], epochs)
        if self.solved.field.taken:
            export_of = np.full(batch.num_rows, number)
            readings = FieldReadings(session, milliseconds(batch), export_of, batch.column("base"))
            xyz = self.solved.field.take_out(xyz, readings, frames.to_issued)
        distance = np.linalg.norm(xyz - self.survey.bases.receiver[session], axis=1)
        return xyz, observed_precision(batch, quality, distance, scale_of(quality, export.points))

    def _proof(self, time: Integers, session: NDArray[np.int32]) -> NDArray[np.uint8]:
        proof = np.full(len(time), PROOFS.index(Proof.UNCHECKED), np.uint8)
        for number in np.unique(session[session >= 0]).tolist():
            here = session == number
            proof[here] = self.solved.evidence[number].words(time[here])
        return proof

    def _less_proven(self, proof: NDArray[np.uint8], session: NDArray[np.int32], start: int) -> None:
        """Give readings whose time seems to be copied down what proves the rows around them least."""
        for one in self.survey.first_pass.copied_times:
            of_run = slice(max(one.first - start, 0), max(one.last + 1 - start, 0))
            for number in np.unique(session[of_run][session[of_run] >= 0]).tolist():
                word = self.solved.evidence[number].least(one.since, one.until)
                proof[of_run] = np.where(session[of_run] == number, word, proof[of_run])

    def _unsure(self, batch: pa.RecordBatch, number: int, session: NDArray[np.int32]) -> Flags:
        """Return which readings lie where nobody knows whether they carry a field shift."""
        found = np.zeros(batch.num_rows, bool)
        windows = [one for one in self.survey.prepared.field_windows if one.stated.earliest or one.stated.latest]
        for one in windows:
            of_export = np.full(batch.num_rows, number)
            found |= one.unsure(session.astype(np.int64), milliseconds(batch), of_export, batch.column("base"))
        return found

    def explain(self, drafted: Drafted, row: int) -> str | None:
        """Return in words why one reading of a batch is held back."""
        said = drafted.batch.column("detail")[row].as_py()
        reason = REASONS[int(drafted.held[row]) - 1]
        return said or self.survey.sieve.explain(drafted.batch, row, reason) or self._why(drafted, row, reason)

    def _why(self, drafted: Drafted, row: int, reason: Reason) -> str | None:
        if reason is Reason.SUSPECT and drafted.start + row in self.solved.unanswered:
            return self.solved.unanswered[drafted.start + row]
        if reason is Reason.SUSPECT:
            one = drafted.batch.slice(row, 1), drafted.number, drafted.session[row : row + 1]
            return _WHY_UNSURE if self._unsure(*one).any() else self._why_stray(drafted, row) or _WHY_PROOF[reason]
        if reason is Reason.DUPLICATE:
            if (gave_way := self.merged.explain(drafted.start + row)) is not None:
                return gave_way
            first = self._first(drafted.start + row)
            if drafted.start + row in self._mean_rows:
                return (
                    f"the mean of other rows of its name, or of names like it, from {first} on: it adds nothing to them"
                )
            return f"the same observation as {first}"
        if reason is Reason.IMPLAUSIBLE:
            number, session = drafted.start + row, int(drafted.session[row])
            raw = [float(values[0]) for values in raw_positions(drafted.batch.slice(row, 1))]
            quality, crs = self.survey.job.quality, drafted.export.points.crs or ""
            return self.survey.first_pass.implausible.detail_of(number, session, crs, raw, quality.max_distance)
        if reason is Reason.UNTIED:
            window = self.survey.windows[int(drafted.session[row])]
            position, height = self.solved.shifts.tied[window.index]
            lacking = " and ".join(["position"] * (not position) + ["height"] * (not height))
            return f"no chain of ties leads from session {window.session.name} to control in {lacking}"
        if reason is Reason.OUTSIDE_COVERAGE:
            return why_outside(self.survey, drafted.export, raw_positions(drafted.batch.slice(row, 1)))
        doubts = [doubt.what for doubt in self.solved.doubts if doubt.reaches(int(drafted.session[row]))]
        if reason is Reason.UNCHECKED and doubts:
            return f"what checks prove is in doubt: {doubts[0]}"
        return _WHY_PROOF.get(reason)

    @cached_property
    def _mean_rows(self) -> frozenset[int]:
        """Return the numbers of readings that are means of others."""
        return frozenset(chain.from_iterable(one.numbers.tolist() for one in self.survey.first_pass.found.of(Means)))

    def _why_stray(self, drafted: Drafted, row: int) -> str | None:
        """Return in words that what its rover stood on is off, all of it or beside it; None where that is not so."""
        session, base = drafted.session[row : row + 1].astype(np.int64), drafted.batch.column("base").slice(row, 1)
        files = [export.shown for export in self.survey.exports]
        of = (one.why(files) for one in self.solved.strays if one.readings(session, drafted.number, base).any())
        one_row = drafted.batch.slice(row, 1)
        at = (session, milliseconds(one_row), drafted.number, np.asarray(one_row.column("source_row"), np.int64))
        own = (one.why(files) for one in self.solved.own_failing if one.reached(*at).any())
        return next(chain(of, own), None)

    def _first(self, number: int) -> str:
        """Return file and row of the reading that row ``number`` of the job repeats."""
        found = self.survey.first_pass
        row = int(np.searchsorted(found.duplicates, number))
        export = int(found.export_of(found.duplicate_of[row]))
        return f"{self.survey.exports[export].shown}:{found.duplicate_row[row]}"


def written(found: Corrected, axes: Axes) -> Corrected:
    """Return coordinates in metres as the grid and the height datum write them; all else stays as it is."""
    if axes.plain:
        return found
    easting, northing, height = axes.written(found.easting, found.northing, found.height)
    return replace(found, easting=easting, northing=northing, height=height)


def _ready(
    reuse: Reuse | None, batch: pa.RecordBatch, export: Export, session: NDArray[np.int32]
) -> tuple[Flags, Floats]:
    """Return (n,) which readings have their numbers from an earlier issue, and those numbers."""
    if reuse is None:
        return np.zeros(batch.num_rows, bool), np.zeros((0, len(VALUES)))
    return reuse.find(export.shown, np.asarray(batch.column("source_row"), np.int64), session.astype(np.int64))


def _apart(one: Corrected, other: Corrected) -> Floats:
    horizontal = np.hypot(one.easting - other.easting, one.northing - other.northing)
    return np.column_stack([horizontal, np.abs(one.height - other.height)])


def within(numbers: Integers, start: int, rows: int) -> Flags:
    """Return (rows,) which of the job's rows from ``start`` on are among ``numbers``."""
    found = np.zeros(rows, bool)
    here = numbers[(numbers >= start) & (numbers < start + rows)]
    found[here - start] = True
    return found


def _spread(found: Corrected, rows: Integers, ready: Flags, numbers: Floats) -> Corrected:
    """Return (n,) numbers: those found for ``rows``, the (k, 8) ``numbers`` for what is ``ready``, NaN for the rest."""

    def full(values: Floats, column: int) -> Floats:
        spread = np.full(len(ready), np.nan)
        spread[rows] = values
        if len(numbers):
            spread[ready] = numbers[:, column]
        return spread

    return Corrected(*(full(getattr(found, name), column) for column, name in enumerate(VALUES)))
