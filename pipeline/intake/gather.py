"""Makes the first pass over the exports: picks out occupations, notes extents, times and repeated rows."""

from collections.abc import Sequence
from functools import partial

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.geodesy import crs
from pipeline.geodesy.own_places import own_places
from pipeline.intake.base_logs import BaseLogs
from pipeline.intake.coarse_rows import find_coarse
from pipeline.intake.code_log import CodeLog
from pipeline.intake.code_spikes import code_spike_notes
from pipeline.intake.collectors import Collectors, Found
from pipeline.intake.copied_times import copied_times
from pipeline.intake.duplicate_rows import DuplicateRows, find_duplicates, with_means
from pipeline.intake.few_on_other_base import switch_notes
from pipeline.intake.field_points import field_points
from pipeline.intake.file_log import FileLogs
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.headed_sides import find_sides
from pipeline.intake.hemispheres import Hemispheres
from pipeline.intake.implausible import Implausible, find_implausible
from pipeline.intake.job_area import area_of
from pipeline.intake.late_rows import late_notes
from pipeline.intake.leaps import in_turn, leap_notes
from pipeline.intake.ledger import CANDIDATE, SOUND, Ledger, ReadingRows
from pipeline.intake.long_breaks import long_breaks
from pipeline.intake.mean_rows import MeanRows, Means
from pipeline.intake.named_elsewhere import Elsewhere, NamedElsewhere
from pipeline.intake.other_kinds import other_kinds
from pipeline.intake.packed_degrees import find_packed
from pipeline.intake.picked_rows import PickedRows
from pipeline.intake.placeholders import Placeholders
from pipeline.intake.pole_log import PoleLog
from pipeline.intake.positions import raw_positions
from pipeline.intake.prepare import Prepared
from pipeline.intake.rare_kinds import Rare, RareKinds
from pipeline.intake.row_order import RowOrder
from pipeline.intake.row_steps import RowSteps, row_steps
from pipeline.intake.same_names import same_names
from pipeline.intake.session_places import SessionPlaces
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.intake.sort import Sieve
from pipeline.intake.spellings import spellings
from pipeline.intake.stretches_beside import stretches_beside
from pipeline.intake.tie_reach import tie_reach
from pipeline.intake.unusable_rows import UnusableRows
from pipeline.occupations.signs import Wanted
from pipeline.progress import Progress
from pipeline.read.exports import Export, read_ahead
from pipeline.read.raw_batch import CutRow
from pipeline.read.reading_cache import Kept, Room
from pipeline.read.stated_offsets import StatedOffsets
from pipeline.replace import replace

#: Before any time.
_NEVER = int(np.iinfo(np.int64).min)


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
        self.collectors = Collectors()
        self.hemispheres = Hemispheres()
        self.poles = PoleLog()
        self.order = RowOrder(prepared.exports, sieve.index)
        drawn = prepared.loaded.job.drawing.codes
        self.codes = CodeLog(prepared.named) if prepared.codes is not None or drawn else None

    def run(self) -> tuple[FirstPass, ReadingRows]:
        """Read everything and sum it up; return that and what was kept of every reading."""
        exports = enumerate(self.prepared.exports)
        counts = tuple(self._read(number, export) for number, export in exports)
        found = self.collectors.found()
        judged = self._judge(found.of(Means))
        return self._sum_up(counts, judged, found), judged.rows

    def _judge(self, means: Sequence[MeanRows]) -> _Judged:
        """Compare all readings with one another and with their sessions: which are repeated, which impossible."""
        rows = self.ledger.rows()
        duplicates = with_means(find_duplicates(rows, self.prepared), means, rows)
        implausible = find_implausible(rows, duplicates.numbers, self.prepared, self.logs.sessions)
        counting = rows.having(SOUND)
        counting[implausible.numbers] = False
        once = counting.copy()
        once[duplicates.numbers] = False
        return _Judged(rows, duplicates, implausible, counting, once)

    def _sum_up(self, counts: tuple[int, ...], judged: _Judged, found: Found) -> FirstPass:
        """Return what the first pass keeps, once all exports are read; ``counts`` are the rows of each."""
        rows, once, counting = judged.rows, judged.once, judged.counting
        duplicates, implausible = judged.duplicates, judged.implausible
        candidates, few, elsewhere = self._candidates(judged)
        # a copy of a day by another clock would stretch its session beyond the checks on both its ends
        first, last = self._times(rows, once & ~rows.having(CANDIDATE))
        place, place_block = self.places.first(counting, once)
        steps = row_steps(rows, counting)
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
            found=found,
            elsewhere=elsewhere,
            copied_times=copied_times(rows, counting),
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
        places = own_places(export.points.crs or "", *raw_positions(batch))
        whole = SiftedBatch(batch, number, export, start, sifted, signs, places)
        self.ledger.take(batch, export, sifted, signs, places)
        self.places.take(batch, sifted.session, whole.sound, export.block, start)
        self.logs.take(batch, number, export, sifted)
        self.unusable.take(batch, sifted.held, number)
        unplaced = whole.sound & ~np.isfinite(places[0] + places[1])
        self.unusable.take_unplaced(batch, np.flatnonzero(unplaced), number)
        self.placeholders.take(batch, number, whole.sound)
        self.hemispheres.take(batch, number, bool(self.ledger.degrees[-1]))
        self.collectors.take(whole)
        self.order.take(batch, number)
        self.poles.take(whole)
        self.files.take(batch, number, export, sifted, signs)
        if self.codes is not None:
            self.codes.take(batch, number)

        def pick(rows: Integers) -> pa.RecordBatch:
            return self.picked.pick(batch, rows, sifted, number, start)

        self.alike.take(batch, signs, pick)
        self.elsewhere.take(batch, signs, pick)
        self.picked.take(batch, np.flatnonzero(signs.candidate), sifted, number, start)

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
