"""The raw files of a job, and how they are read as batches of readings."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Signature, changed
from pipeline.files.workbook import WORKBOOKS, HiddenSheet
from pipeline.handoff import ahead
from pipeline.job.model import Points
from pipeline.problems import JobError, Problem
from pipeline.read.columns import ReadingPlan, readings
from pipeline.read.findings import Unusable
from pipeline.read.geometry_apart import GeometryApart
from pipeline.read.positions_beside import PositionsBeside
from pipeline.read.raw_batch import CutRow, Raw
from pipeline.read.reading_cache import Kept
from pipeline.read.said_beside import SaidBeside
from pipeline.read.skipped_comments import PassedOver
from pipeline.read.sources import JSON, PACKAGE, TEXT, Source, open_source
from pipeline.read.spreadsheet import HiddenRows
from pipeline.read.stated_offsets import StatedOffsets
from pipeline.read.uncorrected_beside import UncorrectedBeside

_CHANGED = ("the file changed while it was being read", "run the job again")

#: Bytes of a text beyond which it comes in several pieces, so that the next is taken apart while one is worked at.
MUCH = 1 << 23


class Looked(Struct, frozen=True):
    """All the rows of a text whose bytes have the sum that its export bears, and how they become readings."""

    how: ReadingPlan
    rows: tuple[Raw, ...]

    @property
    def size(self) -> int:
        """Return how many bytes of memory they take."""
        return sum(raw.size for raw in self.rows)


@dataclass(frozen=True)
class Export:
    """One raw file of one ``[[points]]`` block.

    ``shown`` is its path from the job file's folder with forward slashes, used as source_file, with ``:layer`` behind
    it where a job reads several layers of one GeoPackage; ``file`` is the path alone; ``block`` the index of its block
    and ``points`` the block with defaults filled in; ``carried`` the export's own columns that the job file does not
    map, with the types in which they are delivered. ``signature`` are the signs of a file, taken before its sum, by
    which it is seen that nobody wrote to it since. ``bare_time`` is row and text of its first time where that stands
    without an offset from UTC. ``passed`` are lines that look like rows and that the block's comment sign passes over.
    ``unseen`` are hidden sheets beside the one that is read, which hold rows like readings, and ``hidden`` such rows of
    that one, None where it shows all.
    ``looked`` has the rows of a small text, all of which that look took apart. ``headings`` are what the file calls the
    columns that are mapped, by our words, those too that the job file maps by number. ``apart`` is how far its
    geometries lie from the columns that are mapped instead of them. ``other_unit`` is the line above the header that
    says another unit than the job file states, and what it says. ``marked`` is how the names are marked as texts of a
    spreadsheet, "" where they are not. ``exchanged`` is whether degrees beside easting and northing say that these are
    exchanged, None where nothing does say it. ``beside`` is how other positions of its rows go with the mapped ones.
    ``west`` are the headings by whose language the O of its longitudes is read as the west, () where they have no O.
    ``small`` are the metres of one unit of columns that are read in a small one, by our words. ``said`` is what the
    file says beside its rows. ``uncorrected`` are columns that hold the mapped position before a correction.
    """

    path: Path
    shown: str
    block: int
    points: Points
    sha256: str
    carried: tuple[pa.Field, ...]
    signature: Signature | None = None
    bare_time: tuple[int, str] | None = None
    file: str = ""
    passed: PassedOver | None = None
    unseen: tuple[HiddenSheet, ...] = ()
    hidden: HiddenRows | None = None
    looked: Looked | None = field(default=None, compare=False, repr=False)
    headings: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    apart: GeometryApart | None = None
    other_unit: tuple[int, str] | None = field(default=None, compare=False, repr=False)
    marked: str = field(default="", compare=False, repr=False)
    exchanged: bool | None = field(default=None, compare=False)
    beside: tuple[PositionsBeside, ...] = field(default=(), compare=False)
    west: tuple[str, ...] = ()
    small: Mapping[str, float] = field(default_factory=dict, compare=False, repr=False)
    said: tuple[SaidBeside, ...] = field(default=(), compare=False, repr=False)
    uncorrected: UncorrectedBeside | None = field(default=None, compare=False, repr=False)


def read_batches(
    export: Export,
    rows_per_batch: int = 65536,
    claims: StatedOffsets | None = None,
    cut_off: Callable[[CutRow], None] | None = None,
) -> Iterator[pa.RecordBatch]:
    """Give the export's rows as `tables.READING` followed by the carried columns, at most ``rows_per_batch`` at a time.

    Rows come in the file's order, none is left out. ``claims`` takes up what the file's times say of their own zone,
    ``cut_off`` the row that the file seems to end within, if it does, or where rows are lost in it.
    Raises `JobError` where the file cannot be read to its end, or is not the one whose sum the export bears.
    """
    try:
        _check_signature(export)
        with _opened(export, rows_per_batch) as source:
            for raw in source.batches:
                _tell_cuts(raw, cut_off)
                batch = readings(raw, source.how)
                for start in range(0, batch.num_rows, rows_per_batch):
                    yield batch.slice(start, rows_per_batch)
            if source.seen is not None and source.seen.hexdigest() != export.sha256:
                raise Unusable(0, *_CHANGED)
            if claims is not None:
                claims.join(source.how.clock.claims)
        _check_signature(export)
    except Unusable as error:
        told = (0, *_CHANGED) if changed(export.path, export.signature) else (error.line, error.what, error.fix)
        raise JobError([Problem(export.shown, *told)]) from error
    except UnicodeDecodeError as error:
        raise JobError([Problem(export.shown, 0, *_CHANGED)]) from error
    except OSError as error:
        what = f"the file cannot be read: {error.strerror or error}"
        raise JobError([Problem(export.shown, 0, what)]) from error


def _tell_cuts(raw: Raw, cut_off: Callable[[CutRow], None] | None) -> None:
    """Hand on the row that a file seems to end within, and where rows are lost, to who asks for it."""
    if cut_off is None:
        return
    if raw.cut_off is not None:
        cut_off(CutRow(int(raw.row[-1]), raw.cut_off))
    for gap in raw.gaps:
        cut_off(gap)


@contextmanager
def _opened(export: Export, rows_per_batch: int) -> Iterator[Source]:
    """Open an export, or take what a look at it took apart already where nobody wrote to it since."""
    if export.looked is None or export.signature is None or changed(export.path, export.signature):
        with open_source(export.path, export.points, rows_per_batch) as source:
            yield source
    else:
        yield Source(0, None, export.looked.how.afresh(), iter(export.looked.rows))


def read_ahead(
    export: Export, claims: StatedOffsets | None, kept: Kept | None, cut_off: Callable[[CutRow], None] | None = None
) -> Iterator[pa.RecordBatch]:
    """Give what `read_batches` does, keeping a text's if asked to; one with much to read is read in its own thread."""
    batches = read_batches(export, claims=claims, cut_off=cut_off)
    form = export.path.suffix.lower()
    try:
        much = form in TEXT and export.path.stat().st_size > MUCH
    except OSError:  # told by who reads it
        much = False
    if much:
        return ahead(batches if kept is None else kept.passing(batches))
    return kept.holding(batches) if kept is not None and form in (*TEXT, *JSON) else batches


def read_again(export: Export, kept: Kept) -> Iterator[pa.RecordBatch]:
    """Give the rows a second time, from what was ``kept`` of them if that is all.

    Of a small text only as long as nobody wrote to it: else it is read again, as cheaply, and what is not what was
    summed is told.
    """
    if not kept.whole or (kept.held is not None and changed(export.path, export.signature)):
        return read_ahead(export, None, None)
    return kept.batches() if kept.held is not None else ahead(kept.batches())


def _check_signature(export: Export) -> None:
    """Refuse a GeoPackage or spreadsheet that was written to since it was summed; a text is summed as it is read."""
    if export.path.suffix.lower() in (*PACKAGE, *WORKBOOKS) and changed(export.path, export.signature):
        raise Unusable(0, *_CHANGED)
