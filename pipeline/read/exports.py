"""The raw files of a job: found, checked all at once, hashed, and read as batches of readings."""

import glob
import os
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Signature, changed, digest, signature
from pipeline.files.file_patterns import Closed, TooMany, named_by, temporary, temporary_ones
from pipeline.files.geopackages import SQLITE
from pipeline.files.letter_o import west_by
from pipeline.files.regular_files import COPY, NoFile, check_regular
from pipeline.files.text_marks import text_mark
from pipeline.files.unread_formats import unread_format, way_to_read
from pipeline.files.workbook import OLD_WORKBOOK, PACKED, WORKBOOKS, HiddenSheet
from pipeline.handoff import ahead
from pipeline.job.key_values import BLANKS
from pipeline.job.model import Job, Points
from pipeline.limits import ALL_COLUMNS, COLUMNS, EXPORTS, HINTS, LOOKED_AT
from pipeline.near import beside, listed
from pipeline.problems import NOT_TEXT, JobError, Problem, Problems, is_text
from pipeline.read.bare_times import bare_time
from pipeline.read.columns import ReadingPlan, readings
from pipeline.read.covariances import lacking
from pipeline.read.degrees_beside import axes_exchanged
from pipeline.read.findings import Unusable
from pipeline.read.first_rows import check_times, check_units
from pipeline.read.geojson import text_encoding
from pipeline.read.geometry_apart import GeometryApart, geometry_apart
from pipeline.read.layer_crs import check_crs
from pipeline.read.mapping import base_of, mapped, position_of, sigma_of, time_of
from pipeline.read.named_copies import in_reading_order
from pipeline.read.point_names import UnusedFile
from pipeline.read.positions_beside import PositionsBeside, positions_beside
from pipeline.read.raw_batch import CutRow, Raw
from pipeline.read.reading_cache import Kept
from pipeline.read.skipped_comments import PassedOver, passed_over
from pipeline.read.sources import JSON, PACKAGE, TEXT, Source, has_layers, open_source
from pipeline.read.spreadsheet import unseen_sheets
from pipeline.read.stated_offsets import StatedOffsets
from pipeline.read.text_blocks import check_text, known_encoding
from pipeline.read.times import clock
from pipeline.replace import replace
from pipeline.words import counted, plural

#: Gives the job file and the line of a key, such as ("points", 0, "files").
Where = Callable[..., tuple[str, int]]

_CHANGED = ("the file changed while it was being read", "run the job again")

#: Bytes of rows of texts that a job holds from the first look at them until they are read.
LOOKED = 4 << 20
#: Names of an export that are looked at for marks of a spreadsheet.
LOOKED_NAMES = 200
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
    ``unseen`` are hidden sheets beside the one that is read, which hold rows like readings.
    ``looked`` has the rows of a small text, all of which that look took apart. ``headings`` are what the file calls the
    columns that are mapped, by our words, those too that the job file maps by number. ``apart`` is how far its
    geometries lie from the columns that are mapped instead of them. ``other_unit`` is the line above the header that
    says another unit than the job file states, and what it says. ``marked`` is how the names are marked as texts of a
    spreadsheet, "" where they are not. ``exchanged`` is whether degrees beside easting and northing say that these are
    exchanged, None where nothing does say it. ``beside`` is how other positions of its rows go with the mapped ones.
    ``west`` are the headings by whose language the O of its longitudes is read as the west, () where they have no O.
    ``small`` are the metres of one unit of columns that are read in a small one, by our words.
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
    looked: Looked | None = field(default=None, compare=False, repr=False)
    headings: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    apart: GeometryApart | None = None
    other_unit: tuple[int, str] | None = field(default=None, compare=False, repr=False)
    marked: str = field(default="", compare=False, repr=False)
    exchanged: bool | None = field(default=None, compare=False)
    beside: tuple[PositionsBeside, ...] = field(default=(), compare=False)
    west: tuple[str, ...] = ()
    small: Mapping[str, float] = field(default_factory=dict, compare=False, repr=False)


