"""What an issue's record holds: every key with its type, its unit and its meaning, here and nowhere else.

mypy holds the code to it, `read_record` every file, and `issue.schema.json` is written from it (`schema_file.py`).
Coordinates on the grid are as `Target.axes` says; all other lengths are metres, angles degrees, times UTC; what is not
known or does not apply is null. Where a key comes or goes, `SCHEMA` is raised, and `earlier_records.py` says what a
record of before is read as.
"""

from typing import Annotated, Any, Literal, NotRequired

from pydantic import Field
from typing_extensions import TypedDict

from pipeline.issue.doubt_types import DoubtOrigin
from pipeline.issue.field_shift_types import FieldShiftTaken
from pipeline.issue.record_values import (
    FileName,
    HoldsWord,
    Instant,
    OneOf,
    ReasonWord,
    ReleaseWord,
    Sha256,
    Strict,
    VerdictWord,
    Whole,
)
from pipeline.issue.row_types import CheckRow, MarkRow, Reliability, RepeatRow
from pipeline.issue.schema_number import SCHEMA as SCHEMA
from pipeline.issue.session_types import Session
from pipeline.words import Doubt, HeldUnit, Unjoined

Counts = dict[ReasonWord, Whole]
UnjoinedWord = Annotated[str, OneOf.from_words(Unjoined)]
CodeKind = Annotated[str, OneOf(("point", "line", "area"))]
Component = Annotated[str, OneOf(("position", "height"))]


class Rows(Strict):
    """Where every row of the exports went: read = points + on_marks + held_back."""

    read: Annotated[Whole, Field(description="rows read")]
    points: Annotated[Whole, Field(description="rows issued as points")]
    on_marks: Annotated[Whole, Field(description="rows that are occupations of marks")]
    held_back: Annotated[Whole, Field(description="rows held back")]
    by_reason: Annotated[Counts, Field(description="rows held back, by reason; reasons without any are left out")]


class WhollyHeld(Strict):
    """A file, session or day of which no point is issued.

    Of a file that is no longer there, ``rows`` are the points of the previous issue that are withdrawn with it; only
    then are there more of them than of ``on_marks`` and ``held_back``.
    """

    kind: Annotated[str, OneOf.from_words(HeldUnit), Field(description="what it is")]
    name: Annotated[str, Field(description="the file's path, the session's name, or the day with its zone")]
    rows: Annotated[Whole, Field(description="its rows")]
    on_marks: Annotated[Whole, Field(description="its rows that are occupations of marks")]
    held_back: Annotated[Whole, Field(description="its rows held back")]
    by_reason: Annotated[Counts, Field(description="its rows held back, by reason")]


class DoubtNoted(Strict):
    """Something that may be wrong with all points of some sessions alike, though every check agrees."""

    kind: Annotated[str, OneOf.from_words(Doubt), Field(description="the word by which the job file confirms it")]
    what: Annotated[str, Field(description="the doubt in words, with where it was seen")]
    sessions: Annotated[list[str], Field(description="the sessions that it concerns")]
    confirmed: Annotated[bool, Field(description="whether the job file says that all is in order")]
    origin: Annotated[
        DoubtOrigin | None,
        Field(description="what it is about, of one that later issues take along; null: each run finds it by itself"),
    ]


class Statistics(Reliability):
    """An observation in the adjustment, east, north and up at its place; null where it has no such component."""

    residual_east: Annotated[float | None, Field(description="adjusted minus observed, east [m]")]
    residual_north: Annotated[float | None, Field(description="adjusted minus observed, north [m]")]
    residual_up: Annotated[float | None, Field(description="adjusted minus observed, up [m]")]


class SetUp(Statistics):
    """A base that was set up over a mark, as an observation."""

    session: Annotated[str, Field(description="the session whose base it is")]
    mark: Annotated[str, Field(description="the mark that it stood on")]


class ControlMark(Statistics):
    """A mark's coordinates in the register, as an observation."""

    mark: Annotated[str, Field(description="the mark")]


