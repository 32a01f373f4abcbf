"""Times of an export into UTC: ISO 8601 or the block's own format, in a zone, at an offset, on the GPS time scale."""

import re
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import LEAP_SECONDS, MINUTE
from pipeline.files.odd_text import why_no_time
from pipeline.job.time_format import says_its_clock
from pipeline.read.clock_fields import ISO, Fields, Pattern, pattern_of
from pipeline.read.counted_times import COUNTED, Counted
from pipeline.read.findings import Findings
from pipeline.read.odd_cells import described
from pipeline.read.stated_offsets import StatedOffsets, stated_minutes
from pipeline.tables import TIME, flags_of
from pipeline.words import Reason

_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")
_WITH_OFFSET = re.compile(r":.*(?:Z|[+-][\d:]+)$")

#: A time that is at least this long has hours and minutes.
_SHORTEST = len("2026-03-02T07:30")

_DATE = (
    r"^(?:\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[ ./-]?[A-Za-z]{3,9}\.?,?[ ./-]?\d{2,4}"
    r"|[A-Za-z]{3,9}\.?[ ,]+\d{1,4})(?:\D|$)"
)


@dataclass(frozen=True)
class Clock:
    """How the times of one block are read: the zone of naive ones and, where they are not ISO 8601, their format.

    With ``dates`` ISO 8601 is read beside the format: that of times that a file keeps as such.

    ``claims`` takes up what the times that are read say of their own zone.
    """

    zone: str
    kind: "tzinfo | int | None"  # an IANA zone, minutes east of UTC, or None for the GPS time scale
    time_format: str | None
    pattern: Pattern | Counted
    dates: bool = False
    claims: StatedOffsets = field(default_factory=StatedOffsets, compare=False)

    def read(self, cells: pa.Array, word: str, findings: Findings) -> pa.Array:
        """Return the column as `TIME`, rounded to the nearest millisecond, null where empty or not readable.

        What cannot be read is noted in ``findings`` under the column's ``word``; an empty cell is the caller's matter.
        """
        if pa.types.is_timestamp(cells.type):
            utc = rounded(cells)
            known = utc.is_valid().to_numpy(zero_copy_only=False)
            self._claim(cells, _milliseconds(utc), np.zeros(len(known), np.int64), known)
            return utc
        cells = self._readable(cells)
        local, known, zoned, minutes = self._local(cells, word, findings)
        self._claim(cells, local, minutes, known & zoned)
        utc = self._utc(local, known & ~zoned, cells, word, findings)
        return pa.array(utc.values, mask=~(known & utc.known)).cast(TIME)

    def _claim(self, cells: pa.Array, utc: Integers, minutes: Integers, claimed: Flags) -> None:
        """Work out what the block's zone makes of the times that say another; ``minutes`` are what they say."""
        if not claimed.any():
            return
        face = utc + minutes * MINUTE
        if isinstance(self.kind, int):
            self.claims.add(cells, face - self.kind * MINUTE - utc, claimed)
        elif self.kind is None:
            self.claims.add(cells, gps_to_utc(face)[0] - utc, claimed)
        else:
            shown = np.where(claimed, face, 0)
            first, second = _from_zone(shown, self.kind).T
            self.claims.add(cells, shown - first - utc, claimed & (first == second))

    def matched(self, cells: pa.Array) -> Flags:
        """Return (n,) which cells have the look of a time as expected, be it one that exists or not."""
        if pa.types.is_timestamp(cells.type):
            there: Flags = cells.is_valid().to_numpy(zero_copy_only=False)
            return there
        cells = self._readable(cells)
        matched = self.pattern.matched(cells)
        return matched | ISO.matched(cells) if self._has_dates(cells) else matched

    def _has_dates(self, cells: pa.Array) -> bool:
        """Say whether ISO 8601 is read beside the format."""
        return self.dates and self.time_format is not None and pa.types.is_string(cells.type)

    def _fields(self, cells: pa.Array) -> Fields:
        fields = self.pattern.read(cells)
        if not self._has_dates(cells):
            return fields
        other = ISO.read(cells)
        if not other.matched.any():
            return fields
        pairs = ((getattr(fields, each), getattr(other, each)) for each in Fields.__struct_fields__)
        return Fields(*(np.where(fields.matched, one, two) for one, two in pairs))

    def _readable(self, cells: pa.Array) -> pa.Array:
        """Return cells as the pattern takes them: texts, or numbers where times are counted."""
        counted = isinstance(self.pattern, Counted) and not pa.types.is_temporal(cells.type)
        return cells if counted or pa.types.is_string(cells.type) else pc.cast(cells, pa.string())

    def _local(self, cells: pa.Array, word: str, findings: Findings) -> tuple[Integers, Flags, Flags, Integers]:
        """Return the clock's milliseconds, where they are known, where they are UTC already, and of what offset."""
        if self.time_format is None:
            fast = _cast(cells)
            if fast is not None:
                return fast
        fields = self._fields(cells)
        self._note(fields, cells, word, findings)
        return fields.milliseconds, fields.real, fields.zoned, fields.offset

    def _note(self, fields: Fields, cells: pa.Array, word: str, findings: Findings) -> None:
        given = cells.is_valid().to_numpy(zero_copy_only=False)
        unreal = fields.matched & ~fields.real
        findings.add_cells(Reason.UNREADABLE, unreal, word, cells, "is not an existing date and time")
        strange = given & ~fields.matched
        if self.time_format is not None:
            says = f'does not match time_format "{self.time_format}"'
            findings.add_cells(Reason.UNREADABLE, strange, word, cells, says)
            return
        if not strange.any():
            return
        says = described(cells, strange, why_no_time)
        date = _matches(cells, _DATE) & ~_matches(cells, r"^\d{4}-\d\d-\d\d$")
        findings.add_cells(Reason.AMBIGUOUS_TIME, strange & date, word, cells, says)
        findings.add_cells(Reason.UNREADABLE, strange & ~date, word, cells, says)

    def _utc(self, local: Integers, naive: Flags, cells: pa.Array, word: str, findings: Findings) -> "_Utc":
        if not naive.any():
            return _Utc(local, np.ones(len(local), dtype=bool))
        if isinstance(self.kind, int):
            return _Utc(np.where(naive, local - self.kind * MINUTE, local), np.ones(len(local), dtype=bool))
        if self.kind is None:
            utc, early = gps_to_utc(local)
            says = f"on the GPS time scale is before {LEAP_SECONDS[0][0]}: leap seconds before that are not known"
            if self.time_format == "gps-week-seconds":
                says += "; week rollovers at 1,024 are not guessed: export full week numbers since 1980"
            findings.add_cells(Reason.AMBIGUOUS_TIME, naive & early, word, cells, says)
            return _Utc(np.where(naive, utc, local), ~(naive & early))
        shown = np.where(naive, local, 0)
        steps = _from_zone(shown, self.kind)
        self.claims.changes.add(cells, shown, naive, steps)
        twice, never = naive & (steps[:, 0] > steps[:, 1]), naive & (steps[:, 0] < steps[:, 1])
        back = f"comes twice in {self.zone}, where the clocks go back"
        findings.add_cells(Reason.AMBIGUOUS_TIME, twice, word, cells, back)
        gone = f"does not exist in {self.zone}, where the clocks go forward"
        findings.add_cells(Reason.AMBIGUOUS_TIME, never, word, cells, gone)
        return _Utc(np.where(naive, local - steps[:, 0], local), ~twice & ~never)