def find_exports(
    job: Job,
    folder: Path,
    job_file: str,
    where: Where,
    problems: Problems,
    issued: Callable[[Path], bool] = lambda _: False,
) -> tuple[list[Export], list[UnusedFile]]:
    """Find every file of every block, in order of block and path, and look at each just enough to know it is readable.

    ``folder`` is the job file's. What is wrong goes to ``problems``; files that cannot be used are left out and
    returned apart. ``issued`` says of a path, links resolved, that it is of what runs of the job write: no pattern
    matches that.
    """
    exports, unused, room = list[Export](), list[UnusedFile](), LOOKED
    owners: dict[str, list[tuple[int, str | None]]] = {}
    for block, points in enumerate(job.points):

        def line(key: str, block: int = block) -> int:
            return where("points", block, key)[1]

        sound = True
        for key, what in _faults(points):
            lacking = key == "columns" and "more than one" not in what
            fix = "name the export's columns for a whole position and a time in [points.columns]" if lacking else ""
            problems.add(job_file, line(key), what, fix)
            sound = False
        for path in _paths(points, folder, job_file, line("files"), problems, issued):
            shown = _shown(path, folder)
            others = owners.setdefault(os.path.realpath(path), [])
            layers = (points.layer or (None,)) if has_layers(path) else (None,)
            if any(layer is None or None in layers or layer in layers for _, layer in others):
                first = where("points", others[0][0], "files")[1]
                what = f"{shown} belongs to two blocks of points (the other is at line {first})"
                problems.add(job_file, line("files"), what, "let only one block's files match it")
                continue
            others.extend((block, layer) for layer in layers)
            if not is_text(path):
                problems.add(shown, 0, NOT_TEXT[0], NOT_TEXT[1])
                unused.append(UnusedFile(path, shown, points))
                continue
            for layer in layers:
                of_layer = points.model_copy(update={"layer": (layer,)}) if layer is not None else points
                layered = _with_layer(shown, layers, layer)
                export = _checked(path, layered, block, of_layer, sound, problems)
                if sound and export is not None:
                    room -= 0 if export.looked is None else export.looked.size
                    exports.append(replace(export, file=shown, looked=export.looked if room >= 0 else None))
                else:
                    unused.append(UnusedFile(path, layered, of_layer))
    exports = _told_apart(exports)
    names = {field.name for export in exports for field in export.carried}
    if len(names) > ALL_COLUMNS:
        what = f"the exports carry {counted(len(names), 'column')} along; the limit is {ALL_COLUMNS:,}"
        problems.add(job_file, where("points")[1], what, "export fewer, or divide the exports among several jobs")
    return exports, unused


def _checked(path: Path, shown: str, block: int, points: Points, sound: bool, problems: Problems) -> Export | None:
    """Check one file, or one layer of it, against its block; what is wrong with it is noted."""
    try:
        return _check(path, shown, block, points, sound)
    except Unusable as error:
        problems.add(shown, error.line, error.what, error.fix)
    except OSError as error:
        fix = COPY if isinstance(error, NoFile) else ""
        problems.add(shown, 0, f"the file cannot be read: {error.strerror or error}", fix)
    return None


def _with_layer(shown: str, layers: Sequence[str | None], layer: str | None) -> str:
    return f"{shown}:{layer}" if len(layers) > 1 else shown


def _told_apart(exports: list[Export]) -> list[Export]:
    """Name the layer behind every file of which several are read, so that a row's number says which row it is."""
    counts = Counter(os.path.realpath(export.path) for export in exports)
    return [
        replace(export, shown=f"{export.file}:{export.points.layer[0]}")
        if counts[os.path.realpath(export.path)] > 1 and export.points.layer
        else export
        for export in exports
    ]


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


def _faults(points: Points) -> Iterator[tuple[str, str]]:
    """Give the key and the fault of everything in a block that makes its files unreadable."""
    for found in (position_of, base_of, lambda _: time_of(points), sigma_of):
        try:
            found(points.columns)
        except ValueError as error:
            yield "columns", str(error)
    if (what := lacking(mapped(points.columns))) is not None:
        yield "columns", what
    for key, zone, time_format in (("time_zone", points.time_zone, None), ("time_format", None, points.time_format)):
        try:
            clock(zone, time_format)
        except ValueError as error:
            yield key, str(error)
    if points.encoding is not None and not known_encoding(points.encoding):
        yield "encoding", f'there is no encoding "{points.encoding}"'
    sign = None if points.delimiter == BLANKS else points.delimiter
    if sign is not None and (not sign.isascii() or sign in '"\r\n\0'):
        yield "delimiter", f'"{points.delimiter}" cannot be a delimiter'


def _paths(
    points: Points, folder: Path, job_file: str, line: int, problems: Problems, issued: Callable[[Path], bool]
) -> list[Path]:
    """Return the block's files, each once, in the order of their paths; what is named as a copy behind its original."""
    found: dict[str, Path] = {}
    hints = HINTS
    for pattern in points.files:
        try:
            matches = named_by(folder, pattern, issued)
        except TooMany:
            what = f'more than {counted(LOOKED_AT, "file")} would have to be searched for "{pattern}"'
            problems.add(job_file, line, what, "name the folders that the exports are in, or fewer folder levels")
            continue
        except Closed as error:
            place = os.path.relpath(error.folder, folder)
            what = f'the folder {place} cannot be searched for "{pattern}": {error}'
            problems.add(job_file, line, what, "check its permissions, or name the folders that the exports are in")
            continue
        if not matches:
            problems.add(job_file, line, f'no file matches "{pattern}"', _look(pattern, folder) if hints > 0 else "")
            hints -= 1
        for match in matches:
            found.setdefault(os.path.realpath(match), Path(match))
    if len(found) > EXPORTS:
        what = f"there are {counted(len(found), 'file')}; the limit is {EXPORTS:,}"
        problems.add(job_file, line, what, "combine them, or divide them among several jobs")
        return []
    return in_reading_order({_shown(path, folder): path for path in found.values()})


