"""What the first pass over the exports keeps."""

import numpy as np
import pyarrow as pa
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.area import Area
from pipeline.intake.base_log import BaseLog
from pipeline.intake.coarse_rows import CoarseRows
from pipeline.intake.code_log import CodeLog
from pipeline.intake.collectors import Found
from pipeline.intake.copied_times import CopiedTime
from pipeline.intake.field_points import FieldPoints
from pipeline.intake.file_log import FileLog
from pipeline.intake.file_sequence import Astray
from pipeline.intake.headed_sides import HeadedSide
from pipeline.intake.hemispheres import Hemispheres
from pipeline.intake.implausible import Implausible
from pipeline.intake.leaps import InTurn
from pipeline.intake.ledger import ReadingRows
from pipeline.intake.long_breaks import LongBreak
from pipeline.intake.named_elsewhere import Elsewhere
from pipeline.intake.other_kinds import OtherKind
from pipeline.intake.packed_degrees import PackedExport
from pipeline.intake.pole_log import PoleLog
from pipeline.intake.rare_kinds import Rare
from pipeline.intake.recurring import Recurring
from pipeline.intake.row_steps import RowSteps
from pipeline.intake.same_names import SameNames
from pipeline.intake.shifted_copies import ShiftedCopies
from pipeline.intake.stretches_beside import StretchBeside
from pipeline.intake.unusable_rows import Unusable
from pipeline.read.raw_batch import CutRow
from pipeline.read.reading_cache import Kept
from pipeline.read.stated_offsets import StatedOffsets


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
        found: what the collectors found, asked for by their classes.
        elsewhere: readings in no list that name a mark in a column which is not mapped.
        copied_times: rows with one time, which may have been copied down its column.
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
    found: Found = field(default_factory=Found)
    elsewhere: Elsewhere = field(default_factory=dict)
    copied_times: tuple[CopiedTime, ...] = ()
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