class ChiSquare(Strict):
    """The global test of the adjustment: the square sum of the residuals within two bounds."""

    low: Annotated[float, Field(description="lower bound")]
    high: Annotated[float, Field(description="upper bound")]
    passed: Annotated[bool, Field(description="whether the square sum lies between them")]


class Adjustment(Strict):
    """How well the observations of sessions and marks agree."""

    variance_factor: Annotated[float | None, Field(description="square sum by degrees of freedom; null: without any")]
    degrees_of_freedom: Annotated[Whole, Field(description="observations beyond those that are needed")]
    chi_square: Annotated[ChiSquare | None, Field(description="the global test; null: no degrees of freedom")]
    square_sum: Annotated[float | None, Field(description="weighted square sum of the residuals")]
    critical_value: Annotated[float, Field(description="a standardised residual beyond it deserves a look")]
    set_ups: Annotated[list[SetUp], Field(description="bases set up over marks")]
    control: Annotated[list[ControlMark], Field(description="marks of the register that the adjustment holds")]


class Grid(Strict):
    """A grid file that an operation uses."""

    name: Annotated[str, Field(description="its file name")]
    sha256: Annotated[Sha256, Field(description="SHA-256 of its bytes")]


class OperationUsed(Strict):
    """A transformation that coordinates went through."""

    step: Annotated[str, Field(description="from what to what it leads")]
    name: Annotated[str, Field(description="its name in PROJ's database")]
    definition: Annotated[
        str, Field(description="its PROJ string; coordinates on a grid are metres to the east, north and up in it")
    ]
    accuracy: Annotated[float | None, Field(description="its accuracy as the database states it [m]; null: not stated")]
    grids: Annotated[list[Grid], Field(description="the grid files that it uses")]
    assumes: NotRequired[Annotated[str, Field(description="what it assumes of a frame that its label leaves open")]]


class Input(Strict):
    """A file that was read."""

    path: Annotated[str, Field(description="its path as the job file has it, or relative to that")]
    sha256: Annotated[Sha256, Field(description="SHA-256 of its bytes")]
    rows: Annotated[Whole, Field(description="its rows")]


class AxisWritten(Strict):
    """How the numbers of one coordinate are written."""

    unit: Annotated[str, Field(description="the unit's name")]
    metres: Annotated[float, Field(description="length of one of it [m]")]
    direction: Annotated[
        str,
        OneOf(("east", "west", "north", "south", "up", "down")),
        Field(description="the side to which the numbers grow; around a pole, of the projection"),
    ]


class AxesWritten(Strict):
    """How the coordinates on the grid are written, here and in every file."""

    easting: Annotated[AxisWritten, Field(description="of easting, known_easting, old_easting, new_easting")]
    northing: Annotated[AxisWritten, Field(description="of northing, known_northing, old_northing, new_northing")]
    height: Annotated[AxisWritten, Field(description="of height, known_height, old_height, new_height")]


class SiteMark(Strict):
    """A mark that the site and the register have in common."""

    mark: Annotated[str, Field(description="the mark")]
    easting: Annotated[float, Field(description="the site's own [m]")]
    northing: Annotated[float, Field(description="the site's own [m]")]
    height: Annotated[float | None, Field(description="the site's own [m]")]
    residual_east: Annotated[float, Field(description="by the register and the localisation minus the site's own [m]")]
    residual_north: Annotated[float, Field(description="likewise, northing [m]")]
    residual_height: Annotated[float | None, Field(description="likewise, height [m]; null: took no part")]