def _look(pattern: str, folder: Path) -> str:
    """Return where a pattern that matches no file was looked for, and what is there instead."""
    at, name = os.path.split(os.path.join(folder, pattern))
    fix = f"the search starts in {folder.as_posix()}"
    if "\\" in pattern:
        return f"{fix}; use / between folders, also on Windows"
    if glob.has_magic(at):
        return fix
    if not os.path.isdir(at):
        return f"{fix}, where there is no folder {os.path.dirname(pattern)}"
    if passed := temporary_ones(folder, pattern):
        few = listed(sorted(map(os.path.basename, passed)))
        return f"only {few} would, which {plural(len(passed), 'is', 'are')} named like a program's temporary file"
    if near := beside(os.path.join(at, name)):
        return f"did you mean {' or '.join(near)}? {fix}"
    try:
        there = sorted(each for each in os.listdir(at) if _like_an_export(each))
    except OSError:
        return fix
    return f"{fix}; possible exports there: {listed(there)}" if there else f"{fix}, where there is no export"


def _like_an_export(name: str) -> bool:
    return name.lower().endswith((*TEXT, *JSON, *PACKAGE, *WORKBOOKS)) and not temporary(name)


def _shown(path: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # on another drive
        return path.as_posix()


def _check(path: Path, shown: str, block: int, points: Points, sound: bool) -> Export:
    """Check one file against its block; raises `Unusable` or OSError. Of an unsound block only its bytes are."""
    check_regular(path)
    _check_content(path)
    at = signature(path)
    sha256 = digest(path) if path.suffix.lower() in (*PACKAGE, *WORKBOOKS) else _text_sum(path, points)
    if not sound:
        return Export(path, shown, block, points, sha256, (), at)
    with open_source(path, points, 65536, look=True) as source:
        first = list(islice(source.batches, 2))  # a last line without its end comes as a batch of its own
        check_crs(path, points, source, first)
        check_times(source, first)
        other = check_units(source, first)
        carried = tuple(field for _, field in source.how.carried)
        if len(carried) > COLUMNS:
            what = f"it has {counted(len(carried), 'column')} besides those that are mapped; the limit is {COLUMNS:,}"
            raise Unusable(0, what, "export it without the columns that are not needed")
        bare = bare_time(first, source.how.names["time"], source.how.clock.time_format)
        passed, looked = passed_over(path, points), _whole(source, first, sha256)
        unseen = unseen_sheets(path, points) if path.suffix.lower() in WORKBOOKS else ()
        return Export(
            path, shown, block, points, sha256, carried, at, bare,
            passed=passed, unseen=unseen, looked=looked, headings=dict(source.how.names),
            apart=geometry_apart(path, points, source, first),
            other_unit=None if other is None else (other.line, other.what), marked=_marked(source, first),
            exchanged=axes_exchanged(points, source, first), beside=positions_beside(points, source, first),
            west=_west(source, first), small=source.how.small,
        )  # fmt: skip


def _marked(source: Source, first: list[Raw]) -> str:
    """Return how the names of the first rows are marked as texts of a spreadsheet, "" where they are not."""
    name = source.how.names.get("name")
    if name is None or not first or not pa.types.is_string(first[0].columns[name].type):
        return ""
    return text_mark(first[0].columns[name][:LOOKED_NAMES].to_pylist()) or ""


def _west(source: Source, first: list[Raw]) -> tuple[str, ...]:
    """Return the headings by whose language the O of the first longitudes is read as the west, () without an O."""
    name = source.how.names.get("longitude")
    if name is None or not first:
        return ()
    return west_by(pa.chunked_array([raw.columns[name] for raw in first]).combine_chunks(), source.how.headings)


def _whole(source: Source, first: list[Raw], sha256: str) -> Looked | None:
    """Return the first rows of a text if they are all that the file of this sum has; else None."""
    if len(first) > 1 or source.seen is None or source.seen.hexdigest() != sha256:
        return None
    return Looked(source.how, tuple(first))


def _text_sum(path: Path, points: Points) -> str:
    return check_text(path, _stated_encoding(path, points), in_lines=path.suffix.lower() in TEXT)


def _stated_encoding(path: Path, points: Points) -> str | None:
    if path.suffix.lower() in JSON:
        found = text_encoding(path)
        return None if found == "utf-8" else found
    if points.encoding is None or not known_encoding(points.encoding):
        return None
    return points.encoding


def _check_content(path: Path) -> None:
    """Hold the file's beginning against its extension."""
    ending = path.suffix.lower()
    with path.open("rb") as file:
        head = file.read(4096)
    if ending in PACKAGE:
        fits = head.startswith(SQLITE)
    elif ending in JSON:
        fits = head.decode(text_encoding(path), "replace").removeprefix("\ufeff").lstrip().startswith("{")
    elif ending in WORKBOOKS:
        fits = head.startswith((PACKED, OLD_WORKBOOK))
    elif ending in TEXT:
        fits = not head.startswith((SQLITE, PACKED))
    else:
        known = ", ".join((*TEXT, *JSON, *PACKAGE, *WORKBOOKS))
        raise Unusable(0, unread_format(path), way_to_read(path) or f"export it in one that is: {known}")
    if not head:
        raise Unusable(0, "the file is empty")
    if not fits:
        raise Unusable(0, f"the content does not match the extension {ending}", "export it again, in that format")
