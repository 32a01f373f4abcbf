"""Looks at one export just enough to know that it is readable, what it holds and which sum it has."""

from itertools import islice
from pathlib import Path

import pyarrow as pa

from pipeline.digest import digest, signature
from pipeline.files.geopackages import SQLITE
from pipeline.files.letter_o import west_by
from pipeline.files.regular_files import COPY, NoFile, check_regular
from pipeline.files.text_marks import text_mark
from pipeline.files.unread_formats import unread_format, way_to_read
from pipeline.files.workbook import OLD_WORKBOOK, PACKED, WORKBOOKS
from pipeline.job.model import Points
from pipeline.limits import COLUMNS
from pipeline.problems import Problems
from pipeline.read.bare_times import bare_time
from pipeline.read.degrees_beside import axes_exchanged
from pipeline.read.exports import Export, Looked
from pipeline.read.findings import Unusable
from pipeline.read.first_rows import check_times, check_units
from pipeline.read.geojson import text_encoding
from pipeline.read.geometry_apart import geometry_apart
from pipeline.read.layer_crs import check_crs
from pipeline.read.positions_beside import positions_beside
from pipeline.read.raw_batch import Raw
from pipeline.read.said_beside import said_beside
from pipeline.read.skipped_comments import passed_over
from pipeline.read.sources import JSON, PACKAGE, TEXT, Source, open_source
from pipeline.read.spreadsheet import hidden_rows, unseen_sheets
from pipeline.read.text_blocks import check_text, known_encoding
from pipeline.read.uncorrected_beside import uncorrected_beside
from pipeline.words import counted

#: Names of an export that are looked at for marks of a spreadsheet.
LOOKED_NAMES = 200


def checked(path: Path, shown: str, block: int, points: Points, sound: bool, problems: Problems) -> Export | None:
    """Check one file, or one layer of it, against its block; None, and what is wrong among ``problems``.

    ``sound`` is whether the block is; of an unsound one only the file's bytes are checked.
    """
    try:
        return _check(path, shown, block, points, sound)
    except Unusable as error:
        problems.add(shown, error.line, error.what, error.fix)
    except OSError as error:
        fix = COPY if isinstance(error, NoFile) else ""
        problems.add(shown, 0, f"the file cannot be read: {error.strerror or error}", fix)
    return None


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
        beside = said_beside(path, points, source)
        other = check_units(source, first, beside)
        carried = tuple(field for _, field in source.how.carried)
        if len(carried) > COLUMNS:
            what = f"it has {counted(len(carried), 'column')} besides those that are mapped; the limit is {COLUMNS:,}"
            raise Unusable(0, what, "export it without the columns that are not needed")
        bare = bare_time(first, source.how.names["time"], source.how.clock.time_format)
        passed, looked = passed_over(path, points), _whole(source, first, sha256)
        book = path.suffix.lower() in WORKBOOKS
        unseen, hidden = (unseen_sheets(path, points), hidden_rows(path, points)) if book else ((), None)
        return Export(
            path, shown, block, points, sha256, carried, at, bare,
            passed=passed, unseen=unseen, looked=looked, headings=dict(source.how.names),
            apart=geometry_apart(path, points, source, first),
            other_unit=None if other is None else (other.line, other.what), marked=_marked(source, first),
            exchanged=axes_exchanged(points, source, first), beside=positions_beside(points, source, first),
            west=_west(source, first), small=source.how.small, said=beside,
            uncorrected=uncorrected_beside(source, first), hidden=hidden,
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