class SiteFit(Strict):
    """The site's own system, in which all coordinates are issued: a localisation of grid and height datum."""

    grid: Annotated[str, Field(description="code or WKT of the grid that it is derived of")]
    grid_name: Annotated[str, Field(description="that grid's name")]
    height: Annotated[str, Field(description='code or WKT of the height datum that it is derived of, or "ellipsoid"')]
    height_name: Annotated[str, Field(description="that height datum's name")]
    definition: Annotated[str, Field(description="PROJ step from easting, northing, height there to the site's [m]")]
    plan: Annotated[str, OneOf(("similarity", "rigid")), Field(description="rigid: the scale was held at 1")]
    scale: Annotated[float, Field(description="metres of the site in one of the grid")]
    scale_ppm: Annotated[float, Field(description="scale minus 1, in parts in a million")]
    turn: Annotated[float, Field(description="turn from the grid to the site's numbers, anticlockwise [deg]")]
    sigma_plan: Annotated[float | None, Field(description="of one coordinate of a mark [m]; null: nothing over")]
    over_plan: Annotated[Whole, Field(description="degrees of freedom in plan")]
    heights: Annotated[str, OneOf(("step", "tilt", "none")), Field(description="none: as the height datum has them")]
    step: Annotated[float | None, Field(description="added to heights, in the middle of the marks [m]")]
    slope_east: Annotated[float | None, Field(description="that grows by, to the grid's east [m/m]; null: no tilt")]
    slope_north: Annotated[float | None, Field(description="likewise to the north [m/m]")]
    sigma_height: Annotated[float | None, Field(description="of one height of a mark [m]; null: nothing over")]
    over_height: Annotated[Whole | None, Field(description="degrees of freedom in height; null: none were fitted")]
    marks: Annotated[list[SiteMark], Field(description="the marks in common")]


class Target(Strict):
    """The grid and the height datum of all issued coordinates."""

    grid: Annotated[str, Field(description="the grid's registered code, or its WKT where it has none")]
    grid_name: Annotated[str, Field(description="the grid's name")]
    height: Annotated[str, Field(description='the height datum\'s registered code or WKT, or "ellipsoid"')]
    height_name: Annotated[str, Field(description="the height datum's name")]
    definition: Annotated[str, Field(description="both together as WKT")]
    epoch: Annotated[float | None, Field(description="epoch of the coordinates [decimal year]; null: not stated")]
    axes: Annotated[AxesWritten, Field(description="unit and side of the coordinates; all other lengths are metres")]
    site: Annotated[SiteFit | None, Field(description="the site's own system; null: coordinates are on the grid")]


class Compared(Strict, total=False):
    """What became of the points since the previous issue; nothing where the two cannot be compared."""

    moved: Annotated[Whole, Field(description="points with other coordinates")]
    added: Annotated[Whole, Field(description="points that were not there")]
    withdrawn: Annotated[Whole, Field(description="points that are not there any more")]
    held: Annotated[Whole, Field(description="points that are held back now")]
    released: Annotated[Whole, Field(description="points that were held back")]
    recoded: Annotated[Whole, Field(description="points with another name, code or other attributes, moved or not")]
    attributes: Annotated[Whole, Field(description="points with another code or other attributes")]
    max_horizontal: Annotated[float | None, Field(description="the farthest that one moved [m]")]
    max_vertical: Annotated[float | None, Field(description="the most that one moved in height [m]")]


class Altered(Strict):
    """A file of the previous issue that is not what was issued, although points may have been drawn from it."""

    file: Annotated[str, Field(description="its name")]
    what: Annotated[str, Field(description="what is wrong with it, and what that means for what is told of changes")]


class Changes(Compared):
    """What changed since the previous issue, and why."""

    since: Annotated[int, Field(description="the number of the previous issue", ge=1)]
    because: Annotated[list[str], Field(description="why there is a new issue")]
    altered: Annotated[list[Altered], Field(description="files of the previous issue that are not what was issued")]


class AtStake(Strict):
    """Points that `current` shows, of a session that hangs on a failing check or has no point left."""

    session: Annotated[str, Field(description="the session that they hang on")]
    moved: Annotated[Whole, Field(description="points with other coordinates")]
    withdrawn: Annotated[Whole, Field(description="points that are not there any more")]
    held: Annotated[Whole, Field(description="points that are held back now")]
    failing: Annotated[
        list[str], Field(description="the failing occupations: point, mark, session if another; none: no point left")
    ]


class Release(Strict):
    """Whether `current` followed the issue when it was made; what was released by hand since is told beside it."""

    rule: Annotated[ReleaseWord, Field(description="the job file's `issue.release`")]
    pending: Annotated[bool, Field(description="whether it waits to be released by hand")]
    current: Annotated[int | None, Field(description="the issue that `current` showed before; null: none", ge=1)]
    at_stake: Annotated[
        list[AtStake], Field(description="points of that one that a failing check puts at stake, or that all go")
    ]


