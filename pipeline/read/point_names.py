"""Which points a file has by name, though it cannot be used: all else of it may be missing or mapped wrongly."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.files.workbook import WORKBOOKS
from pipeline.job.model import Points
from pipeline.read.delimited import read_delimited
from pipeline.read.dialect import find_dialect
from pipeline.read.findings import Unusable
from pipeline.read.mapping import fitted
from pipeline.read.raw_batch import Raw
from pipeline.read.sources import PACKAGE, TEXT, layer_of
from pipeline.read.spreadsheet import open_sheet
from pipeline.read.text_blocks import CHUNK
from pipeline.read.vector import open_layer

_ROWS = 65536
#: Bytes beyond which a file that is refused is not read for its names.
_MOST = 1 << 28


class UnusedFile(Struct, frozen=True):
    """A file, or a layer of it, that cannot be used: its path, how it is shown, and its block of the job."""

    path: Path
    shown: str
    points: Points


def names_in(file: UnusedFile) -> Iterator[pa.Array]:
    """Give the names of a file's points, each once per batch.

    Raises `Unusable` where they cannot be read. What is no file that ends, such as a device, is never opened.
    """
    try:
        if not file.path.is_file() or file.path.stat().st_size > _MOST:
            raise Unusable(0, "the names of its points are not looked for")
        with _rows(file.path, file.points) as (column, batches):
            for raw in batches:
                cells = raw.columns[column]
                yield pc.unique(cells if pa.types.is_string(cells.type) else pc.cast(cells, pa.string())).drop_null()
    except (OSError, UnicodeError, KeyError, pa.ArrowException) as error:
        raise Unusable(0, "the names of its points cannot be read") from error


@contextmanager
def _rows(path: Path, points: Points) -> Iterator[tuple[str, Iterator[Raw]]]:
    """Open a file for its names alone: the column that has them, and its rows to be read once."""
    ending = path.suffix.lower()
    if ending in TEXT:
        dialect = find_dialect(path, points)
        yield _column(fitted(points, dialect.names)), read_delimited(path, dialect, points.encoding, CHUNK)
    elif ending in WORKBOOKS:
        sheet = open_sheet(path, points, _ROWS)
        yield _column(sheet.points), sheet.batches
    else:
        layer = layer_of(path, points) if ending in PACKAGE else None
        with open_layer(path, layer, points, _ROWS, hashlib.sha256()) as opened:
            yield _column(opened.points), opened.batches


def _column(points: Points) -> str:
    return str(points.columns.name)
