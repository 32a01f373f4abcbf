"""The keys of ``[source]``, ``[[points]]`` and ``[quality]``: the exports, how they are read, what is accepted."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from pipeline.job.key_values import (
    AngleColumn,
    AreaColumn,
    Column,
    Delimiter,
    Epoch,
    GridColumn,
    Length,
    LengthColumn,
    LengthOrNone,
    LineNumber,
    Listed,
    Named,
    PartsPerMillion,
    Positive,
    Scale,
    Seconds,
    SecondsColumn,
    Units,
)
from pipeline.job.sections.strict import Strict, one_or_more


class Columns(Strict):
    """Our name = the export's, below the block. Everything else in the export is carried along."""

    name: Column | None = Field(None, description="the point's name")
    time: Column | None = Field(None, description="when it was observed, or its observation began")
    time_end: Column | None = Field(None, description="when its observation ended")
    date: Column | None = Field(
        None, description="the date, where `time` is a time of day; also of a `time_end` without a date"
    )
    gps_week: Column | None = Field(None, description="instead of `time`, with `gps_seconds`: all weeks since 1980")
    gps_seconds: Column | None = Field(None, description="seconds of the GPS week, on the GPS time scale")
    longitude: AngleColumn | None = Field(None, description="with `latitude`")
    latitude: AngleColumn | None = Field(None, description="with `longitude`")
    height: LengthColumn | None = Field(None, description="ellipsoidal height, unless `crs` names a height datum")
    easting: GridColumn | None = Field(None, description="with `northing`, instead of longitude and latitude")
    northing: GridColumn | None = Field(None, description="with `easting`")
    x: GridColumn | None = Field(None, description="with `y` and `z`: geocentric, instead of a position and a height")
    y: GridColumn | None = Field(None, description="with `x` and `z`")
    z: GridColumn | None = Field(None, description="with `x` and `y`")
    sigma_east: LengthColumn | None = Field(None, description="standard uncertainty")
    sigma_north: LengthColumn | None = Field(None, description="standard uncertainty")
    sigma_up: LengthColumn | None = Field(None, description="standard uncertainty")
    sigma_horizontal: LengthColumn | None = Field(
        None, description="standard uncertainty of east and of north each, instead of them"
    )
    drms: LengthColumn | None = Field(
        None, description="root of east² + north², as a radial precision (HRMS) is; each is taken as it / √2"
    )
    pole_height: LengthColumn | None = Field(
        None, description="subtracted where positions are of the antenna's reference point; unmapped if of the ground"
    )
    cov_en: AreaColumn | None = Field(None, description="covariance of east and north, in the units of their sigmas")
    cov_eu: AreaColumn | None = Field(None, description="covariance of east and up")
    cov_nu: AreaColumn | None = Field(None, description="covariance of north and up")
    code: Column | None = Field(None, description="the code it was collected with")
    solution: Column | None = Field(None, description="the solution's word, for `quality.solutions`")
    base: Column | None = Field(None, description="the base id, for `session.base`")
    base_longitude: AngleColumn | None = Field(None, description="where its base said it was; with `base_latitude`")
    base_latitude: AngleColumn | None = Field(None, description="with `base_longitude`")
    base_easting: GridColumn | None = Field(None, description="instead of them, with `base_northing`")
    base_northing: GridColumn | None = Field(None, description="with `base_easting`")
    base_height: LengthColumn | None = Field(None, description="ellipsoidal height of the base")
    mark: Column | None = Field(None, description="the control mark that the pole stood on")
    antenna_height: LengthColumn | None = Field(
        None, description="of the base's antenna, compared with `setup`; leave a pole's height unmapped"
    )
    satellites: Column | None = Field(None, description="how many were used")
    pdop: Column | None = Field(None, description="for `quality.max_pdop`")
    correction_age: SecondsColumn | None = Field(None, description="for `quality.max_correction_age`")