class LayerSums(Strict):
    """A layer of a GeoPackage and the sums of its content."""

    name: Annotated[str, Field(description="the layer's name")]
    rows: Annotated[Whole, Field(description="its rows")]
    content: Annotated[str, Field(description="sum of all its columns together")]
    columns: Annotated[dict[str, str], Field(description="sum of each column's values")]
    code: NotRequired[Annotated[str, Field(description="the code whose points it has, in a layer of one code")]]


class DatabaseIssued(Strict):
    """A GeoPackage as a database: what it is made of beside the rows of its layers."""

    header: Annotated[str, Field(description="its first 100 bytes, in hexadecimal", pattern="^[0-9a-f]{200}$")]
    objects: Annotated[dict[str, str], Field(description="sum of the definition of each table, index and trigger")]
    tables: Annotated[dict[str, str], Field(description="sum of the rows of each table but layers and indexes")]


class FileIssued(Strict):
    """A file of the issue beside the record."""

    name: Annotated[FileName, Field(description="its name")]
    sha256: Annotated[Sha256, Field(description="SHA-256 of its bytes")]
    layers: NotRequired[Annotated[list[LayerSums], Field(description="the layers, of a GeoPackage")]]
    database: NotRequired[Annotated[DatabaseIssued, Field(description="what else it is made of, of a GeoPackage")]]
    rows: NotRequired[Annotated[dict[str, Whole], Field(description="rows by layer, of a further format")]]


class Largest(Strict):
    """The difference that an explanation predicts at the failing occupations: in each axis the largest."""

    d_east: Annotated[float, Field(description="east [m]")]
    d_north: Annotated[float, Field(description="north [m]")]
    d_height: Annotated[float, Field(description="height [m]")]


class Explanation(Strict):
    """What a failure may mean."""

    kind: Annotated[str, Field(description="the kind of cause")]
    text: Annotated[str, Field(description="the cause in words")]
    largest: Annotated[Largest, Field(description="what it predicts")]
    misfit_horizontal: Annotated[float, Field(description="the most that it leaves unexplained, horizontally [m]")]
    misfit_vertical: Annotated[float, Field(description="the most that it leaves unexplained in height [m]")]
    chi_square: Annotated[float, Field(description="weighted square sum of what it leaves")]
    score: Annotated[float, Field(description="how unlikely it is; the best has the lowest")]
    chance: Annotated[bool, Field(description="whether it may fit by chance")]
    close: Annotated[bool, Field(description="whether it cannot be told from the best")]
    decide: Annotated[str | None, Field(description="what observation would decide")]


class Diagnosis(Strict):
    """The failing occupations of a session, and what they may mean."""

    session: Annotated[str, Field(description="the session")]
    points: Annotated[list[str | None], Field(description="names of the failing occupations")]
    tried: Annotated[Whole, Field(description="how many causes were tried")]
    fitting: Annotated[Whole, Field(description="how many of them fit")]
    split: Annotated[str | None, Field(description="lines for the job file that split the session, if its base moved")]
    field_shift: Annotated[
        str | None, Field(description="lines for the job file that state a shift which the field applied already")
    ]
    explanations: Annotated[list[Explanation], Field(description="the causes that fit, the best first")]


class Repeats(Strict):
    """Points measured twice: by one name, or at one place where the job asks for that."""

    issued: Annotated[Literal["all", "last", "mean"], Field(description="what is issued of them")]
    names: Annotated[Whole, Field(description="names that several readings of points have")]
    told_apart: Annotated[Whole, Field(description="points with a number behind the name, since others have it")]
    pairs: Annotated[Whole, Field(description="pairs of readings of one point, as in the layer repeats")]
    failed: Annotated[Whole, Field(description="pairs that do not pass")]
    failing: Annotated[list[RepeatRow], Field(description="those of them that differ most, 100 at the most")]
    means: Annotated[Whole, Field(description="points issued as a mean")]
    spread_horizontal: Annotated[
        float | None, Field(description="the farthest that a reading lies from its mean in plan [m]; null: no mean")
    ]
    spread_vertical: Annotated[float | None, Field(description="likewise in height [m]")]


