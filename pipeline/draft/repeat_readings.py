"""Collects the numbers of readings that may be of a point measured twice, while the second pass runs."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.solve.correct import VALUES
from pipeline.tables import milliseconds


class Readings(Struct, frozen=True):
    """Readings that may be of a point measured twice, (k,) in the order of reading.

    Args:
        number: of the row in the job.
        name: which of the names that several have, -1 where no other has it.
        label: the names.
        session: index of the session.
        time: UTC milliseconds.
        values: (k, 8) issued numbers, as `correct.VALUES` names them.
        sigma: (k, 3) standard uncertainty of the observation east, north, up.
        correlated: (k, 3) its covariances of east and north, east and up, north and up.
        proof: code of the proof word.
        drafted: whether it is a point, and not held back.
        export: number of the export; ``source_row`` the row there.
    """

    number: Integers
    name: Integers
    label: pa.Array
    session: Integers
    time: Integers
    values: Floats
    sigma: Floats
    correlated: Floats
    proof: NDArray[np.uint8]
    drafted: Flags
    export: Integers
    source_row: Integers

    def value(self, name: str) -> Floats:
        """Return (k,) one of the issued numbers by its name."""
        found: Floats = self.values[:, VALUES.index(name)]
        return found

    def metres(self, counts: Sequence[float]) -> Floats:
        """Return (k, 3) easting, northing, height as metres to the east, the north and upwards."""
        found: Floats = self.values[:, :3] * np.array(counts)
        return found


class RepeatCollector(Struct):
    """Gathers them, batch by batch."""

    drafter: Drafter
    wanted: Integers
    names: tuple[Integers, Integers]
    columns: dict[str, list[NDArray[Any]]] = field(default_factory=dict)
    labels: list[pa.Array] = field(default_factory=list)

    @classmethod
    def of(cls, drafter: Drafter) -> "RepeatCollector":
        """Return one that has gathered nothing yet; occupations of marks are left out."""
        same, solved = drafter.survey.first_pass.same_names, drafter.solved
        wanted = np.setdiff1d(drafter.survey.measured_twice, solved.not_points)
        order = np.argsort(same.number)
        return cls(drafter, wanted, (same.number[order], same.name[order]))

    def take(self, drafted: Drafted) -> None:
        """Take what is wanted of a batch."""
        start = drafted.start
        first, last = np.searchsorted(self.wanted, [start, start + len(drafted.held)])
        rows = self.wanted[first:last] - start
        rows = rows[drafted.placed(rows)]
        rows = rows[np.isfinite(drafted.corrected.easting[rows]) & np.isfinite(drafted.corrected.height[rows])]
        if not len(rows):
            return
        batch = drafted.batch.take(pa.array(rows))
        session = drafted.session[rows].astype(np.int64)
        _, precision = self.drafter.observed(batch, drafted.number, session)
        found = {
            "number": rows + start,
            "name": self._name(rows + start),
            "session": session,
            "time": milliseconds(batch),
            "values": np.column_stack([getattr(drafted.corrected, name)[rows] for name in VALUES]),
            "sigma": precision.sigma,
            "correlated": precision.pairs(),
            "proof": drafted.proof[rows],
            "drafted": drafted.held[rows] == 0,
            "export": np.full(len(rows), drafted.number),
            "source_row": np.asarray(batch.column("source_row"), np.int64),
        }
        for name, values in found.items():
            self.columns.setdefault(name, []).append(values)
        self.labels.append(batch.column("name"))

    def _name(self, number: Integers) -> Integers:
        known, names = self.names
        if not len(known):
            return np.full(len(number), -1)
        at = np.minimum(np.searchsorted(known, number), len(known) - 1)
        return np.where(known[at] == number, names[at], -1)

    def readings(self) -> Readings:
        """Return what was gathered."""
        if not self.labels:
            none, flags = np.zeros(0, np.int64), np.zeros(0, bool)
            empty, numbers = np.zeros((0, 3)), np.zeros((0, len(VALUES)))
            label, proof = pa.array([], pa.string()), np.zeros(0, np.uint8)
            return Readings(
                number=none,
                name=none,
                label=label,
                session=none,
                time=none,
                values=numbers,
                sigma=empty,
                correlated=empty,
                proof=proof,
                drafted=flags,
                export=none,
                source_row=none,
            )
        whole = {name: np.concatenate(pieces) for name, pieces in self.columns.items()}
        return Readings(label=pa.concat_arrays(self.labels), **whole)


def collected_again(drafter: Drafter) -> Readings:
    """Read the exports that hold points measured twice once more, and return those readings."""
    gathered, start = RepeatCollector.of(drafter), 0
    for number, rows in enumerate(drafter.survey.first_pass.rows):
        first, last = np.searchsorted(gathered.wanted, [start, start + rows])
        if first < last:
            for drafted in drafter.batches_of(number, start):
                gathered.take(drafted)
        start += rows
    return gathered.readings()
