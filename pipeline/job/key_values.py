"""What the value of one key may be: names, files, times and numbers, each with its limits and its unit."""

import unicodedata
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from msgspec import Struct
from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, ValidationInfo

from pipeline.job.command_named import LEAST_TIME_OF_COMMAND, MOST_TIME_OF_COMMAND
from pipeline.job.time_zones import localised
from pipeline.limits import COLUMNS, LEAST
from pipeline.words import OWN_LAYERS, Reason, ReleaseRule


class Unit(Struct, frozen=True):
    """What a number counts in, as the reference of the keys writes it; it checks nothing."""

    name: str


def _with_offset(value: datetime, info: ValidationInfo) -> datetime:
    """Return a session's time with its offset from UTC: its own, or that of the clock that the context names."""
    zone = (info.context or {}).get(ZONE)
    if value.tzinfo is None and zone is None:
        raise ValueError(
            "a session's time needs its offset from UTC, such as 2026-03-02T07:30:00+13:00 or ...Z, unless time_zone"
            " in [source] states its clock"
        )
    if value.tzinfo is None and zone is not None:
        value = localised(value, zone)
    if not _FIRST_YEAR <= value.year <= _LAST_YEAR:
        raise ValueError(f"the year {value.year} is not a year of GNSS work ({_FIRST_YEAR} to {_LAST_YEAR})")
    return value


