"""A layer of an issue as a data frame, for those who go on from it in Python. No command loads this."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.files.at_rest import as_issued, unlocked
from pipeline.files.gdal import NOTHING_BESIDE, gdal, gdal_options
from pipeline.files.guarded import why
from pipeline.files.packages import for_gdal
from pipeline.files.plain_path import plain_file
from pipeline.issue.geopackage.previous import Lost

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def read_frame(package: Path, layer: str) -> "GeoDataFrame":
    """Return a layer of an issue's GeoPackage with the CRS that it says; nothing is laid beside the file.

    Raises `Lost` where the file is gone or cannot be read.
    """
    if not package.is_file():
        raise Lost(f"{package.name} is gone")
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError

    try:
        with gdal_options(NOTHING_BESIDE), as_issued(package) as path, plain_file(path) as plain:
            with closing(unlocked(path)) as file:
                if not for_gdal(file):
                    raise Lost(f"{package.name} is not as it was issued: it has views or virtual tables")
            return pyogrio.read_dataframe(plain, layer=layer, IMMUTABLE="YES")
    except (DataSourceError, DataLayerError, OSError) as error:
        raise Lost(f"{package.name} cannot be read: {error}") from error
    except sqlite3.DatabaseError as error:
        raise Lost(f"{package.name} cannot be read: {why(error)}") from error
