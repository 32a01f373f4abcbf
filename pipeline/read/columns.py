"""Converts a raw batch to readings: our columns in metres, degrees and UTC, with a reason on every bad row."""

from functools import lru_cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.clock import DAY
from pipeline.files.angles import decimal_degrees, dms
from pipeline.files.letter_o import with_west
from pipeline.files.odd_text import why_no_degrees, why_no_dms, why_no_number
from pipeline.files.written_numbers import plain_lengths, without_axis
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import GRS80, to_geocentric, to_geographic
from pipeline.geodesy.unit_words import says_metres
from pipeline.geodesy.units import METRES, Lengths, lengths
from pipeline.job.key_values import Units
from pipeline.job.model import Points
from pipeline.limits import LEAST, LENGTH, SIGMA
from pipeline.read.covariances import COVARIANCES, NOT_DEFINITE, impossible
from pipeline.read.findings import Findings
from pipeline.read.headings import is_row_of_units, small_units
from pipeline.read.mapping import (
    ALONG,
    DEGREES,
    LENGTHS,
    TEXTS,
    UPWARD,
    Position,
    base_of,
    carried_fields,
    mapped,
    position_of,
    sigma_of,
)
from pipeline.read.numeric import numbers
from pipeline.read.odd_cells import described
from pipeline.read.raw_batch import Geometry, Raw
from pipeline.read.stated_offsets import StatedOffsets
from pipeline.read.times import Clock, clock
from pipeline.replace import replace
from pipeline.tables import READING, flags_of
from pipeline.words import Reason

_PLACES = ("first", "second", "third")
_BASE_PLACES = ("base_first", "base_second", "base_third")
#: Metres: poles and masts are shorter (common practice, no source).
_LONGEST_POLE = 30.0
_LIMITS = {"longitude": 360.0, "latitude": 90.0, "base_longitude": 360.0, "base_latitude": 90.0}
_LONGITUDES = ("longitude", "base_longitude")
_LETTERS = {"longitude": "EW", "latitude": "NS", "base_longitude": "EW", "base_latitude": "NS"}
#: Letters of axes that may stand beside lengths, where these count to the east and north.
_AXES = {"easting": "E", "northing": "N", "base_easting": "E", "base_northing": "N"}


class ReadingPlan(Struct, frozen=True, kw_only=True):
    """How the batches of one file become readings; ``carried`` pairs the file's own names with the delivered fields.

    ``headings`` are the names of all columns in the file.
    """

    points: Points
    decimal: str
    names: dict[str, str]
    position: Position
    base: tuple[str, str, str] | None  # the words of the base's position
    clock: Clock
    end_clock: Clock
    sigma: str | None  # the word of the precision that stands for east and north
    carried: tuple[tuple[str, pa.Field], ...]
    lengths: Lengths
    degrees: bool  # a geometry's X and Y are longitude and latitude
    small: dict[str, float]  # metres in the units of columns whose headings, or a row below them, say a small one
    headings: tuple[str, ...]

    @property
    def schema(self) -> pa.Schema:
        """The delivered columns: the readings', then the carried ones."""
        return pa.schema([*READING, *(field for _, field in self.carried)])

    def afresh(self) -> "ReadingPlan":
        """Return the plan for reading the file once more: with what its times claim to be taken up anew."""
        return replace(self, clock=replace(self.clock, claims=StatedOffsets()))


def reading_plan(
    points: Points, decimal: str, schema: pa.Schema, degrees: bool = False, dates: bool = False
) -> ReadingPlan:
    """Return the plan for a file with columns ``schema``; the block must have been checked (`find_exports`).

    ``dates`` says that times which the file has as such come as ISO 8601, whatever format its texts are in.
    """
    counted = lengths_of(points)
    time_format = "gps-week-seconds" if points.columns.gps_week is not None else points.time_format
    return ReadingPlan(
        points=points,
        decimal=decimal,
        names=mapped(points.columns),
        position=position_of(points.columns),
        base=base_of(points.columns),
        clock=clock(points.time_zone, time_format, dates),
        end_clock=clock(points.time_zone, points.time_format, dates),
        sigma=sigma_of(points.columns),
        carried=carried_fields(points, schema),
        lengths=counted,
        degrees=degrees or counted.degrees,
        small=small_units(points),
        headings=tuple(schema.names),
    )


def lengths_of(points: Points) -> Lengths:
    """Return what the block's numbers count in.

    A CRS that is faulty, or that the block's units contradict, is told with the job's frames and stops the job; the
    look at its files goes on without it.
    """
    try:
        return _lengths(points.crs or "", points.units)
    except OperationError:
        metre = METRES[points.units or "metre"]
        return Lengths(metre, metre, metre, False)


