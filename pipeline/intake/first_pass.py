"""Makes the first pass over the exports: picks out occupations, notes extents, times and repeated rows."""

from functools import partial

import numpy as np
import pyarrow as pa
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy import crs
from pipeline.geodesy.area import Area
from pipeline.geodesy.operations import own_places
from pipeline.intake.base_log import BaseLog, BaseLogs
from pipeline.intake.coarse_rows import CoarseRows, find_coarse
from pipeline.intake.code_log import CodeLog
from pipeline.intake.code_spikes import code_spike_notes
from pipeline.intake.copied_times import CopiedTime, copied_times
from pipeline.intake.duplicate_rows import DuplicateRows, find_duplicates, with_means
from pipeline.intake.few_on_other_base import switch_notes
from pipeline.intake.field_points import FieldPoints, field_points
from pipeline.intake.file_log import FileLog, FileLogs
from pipeline.intake.file_sequence import Astray
from pipeline.intake.filled_blanks import Blanked, FilledBlanks, told_once
from pipeline.intake.filled_down import Filled, FilledDown
from pipeline.intake.headed_sides import HeadedSide, find_sides
from pipeline.intake.hemispheres import Hemispheres
from pipeline.intake.implausible import Implausible, find_implausible
from pipeline.intake.job_area import area_of
from pipeline.intake.late_rows import late_notes
from pipeline.intake.leaps import InTurn, in_turn, leap_notes
from pipeline.intake.ledger import CANDIDATE, SOUND, Ledger, ReadingRows
from pipeline.intake.long_breaks import LongBreak, long_breaks
from pipeline.intake.mean_rows import MeanRows, Means
from pipeline.intake.missing_digits import Missing, MissingDigits
from pipeline.intake.moved_cells import MovedCells, MovedColumns
from pipeline.intake.named_elsewhere import Elsewhere, NamedElsewhere
from pipeline.intake.other_kinds import OtherKind, other_kinds
from pipeline.intake.packed_degrees import PackedExport, find_packed
from pipeline.intake.pasted_cells import Pasted, PastedCells
from pipeline.intake.picked_rows import PickedRows
from pipeline.intake.placeholders import Placeholders
from pipeline.intake.pole_log import PoleLog
from pipeline.intake.positions import raw_positions
from pipeline.intake.prepare import Prepared
from pipeline.intake.rare_kinds import Rare, RareKinds
from pipeline.intake.recurring import Recurring
from pipeline.intake.row_order import RowOrder
from pipeline.intake.row_steps import RowSteps, row_steps
from pipeline.intake.same_names import SameNames, same_names
from pipeline.intake.session_places import SessionPlaces
from pipeline.intake.shared_numbers import Shared, SharedNumbers
from pipeline.intake.shifted_copies import ShiftedCopies
from pipeline.intake.sort import Sieve
from pipeline.intake.sorted_columns import SortedColumns, SortedRows
from pipeline.intake.sorted_names import NamesInOrder, SortedNames
from pipeline.intake.sound_rows import SoundRows
from pipeline.intake.spellings import spellings
from pipeline.intake.stretches_beside import StretchBeside, stretches_beside
from pipeline.intake.tie_reach import tie_reach
from pipeline.intake.unusable_rows import Unusable, UnusableRows
from pipeline.intake.zero_led_names import ZeroLedNames, ZerosLost
from pipeline.occupations.signs import Wanted
from pipeline.progress import Progress
from pipeline.read.exports import Export, read_ahead
from pipeline.read.raw_batch import CutRow
from pipeline.read.reading_cache import Kept, Room
from pipeline.read.stated_offsets import StatedOffsets
from pipeline.replace import replace

#: Before any time.
_NEVER = int(np.iinfo(np.int64).min)


