"""What the readings of each export say of the export, gathered in the first pass: what is held back, sigmas, clocks.

Kept is little: counts per export, and a count per minute and base id.
"""

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import HOUR, MINUTE
from pipeline.intake import accept
from pipeline.intake.blank_figures import blank_figures
from pipeline.intake.correction_ages import Ages, note_ages
from pipeline.intake.deleted_rows import DeletedRows, note_deleted
from pipeline.intake.left_columns import BLANKS, LeftColumn, note_left_columns
from pipeline.intake.left_precisions import LeftPrecision, note_left
from pipeline.intake.positions import raw_positions, stated_sigmas
from pipeline.intake.sigma_sizes import SigmaSizes
from pipeline.intake.sort import Sifted
from pipeline.intake.surer_heights import SurerHeights
from pipeline.job.model import Quality
from pipeline.occupations.name_words import DATE, POWER
from pipeline.occupations.signs import Signs
from pipeline.read.exports import Export
from pipeline.sessions.attach import SessionIndex, base_key
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import each_once, flags_of, has_text, milliseconds
from pipeline.words import REASONS, Reason, reason_code

#: Metres: standard uncertainties of a fixed solution are smaller (horizontal, vertical), and larger than the least.
LARGE_SIGMA, LEAST_SIGMA = (0.5, 1.0), 1.5e-4
#: Metres: those of real-time readings are larger (plan, height). Common practice, no source.
RTK_SIGMA = (0.002, 0.003)
#: Milliseconds beyond which one occupation is unlikely to last.
_LONG = 12 * HOUR
#: What a measurement has beside its place, as far as its export has it at all.
GIVEN = ("sigma_east", "sigma_up", "solution", "satellites", "pdop", "base", "antenna_height")
#: Different names that are dates which are kept of one export.
_DATES = 1000
#: Different names beyond which an export has many; they are kept no further.
NAMES = 32
#: Different solutions that are kept of one export.
_MOST = 16


class Noted(Struct):
    """How many readings of an export have something, and the row of the first; where asked for, how many by session."""

    count: int = 0
    row: int = 0
    by: Counter[int] = field(default_factory=Counter)

    def add(self, which: Flags, rows: Integers, session: NDArray[np.int32] | None = None) -> None:
        """Count the readings of a batch where ``which`` (n,); ``rows`` (n,) are their numbers in the file."""
        count = int(which.sum())
        if count and not self.count:
            self.row = int(rows[int(np.argmax(which))])
        self.count += count
        if count and session is not None:
            sessions, counts = np.unique(session[which], return_counts=True)
            self.by.update(dict(zip(sessions.tolist(), counts.tolist(), strict=True)))


class Extent(Struct):
    """The least and the largest of each coordinate of the sound readings of (S,) sessions, as an export has them.

    ``low`` and ``high`` are (S, 3), infinite where there is no reading; ``row`` (S,) is of each first reading.
    """

    low: Floats
    high: Floats
    row: Integers

    @classmethod
    def of(cls, sessions: int) -> "Extent":
        """Return that of nothing."""
        most = np.iinfo(np.int64).max
        return cls(np.full((sessions, 3), np.inf), np.full((sessions, 3), -np.inf), np.full(sessions, most))

    def add(self, session: NDArray[np.int32], place: Floats, rows: Integers) -> None:
        """Take readings (n,): their sessions, places (n, 3) and numbers in the file."""
        for axis in range(3):
            np.fmin.at(self.low[:, axis], session, place[:, axis])
            np.fmax.at(self.high[:, axis], session, place[:, axis])
        np.minimum.at(self.row, session, rows)


