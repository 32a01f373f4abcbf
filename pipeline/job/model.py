"""The job file's types. Every key of the job file is here and nowhere else; `load` turns TOML into them.

What a key is for stands beside it: the table in configs/KEYS.md is made from here (`pipeline.job.reference`).
"""

from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    SerializerFunctionWrapHandler,
    StringConstraints,
    Tag,
    field_validator,
    model_serializer,
    model_validator,
)

from pipeline.job.command_named import TIME_OF_COMMAND
from pipeline.job.key_values import (
    MOST_KEPT,
    AngleColumn,
    AreaColumn,
    Column,
    CommandWord,
    Corners,
    Delimiter,
    Epoch,
    File,
    Format,
    GridColumn,
    HoldBack,
    Latitude,
    LayerName,
    Length,
    LengthColumn,
    LengthOrNone,
    Level,
    LineNumber,
    Listed,
    Longitude,
    Metres,
    Moment,
    Named,
    OnGrid,
    PartsPerMillion,
    Positive,
    Release,
    Scale,
    Seconds,
    SecondsColumn,
    Spot,
    SquareMetres,
    TableDelimiter,
    TargetEpoch,
    TimeOfCommand,
    Unit,
    Units,
    readable,
)
from pipeline.job.particulars_values import MOST as MOST_PARTICULARS
from pipeline.job.particulars_values import Value, key_given, size, value_given
from pipeline.words import Doubt, Reason, ReleaseRule

#: The two forms of a session's ``shift``; these tags stand in the places that pydantic reports, never in a job file.
SHIFT_WORD, SHIFT_GIVEN = "a word", "a table"
#: Likewise of its ``field_shift``.
FIELD_ONE, FIELD_LIST = "one table", "a list of tables"


def _shift_form(value: object) -> str:
    return SHIFT_WORD if isinstance(value, str) else SHIFT_GIVEN


def _field_form(value: object) -> str:
    return FIELD_LIST if isinstance(value, list | tuple) else FIELD_ONE


class _Strict(BaseModel):
    """No unknown key, no silent conversion, no NaN or infinity, nothing changed after loading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _whole(cls, value: object) -> object:
        """Refuse a NUL in any text: libraries in C would take what stands before it for all."""
        return readable(value, "\0") if isinstance(value, str) else value


class JobSection(_Strict):
    """The name used in file names and the folder where issues are kept."""

    name: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=100)] = Field(
        description="a-z, 0-9 and single `-` between them; begins the names of the files written"
    )
    folder: File = Field(
        description="where issues are kept; all paths count from the job file's folder, with `/` between folders"
    )


class Site(_Strict):
    """The site's own system: found by least squares from marks that it has in common with the register."""

    marks: File = Field(
        description="CSV, GeoJSON or GeoPackage with `mark`, `easting`, `northing`, `height` in the site's own system,"
        " metres; two marks or more have the names of marks of the register"
    )
    plan: Literal["similarity", "rigid"] = Field(
        "similarity", description="two shifts, a rotation and a scale, or the scale held at 1"
    )
    height: Literal["step", "tilt", "none"] = Field(
        "step",
        description="heights by one step, by a tilted plane (three marks or more), or as `target.height` has them",
    )


class Target(_Strict):
    """The issued frame."""

    grid: str = Field(
        description='the projected CRS, as `"EPSG:2193"`, WKT, PROJJSON or a PROJ string, or a file that holds one of'
        ' them (`"site.prj"`, `.wkt`, `.projjson`), as every `crs`'
    )
    base: Named | None = Field(
        None,
        description="the registered geographic CRS that a grid without a datum of its own is based on, as"
        ' `"EPSG:4959"`;'
        ' elsewhere written behind it: `"+proj=tmerc ... on EPSG:4959"`',
    )
    height: str = Field(description='the vertical CRS of the issued heights, or `"ellipsoid"`')
    geoid: File | None = Field(None, description="geoid grid (GTX or GeoTIFF) to use instead of PROJ's own")
    geoid_sigma: LengthOrNone | None = Field(
        None,
        description="standard uncertainty of geoid separations, also of PROJ's: its square is added to the variance of"
        " every height, so `vu95` grows by it and `hu95` does not",
    )
    epoch: TargetEpoch | None = Field(None, description="needed where the grid's frame moves")
    site: Site | None = Field(
        None, description="issues in the site's own system, found from `grid` and `height` by common marks"
    )
    max_transform_error: Length | None = Field(
        None,
        description="largest transformation error that no shift absorbs; else half the tolerance of checks. A limit:"
        " an error within it adds nothing to `hu95` and `vu95`",
    )