class FirstPass(Struct, frozen=True):
    """What the first pass keeps.

    Args:
        rows: rows of each export.
        candidates: readings that may be occupations, with ``session``, ``number`` (row of the whole job, counted
            from 0) and ``export``; ``held`` says what is wrong with one.
        duplicates: (k,) numbers of the rows that repeat another, ascending; ``duplicate_of`` the row that each repeats
            and ``duplicate_row`` that row's number in its file.
        copied: (m, 2) numbers of readings that may stand on marks, and of those that they may be copies of.
        implausible: readings that cannot lie where they say; nothing else here counts them, but for candidates.
        notes: what is to be said of repeated, implausible and doubtful readings, and of a few with another base.
        first_point, last_point: (S,) UTC milliseconds of each session's first and last acceptable reading that is
            no candidate and repeats none; first is greater than last where there is none.
        place: (S, 3) raw position of each session's first sound reading, NaN where none; ``place_block`` its block.
        blocks: (S, B) whether a session has acceptable readings of a ``[[points]]`` block that repeat no other.
        newest: UTC milliseconds of the newest reading that repeats none, or None.
        area: extent of the job, with where its readings lie.
        log: what the exports say of the bases.
        unusable: why rows cannot be used, by reason, the most frequent first.
        unplaced: sound rows whose coordinates their CRS does not reach, None where there are none.
        solutions: the solutions of rows that are not accepted, each once.
        claims: of each export, what its times say of their own zone against the job file.
        cut_off: the row that a file seems to end within, or where it lost rows, by the number of the export.
        files: what is noted of each export.
        same_names: points whose names others have too.
        codes: the codes that readings have, None where the job has no table of codes.
        kept: of each export, its rows where it is a text: in memory, or on disk if it is large.
        readings: every reading, where that was asked for.
        coarse: readings that are written with too few digits.
        reach: (S,) metres from the middle of each session's ties to its farthest reading, for shifts in the grid.
        astray: rows whose times contradict the order of their file.
        shifted: readings that the exports have twice, at places that differ by one vector.
        recurring: readings that two sessions have at one position to the last digit.
        few: what of the listed occupations few other readings have.
        packed: exports whose degrees seem to be degrees, minutes and seconds in one number.
        sides: what headings of longitudes and latitudes state of hemispheres, with the signs below them.
        elsewhere: readings in no list that name a mark in a column which is not mapped.
        filled: rows with a coordinate that may have been copied down its column.
        blanks: stretches of rows in which blanks of a coordinate may have been filled from above.
        means: rows that are the mean of the other rows of their names.
        missing_digits: digits that no number of a coordinate has among its last decimals.
        zeros_lost: exports whose names lack the leading zeros that another has.
        copied_times: rows with one time, which may have been copied down its column.
        pasted: rows with numbers of one coordinate that other rows have in the same order.
        shared: rows with one coordinate of other rows, in any order.
        sorted: rows of which one coordinate seems to have been sorted alone.
        sorted_names: rows whose names seem to have been sorted alone.
        moved: rows with the height, or the place, of the row beside them.
        steps: of each export, from row to row.
        in_turn: exports that two rovers of one site seem to share.
        hemispheres: what unmapped columns of hemispheres say.
        poles: with which pole heights readings were made.
        field_points: the points of each field shift's session and receiver, by time.
        stretches: rows of a session in which another position of them is off by one vector.
        long_breaks: breaks of hours in the readings of sessions.
        other_kinds: of each export, readings that seem to be of no rover.
    """

    rows: tuple[int, ...]
    candidates: pa.Table
    duplicates: Integers
    duplicate_of: Integers
    duplicate_row: Integers
    copied: Integers
    implausible: Implausible
    notes: tuple[str, ...]
    first_point: Integers
    last_point: Integers
    place: Floats
    place_block: Integers
    blocks: Flags
    newest: int | None
    area: Area | None
    log: BaseLog
    files: tuple[FileLog, ...]
    same_names: SameNames
    unusable: tuple[Unusable, ...] = ()
    unplaced: Unusable | None = None
    solutions: tuple[str, ...] = ()
    claims: tuple[StatedOffsets, ...] = ()
    cut_off: dict[int, CutRow] = field(default_factory=dict)
    kept: tuple[Kept, ...] = ()
    readings: ReadingRows | None = None
    codes: CodeLog | None = None
    coarse: tuple[CoarseRows, ...] = ()
    reach: Floats | None = None
    astray: tuple[Astray, ...] = ()
    shifted: tuple[ShiftedCopies, ...] = ()
    recurring: tuple[Recurring, ...] = ()
    few: Rare = field(default_factory=Rare)
    packed: tuple[PackedExport, ...] = ()
    sides: tuple[HeadedSide, ...] = ()
    elsewhere: Elsewhere = field(default_factory=dict)
    filled: tuple[Filled, ...] = ()
    blanks: tuple[Blanked, ...] = ()
    means: tuple[MeanRows, ...] = ()
    missing_digits: tuple[Missing, ...] = ()
    zeros_lost: tuple[ZerosLost, ...] = ()
    copied_times: tuple[CopiedTime, ...] = ()
    pasted: tuple[Pasted, ...] = ()
    shared: tuple[Shared, ...] = ()
    sorted: tuple[SortedRows, ...] = ()
    sorted_names: tuple[SortedNames, ...] = ()
    moved: tuple[MovedCells, ...] = ()
    steps: tuple[RowSteps, ...] = ()
    in_turn: tuple[InTurn, ...] = ()
    hemispheres: Hemispheres = field(default_factory=Hemispheres)
    poles: PoleLog = field(default_factory=PoleLog)
    field_points: tuple[FieldPoints, ...] = ()
    stretches: tuple[StretchBeside, ...] = ()
    long_breaks: tuple[LongBreak, ...] = ()
    other_kinds: tuple[tuple[OtherKind, ...], ...] = ()

    def export_of(self, numbers: Integers) -> Integers:
        """Return the exports of rows of the job, by their numbers, in whatever shape these have."""
        return np.searchsorted(np.cumsum(self.rows), numbers, side="right").astype(np.int64)


