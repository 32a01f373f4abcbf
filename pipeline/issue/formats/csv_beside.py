"""What stands beside the CSV and says what it holds: the kinds of its columns (.csvt), and grid and heights (.prj).

Both are plain conventions that libraries read by themselves: one line of words for the kinds, and the CRS as WKT (ISO
19162), here that of grid and height datum together, with datum and units.
"""

import pyarrow as pa

from pipeline.issue.about import About
from pipeline.issue.geopackage.streamed import Package

#: The columns that a place is read from, where they count to the east and the north as programs take them to.
_PLACE = {"easting": "CoordX", "northing": "CoordY"}


def beside(package: Package, about: About) -> dict[str, str]:
    """Return the content of each file that stands beside the CSV, by its ending."""
    places = {} if about.axes.turned else _PLACE
    kinds = [places.get(field.name, _kind(field.type)) for field in package.schema("points")]
    found = {".csvt": ",".join(f'"{kind}"' for kind in kinds) + "\r\n"}
    return found | ({".prj": f"{about.definition}\r\n"} if about.definition else {})


def _kind(of: pa.DataType) -> str:
    if pa.types.is_timestamp(of):
        return "DateTime"
    if pa.types.is_date(of):
        return "Date"
    if pa.types.is_integer(of):
        return "Integer64"
    return "Real" if pa.types.is_floating(of) else "String"