class Precision(Strict):
    """How many times larger the standard uncertainties of readings are than what the job takes them for."""

    file: Annotated[str | None, Field(description="the raw file whose readings they are; null: all readings")]
    differences: Annotated[Whole, Field(description="differences on marks and of points measured twice, by component")]
    left_out: Annotated[Whole, Field(description="occupations and pairs not taken: something else is wrong with them")]
    degrees_of_freedom: Annotated[float, Field(description="those of a variance that is known as well")]
    enough: Annotated[bool, Field(description="whether that is enough to tell")]
    scale: Annotated[float | None, Field(description="how many times larger; null: nothing says so")]
    low: Annotated[float | None, Field(description="lower bound of the scale, 95 %")]
    high: Annotated[float | None, Field(description="upper bound of the scale, 95 %")]
    scale_horizontal: Annotated[float | None, Field(description="of position alone")]
    scale_vertical: Annotated[float | None, Field(description="of height alone")]
    too_good: Annotated[bool, Field(description="whether they are certainly stated too good")]


class Untied(Strict):
    """Sessions and marks that nothing ties, and what they lack."""

    sessions: Annotated[list[str], Field(description="the sessions: any one of them could be tied")]
    marks: Annotated[list[str], Field(description="the marks whose register coordinates would tie them too")]
    lacks: Annotated[list[Component], Field(description="what they are not tied in")]


class Farthest(Strict):
    """The point of a session at which the two models of the shift lie farthest apart."""

    session: Annotated[str, Field(description="the session")]
    point: Annotated[str, Field(description="the point")]
    horizontal: Annotated[float, Field(description="how far apart they are horizontally [m]")]
    vertical: Annotated[float, Field(description="grid minus geocentric, height [m]")]


class ShiftModel(Strict):
    """How the shift is applied."""

    model: Annotated[Literal["geocentric", "grid"], Field(description="in what it is applied")]
    farthest: Annotated[list[Farthest], Field(description='for "grid", how far the other model lies from it')]


_Sigmas = TypedDict(
    "_Sigmas",
    {
        "sigma horizontal": Annotated[str, Field(description="standard uncertainty of the position [m]")],
        "sigma vertical": Annotated[str, Field(description="standard uncertainty of the height [m]")],
    },
)


class FormerRow(Strict):
    """A row of a mark that a newer one of the register takes the place of."""

    line: Annotated[int, Field(description="its line, or the number of its feature", ge=1)]
    written: Annotated[list[str], Field(description="its three coordinates as written, in the order of the mark's")]
    holds: Annotated[HoldsWord, Field(description="what of them it held")]
    dated: Annotated[str, Field(description="its date as written")]


class RegisterMark(Strict, _Sigmas):
    """A mark of the register that the job uses, in texts: its coordinates as they are written there."""

    mark: Annotated[str, Field(description="the mark's name")]
    easting: NotRequired[Annotated[str, Field(description="easting, in a register on a grid")]]
    northing: NotRequired[Annotated[str, Field(description="northing, in a register on a grid")]]
    longitude: NotRequired[Annotated[str, Field(description="longitude, in a register in degrees")]]
    latitude: NotRequired[Annotated[str, Field(description="latitude, in a register in degrees")]]
    height: Annotated[str, Field(description="height; empty: none")]
    holds: Annotated[HoldsWord, Field(description="what of its coordinates is held")]
    source: NotRequired[Annotated[str, Field(description="where they come from, in the register's words")]]
    dated: NotRequired[Annotated[str, Field(description="their date as written")]]
    others: NotRequired[Annotated[dict[str, str], Field(description="what its row has in other columns, by name")]]
    former: NotRequired[Annotated[list[FormerRow], Field(description="its earlier rows, which are not used")]]