def gather(prepared: Prepared, sieve: Sieve, progress: Progress | None = None, keep: bool = False) -> FirstPass:
    """Read every export once and keep what the adjustment and the choice of operations need; all of it to ``keep``."""
    found, rows = _Gatherer(prepared, sieve, progress).run()
    return replace(found, readings=rows) if keep else found


class _Judged(Struct, frozen=True):
    """Every reading of the job, compared with the others.

    Args:
        rows: the n readings.
        duplicates: which repeat another.
        implausible: which cannot lie where they say.
        counting: (n,) which are sound and may lie where they say.
        once: (n,) which of those repeat none.
    """

    rows: ReadingRows
    duplicates: DuplicateRows
    implausible: Implausible
    counting: Flags
    once: Flags


class _Gatherer:
    """State of the first pass."""

    def __init__(self, prepared: Prepared, sieve: Sieve, progress: Progress | None) -> None:
        self.progress = progress
        self.prepared = prepared
        self.sieve = sieve
        sessions = [window.session for window in prepared.windows]
        names = [occupation.point for session in sessions for occupation in session.ties + session.checks]
        names += [stated.tie for session in sessions for stated in session.field_shifts if stated.tie is not None]
        spelled = spellings(names)
        self.wanted = Wanted.of([*names, *spelled], prepared.loaded.job.checks.codes, prepared.mark_names)
        known = [row.code for row in prepared.codes.codes] if prepared.codes is not None else []
        self.alike = RareKinds.of(names, self.wanted.marks, prepared.loaded.job.checks.codes, known)
        self.elsewhere = NamedElsewhere(self.wanted.marks)
        self.places = SessionPlaces.of(len(sessions))
        self.logs = BaseLogs(prepared.windows)
        self.files = FileLogs(len(prepared.exports), prepared.windows, sieve.index, sieve.quality)
        self.picked = PickedRows(sieve, spelled)
        self.claims = [StatedOffsets() for _ in prepared.exports]
        self.cut_off: dict[int, CutRow] = {}
        room = Room()
        self.kept = [Kept(room) for _ in prepared.exports]
        self.unusable = UnusableRows(sieve)
        self.ledger = Ledger()
        self.placeholders = Placeholders()
        self.filled = FilledDown()
        self.blanks = FilledBlanks()
        self.digits = MissingDigits()
        self.numbered = ZeroLedNames()
        self.means = Means()
        self.pasted = PastedCells()
        self.shared = SharedNumbers()
        self.sorted = SortedColumns()
        self.names_in_order = NamesInOrder()
        self.moved = MovedColumns()
        self.hemispheres = Hemispheres()
        self.poles = PoleLog()
        self.order = RowOrder(prepared.exports, sieve.index)
        drawn = prepared.loaded.job.drawing.codes
        self.codes = CodeLog(prepared.named) if prepared.codes is not None or drawn else None

    def run(self) -> tuple[FirstPass, ReadingRows]:
        """Read everything and sum it up; return that and what was kept of every reading."""
        exports = enumerate(self.prepared.exports)
        counts = tuple(self._read(number, export) for number, export in exports)
        judged = self._judge()
        return self._sum_up(counts, judged), judged.rows

    def _judge(self) -> _Judged:
        """Compare all readings with one another and with their sessions: which are repeated, which impossible."""
        rows = self.ledger.rows()
        duplicates = with_means(find_duplicates(rows, self.prepared), self.means.found, rows)
        implausible = find_implausible(rows, duplicates.numbers, self.prepared, self.logs.sessions)
        counting = rows.having(SOUND)
        counting[implausible.numbers] = False
        once = counting.copy()
        once[duplicates.numbers] = False
        return _Judged(rows, duplicates, implausible, counting, once)

    def _sum_up(self, counts: tuple[int, ...], judged: _Judged) -> FirstPass:
        """Return what the first pass keeps, once all exports are read; ``counts`` are the rows of each."""
        rows, once, counting = judged.rows, judged.once, judged.counting
        duplicates, implausible = judged.duplicates, judged.implausible
        candidates, few, elsewhere = self._candidates(judged)
        # a copy of a day by another clock would stretch its session beyond the checks on both its ends
        first, last = self._times(rows, once & ~rows.having(CANDIDATE))
        place, place_block = self.places.first(counting, once)
        steps = row_steps(rows, counting)
        filled, blanks = told_once(self.filled.found(), self.blanks.found)
        return FirstPass(
            rows=counts,
            candidates=candidates,
            duplicates=duplicates.numbers,
            duplicate_of=duplicates.first,
            duplicate_row=rows.source_row(duplicates.first),
            copied=duplicates.on_marks,
            implausible=implausible,
            notes=self._notes(judged, steps),
            first_point=first,
            last_point=last,
            place=place,
            place_block=place_block,
            blocks=self._blocks(rows, counts, duplicates.numbers),
            newest=_newest(rows, once),
            area=area_of(rows, counting),
            log=self.logs.log(_rows_of(rows, implausible.numbers)),
            files=self.files.logs,
            same_names=same_names(rows, once, self.prepared.loaded.job.checks.same_place > 0),
            unusable=self.unusable.found(),
            unplaced=self.unusable.unplaced,
            solutions=tuple(self.unusable.solutions),
            claims=tuple(self.claims),
            cut_off=self.cut_off,
            codes=self.codes,
            kept=tuple(self.kept),
            coarse=find_coarse(rows, once, self.prepared, self.files.logs),
            reach=tie_reach(rows, once, candidates, self.prepared) if self._in_grid else None,
            astray=self.order.out_of_order(rows, duplicates.numbers),
            shifted=duplicates.shifted,
            recurring=duplicates.recurring,
            few=few,
            packed=find_packed(rows, counting, self.prepared.exports),
            sides=find_sides(rows, counting, self.prepared.exports),
            elsewhere=elsewhere,
            filled=filled,
            blanks=blanks,
            means=tuple(self.means.found),
            missing_digits=self.digits.found(),
            zeros_lost=self.numbered.found(),
            copied_times=copied_times(rows, counting),
            pasted=tuple(self.pasted.found),
            shared=tuple(self.shared.found),
            sorted=tuple(self.sorted.found),
            sorted_names=tuple(self.names_in_order.found),
            moved=tuple(self.moved.found()),
            steps=steps,
            in_turn=in_turn(rows, once, steps, self.prepared.exports, self.files.logs),
            hemispheres=self.hemispheres,
            poles=self.poles,
            field_points=field_points(rows, once, self.prepared.field_windows),
            stretches=stretches_beside(rows, self.prepared.exports),
            long_breaks=long_breaks(rows, once, self.prepared.windows),
            other_kinds=other_kinds(rows, once, self.prepared.exports, self.files.logs),
        )

    def _candidates(self, judged: _Judged) -> tuple[pa.Table, Rare, Elsewhere]:
        """Return the candidates, what few others have of the listed ones, and those that another column names."""
        more, few = self.alike.chosen()
        named, elsewhere = self.elsewhere.chosen()
        more, few = _with_named(more, few, named, judged.rows)
        again, impossible = judged.duplicates.numbers, judged.implausible.numbers
        return self.picked.candidates(again, impossible, more, self.prepared.windows), few, elsewhere

    def _notes(self, judged: _Judged, steps: tuple[RowSteps, ...]) -> tuple[str, ...]:
        return (
            *judged.duplicates.notes,
            *judged.implausible.notes,
            *self.placeholders.notes(self.prepared.exports),
            *switch_notes(judged.rows, judged.once, self.prepared),
            *late_notes(judged.rows, judged.once, self.prepared),
            *leap_notes(judged.rows, judged.once, steps, self.prepared.exports, self.files.logs),
            *code_spike_notes(judged.rows, judged.once, self.prepared),
        )

    @property
    def _in_grid(self) -> bool:
        return self.prepared.loaded.job.shift.model == "grid"

    def _read(self, number: int, export: Export) -> int:
        done, rows = self.ledger.rows_so_far, 0
        self.ledger.begin(crs.kind_of(crs.source_crs(export.points.crs or "")) == "geographic")
        cut_off = partial(self.cut_off.__setitem__, number)
        for batch in read_ahead(export, self.claims[number], self.kept[number], cut_off):
            self._take(batch, number, export, done + rows)
            rows += batch.num_rows
            if self.progress:
                self.progress("reading", done + rows, 0)
        return rows

    def _take(self, batch: pa.RecordBatch, number: int, export: Export, start: int) -> None:
        sifted = self.sieve.sift(batch, None, export.points.columns.solution is not None)
        signs = self.wanted.signs(batch)
        candidate = signs.candidate
        places = own_places(export.points.crs or "", *raw_positions(batch))
        self.ledger.take(batch, export, sifted, signs, places)
        self.places.take(batch, sifted.session, sifted.held == 0, export.block, start)
        self.logs.take(batch, number, export, sifted)
        self.unusable.take(batch, sifted.held, number)
        sound = sifted.held == 0
        unplaced = sound & ~np.isfinite(places[0] + places[1])
        self.unusable.take_unplaced(batch, np.flatnonzero(unplaced), number)
        self.placeholders.take(batch, number, sound)
        self.hemispheres.take(batch, number, bool(self.ledger.degrees[-1]))
        rows = SoundRows.of(batch, number, export, sound, sifted.session)
        self.filled.take(rows)
        self.blanks.take(rows)
        self.digits.take(rows)
        self.numbered.take(batch, number, sound & ~candidate, places)
        self.means.take(batch, number, export, sound, start)
        self.pasted.take(rows)
        self.shared.take(rows)
        self.sorted.take(batch, number, export, sound & ~candidate)
        self.names_in_order.take(batch, number, export, sound & ~candidate)
        self.moved.take(batch, number, export, sound & ~candidate, sifted.session)
        self.order.take(batch, number)
        self.poles.take(batch, number, export, sifted.session, sound, candidate)
        self.files.take(batch, number, export, sifted, signs)
        if self.codes is not None:
            self.codes.take(batch, number)

        def pick(rows: Integers) -> pa.RecordBatch:
            return self.picked.pick(batch, rows, sifted, number, start)

        self.alike.take(batch, signs, pick)
        self.elsewhere.take(batch, signs, pick)
        self.picked.take(batch, np.flatnonzero(candidate), sifted, number, start)

    def _times(self, rows: ReadingRows, which: Flags) -> tuple[Integers, Integers]:
        """Return (S,) the times of each session's first and last point, first greater than last where there is none."""
        first = np.full(len(self.prepared.windows), np.iinfo(np.int64).max)
        last = np.full(len(self.prepared.windows), _NEVER)
        for at, times, _ in rows.times():
            session, time = rows.session[at][which[at]], times[which[at]]
            np.minimum.at(first, session, time)
            np.maximum.at(last, session, time)
        return first, last

    def _blocks(self, rows: ReadingRows, counts: tuple[int, ...], again: Integers) -> Flags:
        """Return (S, B) which blocks a session has sound readings of; ``again`` (k,) are those that repeat another."""
        found = np.zeros((len(self.prepared.windows), len(self.prepared.loaded.job.points)), bool)
        sound, start = rows.having(SOUND), 0
        sound[again] = False
        for export, count in zip(self.prepared.exports, counts, strict=True):
            here = slice(start, start + count)
            found[np.unique(rows.session[here][sound[here]]), export.block] = True
            start += count
        return found


def _newest(rows: ReadingRows, once: Flags) -> int | None:
    """Return the UTC milliseconds of the newest reading that counts and repeats none, None where there is none."""
    newest = max((int(time[once[at]].max(initial=_NEVER)) for at, time, _ in rows.times()), default=_NEVER)
    return newest if newest > _NEVER else None


def _rows_of(rows: ReadingRows, numbers: Integers) -> set[tuple[int, int]]:
    """Return export and row of readings by their numbers in the job."""
    return set(zip(rows.export(numbers).tolist(), rows.source_row(numbers).tolist(), strict=True))


def _with_named(
    more: list[pa.RecordBatch], few: Rare, named: dict[int, pa.RecordBatch], rows: ReadingRows
) -> tuple[list[pa.RecordBatch], Rare]:
    """Return the candidates that are not told by themselves, with those that name a mark in another column."""
    already = set(np.flatnonzero(rows.having(CANDIDATE)).tolist()) | few.numbers
    free = [number for number in sorted(named) if number not in already]
    return [*more, *(named[number] for number in free)], replace(few, numbers=few.numbers | frozenset(free))
