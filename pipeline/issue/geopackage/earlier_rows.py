"""The rows of an issue that is already there, read for comparison."""

import sqlite3
import warnings
from collections.abc import Generator, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import pyarrow as pa

from pipeline.files.gdal import NOTHING_BESIDE, gdal, gdal_options
from pipeline.files.geopackages import for_gdal
from pipeline.files.guarded_database import failure_message
from pipeline.files.plain_path import plain_file
from pipeline.files.unlocked_database import as_issued, unlocked
from pipeline.issue.geopackage.layers import GEOMETRY


class Lost(Exception):
    """The GeoPackage of an earlier issue is gone or damaged."""


@contextmanager
def reading(package: Path) -> Iterator[Path]:
    """Give the path by which GDAL may read an issue's GeoPackage; nothing is laid beside it, and it stays as it is.

    Raises `Lost` where the file is gone, or cannot be read while it is given.
    """
    if not package.is_file():
        raise Lost(f"{package.name} is gone")
    gdal()
    from pyogrio.errors import DataLayerError, DataSourceError

    # An issue's folder stays as it is, also where a viewer has the file open.
    try:
        with gdal_options(NOTHING_BESIDE), as_issued(package) as path, plain_file(path) as plain:
            with closing(unlocked(path)) as file:
                if not for_gdal(file):
                    raise Lost(f"{package.name} is not as it was issued: it has views or virtual tables")
            yield plain
    except (DataSourceError, DataLayerError, pa.ArrowException, OSError) as error:
        raise Lost(f"{package.name} cannot be read: {error}") from error
    except sqlite3.DatabaseError as error:
        raise Lost(f"{package.name} cannot be read: {failure_message(error)}") from error


def columns_of(package: Path, layer: str) -> set[str]:
    """Return what the columns of a layer of an issue's GeoPackage are called. Raises as `read_batches`."""
    with reading(package) as plain, closing(unlocked(plain)) as file:
        return {name for (name,) in file.execute("SELECT name FROM pragma_table_info(?)", (layer,))}


def read_batches(
    package: Path, layer: str, columns: Sequence[str], *, shapes: bool = False
) -> Generator[pa.RecordBatch, None, None]:
    """Yield columns of a layer of an issue's GeoPackage, in the order of its rows.

    Without geometry, unless ``shapes`` are asked for: then it is the last column, `GEOMETRY`, as WKB.

    GDAL's options are held until the last batch is taken, or the generator closed. Raises `Lost` where the file is
    gone or cannot be read.
    """
    with reading(package) as plain, ExitStack() as opened:
        with warnings.catch_warnings(action="ignore"):  # of what somebody made of the file: what it lacks is raised
            _, batches = opened.enter_context(
                gdal().open_arrow(
                    plain, layer=layer, columns=list(columns), read_geometry=shapes, use_pyarrow=True, IMMUTABLE="YES"
                )
            )
        if set(columns) - set(batches.schema.names):
            raise Lost(f"{package.name} lacks columns of the layer {layer}")
        for batch in batches:
            chosen = batch.select(list(columns))
            yield chosen.append_column(GEOMETRY, _shapes(batch, columns)) if shapes else chosen


def _shapes(batch: pa.RecordBatch, columns: Sequence[str]) -> pa.Array:
    """Return the geometry of a batch that was read, as WKB: GDAL names its column as it likes."""
    (name,) = [name for name in batch.schema.names if name not in columns]
    found = batch.column(name)
    return (found.storage if isinstance(found, pa.ExtensionArray) else found).cast(pa.binary())
