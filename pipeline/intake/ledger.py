"""Per-reading columns of the first pass, for finding repeats and impossible values: four bytes each in memory."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import (
    Observed,
    height_rounding,
    observation_hashes,
    plan_rounding,
    text_hashes,
    time_rounding,
    usual_rounding,
)
from pipeline.duplicates.exact import Hashes, mixed, place_hashes
from pipeline.intake.columns import DiskColumn, DiskColumns
from pipeline.intake.positions import raw_positions
from pipeline.intake.sort import Sifted
from pipeline.occupations.signs import Signs
from pipeline.plausible import placeholders
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export
from pipeline.sessions.attach import base_key
from pipeline.tables import folded_column, has_text, milliseconds
from pipeline.words import Reason, reason_code

#: Bits of a reading's ``flags``: it could be read, nothing is wrong with it, it was refused for its quality, it may
#: stand on a mark, its height may stand for none, it has a code, a session names it, it is a sound point with a name,
#: it has a longitude and latitude.
WHOLE, SOUND, REFUSED, CANDIDATE, PLACEHOLDER, CODED, NAMED, POINT, PLACED = (np.uint16(1 << bit) for bit in range(9))
_REFUSALS = (reason_code(Reason.NOT_FIXED), reason_code(Reason.POOR_QUALITY), reason_code(Reason.IMPLAUSIBLE))
#: Above this a height is no more told from another, so that it fits the column.
_HIGHEST = 3e38


#: What is laid down of every reading: the columns of `duplicates.Observed`, hashes, and the number in the file.
_KINDS: dict[str, type[Any]] = {
    "time": np.int64,
    "longitude": np.float64,
    "latitude": np.float64,
    "height": np.float32,
    "name": np.uint32,
    "base": np.int16,
    "east": np.uint8,
    "north": np.uint8,
    "up": np.uint8,
    "clock": np.uint8,
    "hashes": np.uint64,
    "spelled": np.uint32,
    "code": np.uint32,
    "source_row": np.int32,
}
_ROUNDED = ("east", "north", "up")
_OBSERVED = ("time", "longitude", "latitude", "height", "name", "base", *_ROUNDED, "clock")


class ReadingRows(Struct, frozen=True):
    """Every reading of a job, (n,) in the order of reading; memory has session and flags of each, disk the rest.

    Args:
        columns: as `_KINDS` has them. ``hashes`` are those of `duplicates.observation_hashes`, ``spelled`` as
            `spelling_hashes`, ``code`` as `code_hashes`, ``source_row`` the numbers in the files. ``name``, as
            `name_hashes`, has half of their bits, and in a large job two names may have one: it does where time or
            place has to agree too, and a name alone is known by its `same_names.name_keys`.
        session: (n,) index of the session, negative where none.
        flags: (n,) what holds of each, in bits.
        starts: (E,) the number of each export's first row.
        usual: (E, 3) code of the rounding that all rows of an export have at least, to the east, the north and upwards.
        degrees: (E,) whether an export has longitudes and latitudes.
        mixed: (E,) whether it holds rows of different rounding.
        bases: the keys of base ids by their numbers in ``columns``; None is no id.
    """

    columns: DiskColumns
    session: NDArray[np.int32]
    flags: NDArray[np.uint16]
    starts: Integers
    usual: NDArray[np.uint8]
    degrees: Flags
    mixed: Flags
    bases: tuple[str | None, ...] = (None,)

    def __len__(self) -> int:
        return len(self.flags)

    def having(self, *flags: np.uint16) -> Flags:
        """Return (n,) which readings have all of these flags."""
        every = np.bitwise_or.reduce(flags)
        found: Flags = (self.flags & every) == every
        return found

    def counts(self) -> Integers:
        """Return (E,) how many readings each export has."""
        return np.diff(self.starts, append=len(self))

    def each(self, name: str) -> DiskColumn:
        """Return one of the columns, to be gone through."""
        return DiskColumn(self.columns, name)

    def export(self, numbers: Integers) -> NDArray[np.int32]:
        """Return (k,) the exports of readings."""
        found: NDArray[np.int32] = (np.searchsorted(self.starts, numbers, side="right") - 1).astype(np.int32)
        return found

    def source_row(self, numbers: Integers) -> Integers:
        """Return (k,) the numbers of readings in their files."""
        ordered, places = np.unique(numbers, return_inverse=True)
        (found,) = self.columns.take(ordered, "source_row")
        return found[places].astype(np.int64)

    def place(self, number: int) -> tuple[int, int]:
        """Return the export of one reading, and its number in the file."""
        one = np.array([number], np.int64)
        return int(self.export(one)[0]), int(self.source_row(one)[0])

    def codes(self, numbers: Integers) -> NDArray[np.uint32]:
        """Return (k,) hashes of the codes of readings, 0 where there is none."""
        ordered, places = np.unique(numbers, return_inverse=True)
        (found,) = self.columns.take(ordered, "code")
        hashed: NDArray[np.uint32] = found[places].reshape(numbers.shape)
        return hashed

    def times(self) -> Iterator[tuple[slice, Integers, NDArray[np.uint8]]]:
        """Yield by pieces the place of rows among all, (k,) their times, and (k,) codes of how these are rounded."""
        for place, (time, clock) in self.columns.pieces("time", "clock"):
            yield place, time, clock

    def observed(self, numbers: Integers) -> Observed:
        """Return the readings of these numbers (k,), which ascend."""
        time, longitude, latitude, height, name, base, east, north, up, clock = self.columns.take(numbers, *_OBSERVED)
        export = self.export(numbers)
        for codes, least in zip((east, north, up), self.usual[export].T, strict=True):
            np.maximum(codes, least, out=codes)
        turned = np.flatnonzero(~self.degrees[export])  # a grid's axes are turned against the meridian
        east[turned] = north[turned] = np.minimum(east[turned], north[turned])
        return Observed(
            time=time,
            longitude=longitude,
            latitude=latitude,
            height=height,
            name=name,
            base=base,
            export=export,
            east=east,
            north=north,
            up=up,
            clock=clock,
        )


class Places(Struct, frozen=True):
    """Hashes of name and position of every reading, whenever it was observed, piece by piece as often as needed."""

    columns: DiskColumns

    def __iter__(self) -> Iterator[Hashes]:
        for _, (name, *place) in self.columns.pieces("name", "longitude", "latitude", "height"):
            yield place_hashes(name, *place)


class Names(Struct, frozen=True):
    """Hashes of the name of every reading, 0 where it has none, piece by piece as often as needed."""

    columns: DiskColumns

    def __iter__(self) -> Iterator[Hashes]:
        for _, (name,) in self.columns.pieces("name"):
            yield mixed(name.astype(np.uint64))


class Ledger(Struct):
    """Collects `ReadingRows`, batch by batch."""

    columns: DiskColumns = field(default_factory=lambda: DiskColumns(_KINDS))
    session: list[NDArray[Any]] = field(default_factory=list)
    flags: list[NDArray[np.uint16]] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    roundings: list[Integers] = field(default_factory=list)
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
        self.roundings.append(np.zeros((len(_ROUNDED), 256), np.int64))

    def take(
        self,
        batch: pa.RecordBatch,
        export: Export,
        sifted: Sifted,
        signs: Signs,
        places: tuple[Floats, Floats, Floats],
    ) -> None:
        """Take a batch, what its readings say of marks, and (n,) longitudes, latitudes [deg] and heights [m]."""
        flags = _flags(batch, export, sifted, signs, places)
        found = self._laid_down(batch, export, places)
        self.columns.add(found)
        self.session.append(sifted.session.astype(np.int16 if sifted.session.max(initial=0) < 2**15 else np.int32))
        self.flags.append(flags)
        # a height that may stand for none says nothing of how finely the others are written
        written = {"up": found["up"][(flags & PLACEHOLDER) == 0]}
        self.roundings[-1] += [np.bincount(written.get(axis, found[axis]), minlength=256) for axis in _ROUNDED]
        self.counts[-1] += batch.num_rows

    def _laid_down(
        self, batch: pa.RecordBatch, export: Export, places: tuple[Floats, Floats, Floats]
    ) -> dict[str, NDArray[Any]]:
        """Return (n,) what is kept of each reading beside its flags and its session."""
        first, second, third = raw_positions(batch)
        counts = lengths_of(export.points)
        time, spelled = milliseconds(batch), batch.column("name")
        names = name_hashes(spelled)
        with np.errstate(invalid="ignore", over="ignore"):
            counted = None if self.degrees[-1] else counts.plan
            east, north = plan_rounding(first, second, counted, export.points.angles == "dms")
            return {
                "time": time,
                "longitude": places[0],
                "latitude": places[1],
                "height": np.clip(places[2], -_HIGHEST, _HIGHEST),
                "name": names,
                "base": self._base_numbers(batch.column("base")),
                "east": east,
                "north": north,
                "up": height_rounding(third, counts.up),
                "clock": time_rounding(time),
                "hashes": observation_hashes(batch, names),
                "spelled": spelling_hashes(spelled),
                "code": code_hashes(batch.column("code")),
                "source_row": np.asarray(batch.column("source_row"), np.int64),
            }

    def _base_numbers(self, column: pa.Array) -> NDArray[np.int16]:
        coded = pc.dictionary_encode(column)
        keys = [base_key(text) for text in coded.dictionary.to_pylist()]
        numbers = [self.bases.setdefault(key, min(len(self.bases), 2**15 - 1)) for key in keys]
        found: NDArray[np.int16] = np.array([*numbers, 0], np.int16)[np.asarray(pc.fill_null(coded.indices, len(keys)))]
        return found

    def rows(self) -> ReadingRows:
        """Return what was collected, and hold it no longer."""
        counts = np.array(self.counts, np.int64)
        found = [[usual_rounding(codes) for codes in axes] for axes in self.roundings]
        usual = np.array([[code for code, _ in axes] for axes in found], np.uint8).reshape(-1, len(_ROUNDED))
        session = np.concatenate([np.zeros(0, np.int16), *self.session])
        self.session.clear()
        flags = np.concatenate([np.zeros(0, np.uint16), *self.flags])
        self.flags.clear()
        columns, self.columns = self.columns, DiskColumns(_KINDS)
        mixed = np.array([any(differing for _, differing in axes) for axes in found], bool)
        degrees = np.array(self.degrees, bool)
        return ReadingRows(
            columns=columns,
            session=session,
            flags=flags,
            starts=np.cumsum(counts) - counts,
            usual=usual,
            degrees=degrees,
            mixed=mixed,
            bases=tuple(self.bases),
        )


def _flags(
    batch: pa.RecordBatch, export: Export, sifted: Sifted, signs: Signs, places: tuple[Floats, Floats, Floats]
) -> NDArray[np.uint16]:
    """Return (n,) what holds of each reading of a batch, in bits."""
    readable = np.asarray(batch.column("held").to_numpy(zero_copy_only=False)) == 0
    sound, height = sifted.held == 0, raw_positions(batch)[2] / lengths_of(export.points).up
    flags = (
        WHOLE * readable
        + SOUND * sound
        + REFUSED * (readable & np.isin(sifted.held, _REFUSALS))
        + CANDIDATE * signs.candidate
        + PLACEHOLDER * placeholders(np.nan_to_num(height, nan=1.0)) * (export.points.columns.z is None)
        + NAMED * signs.named
        + CODED * has_text(batch.column("code"))
        + POINT * (sound & ~signs.coded & has_text(batch.column("name")))
        + PLACED * (np.isfinite(places[0]) & np.isfinite(places[1]))
    )
    found: NDArray[np.uint16] = flags.astype(np.uint16)
    return found


def name_hashes(names: pa.Array) -> Hashes:
    """Return (n,) hashes of names: a spreadsheet or a converter writes 001 as 1. `ReadingRows` keeps 32 bits."""
    return text_hashes(pc.utf8_ltrim(folded_column(names), characters="0 "))


def spelling_hashes(names: pa.Array) -> Hashes:
    """Return (n,) hashes below 2^32 of names as they are written.

    Of a plain name they are the bits of `name_hashes` that are not kept.
    """
    return text_hashes(names) >> np.uint64(32)


def code_hashes(codes: pa.Array) -> Hashes:
    """Return (n,) hashes of codes without what a string's number or a word adds: KERB, kerb2 and KERB ST are one."""
    coded = pc.dictionary_encode(pc.fill_null(codes, ""))
    alone = pc.replace_substring_regex(folded_column(coded.dictionary), r"^([^\d\s]+)[\d\s].*$", r"\1")
    found: Hashes = text_hashes(alone)[np.asarray(coded.indices, np.int64)]
    return found