class _Utc(Struct, frozen=True):
    values: Integers
    known: Flags


def clock(zone: str | None, time_format: str | None, dates: bool = False) -> Clock:
    """Return the clock of a block; ``dates`` as in `Clock`.

    Raises ValueError, with what is wrong in words, where the zone or the format is not understood.
    """
    zone = zone or "UTC"
    if time_format is None or time_format not in COUNTED:
        return Clock(zone, _zone(zone), time_format, ISO if time_format is None else pattern_of(time_format), dates)
    if says_its_clock(time_format):
        zone = "UTC" if time_format.startswith("unix") else "GPS"
    return Clock(zone, _zone(zone), time_format, COUNTED[time_format], dates)


def _zone(name: str) -> "tzinfo | int | None":
    if name == "GPS":
        return None
    if name in ("UTC", "Z"):
        return 0
    if match := _OFFSET.fullmatch(name):
        minutes = int(match[2]) * 60 + int(match[3])
        if int(match[3]) < 60 and minutes <= 18 * 60:
            return -minutes if match[1] == "-" else minutes
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(
            f'time_zone "{name}" is not an IANA name ("Pacific/Auckland"), an offset ("+12:00"), "UTC" or "GPS"'
        ) from error


def gps_to_utc(gps: Integers) -> tuple[Integers, Flags]:
    """Turn (n,) milliseconds of the GPS time scale, counted like UTC's since 1970, into (n,) UTC; (n,) are too early.

    UTC = GPS - leap seconds. The second 23:59:60 itself falls on the first second after it.
    """
    starts = np.array([date for date, _ in LEAP_SECONDS], dtype="datetime64[ms]").astype(np.int64)
    leap = np.array([seconds for _, seconds in LEAP_SECONDS], dtype=np.int64) * 1000
    place = np.searchsorted(starts + leap, gps, side="right") - 1
    early = place < 0
    return gps - leap[np.maximum(place, 0)], early


