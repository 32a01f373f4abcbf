"""A layer of an issue as a data frame, for those who go on from it in Python. No command loads this."""

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.files.gdal import gdal
from pipeline.issue.geopackage.earlier_rows import reading

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def read_frame(package: Path, layer: str) -> "GeoDataFrame":
    """Return a layer of an issue's GeoPackage with the CRS that it says; nothing is laid beside the file.

    Raises `Lost` where the file is gone or cannot be read.
    """
    with reading(package) as plain:
        return gdal().read_dataframe(plain, layer=layer, IMMUTABLE="YES")
