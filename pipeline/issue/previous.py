"""The rows of an issue that is already there, read for comparison."""

from collections.abc import Sequence
from pathlib import Path

import pyarrow as pa

from pipeline.issue.at_rest import as_issued
from pipeline.issue.gdal import NOTHING_BESIDE, gdal_options


def read_rows(package: Path, layer: str, columns: Sequence[str]) -> pa.Table:
    """Return columns of a layer of an issue's GeoPackage, without geometry, in the order of its rows.

    Raises OSError where the file is gone and pyogrio's DataSourceError where it cannot be read.
    """
    if not package.is_file():
        raise FileNotFoundError(f"the GeoPackage of an issue is gone: {package}")
    import pyogrio

    # An issue's folder stays as it is, also where a viewer has the file open.
    with gdal_options(NOTHING_BESIDE), as_issued(package) as path:
        _, found = pyogrio.read_arrow(path, layer=layer, columns=list(columns), read_geometry=False, IMMUTABLE="YES")
    return found.select(list(columns))
