"""What stands beside the CSV and says what it holds: the kinds of its columns, its grid and heights, and every column.

Conventions that libraries read by themselves: a line of words for the kinds (``.csvt``), and the CRS as WKT (ISO 19162;
``.prj``), here that of grid and height datum together, with datum and units. What neither has room for stands where the
W3C's recommendation for tables on the web has it, in ``NAME.csv-metadata.json``: type, unit and meaning of each column,
datum, grid and height system in words, and where control marks are drawn that the points hang on.
"""

import json
from typing import Any

import pyarrow as pa

from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.control_marks import control_lines
from pipeline.issue.formats.csv_file import guarded
from pipeline.issue.formats.unproven import judged_lines
from pipeline.issue.geopackage.descriptions import COMMENT, commented
from pipeline.issue.geopackage.layer_stream import Package

#: The columns that a place is read from, where they count to the east and the north as programs take them to.
_PLACE = {"easting": "CoordX", "northing": "CoordY"}

#: The words of a kind of column: in the line of kinds, and of the recommendation.
_WORDS = {
    "time": ("DateTime", "dateTime"),
    "date": ("Date", "date"),
    "truth": ("String", "boolean"),
    "whole": ("Integer64", "long"),
    "number": ("Real", "double"),
    "text": ("String", "string"),
}


def beside(package: Package, about: FileFacts) -> dict[str, str]:
    """Return the content of each file that stands beside the CSV, by its ending."""
    places = {} if about.axes.turned else _PLACE
    schema = package.schema("points")
    kinds = [places.get(field.name, _WORDS[_kind(field.type)][0]) for field in schema]
    found = {".csvt": ",".join(f'"{kind}"' for kind in kinds) + "\r\n"}
    if about.definition:
        found[".prj"] = f"{about.definition}\r\n"
    described = _described(schema, about, [*judged_lines(about, package), *control_lines(package)])
    return found | {".csv-metadata.json": json.dumps(described, ensure_ascii=False, indent=1) + "\n"}


def _described(schema: pa.Schema, about: FileFacts, told: list[str]) -> dict[str, Any]:
    """Return what the table is, by the recommendation's words and those of Dublin Core that it takes in.

    It is named by both of its names: a reader takes no description in which the file that it has is not named.
    """
    notes = [*told, about.caution]
    return {
        "@context": "http://www.w3.org/ns/csvw",
        "dc:title": about.title,
        "dc:date": about.data_to_text,
        "dc:description": f"grid: {about.grid_text}; datum: {about.datum_text}; heights: {about.height_name}; "
        f"easting, northing, height: {about.axes.described}",
        "notes": [{"dc:description": text} for text in notes],
        "tableSchema": {"columns": [_column(field) for field in commented("points", schema, about.axes)]},
        "tables": [{"url": f"{name}.csv"} for name in (about.title, about.title.rpartition("-")[0])],
    }


def _column(field: pa.Field) -> dict[str, str]:
    told = (field.metadata or {}).get(COMMENT, b"").decode()
    of = {"titles": guarded(field.name), "datatype": _WORDS[_kind(field.type)][1]}
    return {**of, "dc:description": told} if told else of


def _kind(of: pa.DataType) -> str:
    if pa.types.is_timestamp(of):
        return "time"
    if pa.types.is_date(of):
        return "date"
    if pa.types.is_boolean(of):
        return "truth"
    if pa.types.is_integer(of):
        return "whole"
    return "number" if pa.types.is_floating(of) else "text"
