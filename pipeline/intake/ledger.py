"""What the first pass keeps of every reading, in some fifty bytes: enough to find repeats and what cannot be."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.duplicates import (
    Observed,
    height_rounding,
    observation_hashes,
    plan_rounding,
    settled_rounding,
    text_hashes,
    time_rounding,
)
from pipeline.intake.occupations import Signs
from pipeline.intake.positions import raw_positions
from pipeline.intake.sort import Sifted
from pipeline.plausible import placeholders
from pipeline.read.columns import lengths_of
from pipeline.read.files import Export
from pipeline.sessions.attach import base_key
from pipeline.tables import milliseconds
from pipeline.words import Reason, reason_code

#: Bits of a reading's ``flags``: it could be read, nothing is wrong with it, it was refused for its quality, it may
#: stand on a mark, its height may stand for none, it has a code, a session names it, it is a sound point with a name.
WHOLE, SOUND, REFUSED, CANDIDATE, PLACEHOLDER, CODED, NAMED, POINT = (np.uint8(1 << bit) for bit in range(8))
_REFUSALS = (reason_code(Reason.NOT_FIXED), reason_code(Reason.POOR_QUALITY), reason_code(Reason.IMPLAUSIBLE))
#: Above this a height is no more told from another, so that it fits the column.
_HIGHEST = 3e38


@dataclass(frozen=True)
class Rows:
    """Every reading of a job, (n,) in the order of reading; columns as `duplicates.Observed` has them.

    ``hashes`` are those of `duplicates.observation_hashes`, ``spelled`` those of the names as they are written,
    ``source_row`` the numbers in the files.
    """

    observed: Observed
    hashes: NDArray[np.uint64]
    spelled: NDArray[np.uint32]
    session: NDArray[np.int32]
    flags: NDArray[np.uint8]
    source_row: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.hashes)

    def having(self, flag: np.uint8) -> Flags:
        """Return (n,) which readings have a flag."""
        found: Flags = (self.flags & flag) != 0
        return found


@dataclass
class Ledger:
    """Collects `Rows`, batch by batch."""

    columns: dict[str, list[NDArray[Any]]] = field(default_factory=dict)
    counts: list[int] = field(default_factory=list)
    degrees: list[bool] = field(default_factory=list)
    bases: dict[str | None, int] = field(default_factory=lambda: {None: 0})

    @property
    def rows_so_far(self) -> int:
        """Return how many readings were taken."""
        return sum(self.counts)

    def begin(self, degrees: bool) -> None:
        """Start the next export; ``degrees`` tells whether its positions are longitudes and latitudes."""
        self.counts.append(0)
        self.degrees.append(degrees)

    def take(
        self,
        batch: pa.RecordBatch,
        export: Export,
        sifted: Sifted,
        signs: Signs,
        places: tuple[Floats, Floats, Floats],
    ) -> None:
        """Take a batch, what its readings say of marks, and their longitudes, latitudes and heights."""
        first, second, third = raw_positions(batch)
        unit = lengths_of(export.points).up
        readable = np.asarray(batch.column("held").to_numpy(zero_copy_only=False)) == 0
        time = milliseconds(batch)
        spelled = batch.column("name")
        sound = sifted.held == 0
        flags = (
            WHOLE * readable
            + SOUND * sound
            + REFUSED * (readable & np.isin(sifted.held, _REFUSALS))
            + CANDIDATE * signs.candidate
            + PLACEHOLDER * placeholders(np.nan_to_num(third / unit, nan=1.0)) * (export.points.columns.z is None)
            + NAMED * signs.named
            + CODED * _given(batch.column("code"))
            + POINT * (sound & ~signs.coded & _given(spelled))
        )
        # a spreadsheet or a converter writes 001 as 1
        names = text_hashes(pc.utf8_ltrim(pc.utf8_lower(spelled), characters="0 "))
        with np.errstate(invalid="ignore", over="ignore"):
            counted = None if self.degrees[-1] else unit
            east, north = plan_rounding(first, second, counted, export.points.angles == "dms")
            found: dict[str, NDArray[Any]] = {
                "hashes": observation_hashes(batch, names),
                "time": time,
                "longitude": places[0],
                "latitude": places[1],
                "height": np.clip(places[2], -_HIGHEST, _HIGHEST).astype(np.float32),
                "name": names.astype(np.uint32),
                "spelled": text_hashes(spelled).astype(np.uint32),
                "base": self._base_numbers(batch.column("base")),
                "east": east,
                "north": north,
                "up": height_rounding(third, unit),
                "clock": time_rounding(time),
                "session": sifted.session.astype(np.int16 if sifted.session.max(initial=0) < 2**15 else np.int32),
                "flags": flags,
                "source_row": np.asarray(batch.column("source_row"), np.int64).astype(np.int32),
            }
        for name, values in found.items():
            self.columns.setdefault(name, []).append(values)
        self.counts[-1] += batch.num_rows

    def _base_numbers(self, column: pa.Array) -> NDArray[np.int16]:
        coded = pc.dictionary_encode(column)
        keys = [base_key(text) for text in coded.dictionary.to_pylist()]
        numbers = [self.bases.setdefault(key, min(len(self.bases), 2**15 - 1)) for key in keys]
        found: NDArray[np.int16] = np.array([*numbers, 0], np.int16)[np.asarray(pc.fill_null(coded.indices, len(keys)))]
        return found

    def rows(self) -> Rows:
        """Return what was collected, and let go of it piece by piece."""

        def whole(name: str, kind: type[Any]) -> NDArray[Any]:
            pieces = self.columns.pop(name, [])
            return np.concatenate([np.zeros(0, kind), *pieces])

        counts = np.array(self.counts, np.int64)
        east, north, up = (whole(name, np.uint8) for name in ("east", "north", "up"))
        mixed = np.zeros(len(counts), bool)
        for number, (start, count) in enumerate(zip(np.cumsum(counts) - counts, counts, strict=True)):
            here = slice(start, start + count)
            for codes in (east, north, up):
                codes[here], differing = settled_rounding(codes[here])
                mixed[number] |= differing
            if not self.degrees[number]:  # a grid's axes are turned against the meridian
                east[here] = north[here] = np.minimum(east[here], north[here])
        observed = Observed(
            whole("time", np.int64),
            whole("longitude", np.float64),
            whole("latitude", np.float64),
            whole("height", np.float32),
            whole("name", np.uint32),
            whole("base", np.int16),
            np.repeat(np.arange(len(counts), dtype=np.int32), counts),
            east,
            north,
            up,
            whole("clock", np.uint8),
            mixed,
        )
        return Rows(
            observed,
            whole("hashes", np.uint64),
            whole("spelled", np.uint32),
            whole("session", np.int16),
            whole("flags", np.uint8),
            whole("source_row", np.int32),
        )


def _given(column: pa.Array) -> Flags:
    """Return (n,) which texts are there and not empty."""
    found: Flags = np.asarray(pc.fill_null(pc.greater(pc.binary_length(column), 0), False), bool)
    return found
