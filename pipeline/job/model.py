"""The job file's types. Every key of the job file is here and nowhere else; `load` turns TOML into them."""

import unicodedata
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    StringConstraints,
    Tag,
)

from pipeline.words import Doubt, Reason


def _with_offset(value: datetime) -> datetime:
    if value.tzinfo is None:
        raise ValueError("a session's time needs its offset from UTC, such as 2026-03-02T07:30:00+13:00 or ...Z")
    if not _FIRST_YEAR <= value.year <= _LAST_YEAR:
        raise ValueError(f"the year {value.year} is no year of GNSS work ({_FIRST_YEAR} to {_LAST_YEAR})")
    return value


def _readable(value: str) -> str:
    """Refuse what would break a line or a file name: line feeds, tabs, other control characters."""
    for sign in value:
        if unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp"):
            raise ValueError(
                f"there is a control character in it (U+{ord(sign):04X}), such as a line feed or a tab"
                r" (in double quotes a \ begins the code of such a character: write / between folders)"
            )
    return value


def _file_name(value: object) -> object:
    if isinstance(value, str):
        if not value.strip():
            raise ValueError("it names no file or folder")
        longest = max(len(part.encode("utf-8", "replace")) for part in value.replace("\\", "/").split("/"))
        if len(value) > _LONGEST_PATH or longest > _LONGEST_NAME:
            raise ValueError(f"a file's name of more than {_LONGEST_NAME} bytes is too long")
        _readable(value)
    return value


def _shift_form(value: object) -> str:
    return SHIFT_WORD if isinstance(value, str) else SHIFT_GIVEN


#: GPS time begins in 1980; times far beyond are slips that no calendar of the libraries reaches.
_FIRST_YEAR, _LAST_YEAR = 1980, 2100

#: What file systems take, in bytes and characters.
_LONGEST_NAME, _LONGEST_PATH = 255, 4000

_T = TypeVar("_T")

#: The two forms of a session's ``shift``; these tags stand in the places that pydantic reports, never in a job file.
SHIFT_WORD, SHIFT_GIVEN = "a word", "a table"

#: TOML knows lists and text only: these two are the conversions that strictness leaves open.
Listed = Annotated[tuple[_T, ...], Field(strict=False)]
File = Annotated[Path, Field(strict=False), BeforeValidator(_file_name)]

Named = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1), AfterValidator(_readable)]
Column = Annotated[str, StringConstraints(min_length=1)]
Moment = Annotated[datetime, AfterValidator(_with_offset)]
Epoch = Annotated[float, Field(ge=1900, le=2200)]
#: No length, tolerance or limit of a job is larger, metres (or seconds, PDOP, ppm): beyond it lies a slip.
_MOST = 1e7
Positive = Annotated[float, Field(gt=0, le=_MOST)]
NotNegative = Annotated[float, Field(ge=0, le=_MOST)]
Metres = Annotated[float, Field(ge=-_MOST, le=_MOST)]
Units = Literal["metre", "foot", "us-survey-foot"]
HoldBack = Literal[Reason.SUSPECT, Reason.UNCLOSED, Reason.UNCHECKED]
Format = Literal["gpkg", "dxf", "csv", "geojson", "landxml"]


class _Strict(BaseModel):
    """No unknown key, no silent conversion, no NaN or infinity, nothing changed after loading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class JobSection(_Strict):
    """``[job]``: the name used in file names and the folder where issues are kept."""

    name: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=100)]
    folder: File


class Target(_Strict):
    """``[target]``: the issued frame. ``height`` is a vertical CRS or "ellipsoid"; metres, the epoch in years."""

    grid: str
    height: str
    geoid: File | None = None
    geoid_sigma: NotNegative | None = None
    epoch: Annotated[float, Field(ge=_FIRST_YEAR, le=_LAST_YEAR)] | None = None
    max_transform_error: Positive | None = None


class Columns(_Strict):
    """``[points.columns]``: our name = the export's name. Everything else in the export is carried along."""

    name: Column | None = None
    time: Column | None = None
    time_end: Column | None = None
    longitude: Column | None = None
    latitude: Column | None = None
    height: Column | None = None
    easting: Column | None = None
    northing: Column | None = None
    x: Column | None = None
    y: Column | None = None
    z: Column | None = None
    sigma_east: Column | None = None
    sigma_north: Column | None = None
    sigma_up: Column | None = None
    code: Column | None = None
    solution: Column | None = None
    base: Column | None = None
    base_longitude: Column | None = None
    base_latitude: Column | None = None
    base_easting: Column | None = None
    base_northing: Column | None = None
    base_height: Column | None = None
    mark: Column | None = None
    antenna_height: Column | None = None
    satellites: Column | None = None
    pdop: Column | None = None
    correction_age: Column | None = None


class _Reading(_Strict):
    """The keys that ``[source]`` and ``[[points]]`` share: how the rows of an export are to be read.

    ``epoch`` [decimal year] is that of the coordinates where they are not at the time of their observation.
    """

    crs: str | None = None
    time_zone: str | None = None
    time_format: str | None = None
    delimiter: Annotated[str, Field(min_length=1, max_length=1)] | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None
    angles: Literal["decimal", "dms"] | None = None
    units: Units | None = None
    epoch: Epoch | None = None