class Columns(_Strict):
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


class _Reading(_Strict):
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


def _one_layer(value: object) -> object:
    return [value] if isinstance(value, str) else value


_Layers = Annotated[
    Listed[str],
    Field(min_length=1),
    AfterValidator(lambda names: tuple(dict.fromkeys(names))),
    BeforeValidator(_one_layer, json_schema_input_type=str | list[str]),
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


class Quality(_Strict):
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


#: Standard uncertainty of each horizontal component and of the height of a mark whose register states none, in
#: metres. Common practice, no source: about how well a pole or a level is set up on a mark of good standing.
UNSTATED = (0.005, 0.005)


class _Table(_Strict):
    """The keys of a table kept in a file beside the job file: how it is written."""

    file: File
    delimiter: TableDelimiter | None = Field(
        None,
        description='one sign between the columns, as `";"`, or `"blanks"` for any number; detected if not stated',
    )
    decimal: Literal[".", ","] | None = Field(None, description="decimal sign; detected if not stated")
    encoding: str | None = Field(None, description='of a text file, as `"cp1252"`; UTF-8 or UTF-16 if not stated')


_Heading = Annotated[str, StringConstraints(min_length=1)]
_PlaceOfLength = Annotated[Column, Unit("`units`")]


class RegisterColumns(_Strict):
    """Our name = the register's, below it. Unmapped, a column goes by our name; other columns go into the record."""

    mark: Column | None = Field(None, description="the mark's name")
    easting: Column | None = Field(None, description="with `northing`, in a projected `crs`")
    northing: Column | None = Field(None, description="with `easting`")
    longitude: Column | None = Field(None, description="with `latitude`, in a geographic `crs`")
    latitude: Column | None = Field(None, description="with `longitude`")
    height: Column | None = Field(None, description="height in the datum `control.height`")
    ellipsoid_height: Column | None = Field(None, description='where `control.height` is `"ellipsoid"`')
    hu95: _PlaceOfLength | None = Field(None, description="95 % uncertainty of the position: radius of the circle")
    vu95: _PlaceOfLength | None = Field(None, description="95 % uncertainty of the height")
    holds: Column | None = Field(
        None, description="`3d`, `position` or `height`: what of its coordinates is held; where empty, what is there"
    )
    source: Column | None = Field(None, description="where the coordinates come from")
    dated: Column | None = Field(None, description="the day they date from; the newest of several rows is used")


class ControlSection(_Table):
    """The register of control marks."""

    file: File = Field(
        description="CSV, spreadsheet (`.xlsx`), GeoJSON or GeoPackage with `mark`, `easting`, `northing`, `height` (or"
        " `longitude`, `latitude`; `ellipsoid_height`) and, if wanted, `hu95`, `vu95`, `holds`"
        " (`3d`, `position` or `height`), `source`, `dated`"
    )
    crs: str = Field(description="CRS of its coordinates, as `target.grid`")
    height: str = Field("ellipsoid", description='vertical CRS of its heights, or `"ellipsoid"`')
    layer: str | None = Field(None, description="layer of a GeoPackage, or sheet, where there is more than one")
    epoch: Epoch | None = Field(
        None,
        description="of its coordinates, where its frame moves; needed where the grid's does not, else"
        " `target.epoch` is assumed and a note says so",
    )
    units: Units | None = Field(None, description="as in `[source]`, for its ellipsoidal heights, `hu95` and `vu95`")
    angles: Literal["decimal", "dms"] | None = Field(None, description="as in `[source]`, for longitude and latitude")
    header: LineNumber | None = Field(None, description="as in `[source]`, of a text or a spreadsheet")
    sigma_horizontal: Length = Field(
        UNSTATED[0],
        description="standard uncertainty of east and of north of a mark without `hu95`; reaches `hu95` of every point"
        " by the shift that the mark gives",
    )
    sigma_vertical: Length = Field(
        UNSTATED[1], description="of the height of a mark without `vu95`; reaches `vu95` of every point likewise"
    )
    columns: RegisterColumns = Field(
        RegisterColumns(), description="what each column holds, as `[control.columns]` below `[control]`"
    )


class Occupation(_Strict):
    """A rover point observed on a mark of the register or on a temporary mark."""

    point: Named = Field(description="the point's name in the export")
    mark: Named = Field(description="a mark of the register, or a temporary mark's name")


def _one_name(value: object) -> object:
    """Take a name alone for the point's and the mark's."""
    return {"point": value, "mark": value} if isinstance(value, str) and value.strip() else value


_Occupations = Listed[Annotated[Occupation, BeforeValidator(_one_name, json_schema_input_type=Occupation | str)]]


class Setup(_Strict):
    """The base over a mark: the position that it broadcast, and its antenna above the mark."""

    mark: Named = Field(description="the mark that the base stood over")
    longitude: Longitude = Field(description="as broadcast, in the datum of `source.crs`")
    latitude: Latitude = Field(description="as broadcast")
    ellipsoid_height: Metres = Field(description="as broadcast")
    antenna_height: Metres = Field(0.0, description="height of the broadcast position above the mark")
    epoch: Epoch | None = Field(None, description="the same as the session's `epoch`")
    sigma_east: LengthOrNone = Field(0.0, description="standard uncertainty of the position, beside `quality.centring`")
    sigma_north: LengthOrNone = Field(0.0, description="of the position")
    sigma_up: LengthOrNone = Field(0.0, description="of the position")
    cov_en: SquareMetres = Field(0.0, description="covariance of east and north")
    cov_eu: SquareMetres = Field(0.0, description="covariance of east and up")
    cov_nu: SquareMetres = Field(0.0, description="covariance of north and up")


class GivenShift(_Strict):
    """A shift stated in the job file: to the east, the north and up at the session's place, in either model."""

    east: Metres = Field(description="added to the readings")
    north: Metres = Field(description="added to the readings")
    up: Metres = Field(description="added to the readings")
    sigma_horizontal: LengthOrNone = Field(0.0, description="standard uncertainty of east and of north")
    sigma_vertical: LengthOrNone = Field(0.0, description="standard uncertainty of up")


_BaseId = Annotated[str, StringConstraints(strip_whitespace=True), AfterValidator(readable)]


class FieldShift(_Strict):
    """A correction that the field applied for a time: as a vector, or as worked out from a tie; it is taken out first.

    What a tie gave is taken out as it was in the first issue that did so, whatever becomes of the register's mark.
    """

    start: Annotated[Moment, Field(alias="from")] = Field(description="the first time that it was applied")
    until: Moment | None = Field(None, description="the first time that it was no longer; else the session's end")
    earliest: Moment | None = Field(
        None,
        description="where it is not known when before `from` it was switched on: readings in between are suspect",
    )
    latest: Moment | None = Field(
        None,
        description="where it is not known when after `until` it was switched off: readings in between are suspect",
    )
    tie: Named | None = Field(
        None, description="the reading that it was worked out from, with `mark`: the last of that name before `from`"
    )
    mark: Named | None = Field(None, description="the mark that was entered for the tie")
    easting: OnGrid | None = Field(None, description="of the mark as typed in the field; else the register's")
    northing: OnGrid | None = Field(None, description="with `easting` and `height`, as `target.grid` writes them")
    height: OnGrid | None = Field(None, description="in the datum `target.height`")
    longitude: Longitude | None = Field(None, description="instead of them, in the datum of `source.crs`")
    latitude: Latitude | None = Field(None, description="with `longitude` and `ellipsoid_height`")
    ellipsoid_height: Metres | None = Field(None, description="with `longitude` and `latitude`")
    east: Metres | None = Field(None, description="as applied, instead of `tie` and `mark`")
    north: Metres | None = Field(None, description="as applied")
    up: Metres | None = Field(None, description="as applied")
    base: _BaseId | None = Field(None, description="only readings with this base id carry it")
    files: Listed[Named] = Field((), description="only these exports carry it, by name or pattern as `points.files`")
    model: Literal["geocentric", "grid"] = Field(
        "geocentric",
        description="one geocentric vector, taken at the first tie's mark, or metres along the issue's `easting`,"
        " `northing` and `height`, in the directions in which these increase",
    )

    @model_serializer(mode="wrap")
    def _as_stated(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Leave out what is not stated: a shift of before keys were added says the same as ever."""
        return {key: value for key, value in write(self).items() if value is not None and value != () and value != []}

    @property
    def typed(self) -> tuple[float, float, float] | None:
        """Return the mark's coordinates as typed in the field, None where they are the register's."""
        for names in TYPED:
            given = [getattr(self, name) for name in names]
            if None not in given:
                return given[0], given[1], given[2]
        return None


#: The keys of a field shift that give its mark's coordinates: on the grid, or in degrees.
TYPED = (("easting", "northing", "height"), ("longitude", "latitude", "ellipsoid_height"))


class Noted(_Strict):
    """A check read off the screen in the field, of which no export has a row: shown, and never counted as proof."""

    mark: Named = Field(description="the mark of the register that was occupied")
    time: Moment = Field(description="when it was read, within the session")
    d_east: Metres | None = Field(None, description="observed minus known, as read; with `d_north`")
    d_north: Metres | None = Field(None, description="with `d_east`")
    d_horizontal: LengthOrNone | None = Field(None, description="instead of them, where the screen shows no more")
    d_height: Metres | None = Field(None, description="observed minus known, upwards")
    note: Annotated[str, StringConstraints(max_length=200), AfterValidator(readable)] | None = Field(
        None, description="what was noted with it; shown as it is"
    )


class Session(_Strict):
    """A base that stood still with one broadcast position, over the half-open [start, end)."""

    name: Named = Field(description="the session's name")
    start: Moment = Field(
        description="with its offset from UTC, as `2026-03-02T07:30:00+13:00`, or on the clock of `source.time_zone`"
    )
    end: Moment = Field(description="the first time that is no longer in it")
    base: _BaseId | None = Field(None, description="the base id of its readings; needed where sessions overlap")
    ties: _Occupations = Field(
        (), description='what gives the shift: `[{ point = "CM1-AM", mark = "CM1" }, "CM2"]`, the latter of one name'
    )
    checks: _Occupations = Field((), description="what proves it, as `ties`; more are found by `[checks]`")
    setup: Setup | None = Field(None, description="the base over a mark")
    shift: Annotated[
        Annotated[Literal["derive", "none"], Tag(SHIFT_WORD)] | Annotated[GivenShift, Tag(SHIFT_GIVEN)],
        Discriminator(_shift_form),
    ] = Field(
        "derive",
        description="derived from the ties; none, as certain as one observation by `sigma_horizontal` and"
        " `sigma_vertical` of `[quality]`, which are in every `hu95` and `vu95`; or as stated. Ties may still move one"
        " that is not derived within its uncertainty",
    )
    field_shift: (
        Annotated[
            Annotated[FieldShift, Tag(FIELD_ONE)] | Annotated[Listed[FieldShift], Tag(FIELD_LIST)],
            Discriminator(_field_form),
        ]
        | None
    ) = Field(None, description="what the field applied already; of several a list, `[{ ... }, { ... }]`")
    epoch: Epoch | None = Field(None, description="of the position that the base held")
    noted: Listed[Noted] = Field(
        (), description="checks read off the screen, as `[[session.noted]]` below the session; not in a sessions' table"
    )

    @property
    def field_shifts(self) -> tuple[FieldShift, ...]:
        """Return every correction that the field applied, in the order of the job file."""
        given = self.field_shift
        return () if given is None else (given,) if isinstance(given, FieldShift) else given

    def place_of_field_shift(self, position: int) -> tuple[str | int, ...]:
        """Return the keys that lead to one of them."""
        return ("field_shift",) if isinstance(self.field_shift, FieldShift) else ("field_shift", position)


class SessionsFile(_Table):
    """The sessions' table in a CSV or spreadsheet instead of ``[[session]]``, written as ``[control]`` may say."""

    file: File = Field(
        description="a CSV or spreadsheet with the keys of `[[session]]` as columns, ties as `CM1-AM=CM1; CM2`"
    )
    layer: str | None = Field(None, description="sheet of a spreadsheet in which more than one holds rows")


class Shift(_Strict):
    """The shift's model, and the size beyond which a shift is doubted."""

    model: Literal["geocentric", "grid"] = Field(
        "geocentric",
        description="one vector in X, Y, Z, or one in easting, northing and height: the plain mean of what the former"
        " adds at the session's ties, whose bend away from them is not in `hu95` and `vu95`",
    )
    limit_horizontal: Length = Field(10.0, description="a shift beyond it is a doubt (`shift`)")
    limit_vertical: Length = Field(20.0, description="a shift beyond it is a doubt (`shift`)")


class Checks(_Strict):
    """How occupations are found by code, and the tolerances (common practice, no source)."""

    codes: Listed[Named] = Field(("CHK",), description="codes of readings that check the nearest mark of the register")
    radius: Length = Field(0.5, description="how near that mark must be after correction")
    horizontal: Length = Field(0.030, description="tolerance of a check in position")
    vertical: Length = Field(0.050, description="tolerance of a check in height")
    same_name: Length = Field(
        2.0,
        description="readings with the same name, in one session or in two, count as one point measured twice up to"
        " this far apart in plan; beyond it, as different points",
    )
    same_place: LengthOrNone = Field(
        0.0,
        description="readings this close together count as one point whatever their names; 0: only those with the"
        " same name",
    )
    confirmed: Listed[Annotated[Doubt, Field(strict=False)]] = Field(
        (), description="kinds of doubt that were checked and found in order: they do not take the proof away"
    )


class Issue(_Strict):
    """What is held back although it was computed, and the formats written.

    "gpkg" is written also where it is not named: what was issued is read from it again, by the next issue, by a trace,
    and by every other format.
    """

    hold_back: Listed[HoldBack] = Field((Reason.SUSPECT,), description="points with this proof; `[]`: none")
    release: Release = Field(
        ReleaseRule.SAFE,
        description="what moves `current`: not an issue that takes away or moves points of it while a session they"
        " depend on has a failing check, nor one that leaves a session of the job without any point left, nor one that"
        " has lost an export;"
        ' `"proven"`: only one with that verdict, and likewise; `"any"`: each',
    )
    keep: Annotated[int, Field(ge=0, le=MOST_KEPT)] = Field(
        0,
        description="how many of the newest issues keep all of their files; older ones keep only record and report,"
        " except one that is current, was released by hand or waits; 0: every issue is kept",
    )
    formats: Listed[Format] = Field(("gpkg",), min_length=1, description="what is written; the GeoPackage in any case")
    repeats: Literal["all", "last", "mean"] = Field(
        "all",
        description="of a point measured twice: every reading; the last one, also where it does not agree with an"
        " earlier one of its name; or the mean of those that agree, weighted by their uncertainty with that of their"
        " sessions' shifts; the others are held back as duplicate",
    )
    by_code: bool = Field(False, description="a layer `points_CODE` for each code in the GeoPackage as well")


class Notify(_Strict):
    """A command that `tiedown run` calls when the job's state changed; it affects no issue."""

    command: Annotated[Listed[CommandWord], Field(min_length=1)] = Field(
        description="program and arguments, started without a shell in the job file's folder"
    )
    timeout: TimeOfCommand = Field(TIME_OF_COMMAND, description="a command that runs longer is ended")


class Particulars(BaseModel):
    """Who, where and with what, in keys of your own, shown as given in the report; they affect no coordinate.

    Texts, numbers, dates, lists of them, and one level of tables or of lists of tables. They are kept as plain values:
    dates and times as texts.
    """

    model_config = ConfigDict(extra="allow", frozen=True)
    __pydantic_extra__: dict[str, Annotated[Any, BeforeValidator(value_given)]]

    @model_validator(mode="before")
    @classmethod
    def _named(cls, found: object) -> object:
        """Refuse keys that nobody can see, and more than a report can show."""
        if isinstance(found, dict):
            for key in found:
                key_given(key)
        return found

    @model_validator(mode="after")
    def _few(self) -> "Particulars":
        """Refuse more than a front page can show."""
        if (number := size(self.given)) > MOST_PARTICULARS:
            raise ValueError(f"{number:,} values are more than a report can show ({MOST_PARTICULARS:,})")
        return self

    @property
    def given(self) -> dict[str, Value]:
        """Return the particulars in the order of the job file."""
        return dict(self.__pydantic_extra__)


class DrawnCode(_Strict):
    """How the points of one code are drawn."""

    code: Named = Field(description="as in the export")
    layer: LayerName | None = Field(
        None, description="its layer; several codes may share one, if not stated, the code itself"
    )
    colour: Annotated[int, Field(ge=1, le=255)] | None = Field(
        None, description="its colour index; if not stated, one that no code near it has"
    )


class Drawing(_Strict):
    """How a drawing (DXF) is plotted, on which its texts and symbols depend; it changes no coordinate."""

    scale: Annotated[Annotated[float, Field(ge=1, le=1_000_000)], Unit("1:n")] = Field(
        500.0, description="of the plot: 500 is 1:500"
    )
    text_height: Annotated[Annotated[float, Field(ge=0.1, le=100)], Unit("mm")] = Field(
        1.8, description="of texts on the plot; symbols are scaled with it"
    )
    codes: Listed[DrawnCode] = Field((), description="layer and colour of single codes")


class CodeColumns(_Strict):
    """Our name = the table's, below it. Unmapped, a column goes by our name; other columns are ignored."""

    code: _Heading | None = Field(None, description="the code, as readings have it")
    description: _Heading | None = Field(None, description="what it stands for")
    kind: _Heading | None = Field(None, description="`point`, `line` or `area`")
    layer: _Heading | None = Field(None, description="its layer in a drawing")
    colour: _Heading | None = Field(None, description="its colour there, an index of 1 to 255")


class CodesSection(_Table):
    """The table of codes: what each stands for and how it is drawn. It changes no coordinate."""

    file: File = Field(
        description="CSV, spreadsheet (`.xlsx`), GeoJSON or GeoPackage with `code` and, if wanted, `description`,"
        " `kind` (`point`, `line` or `area`), `layer`, `colour` (as in `[drawing]`)"
    )
    layer: str | None = Field(None, description="layer of a GeoPackage, or sheet, where there is more than one")
    columns: CodeColumns = Field(
        CodeColumns(), description="what each column holds, as `[codes.columns]` below `[codes]`"
    )


_Words = Annotated[
    Listed[Named],
    Field(min_length=1),
    AfterValidator(lambda words: tuple(dict.fromkeys(words))),
    BeforeValidator(_one_layer, json_schema_input_type=str | list[str]),
]


class Linework(_Strict):
    """Which codes are strings, and how that is written in them; each string becomes a line, straight between points.

    Of a string whose code is KERB the readings bear `KERB start`, `KERB`, `KERB` ... `KERB end`; with numbers
    `KERB1 start`, and so on. Capitals make no difference.
    """

    codes: Listed[Named] = Field(
        (), description="codes of strings, beside those that the table of codes calls `line` or `area`"
    )
    start: _Words = Field(("start",), description="the word, or words, at the first reading of a string")
    end: _Words = Field(("end",), description="at its last; it closes a string whose code is an `area`")
    close: _Words = Field(("close",), description="at its last, from which the line goes back to the first")
    separator: Annotated[str, Field(max_length=5)] = Field(
        " ", description='between code and words: any blanks, or signs such as `"-"`; `""`: none, as in `KERBS`'
    )
    number: Literal["behind", "word", "none"] = Field(
        "behind",
        description="where the number of a string is: behind its code (`KERB1`), as a word (`KERB 1`), or nowhere",
    )
    within: Literal["session", "export", "job"] = Field(
        "session",
        description="what a string may extend over: one session of one export, one export, or all exports together, as"
        " where two rovers pick one string; in all of them readings follow in time",
    )
    remarks: bool = Field(
        False, description="ignore other words behind a code; if false, a string with such a word is not drawn"
    )


class Peg(_Strict):
    """A temporary mark that is to be set, which joins the planned sessions that occupy it."""

    mark: Named = Field(description="its name, which is in no register")
    at: Spot = Field(description="easting and northing, as issued")


class PlannedSession(_Strict):
    """A session that is intended: where its base is to stand, and what is to tie and prove it."""

    name: Named = Field(description="its name")
    base: Spot | None = Field(None, description="easting and northing, as issued; else the middle of the area")
    setup: Named | None = Field(None, description="instead of `base`, the mark that the base is to stand over")
    ties: Listed[Named] = Field((), description="marks to be occupied as ties; one that is named twice, twice")
    checks: Listed[Named] = Field((), description="marks to be occupied as checks")
    area: Corners | None = Field(None, description="its part of the work, where it is not all of it")


class Plan(_Strict):
    """What a day is meant to be, for `tiedown plan`; runs ignore it."""

    area: Corners = Field(
        description="corners of the work, easting and northing as issued; two are those of a rectangle"
    )
    height: Level | None = Field(None, description="of the work, as issued; else the mean of the marks at hand")
    within: Length = Field(10_000.0, description="marks up to this far from the work are considered as ties and checks")
    pegs: Listed[Peg] = Field((), description="temporary marks to be set")
    session: Listed[PlannedSession] = Field((), description="the sessions, as `[[plan.session]]` each")


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
    particulars: Particulars | None = None
    drawing: Drawing = Drawing()
    notify: Notify | None = None
    codes: CodesSection | None = None
    linework: Linework | None = None
    plan: Plan | None = None