def readable(value: str, never: str | None = None) -> str:
    """Refuse what would break a line or a file name: line feeds, tabs, other control characters; or ``never`` alone."""
    for sign in value:
        if (unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp")) if never is None else sign in never:
            raise ValueError(
                f"there is a control character in it (U+{ord(sign):04X}), such as a line feed or a tab"
                r" (in double quotes a \ starts an escape sequence: write / between folders)"
            )
    return value


def _name_or_number(value: object) -> object:
    if (isinstance(value, str) and value) or (type(value) is int and 0 < value <= COLUMNS):
        return value
    if value == "":
        raise ValueError("it must not be empty")
    if type(value) is int:
        raise ValueError(f"columns are numbered from 1 to {COLUMNS:,}, not {value}")
    raise ValueError("a column is named in quotes, or by its number")


def _one_sign(value: str) -> str:
    if len(value) != 1 and value != BLANKS:
        raise ValueError(f'it must be exactly 1 character, such as ";", or "{BLANKS}"')
    return value


def _sign_or_blank(value: str) -> str:
    """Return a sign, the word for blanks as one: tables are small, and all their blanks are taken together."""
    return " " if value == BLANKS else _one_sign(value)


def _file_name(value: object) -> object:
    if isinstance(value, str):
        if not value.strip():
            raise ValueError("it does not name a file or folder")
        longest = max(len(part.encode("utf-8", "replace")) for part in value.replace("\\", "/").split("/"))
        if len(value) > _LONGEST_PATH or longest > _LONGEST_NAME:
            raise ValueError(f"a file's name of more than {_LONGEST_NAME} bytes is too long")
        readable(value)
    return value


def _two_numbers(value: object) -> object:
    if not isinstance(value, list | tuple) or len(value) != 2 or not all(type(one) in (int, float) for one in value):
        raise ValueError("a place is written as [easting, northing], two numbers")
    return value


def _some_corners(value: object) -> object:
    if not isinstance(value, list | tuple) or len(value) < 2:
        raise ValueError("an area is written as two corners or more, [[easting, northing], [easting, northing]]")
    return value


def drawn_layer(value: str) -> str:
    """Refuse what a drawing's layer cannot be called, in words."""
    if found := sorted(set(value) & set(_NOT_IN_LAYERS)):
        raise ValueError(f"a drawing's layer cannot have {' '.join(found)} in its name")
    if len(value.encode()) > _LONGEST_LAYER:
        raise ValueError(f"a layer's name of more than {_LONGEST_LAYER} bytes is too long")
    for own in OWN_LAYERS:
        if value.casefold() == own.casefold() or (len(own) > 1 and value.casefold().startswith(f"{own}_".casefold())):
            raise ValueError(f"'{value}' is one of the drawing's own layers: name another")
    return value


#: What the name of a drawing's layer cannot have, and its longest, in bytes, with room for what is put behind it.
_NOT_IN_LAYERS, _LONGEST_LAYER = '<>/\\":;?*|=`,', 100

#: GPS time begins in 1980; times far beyond are slips that no calendar of the libraries reaches.
YEARS = _FIRST_YEAR, _LAST_YEAR = 1980, 2100

#: What file systems take, in bytes and characters.
_LONGEST_NAME, _LONGEST_PATH = 255, 4000

#: The word for a delimiter of any number of blanks and tabs.
BLANKS = "blanks"

#: The context of a validation under which the clock stands that times without an offset are of.
ZONE = "time_zone"

_T = TypeVar("_T")


def _of_some_size(value: float) -> float:
    if 0 < value < LEAST:
        raise ValueError(f"{value:g} is smaller than anything that is measured")
    return value


#: TOML knows lists and text only: these two are the conversions that strictness leaves open.
Listed = Annotated[tuple[_T, ...], Field(strict=False)]
File = Annotated[Path, Field(strict=False), BeforeValidator(_file_name)]

Named = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1), AfterValidator(readable)]
#: A word of a command: the program, or an argument as it is given to it.
CommandWord = Annotated[str, StringConstraints(min_length=1, max_length=4000), AfterValidator(readable)]
#: A column by its name, or by its number counted from 1.
Column = Annotated[str | int, BeforeValidator(_name_or_number)]
LayerName = Annotated[Named, AfterValidator(drawn_layer)]
Delimiter = Annotated[str, Field(min_length=1), AfterValidator(_one_sign)]
TableDelimiter = Annotated[str, Field(min_length=1), AfterValidator(_sign_or_blank)]
LineNumber = Annotated[int, Field(ge=0, le=10_000)]
Moment = Annotated[datetime, AfterValidator(_with_offset)]
#: No length, tolerance or limit of a job is larger, metres (or seconds, PDOP, ppm): beyond it lies a slip.
MOST = 1e7
Positive = Annotated[float, Field(gt=0, le=MOST), AfterValidator(_of_some_size)]
NotNegative = Annotated[float, Field(ge=0, le=MOST), AfterValidator(_of_some_size)]
Metres = Annotated[float, Field(ge=-MOST, le=MOST), Unit("m")]
#: An easting, northing or height as grid and height datum write it; some grids put their zone's number before it.
OnGrid = Annotated[float, Field(ge=-1e9, le=1e9), Unit("of the grid")]
SquareMetres = Annotated[float, Field(ge=-MOST, le=MOST), Unit("m²")]
#: Easting and northing of a place, in the unit of the grid.
_Ordinate = Annotated[float, Field(ge=-1e8, le=1e8)]
Spot = Annotated[
    tuple[_Ordinate, _Ordinate], Field(strict=False), BeforeValidator(_two_numbers), Unit("of `target.grid`")
]
Corners = Annotated[tuple[Spot, ...], Field(strict=False, max_length=100), BeforeValidator(_some_corners)]
Level = Annotated[float, Field(ge=-MOST, le=MOST), Unit("of `target.height`")]
Epoch = Annotated[float, Field(ge=1900, le=2200), Unit("year")]
TargetEpoch = Annotated[float, Field(ge=_FIRST_YEAR, le=_LAST_YEAR), Unit("year")]
Longitude = Annotated[float, Field(ge=-180, le=360), Unit("degree")]
Latitude = Annotated[float, Field(ge=-90, le=90), Unit("degree")]
Length = Annotated[Positive, Unit("m")]
LengthOrNone = Annotated[NotNegative, Unit("m")]
Scale = Annotated[float, Field(ge=0.1, le=100), Unit("times")]
Seconds = Annotated[Positive, Unit("s")]
TimeOfCommand = Annotated[Annotated[float, Field(ge=LEAST_TIME_OF_COMMAND, le=MOST_TIME_OF_COMMAND)], Unit("s")]
#: No job has more issues: a larger number is a slip, and 0 keeps them all.
MOST_KEPT = 10_000
PartsPerMillion = Annotated[NotNegative, Unit("ppm")]
#: Columns of numbers, by what the numbers count in.
AngleColumn = Annotated[Column, Unit("`angles`")]
AreaColumn = Annotated[Column, Unit("`units` squared")]
GridColumn = Annotated[Column, Unit("of `crs`")]
LengthColumn = Annotated[Column, Unit("`units`")]
SecondsColumn = Annotated[Column, Unit("s")]
Units = Literal["metre", "foot", "us-survey-foot"]
HoldBack = Literal[Reason.SUSPECT, Reason.UNCLOSED, Reason.UNCHECKED]
Release = Literal[ReleaseRule.SAFE, ReleaseRule.PROVEN, ReleaseRule.ANY]
Format = Literal["gpkg", "dxf", "csv", "geojson", "landxml"]
