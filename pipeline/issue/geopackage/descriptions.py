"""What a GeoPackage says of its layers and columns: the unit of every number, and the side to which it grows."""

from collections.abc import Mapping
from typing import Any, get_type_hints

import pyarrow as pa

from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.row_types import CheckRow, MarkRow, RepeatRow, SessionRow

#: The key by which GDAL takes a column's description from an Arrow field.
COMMENT = b"GDAL:OGR:comment"
#: Stands in a description for the unit of a coordinate on the grid.
_ON_GRID = "[target.axes]"

_POSITION = {
    "easting": f"easting {_ON_GRID}",
    "northing": f"northing {_ON_GRID}",
    "height": f"height in the height datum {_ON_GRID}",
}
_READING = {
    "name": "the point's name; of several points with one name all but the first in time have a number behind it",
    "code": "the code it was collected with",
    **_POSITION,
    "session": "the session in which it was observed",
    "observed": "when it was observed [UTC]",
    "source_file": "the export that it came in",
    "source_row": "its row there",
}
_POINTS = {
    **_READING,
    "ellipsoid_height": "height above the ellipsoid of the grid's datum, of the exports' where that has none [m]",
    "longitude": "longitude in the grid's datum [degree]",
    "latitude": "latitude in the grid's datum [degree]",
    "hu95": "95 % uncertainty of the position: radius of the circle [m]",
    "vu95": "95 % uncertainty of the height [m]",
    "proof": "the less proven of position and height",
    "solution": "the solution's word in the export",
    "sigma_east": "standard uncertainty in the export, east [m]",
    "sigma_north": "standard uncertainty in the export, north [m]",
    "sigma_up": "standard uncertainty in the export, up [m]",
}
_HELD_BACK = {
    **_READING,
    "name": "the point's name in the export",
    "reason": "why it is held back",
    "detail": "the same in words",
}
_LINES = {
    "name": "the string: its code, with its number",
    "code": "its code, as the job writes it",
    "number": "its number, where strings of its code have one",
    "description": "what the code stands for, by the table of codes",
    "closed": "whether the line goes back to its first point",
    "points": "its points",
    "length": "its length in plan, on the grid [m]",
    "hu95": "the largest 95 % uncertainty of a position among its points: radius of the circle [m]",
    "vu95": "the largest 95 % uncertainty of a height among its points [m]",
    "proof": "the least proven word of its points",
    "session": "the sessions of its points",
    "started": "when its first point was observed [UTC]",
    "ended": "when its last point was observed [UTC]",
    "source_file": "the export that its first point came in",
    "source_row": "that point's row there",
}
_CHANGES = {
    "name": "the point's name",
    "change": "what became of it: moved, added, withdrawn, held or released; recoded: it has another name, code or"
    " attribute, and lies where it lay",
    **{f"old_{axis}": f"{axis} in the previous issue {_ON_GRID}" for axis in NAMES},
    **{f"new_{axis}": f"{axis} in this issue {_ON_GRID}" for axis in NAMES},
    "d_east": "new minus old, to the east [m]",
    "d_north": "new minus old, to the north [m]",
    "d_height": "new minus old, upwards [m]",
    "because": "why; of a point with another name, code or attribute first what that was and is",
}


def described(height_name: str, axes: Axes) -> str:
    """Return the description of every layer: its height datum, and its units where they are not all metres."""
    heights = f"heights: {height_name}"
    return heights if axes.plain else f"{heights}; {axes.described}; differences, tolerances, uncertainties in metres"


def commented(layer: str, schema: pa.Schema, axes: Axes) -> pa.Schema:
    """Return a layer's schema with the description of each column that is ours."""
    told = _OF_LAYERS.get(layer, _POINTS if layer.startswith("points_") else {})
    fields = [
        field.with_metadata({COMMENT: _worded(field.name, told[field.name], axes)}) if field.name in told else field
        for field in schema
    ]
    return pa.schema(fields)


def _worded(column: str, text: str, axes: Axes) -> str:
    axis = column.rpartition("_")[2]
    return text.replace(_ON_GRID, f"[{getattr(axes, axis).told}]") if axis in NAMES else text


def _of_rows(row: type) -> Mapping[str, str]:
    hints: dict[str, Any] = get_type_hints(row, include_extras=True)
    told = {name: [getattr(one, "description", None) for one in hint.__metadata__] for name, hint in hints.items()}
    return {name: next(text for text in texts if text) for name, texts in told.items()}


_OF_LAYERS: Mapping[str, Mapping[str, str]] = {
    "points": _POINTS,
    "check_marks": _of_rows(CheckRow),
    "sessions": _of_rows(SessionRow),
    "marks": _of_rows(MarkRow),
    "held_back": _HELD_BACK,
    "repeats": _of_rows(RepeatRow),
    "lines": _LINES,
    "changes": _CHANGES,
}