def _from_zone(local: Integers, zone: tzinfo) -> Integers:
    """Return (n, 2) the offsets from UTC of local times read as before and as after a change, all in milliseconds.

    The first is larger where a time comes twice, smaller where it does not exist. Zones change on whole minutes.
    """
    minutes = local // MINUTE
    changes = np.concatenate(([True], minutes[1:] != minutes[:-1]))
    runs = np.cumsum(changes) - 1  # a day's points come in order: few distinct minutes
    distinct, back = np.unique(minutes[changes], return_inverse=True)
    offsets = np.array([_offsets(minute, zone) for minute in distinct.tolist()], dtype=np.int64)
    found: Integers = offsets[back][runs]
    return found


def _offsets(minute: int, zone: tzinfo) -> tuple[int, int]:
    """Return the offsets from UTC, in ms, of a local minute read as before and as after a change (PEP 495)."""
    try:
        naive = datetime(1970, 1, 1) + timedelta(minutes=minute)
        before, after = (naive.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    except OverflowError:  # at the ends of the calendar: as far from any session as the zone's standard time
        before = after = zone.utcoffset(datetime(2000, 1, 1))
    assert before is not None and after is not None
    return before // timedelta(milliseconds=1), after // timedelta(milliseconds=1)


def _cast(cells: pa.Array) -> tuple[Integers, Flags, Flags, Integers] | None:
    """Read a column of ISO times that are all with or all without an offset; None where one is anything else."""
    shortest = pc.min(pc.binary_length(cells)).as_py()
    if shortest is not None and shortest < _SHORTEST:
        return None
    first = cells.drop_null()[:1].to_pylist()
    zone = "UTC" if first and _WITH_OFFSET.search(first[0]) else None
    try:
        found = pc.cast(cells, pa.timestamp("ns", zone))
    except pa.ArrowInvalid:
        return None
    known = found.is_valid().to_numpy(zero_copy_only=False)
    minutes = np.zeros(len(cells), np.int64) if zone is None else stated_minutes(cells)
    return _milliseconds(found), known, np.full(len(cells), zone is not None), minutes


def _milliseconds(times: pa.Array) -> Integers:
    unit = {"s": 1, "ms": 1, "us": 1000, "ns": 1_000_000}[times.type.unit]
    values: Integers = pc.fill_null(times.view(pa.int64()), 0).to_numpy(zero_copy_only=False)
    return values * 1000 if times.type.unit == "s" else values if unit == 1 else (values + unit // 2) // unit


def rounded(times: pa.Array) -> pa.Array:
    """Return timestamps as `TIME`, each to the nearest millisecond; naive ones are UTC."""
    unknown = times.is_null().to_numpy(zero_copy_only=False)
    return pa.array(_milliseconds(times), mask=unknown).cast(TIME)


def _matches(cells: pa.Array, pattern: str) -> Flags:
    found: Flags = flags_of(pc.match_substring_regex(cells, pattern))
    return found