class ControlUsed(Strict):
    """The register of control marks: in which frame its coordinates are."""

    crs: Annotated[str, Field(description="registered code or WKT of its coordinates' CRS")]
    crs_name: Annotated[str, Field(description="that CRS's name")]
    height: Annotated[str, Field(description='code or WKT of its height datum, or "ellipsoid"')]
    height_name: Annotated[str, Field(description="that height datum's name")]
    epoch: Annotated[float | None, Field(description="epoch of its coordinates [decimal year]; null: not stated")]


class Accuracy(Strict):
    """The largest uncertainties that issued points have."""

    hu95: Annotated[float | None, Field(description="the largest 95 % uncertainty of a position: radius [m]")]
    vu95: Annotated[float | None, Field(description="the largest 95 % uncertainty of a height [m]")]


class SuspectPoint(Strict):
    """A reading next in time to an occupation that failed, or of an export all of whose did; or a check on no mark."""

    name: Annotated[str | None, Field(description="its name")]
    code: Annotated[str | None, Field(description="its code")]
    session: Annotated[str | None, Field(description="its session")]
    observed: Annotated[Instant | None, Field(description="when it was observed [UTC]")]
    easting: Annotated[float | None, Field(description="easting [target.axes]")]
    northing: Annotated[float | None, Field(description="northing [target.axes]")]
    height: Annotated[float | None, Field(description="height [target.axes]")]
    held_back: Annotated[bool, Field(description="whether it is held back; else it is among the points")]


class Suspects(Strict):
    """The readings that are suspect."""

    total: Annotated[Whole, Field(description="how many there are")]
    points: Annotated[list[SuspectPoint], Field(description="the first 500 of them, in the order of the exports")]


class CodeKnown(Strict):
    """A code of the table of codes."""

    code: Annotated[str, Field(description="the code")]
    description: Annotated[str, Field(description='what it stands for; "": not stated')]
    kind: Annotated[CodeKind | None, Field(description="what it is; null: not stated")]
    layer: Annotated[str | None, Field(description="its layer in a drawing; null: not stated")]
    colour: Annotated[int | None, Field(description="its colour there, an index; null: not stated", ge=1, le=255)]
    readings: Annotated[Whole, Field(description="readings that have it")]


class CodeUnknown(Strict):
    """A code of readings that the table of codes lacks."""

    code: Annotated[str, Field(description="the code")]
    readings: Annotated[Whole, Field(description="readings that have it")]
    first: Annotated[list[str], Field(description="file and row of the first of them, 3 at the most")]
    nearest: Annotated[list[str], Field(description="codes of the table that are spelled nearly so")]


class CodesNoted(Strict):
    """The table of codes, and the codes of readings that it lacks."""

    known: Annotated[list[CodeKnown], Field(description="the rows of the table")]
    unknown: Annotated[list[CodeUnknown], Field(description="codes that it lacks, the most frequent 200")]
    unknown_codes: Annotated[Whole, Field(description="how many codes it lacks")]
    unknown_readings: Annotated[Whole, Field(description="readings that have such a code")]


class StringNotDrawn(Strict):
    """Readings of a string that is not drawn as a line."""

    string: Annotated[str, Field(description="its code, with its number")]
    reason: Annotated[str, OneOf.from_words(Unjoined), Field(description="why it is not drawn")]
    what: Annotated[str, Field(description="the same in words")]
    readings: Annotated[Whole, Field(description="its readings")]
    session: Annotated[str | None, Field(description="the session of its first reading; null: in none")]
    first: Annotated[str, Field(description="name, file and row of its first reading")]
    last: Annotated[str, Field(description="name, file and row of its last reading")]


class LineworkNoted(Strict):
    """The strings of a job: those that are drawn as lines, and those that are not."""

    lines: Annotated[Whole, Field(description="strings that are drawn, as in the layer lines")]
    closed: Annotated[Whole, Field(description="those of them that are closed")]
    points: Annotated[Whole, Field(description="their points")]
    not_drawn: Annotated[Whole, Field(description="strings that are not drawn, without readings that are in none")]
    by_reason: Annotated[dict[UnjoinedWord, Whole], Field(description="what is not drawn, by reason")]
    stray_readings: Annotated[Whole, Field(description="readings that are in no string")]
    left_out: Annotated[list[StringNotDrawn], Field(description="what is not drawn, the first 200")]
    misread: Annotated[list[CodeUnknown], Field(description="codes with a word of strings that are none of strings")]
    without_readings: Annotated[list[str], Field(description="codes of strings in the job file that no reading has")]


