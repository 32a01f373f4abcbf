"""Returns the CRS that a layer states of itself, for advice where a job file states none."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from pipeline.files.file_patterns import Closed, TooMany, matching
from pipeline.files.geopackages import describe, layer_names, opened
from pipeline.job.model import Points

#: Files that are looked at for one block.
_FILES_MAX = 20


def own_crs(points: Points, folder: Path) -> str | None:
    """Return the CRS of the first layer of a block's GeoPackages that says one, as "EPSG:n" or WKT."""
    for path in _packages(points, folder):
        try:
            with closing(opened(path)) as package:
                for name in points.layer or layer_names(package):
                    if (crs := describe(package, name).crs) is not None:
                        return crs
        except (sqlite3.Error, OSError, UnicodeDecodeError, MemoryError):  # told where its rows are read
            continue
    return None


def _packages(points: Points, folder: Path) -> Iterator[Path]:
    for pattern in points.files:
        literal = os.path.join(folder, pattern)
        try:
            there = [literal] if os.path.isfile(literal) else matching(folder, pattern)
        except (TooMany, Closed, OSError, ValueError):
            continue
        packages = [path for path in there if str(path).lower().endswith(".gpkg") and os.path.isfile(path)]
        yield from map(Path, packages[:_FILES_MAX])