class Source(_Reading):
    """``[source]``: defaults for every ``[[points]]`` block."""


class Points(_Reading):
    """One ``[[points]]`` block; after loading, what it leaves open is filled from ``[source]``."""

    files: Annotated[Listed[Named], Field(min_length=1)]
    layer: str | None = None
    columns: Columns = Columns()


class Quality(_Strict):
    """``[quality]``: what is accepted, and the standard uncertainties where the export has none (metres, ppm).

    A reading further than ``max_distance`` from its base or session, or by more than ``max_height_difference`` above or
    below it, is held back; one that stands alone beyond the ``doubtful_`` limits is told (common practice, no source).
    """

    solutions: Listed[Named] = ("fix",)
    max_sigma_horizontal: Positive | None = None
    max_sigma_vertical: Positive | None = None
    max_pdop: Positive | None = None
    max_correction_age: Positive | None = None
    max_distance: Positive = 50_000.0
    max_height_difference: Positive = 3_000.0
    doubtful_distance: Positive = 500.0
    doubtful_height_difference: Positive = 90.0
    sigma_horizontal: Positive = 0.008
    sigma_vertical: Positive = 0.015
    ppm: NotNegative = 1.0
    centring: NotNegative = 0.003


class ControlSection(_Strict):
    """``[control]``: the register of control marks; the CRS, height datum, epoch and units of its coordinates."""

    file: File
    crs: str
    height: str = "ellipsoid"
    layer: str | None = None
    epoch: Epoch | None = None
    units: Units | None = None


class Occupation(_Strict):
    """A rover point that stands on a mark of the register or on a temporary mark."""

    point: Named
    mark: Named


class Setup(_Strict):
    """The base over a mark: the position it broadcast (degrees, metres) and its antenna height above the mark.

    ``epoch`` is that of the position, and with it of everything measured against it; ``[[session]] epoch`` is the same.
    """

    mark: Named
    longitude: Annotated[float, Field(ge=-180, le=360)]
    latitude: Annotated[float, Field(ge=-90, le=90)]
    ellipsoid_height: Metres
    antenna_height: Metres = 0.0
    epoch: Epoch | None = None


class GivenShift(_Strict):
    """A shift stated in the job file, metres east, north and up with standard uncertainties."""

    east: Metres
    north: Metres
    up: Metres
    sigma_horizontal: NotNegative = 0.0
    sigma_vertical: NotNegative = 0.0


class FieldShift(_Strict):
    """A correction that the field applied from a time on; it is taken out of the points before anything else."""

    start: Annotated[Moment, Field(alias="from")]
    east: Metres
    north: Metres
    up: Metres
    model: Literal["geocentric", "grid"] = "geocentric"


class Session(_Strict):
    """One ``[[session]]``: a base that stood still with one broadcast position, over the half-open [start, end)."""

    name: Named
    start: Moment
    end: Moment
    base: Annotated[str, StringConstraints(strip_whitespace=True), AfterValidator(_readable)] | None = None
    ties: Listed[Occupation] = ()
    checks: Listed[Occupation] = ()
    setup: Setup | None = None
    shift: Annotated[
        Annotated[Literal["derive", "none"], Tag(SHIFT_WORD)] | Annotated[GivenShift, Tag(SHIFT_GIVEN)],
        Discriminator(_shift_form),
    ] = "derive"
    field_shift: FieldShift | None = None
    epoch: Epoch | None = None


class SessionsFile(_Strict):
    """``[sessions]``: the sessions' table kept in a CSV file instead of ``[[session]]`` tables."""

    file: File


class Shift(_Strict):
    """``[shift]``: the shift's model, and the size (metres) beyond which a shift is warned about."""

    model: Literal["geocentric", "grid"] = "geocentric"
    limit_horizontal: Positive = 10.0
    limit_vertical: Positive = 20.0


class Checks(_Strict):
    """``[checks]``: how occupations are found by code, and the tolerances (metres; common practice, no source).

    ``confirmed`` are the kinds of doubt that somebody looked into and found in order: they take no proof away.
    """

    codes: Listed[Named] = ("CHK",)
    radius: Positive = 0.5
    horizontal: Positive = 0.030
    vertical: Positive = 0.050
    confirmed: Listed[Annotated[Doubt, Field(strict=False)]] = ()


class Issue(_Strict):
    """``[issue]``: what is held back although it was computed, and the formats written.

    "gpkg" is written also where it is not named: what was issued is read from it again, by the next issue, by a trace,
    and by every other format.
    """

    hold_back: Listed[HoldBack] = (Reason.SUSPECT,)
    formats: Listed[Format] = ("gpkg",)
    by_code: bool = False


class Job(_Strict):
    """A whole job file, its paths resolved against the file's folder and its defaults filled in."""

    job: JobSection
    target: Target
    source: Source = Source()
    points: Annotated[Listed[Points], Field(min_length=1)]
    quality: Quality = Quality()
    control: ControlSection | None = None
    session: Listed[Session] = ()
    sessions: SessionsFile | None = None
    shift: Shift = Shift()
    checks: Checks = Checks()
    issue: Issue = Issue()