class Reach(Strict):
    """Sums of everything that points' numbers depend on: where both are as before, the numbers are too."""

    sessions: Annotated[dict[str, Sha256], Field(description="a sum per session")]
    files: Annotated[dict[str, Sha256], Field(description="a sum per export")]


class Record(Strict):
    """What an issue is made of, what it was tied to and how well it was proven."""

    schema: Annotated[Literal[8], Field(description="the version of this form")]
    job: Annotated[str, Field(description="the job's name", pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
    issue: Annotated[int, Field(description="the issue's number", ge=1)]
    data_to: Annotated[Instant, Field(description="time of the newest observation [UTC]")]
    version: Annotated[str, Field(description="the versions of what made it: tiedown, PROJ, PROJ's database")]
    verdict: Annotated[VerdictWord, Field(description="the worst verdict of its sessions")]
    rows: Annotated[Rows, Field(description="where the rows of the exports went")]
    sessions: Annotated[list[Session], Field(description="the base sessions, as in the layer, and more")]
    checks: Annotated[list[CheckRow], Field(description="the occupations of marks and noted checks, as in the layer")]
    adjustment: Annotated[Adjustment, Field(description="how well the observations agree")]
    operations: Annotated[list[OperationUsed], Field(description="the transformations, in the order of their use")]
    inputs: Annotated[list[Input], Field(description="the files that were read")]
    target: Annotated[Target, Field(description="grid and height datum of the coordinates")]
    caution: Annotated[str, Field(description="what the issue does not replace")]
    changes: Annotated[Changes | None, Field(description="what changed since the previous issue; null: the first")]
    release: Annotated[Release | None, Field(description="whether it was released; null: before there was a choice")]
    files: Annotated[list[FileIssued], Field(description="the files beside the record; none of a dry run")]
    notes: Annotated[list[str], Field(description="what a reader should look at, in words")]
    doubts: Annotated[list[DoubtNoted], Field(description="what takes the proof away, or was confirmed")]
    wholly_held_back: Annotated[list[WhollyHeld], Field(description="files, sessions and days without a point")]
    diagnoses: Annotated[list[Diagnosis], Field(description="what failing occupations may mean")]
    marks: Annotated[list[MarkRow], Field(description="the marks as adjusted, as in the layer")]
    repeats: Annotated[Repeats, Field(description="points measured twice")]
    precision: Annotated[list[Precision], Field(description="stated precision against real precision")]
    untied: Annotated[list[Untied], Field(description="sessions that nothing ties")]
    field_shifts: Annotated[list[FieldShiftTaken], Field(description="the field's own corrections, as taken out")]
    shift_model: Annotated[ShiftModel, Field(description="how the shift is applied")]
    identity: Annotated[dict[str, Sha256], Field(description="sums of what shapes the issue: the same, the same issue")]
    reach: Annotated[Reach, Field(description="sums of what the points' numbers depend on")]
    register: Annotated[list[RegisterMark], Field(description="the register's marks that the job uses")]
    control: Annotated[ControlUsed | None, Field(description="the register's frame; null: there is no register")]
    particulars: Annotated[
        dict[str, Any], Field(description="who, where and with what, in keys of the job's own, as given")
    ]
    local_clock: Annotated[str | None, Field(description="IANA name or offset of the clock on site; null: UTC")]
    accuracy: Annotated[Accuracy | None, Field(description="the largest uncertainties of points; null: not told")]
    suspect: Annotated[Suspects, Field(description="the readings that are suspect, held back or not")]
    codes: Annotated[CodesNoted | None, Field(description="the table of codes; null: the job has none")]
    linework: Annotated[LineworkNoted | None, Field(description="its strings; null: the job has no linework")]


class SealedRecord(Record):
    """A record as it stands in ``issue.json``: with a sum of its own, so that an altered one is found."""

    sum: Annotated[Sha256, Field(description="SHA-256 of everything else that the record says")]