@lru_cache(maxsize=64)
def _lengths(crs: str, units: Units | None) -> Lengths:
    """Return what lengths count in: the same for each of many files."""
    return lengths(crs, units)


def readings(raw: Raw, how: ReadingPlan) -> pa.RecordBatch:
    """Return the batch as `tables.READING` followed by the carried columns, one row for each of ``raw``'s."""
    found = _Reader(raw, how).columns()
    carried = [raw.columns[name] for name, _ in how.carried]
    return pa.RecordBatch.from_arrays([*(found[field.name] for field in READING), *carried], schema=how.schema)


class _Reader:
    """One batch on its way; a row that could not be taken apart has its fault and is not checked further."""

    def __init__(self, raw: Raw, how: ReadingPlan) -> None:
        self.raw, self.how = raw, how
        self.rows = len(raw.row)
        self.findings = Findings(self.rows)
        self.units = False
        self.whole: Flags = np.ones(self.rows, dtype=bool)
        if raw.fault is not None:
            self.whole = raw.fault.is_null().to_numpy(zero_copy_only=False)
            self.findings.add(Reason.UNREADABLE, ~self.whole, raw.fault)
        self._note_header()
        self.units = self._note_units()

    def _note_header(self) -> None:
        """Find the header where it comes again among the rows, as where files were put together."""
        cells, name = self._cells("time"), self.how.names.get("time")
        if cells is not None and pa.types.is_string(cells.type):
            again = flags_of(pc.equal(cells, name))
            self.findings.add(Reason.UNREADABLE, again, "the column names are repeated here")

    def _note_units(self) -> bool:
        """Tell whether the first row has units where numbers are to be, as the one below a header may; it is none."""
        if not self.rows or not self.whole[0]:
            return False
        words = (LENGTHS | DEGREES) & self.how.names.keys()
        if not is_row_of_units(self.raw.columns[self.how.names[word]][0].as_py() for word in sorted(words)):
            return False
        self.whole[0] = False
        self.findings.add(Reason.UNREADABLE, np.arange(self.rows) == 0, "this is the row of units below the header")
        return True

    def columns(self) -> dict[str, pa.Array]:
        reading: dict[str, pa.Array] = {}
        for field in READING:
            if field.name in TEXTS:
                reading[field.name] = self._text(field.name)
            elif field.name in ("sigma_east", "sigma_north") and self.how.sigma is not None:
                reading[field.name] = self._horizontal(reading.get("sigma_east"))
            elif field.type == pa.float64() and field.name not in (*_PLACES, *_BASE_PLACES):
                reading[field.name] = pa.array(self._plain(field.name))
        for place, word in zip(_BASE_PLACES, self.how.base or _BASE_PLACES, strict=True):
            reading[place] = pa.array(self._plain(word))
        for place, values in zip(_PLACES, self._position(), strict=True):
            reading[place] = pa.array(values)
        self._check_covariances(reading)
        for word in ("time", "time_end"):
            reading[word] = self._time(word)
        if self.how.points.columns.date is not None and self.how.points.columns.time_end is not None:
            reading["time_end"] = self._over_midnight(reading["time"], reading["time_end"])
        reading["held"] = pa.array(self.findings.held)
        reading["detail"] = self.findings.detail()
        reading["source_row"] = pa.array(self.raw.row)
        return reading

    def _cells(self, word: str) -> pa.Array | None:
        name = self.how.names.get(word)
        if name is None:
            return None
        cells = self.raw.columns[name]
        if self.units and word not in TEXTS:
            return pa.concat_arrays([pa.nulls(1, cells.type), cells.slice(1)])
        return cells

    def _text(self, word: str) -> pa.Array:
        cells = self._cells(word)
        if cells is None:
            return pa.nulls(self.rows, pa.string())
        return cells if pa.types.is_string(cells.type) else pc.cast(cells, pa.string())

    def _number(self, word: str) -> tuple[Floats, Flags]:
        """Return a mapped column in metres or degrees, NaN where unknown, and the rows where its cell is empty."""
        cells = self._cells(word)
        assert cells is not None
        written = cells
        if word in _LONGITUDES:
            cells = with_west(cells, self.how.headings)
        if word in DEGREES and self.how.points.angles == "dms" and pa.types.is_string(cells.type):
            values, bad = dms(cells, _LETTERS[word])
            describe = why_no_dms
        else:
            values, bad = numbers(cells, self.how.decimal)
            if bad.any() and pa.types.is_string(cells.type):
                values, bad = self._as_written(word, cells, values, bad)
            describe = why_no_degrees if word in DEGREES else why_no_number
        if bad.any():
            self.findings.add_cells(Reason.UNREADABLE, bad, word, written, described(cells, bad, describe))
        if word in LENGTHS:
            values = self._of_this_earth(word, values * self._metre(word), cells)
        elif word in COVARIANCES:
            one, other = COVARIANCES[word]
            values = values * self._metre_of(one) * self._metre_of(other)
        if word in _LIMITS:
            values = self._within(word, values, written)
        empty = np.isnan(values) & cells.is_null().to_numpy(zero_copy_only=False) & self.whole
        return values, empty

    def _as_written(self, word: str, cells: pa.Array, values: Floats, bad: Flags) -> tuple[Floats, Flags]:
        """Return numbers with those that have a degree sign or a hemisphere, or the unit and axis they are read in."""
        if word in DEGREES:
            again, still = decimal_degrees(cells, _LETTERS[word])
        elif word in LENGTHS:
            metre = self._metre(word)
            if word in _AXES and metre > 0.0:
                cells = without_axis(cells, _AXES[word])
            again, still = numbers(plain_lengths(cells, lambda unit: says_metres(unit, metre)), self.how.decimal)
        else:
            return values, bad
        return np.where(bad & ~still, again, values), bad & still

    def _of_this_earth(self, word: str, values: Floats, cells: pa.Array) -> Floats:
        """Hold back what is no length on this earth: arithmetic with it would overflow, or make any number of it."""
        most = SIGMA if _is_sigma(word) else LENGTH
        beyond = np.abs(values) > most
        if beyond.any():
            self.findings.add_cells(Reason.IMPLAUSIBLE, beyond, word, cells, f"is beyond {most:g} m")
            values = np.where(beyond, np.nan, values)
        return values

    def _within(self, word: str, values: Floats, cells: pa.Array) -> Floats:
        limit = _LIMITS[word]
        beyond = np.abs(values) > limit
        if not beyond.any():
            return values
        self.findings.add_cells(Reason.UNREADABLE, beyond, word, cells, f"is beyond {limit:.0f} degrees")
        return np.where(beyond, np.nan, values)

    def _plain(self, word: str) -> Floats:
        cells = self._cells(word)
        if cells is None:
            return np.full(self.rows, np.nan)
        values, _ = self._number(word)
        if _is_sigma(word):
            self.findings.add_cells(Reason.UNREADABLE, values < 0, word, cells, "is below zero")
            least = (values > 0) & (values < LEAST)
            self.findings.add_cells(Reason.IMPLAUSIBLE, least, word, cells, "is smaller than anything measurable")
        return values

    def _horizontal(self, known: pa.Array | None) -> pa.Array:
        """Return the standard uncertainty of east and of north each, from the one that stands for both."""
        if known is not None:
            return known
        assert self.how.sigma is not None
        values = self._plain(self.how.sigma)
        return pa.array(values / np.sqrt(2.0) if self.how.sigma == "drms" else values)

    def _check_covariances(self, found: dict[str, pa.Array]) -> None:
        """Hold back rows whose covariances do not go with their standard uncertainties."""
        if COVARIANCES.keys() & self.how.names.keys():
            of = {word: np.asarray(found[word]) for word in (*COVARIANCES, "sigma_east", "sigma_north", "sigma_up")}
            self.findings.add(Reason.IMPLAUSIBLE, impossible(of, of) & self.whole, NOT_DEFINITE)

    def _metre_of(self, sigma: str) -> float:
        """Return the metres in one unit of a standard uncertainty, which may be the one that stands for two."""
        return self._metre(sigma if sigma in self.how.names else self.how.sigma or sigma)

    def _position(self) -> tuple[Floats, ...]:
        position = self.how.position
        given = {word: self._number(word) for word in position.words if word in position.mapped}
        if position.from_geometry:
            given = self._from_geometry() | given
        for word, (_, empty) in given.items():
            self.findings.add(Reason.NO_POSITION, empty, f"no {word}")
        return self._to_ground(tuple(given[word][0] for word in position.words))

    def _to_ground(self, place: tuple[Floats, ...]) -> tuple[Floats, ...]:
        """Take the pole off positions of the antenna's reference point, along the normal of the ellipsoid."""
        if "pole_height" not in self.how.names:
            return place
        pole, empty = self._number("pole_height")
        self.findings.add(Reason.NO_POSITION, empty, "no pole_height, which has to be subtracted")
        beyond = (pole < 0) | (pole > _LONGEST_POLE)
        cells = self._cells("pole_height")
        assert cells is not None
        says = f"is not a pole height, 0 to {_LONGEST_POLE:g} m"
        self.findings.add_cells(Reason.IMPLAUSIBLE, beyond, "pole_height", cells, says)
        if self.how.position.words[0] == "x":
            x, y, z = place
            longitude, latitude, height = to_geographic(x, y, z, GRS80)
            return to_geocentric(longitude, latitude, height - pole, GRS80)
        return *place[:2], place[2] - pole

    def _from_geometry(self) -> dict[str, tuple[Floats, Flags]]:
        """Return the geometry's X, Y and Z under the words of a position; Z is left out where a height is mapped."""
        geometry = self.raw.geometry
        assert geometry is not None
        absent = np.isnan(geometry.x) | np.isnan(geometry.y)
        known = np.ones(self.rows, dtype=bool)
        if geometry.broken is not None:
            known = geometry.broken.is_null().to_numpy(zero_copy_only=False)
            self.findings.add(Reason.UNREADABLE, ~known & self.whole, geometry.broken)
        self.findings.add(Reason.UNREADABLE, geometry.other & self.whole, "the geometry is not a point")
        self.findings.add(Reason.NO_POSITION, absent & ~geometry.other & known & self.whole, "no geometry")
        height = geometry.z if "height" not in self.how.position.mapped else np.zeros(self.rows)
        largest = np.fmax(np.fmax(np.abs(geometry.x), np.abs(geometry.y)), np.abs(height))
        endless = np.isinf(largest)
        self.findings.add(Reason.UNREADABLE, endless & self.whole, "the geometry has a coordinate that is not finite")
        beyond = (largest > LENGTH / min(self.how.lengths.plan, self.how.lengths.up, 1.0)) & ~endless
        self.findings.add(Reason.IMPLAUSIBLE, beyond & self.whole, "the geometry has a coordinate that is not on earth")
        endless |= beyond
        x, y, z = (np.where(endless, np.nan, values) for values in self._metres(geometry))
        if self.how.degrees:
            x, y = self._within("longitude", x, pa.array(x)), self._within("latitude", y, pa.array(y))
        never = np.zeros(self.rows, dtype=bool)
        position = {"longitude": (x, never), "latitude": (y, never)}
        if "height" not in self.how.position.mapped:
            position["height"] = (z, np.isnan(z) & ~absent & ~geometry.other & ~endless & self.whole)
        return position

    def _metres(self, geometry: Geometry) -> tuple[Floats, Floats, Floats]:
        counted = self.how.lengths
        plan_unit = 1.0 if self.how.degrees else counted.plan
        x, y = (geometry.y, geometry.x) if counted.northing_first else (geometry.x, geometry.y)
        east, north, up = counted.signs
        return x * (plan_unit * east), y * (plan_unit * north), geometry.z * (counted.up * up)

    def _metre(self, word: str) -> float:
        """Return the metres in one count of a mapped length, below zero where it counts west, south or down."""
        counted = self.how.lengths
        east, north, up = counted.signs
        small = self.how.small.get(word)
        if word in ALONG:
            sign = east if word.endswith("easting") else north if word.endswith("northing") else 1.0
            return (small or counted.plan) * sign
        if word in UPWARD:
            return (small or counted.up) * (up if word == "height" else 1.0)
        return small or counted.other

    def _time(self, word: str) -> pa.Array:
        cells = self._cells(word)
        if cells is None:
            cells = pa.nulls(self.rows, pa.string())
        if word == "time":
            self.findings.add(Reason.NO_TIME, cells.is_null().to_numpy(zero_copy_only=False) & self.whole, "no time")
        how = self.how.clock if word == "time" else self.how.end_clock
        return how.read(cells, word, self.findings)

    def _over_midnight(self, begins: pa.Array, ends: pa.Array) -> pa.Array:
        """Return ends of occupations, those on the next day that have no date of their own and would come first."""
        cells = self.raw.columns[str(self.how.points.columns.time_end)]
        first = flags_of(pc.less(ends, begins))
        first &= ~self.how.end_clock.matched(cells)
        if not first.any():
            return ends
        later = pc.add(ends, pa.scalar(DAY, pa.duration("ms")))
        return pc.if_else(pa.array(first), later, ends)


def _is_sigma(word: str) -> bool:
    return word.startswith("sigma") or word == "drms"