class _Reading(Strict):
    """The keys that ``[source]`` and ``[[points]]`` share: how the rows of an export are to be read."""

    crs: str | None = Field(None, description="CRS of the positions, as `target.grid`; needed here or in the block")
    time_zone: str | None = Field(
        None, description='time zone of times without one: `"Europe/Vienna"`, `"+12:00"`, `"UTC"`, `"GPS"`; else UTC'
    )
    time_format: str | None = Field(
        None,
        description='of times not in ISO 8601 with month and day, as `"%d.%m.%Y %H:%M:%S"` (date and time apart: with a'
        ' blank between), `"%Y-%jT%H:%M:%S"` (day of the year), `"%G-W%V-%uT%H:%M:%S"` (week and its day),'
        ' `"unix-seconds"`, `"unix-milliseconds"`, `"gps-seconds"`, `"gps-week-seconds"`, `"serial-days"` (a'
        ' spreadsheet\'s), `"serial-days-1904"`; a clock in its text (`UTC+1`, `MEZ`) must be that of `time_zone`,'
        " and text in quotes (`'Z'`) is no clock",
    )
    delimiter: Delimiter | None = Field(
        None,
        description='one sign between the columns, as `";"`, or `"blanks"` for any number; detected if not stated',
    )
    header: LineNumber | None = Field(
        None, description="line that names the columns; 0: none does, columns are numbers; found if not stated"
    )
    skip: LineNumber | None = Field(None, description="lines at the beginning to skip")
    comment: Annotated[str, Field(min_length=1, max_length=10)] | None = Field(
        None, description='how a line that is not a row begins, as `"#"`'
    )
    decimal: Literal[".", ","] | None = Field(None, description="decimal sign; detected if not stated")
    encoding: str | None = Field(None, description='of a text file, as `"cp1252"`; detected if not stated')
    angles: Literal["decimal", "dms"] | None = Field(
        None, description="degrees with decimals, or degrees, minutes, seconds; decimal if not stated"
    )
    units: Units | None = Field(None, description="of lengths for which the CRS gives no unit; metres if not stated")
    epoch: Epoch | None = Field(None, description="of the coordinates, where it is not the time of their observation")
    realisation: str | None = Field(
        None, description='the frame that the base was set on where `crs` leaves it open ("WGS 84"), as `"EPSG:7912"`'
    )


class Source(_Reading):
    """How exports are to be read, for all blocks."""


_Layers = Annotated[
    Listed[str],
    Field(min_length=1),
    AfterValidator(lambda names: tuple(dict.fromkeys(names))),
    BeforeValidator(one_or_more, json_schema_input_type=str | list[str]),
]


class Points(_Reading):
    """A block of exports, with every key of ``[source]`` that differs here; the rest is taken from there."""

    files: Annotated[Listed[Named], Field(min_length=1)] = Field(
        description="CSV (or `.txt`, `.asc`, `.dat`, `.tsv`, `.xyz`), spreadsheet (`.xlsx`), GeoJSON or GeoPackage, by"
        " name or by pattern (`rover/*.csv`)"
    )
    layer: _Layers | None = Field(
        None,
        description='layer of a GeoPackage, or sheet, where there is more than one; or a list: `["north", "south"]`',
    )
    scale: Scale | None = Field(None, description="for these exports, instead of `quality.scale`, as of one receiver")
    scale_vertical: Scale | None = Field(None, description="for their heights, where that is another number")
    not_measured: Listed[Named] | None = Field(
        None,
        description='columns of a second position or height of the rows, or `"geometry"` for that of the layer, that'
        " somebody looked into: not what was measured here; a doubt (`place`) about it counts as confirmed",
    )
    columns: Columns = Field(Columns(), description="what each column holds, as `[points.columns]` below the block")


class Quality(Strict):
    """What is accepted, and the standard uncertainties where the export has none.

    A reading further than ``max_distance`` from its base or session, or by more than ``max_height_difference`` above or
    below it, is held back; an isolated one beyond the ``doubtful_`` limits is noted (common practice, no source).
    """

    solutions: Listed[Named] = Field(("fix",), description="accepted solution words; others are held back")
    max_sigma_horizontal: Length | None = Field(None, description="held back beyond it")
    max_sigma_vertical: Length | None = Field(None, description="held back beyond it")
    max_pdop: Positive | None = Field(None, description="held back beyond it")
    max_correction_age: Seconds | None = Field(None, description="held back beyond it")
    max_distance: Length = Field(
        50_000.0, description="from base, else session; ten times that with network corrections"
    )
    max_height_difference: Length = Field(3_000.0, description="above or below base or session")
    doubtful_distance: Length = Field(500.0, description="an isolated reading beyond it is issued and noted")
    doubtful_height_difference: Length = Field(90.0, description="an isolated reading beyond it is issued and noted")
    sigma_horizontal: Length = Field(
        0.008, description="standard uncertainty of east and of north, where the export gives none"
    )
    sigma_vertical: Length = Field(0.015, description="standard uncertainty of the height, where the export gives none")
    ppm: PartsPerMillion = Field(
        1.0,
        description="of the distance from the base: joins standard uncertainties as the root of the sum of squares",
    )
    scale: Scale = Field(
        1.0,
        description="factor on the stated standard uncertainties of readings, the distance part included; the record's"
        " `precision` shows the factor that checks and repeats suggest",
    )
    scale_vertical: Scale | None = Field(None, description="of heights, where that is another number")
    centring: LengthOrNone = Field(0.003, description="standard uncertainty of a pole over its mark")

    def scales(self, points: Points | None = None) -> tuple[float, float]:
        """Return how many times larger than stated uncertainties are taken, in plan and in height.

        Those of a block, or of all that state none of their own.
        """
        if points is None:
            return self.scale, self.scale_vertical or self.scale
        plan = points.scale or self.scale
        return plan, points.scale_vertical or points.scale or self.scale_vertical or plan
