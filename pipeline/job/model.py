"""The job file's types. Every key of the job file is here and in `pipeline.job.sections`, and nowhere else.

`load` turns TOML into them. What a key is for stands beside it: the table in configs/KEYS.md is made from here
(`pipeline.job.reference`).
"""

from typing import Annotated, Literal

from pydantic import Field

from pipeline.job.command_named import TIME_OF_COMMAND
from pipeline.job.key_values import (
    MOST_KEPT,
    CommandWord,
    File,
    Format,
    HoldBack,
    Length,
    LengthOrNone,
    Listed,
    Named,
    Release,
    TargetEpoch,
    TimeOfCommand,
)
from pipeline.job.sections.control import UNSTATED, ControlSection, RegisterColumns
from pipeline.job.sections.drawing import CodeColumns, CodesSection, Drawing, DrawnCode, Linework
from pipeline.job.sections.particulars import Particulars
from pipeline.job.sections.plan import Peg, Plan, PlannedSession
from pipeline.job.sections.points import Columns, Points, Quality, Source
from pipeline.job.sections.sessions import (
    FIELD_LIST,
    FIELD_ONE,
    SHIFT_GIVEN,
    SHIFT_WORD,
    TYPED,
    FieldShift,
    GivenShift,
    Noted,
    Occupation,
    Session,
    SessionsFile,
    Setup,
)
from pipeline.job.sections.strict import Strict
from pipeline.words import Doubt, Reason, ReleaseRule

__all__ = [
    "FIELD_LIST",
    "FIELD_ONE",
    "SHIFT_GIVEN",
    "SHIFT_WORD",
    "TYPED",
    "UNSTATED",
    "Checks",
    "CodeColumns",
    "CodesSection",
    "Columns",
    "ControlSection",
    "Drawing",
    "DrawnCode",
    "FieldShift",
    "GivenShift",
    "Issue",
    "Job",
    "JobSection",
    "Linework",
    "Noted",
    "Notify",
    "Occupation",
    "Particulars",
    "Peg",
    "Plan",
    "PlannedSession",
    "Points",
    "Quality",
    "RegisterColumns",
    "Session",
    "SessionsFile",
    "Setup",
    "Shift",
    "Site",
    "Source",
    "Target",
]


class JobSection(Strict):
    """The name used in file names and the folder where issues are kept."""

    name: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=100)] = Field(
        description="a-z, 0-9 and single `-` between them; begins the names of the files written"
    )
    folder: File = Field(
        description="where issues are kept; all paths count from the job file's folder, with `/` between folders"
    )


class Site(Strict):
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


class Target(Strict):
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


class Shift(Strict):
    """The shift's model, and the size beyond which a shift is doubted."""

    model: Literal["geocentric", "grid"] = Field(
        "geocentric",
        description="one vector in X, Y, Z, or one in easting, northing and height: the plain mean of what the former"
        " adds at the session's ties, whose bend away from them is not in `hu95` and `vu95`",
    )
    limit_horizontal: Length = Field(10.0, description="a shift beyond it is a doubt (`shift`)")
    limit_vertical: Length = Field(20.0, description="a shift beyond it is a doubt (`shift`)")


class Checks(Strict):
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


class Issue(Strict):
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


class Notify(Strict):
    """A command that `tiedown run` calls when the job's state changed; it affects no issue."""

    command: Annotated[Listed[CommandWord], Field(min_length=1)] = Field(
        description="program and arguments, started without a shell in the job file's folder"
    )
    timeout: TimeOfCommand = Field(TIME_OF_COMMAND, description="a command that runs longer is ended")


class Job(Strict):
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