class FileLog(Struct):
    """What is noted of one export.

    Args:
        sessions: (S,) sound readings of each session.
        rows: all rows.
        sound: readings that nothing is wrong with.
        held: what is held back, by reason.
        unreadable: what is wrong with the first row that cannot be read, in words, "" where there is none.
        solutions: how often each solution occurs that is not accepted.
        stated: sound readings with a standard uncertainty; of those ``large`` and ``least`` ones.
        squares: (2,) sums of the squares of what is stated, larger of east and north, and up; ``squared`` (2,) of how
            many readings.
        sizes: how large what is stated is, by session.
        surer_heights: how many state heights to be more certain than positions.
        unstated: (2,) sound readings without one in plan, and in height: theirs is ``[quality]``'s.
        unjudged: sound readings that a limit of ``[quality]`` cannot judge, by its key; ``none_stated`` those whose
            figure stands for none.
        early_end, long: readings whose time_end lies before their time, or half a day after it.
        late_end: those whose time_end lies outside the session that their time is in.
        left: columns that are precisions by their headings and that the job file does not map, by heading.
        left_columns: likewise columns of bases, rovers, solutions and settings (`left_columns`).
        blanks: what of its quality each sound reading lacks (`blank_figures`).
        deleted: likewise columns that call rows deleted, disabled, void or rejected.
        ages: columns of ages of corrections, mapped or by their heading, by heading.
        dated: readings whose name is a date, and code, by our words; ``date`` is the first of such texts,
            ``different_dates`` are the names, up to `_DATES` and one.
        powers: readings whose name is a number as a spreadsheet writes large ones; ``power`` is the first.
        extent: where the sound readings of each session lie.
        nameless: sound readings without a name, whose code does not say that they are checks.
        names: different names of sound readings: all where they are no more than `NAMES`.
        given: sound readings that have each of `GIVEN`, and a mark where that is mapped.
        lacking: rows held back that lack one coordinate in plan and have the other and a height, by which of the two.
    """

    sessions: Integers
    extent: Extent
    rows: int = 0
    sound: int = 0
    held: dict[Reason, Noted] = field(default_factory=dict)
    unreadable: str = ""
    solutions: Counter[str] = field(default_factory=Counter)
    stated: Noted = field(default_factory=Noted)
    squares: Floats = field(default_factory=lambda: np.zeros(2))
    squared: Integers = field(default_factory=lambda: np.zeros(2, np.int64))
    sizes: SigmaSizes = field(default_factory=SigmaSizes)
    surer_heights: SurerHeights = field(default_factory=SurerHeights)
    unstated: Integers = field(default_factory=lambda: np.zeros(2, np.int64))
    large: Noted = field(default_factory=Noted)
    least: Noted = field(default_factory=Noted)
    unjudged: dict[str, Noted] = field(default_factory=dict)
    none_stated: dict[str, Noted] = field(default_factory=dict)
    early_end: Noted = field(default_factory=Noted)
    long: Noted = field(default_factory=Noted)
    late_end: Noted = field(default_factory=Noted)
    left: dict[str, LeftPrecision] = field(default_factory=dict)
    left_columns: dict[str, LeftColumn] = field(default_factory=dict)
    blanks: LeftColumn = field(default_factory=lambda: LeftColumn(BLANKS))
    deleted: dict[str, DeletedRows] = field(default_factory=dict)
    ages: dict[str, Ages] = field(default_factory=dict)
    nameless: Noted = field(default_factory=Noted)
    dated: dict[str, Noted] = field(default_factory=dict)
    date: dict[str, str] = field(default_factory=dict)
    different_dates: set[str] = field(default_factory=set)
    powers: Noted = field(default_factory=Noted)
    power: str = ""
    minutes: dict[str | None, list[Integers]] = field(default_factory=dict)
    ids: dict[str, str] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    given: Counter[str] = field(default_factory=Counter)
    lacking: dict[int, Noted] = field(default_factory=dict)

    def parallel(self) -> float:
        """Return what a degree to the east is worth of one at the equator, at the middle of the sound readings."""
        there = self.sessions > 0
        if not there.any():
            return 1.0
        middle = 0.5 * (self.extent.low[there, 1].min() + self.extent.high[there, 1].max())
        return max(float(np.cos(np.radians(middle))), 1e-3)

    def clock(self) -> dict[str | None, tuple[Integers, Integers]]:
        """Return by base id (k,) minutes (UTC milliseconds) in which there are readings, and (k,) how many."""
        counts = [sum(map(len, parts)) for parts in self.minutes.values()]
        every = np.concatenate(
            [np.zeros((0, 2), np.int64), *(part for parts in self.minutes.values() for part in parts)]
        )
        which, minute, count = _summed(np.repeat(np.arange(len(counts)), counts), *every.T)
        cuts = np.searchsorted(which, np.arange(1, len(counts)))
        each = zip(self.minutes, np.split(minute * MINUTE, cuts), np.split(count, cuts), strict=False)
        return {base: (minutes, readings) for base, minutes, readings in each}


def stated_sizes(logs: Sequence[tuple[FileLog, tuple[float, float]]]) -> tuple[float, float]:
    """Return the root mean squares [m] of the standard uncertainties that exports state, in plan and in height.

    Each is times the scales (plan, height) beside it. Infinite where they state none.
    """
    squares, counts = (
        sum((log.squares * np.square(scales) for log, scales in logs), np.zeros(2)),
        sum((log.squared for log, _ in logs), np.zeros(2)),
    )
    plan, up = (math.sqrt(of / n) if n else math.inf for of, n in zip(squares.tolist(), counts.tolist(), strict=True))
    return plan, up


class FileLogs:
    """Collects a `FileLog` for each export, batch by batch."""

    def __init__(self, exports: int, windows: Sequence[SessionWindow], index: SessionIndex, quality: Quality) -> None:
        self.logs = tuple(FileLog(np.zeros(len(windows), np.int64), Extent.of(len(windows))) for _ in range(exports))
        self.index, self.quality = index, quality

    def take(self, batch: pa.RecordBatch, number: int, export: Export, sifted: Sifted, signs: Signs) -> None:
        """Take one batch of export ``number``; ``signs`` are those of its names and codes."""
        log, rows = self.logs[number], np.asarray(batch.column("source_row"), np.int64)
        sound = sifted.held == 0
        log.rows += batch.num_rows
        log.sound += int(sound.sum())
        log.sessions += np.bincount(sifted.session[sound], minlength=len(log.sessions))
        place = np.column_stack(raw_positions(batch))[sound]
        log.extent.add(sifted.session[sound], place, rows[sound])
        for word in GIVEN:
            log.given[word] += int((_there(batch.column(word)) & sound).sum())
        if export.points.columns.mark is not None:
            log.given["mark"] += int((has_text(batch.column("mark")) & sound).sum())
        if len(log.names) <= NAMES:
            names = pc.unique(batch.column("name").filter(pa.array(sound)))[: NAMES + 1]
            log.names.update(text or "" for text in names.to_pylist())
        if not sound.all():
            self._note_held(batch, sifted.held, log, export.points.columns.z is None)
        for key, which in accept.unjudged(batch, self.quality).items():
            log.unjudged.setdefault(key, Noted()).add(which & sound, rows)
        for key, which in accept.none_stated(batch, self.quality).items():
            log.none_stated.setdefault(key, Noted()).add(which & sound, rows)
        if batch.column("name").null_count:
            log.nameless.add(~_there(batch.column("name")) & sound & ~signs.coded, rows)
        east, north, up = (~(sigma > 0.0) for sigma in stated_sigmas(batch))
        log.unstated += [int(((east | north) & sound).sum()), int((up & sound).sum())]
        columns = export.points.columns
        if any(
            each is not None for each in (columns.sigma_east, columns.sigma_up, columns.sigma_horizontal, columns.drms)
        ):
            self._note_sigmas(batch, sifted, log, rows)
        note_left(log.left, batch, export, sound, self.quality)
        note_left_columns(log.left_columns, batch, export, sound, sifted.session)
        log.blanks.take(blank_figures(batch, export).filter(pa.array(sound)), sifted.session[sound], rows[sound])
        note_deleted(log.deleted, batch, export, sound)
        note_ages(log.ages, batch, export, sound)
        if export.points.columns.time_end is not None:
            self._note_ends(batch, sifted, log, rows)
        self._note_dates(batch, signs.telling, log, rows)
        self._note_minutes(batch, sound | self._good_outside(batch, sifted, export), log)

    def _good_outside(self, batch: pa.RecordBatch, sifted: Sifted, export: Export) -> Flags:
        """Return (n,) which readings would be sound in a session: floats on the way to work say nothing of a clock."""
        outside: Flags = sifted.held == reason_code(Reason.OUTSIDE_SESSIONS)
        if outside.any():
            outside &= ~(accept.poor(batch, self.quality) | accept.absurd(batch))
            if export.points.columns.solution is not None:
                outside &= ~accept.not_fixed(batch, self.quality)
        return outside

    def _note_held(self, batch: pa.RecordBatch, held: NDArray[np.uint8], log: FileLog, plan: bool) -> None:
        """Note for what rows are held back; ``plan`` is whether positions have two coordinates in plan."""
        rows = np.asarray(batch.column("source_row"), np.int64)
        for code in np.unique(held[held > 0]).tolist():
            log.held.setdefault(REASONS[code - 1], Noted()).add(held == code, rows)
        if not log.unreadable and (which := held == reason_code(Reason.UNREADABLE)).any():
            log.unreadable = batch.column("detail")[int(np.argmax(which))].as_py() or ""
        if Reason.NOT_FIXED in log.held:
            self._note_solutions(batch, held == reason_code(Reason.NOT_FIXED), log)
        if plan and (without := held == reason_code(Reason.NO_POSITION)).any():
            there = np.isfinite(np.column_stack(raw_positions(batch)))
            for axis in (0, 1):
                lacks = without & ~there[:, axis] & there[:, 1 - axis] & there[:, 2]
                log.lacking.setdefault(axis, Noted()).add(lacks, rows)

    def _note_dates(self, batch: pa.RecordBatch, telling: Integers, log: FileLog, rows: Integers) -> None:
        names = np.zeros(batch.num_rows, bool)
        names[telling] = _dates(batch.column("name").take(pa.array(telling)))
        powers = flags_of(pc.match_substring(batch.column("name"), "E+"))  # in few files any, so that all are soon seen
        if powers.any():
            powers = powers & flags_of(pc.match_substring_regex(batch.column("name"), POWER))
        if powers.any():
            log.powers.add(powers, rows)
            log.power = log.power or batch.column("name")[int(np.argmax(powers))].as_py()
        if names.any() and len(log.different_dates) <= _DATES:
            log.different_dates.update(
                pc.unique(batch.column("name").filter(pa.array(names))).to_pylist()[: _DATES + 1]
            )
        for word, which in (("name", names), ("code", each_once(batch.column("code"), _dates))):
            if which.any():
                log.dated.setdefault(word, Noted()).add(which, rows)
                log.date.setdefault(word, batch.column(word)[int(np.argmax(which))].as_py())

    def _note_solutions(self, batch: pa.RecordBatch, which: Flags, log: FileLog) -> None:
        words = pc.value_counts(pc.fill_null(batch.column("solution").filter(pa.array(which)), ""))
        for word, count in zip(words.field("values").to_pylist(), words.field("counts").to_pylist(), strict=True):
            if word in log.solutions or len(log.solutions) < _MOST:
                log.solutions[word] += count

    def _note_sigmas(self, batch: pa.RecordBatch, sifted: Sifted, log: FileLog, rows: Integers) -> None:
        east, north, up = stated_sigmas(batch)
        plan = np.fmax(east, north)
        most = np.fmax(plan, up)
        known = (sifted.held == 0) & np.isfinite(most)
        log.sizes.take(plan[known], up[known], sifted.session[known], rows[known])
        log.surer_heights.take(plan[known], up[known], rows[known])
        for axis, values in enumerate((plan, up)):
            stated = values[known & (values > 0.0)]
            log.squares[axis] += float((stated**2).sum())
            log.squared[axis] += len(stated)
        for noted, which in (
            (log.stated, known),
            (log.large, known & ((plan > LARGE_SIGMA[0]) | (up > LARGE_SIGMA[1]))),
            (log.least, known & (most > 0.0) & (np.where(np.isnan(plan), up, plan) < LEAST_SIGMA)),
        ):
            noted.add(which, rows, sifted.session)

    def _note_ends(self, batch: pa.RecordBatch, sifted: Sifted, log: FileLog, rows: Integers) -> None:
        known = np.asarray(batch.column("time_end").is_valid().to_numpy(zero_copy_only=False)) & (sifted.session >= 0)
        if not known.any():
            return
        end = np.asarray(batch.column("time_end").cast(pa.int64()).fill_null(0)).astype(np.int64)
        lasts = end - milliseconds(batch)
        log.early_end.add(known & (lasts < 0), rows)
        log.long.add(known & (lasts > _LONG), rows)
        with_it = self.index.attach(end - 1, batch.column("base"))
        log.late_end.add(known & (lasts > 0) & (with_it != sifted.session), rows)

    def _note_minutes(self, batch: pa.RecordBatch, which: Flags, log: FileLog) -> None:
        rows = np.flatnonzero(which)
        if not len(rows):
            return
        coded = pc.dictionary_encode(batch.column("base").take(pa.array(rows)))
        texts = coded.dictionary.to_pylist()
        keys = [base_key(text) for text in texts] + [None]
        for key, text in zip(keys, texts, strict=False):
            if key is not None:
                log.ids.setdefault(key, text.strip())
        codes = np.asarray(pc.fill_null(coded.indices, len(keys) - 1), np.int64)
        minute = milliseconds(batch)[rows] // MINUTE
        of, minute, count = _summed(codes, minute, np.ones(len(rows), np.int64))
        begins = np.flatnonzero(np.diff(of, prepend=-1))
        each = np.split(np.column_stack([minute, count]), begins[1:])
        for code, of_base in zip(of[begins].tolist(), each, strict=True):
            log.minutes.setdefault(keys[code], []).append(of_base)


def _summed(which: Integers, minute: Integers, count: Integers) -> tuple[Integers, Integers, Integers]:
    """Return counts (n,) summed by what they are of and by minute, (m,) each, ascending by the two."""
    order = np.lexsort((minute, which))
    which, minute = which[order], minute[order]
    begins = np.ones(len(order), bool)
    begins[1:] = (np.diff(which) != 0) | (np.diff(minute) != 0)
    first = np.flatnonzero(begins)
    summed = np.add.reduceat(count[order], first) if len(first) else count
    return which[first], minute[first], summed


def _there(column: pa.Array) -> Flags:
    """Return (n,) which cells hold a number, or a text that is not empty."""
    if pa.types.is_floating(column.type):
        return np.isfinite(np.asarray(column, np.float64))
    return has_text(column)


def _dates(texts: pa.Array) -> Flags:
    return flags_of(pc.match_substring_regex(texts, DATE))
