"""What the record says of a correction that the field applied and that was taken out of the readings."""

from typing import Annotated

from pydantic import Field
from typing_extensions import TypedDict

from pipeline.issue.record_values import Instant, OneOf, Strict

Coordinates = Annotated[str, OneOf(("register", "typed"))]

_Span = TypedDict(
    "_Span",
    {
        "from": Annotated[Instant, Field(description="the first time that readings carry it [UTC]")],
        "until": Annotated[Instant, Field(description="the first time that they carry it no longer [UTC]")],
    },
)


class FieldShiftTaken(Strict, _Span):
    """A correction that the field applied, as it was taken out of the readings that carry it.

    One that a tie gave by the register's coordinates keeps its numbers in every later issue, though the register is
    revised: the field applied what it applied.
    """

    session: Annotated[str, Field(description="the session whose readings carry it")]
    base: Annotated[str | None, Field(description="the base id of the readings that carry it; null: any")]
    files: Annotated[list[str], Field(description="the exports that carry it, as stated; none: all")]
    model: Annotated[str, OneOf(("geocentric", "grid")), Field(description="in what it was applied")]
    tie: Annotated[str | None, Field(description="the reading it was worked out from; null: stated as a vector")]
    mark: Annotated[str | None, Field(description="the mark that was entered for the tie")]
    observed: Annotated[Instant | None, Field(description="when the tie was observed [UTC]")]
    source_file: Annotated[str | None, Field(description="the tie's export")]
    source_row: Annotated[int | None, Field(description="the tie's row there")]
    coordinates: Annotated[Coordinates | None, Field(description="where the mark's coordinates are from; null: no tie")]
    known_easting: Annotated[float | None, Field(description="the mark's easting as used [target.axes]")]
    known_northing: Annotated[float | None, Field(description="the mark's northing as used [target.axes]")]
    known_height: Annotated[float | None, Field(description="the mark's height as used [target.axes]")]
    shift_x: Annotated[float | None, Field(description="what was taken out, geocentric X [m]; null: model grid")]
    shift_y: Annotated[float | None, Field(description="likewise Y [m]")]
    shift_z: Annotated[float | None, Field(description="likewise Z [m]")]
    shift_east: Annotated[
        float,
        Field(description="east at the mark [m]; of the model grid along its easting, as the issue counts it [m]"),
    ]
    shift_north: Annotated[float, Field(description="likewise north, northing [m]")]
    shift_up: Annotated[float, Field(description="likewise up, height [m]")]
    since: Annotated[int, Field(description="the issue that first took it out by these numbers", ge=1)]


def field_shift_message(entry: FieldShiftTaken, issue: int) -> str:
    """Return in a sentence what an issue takes out of whose readings, and what it was worked out from."""
    carriers = [f"base {entry['base']}"] if entry["base"] is not None else []
    of = ", ".join([f"session {entry['session']}", *carriers, *entry["files"]])
    axes = ("easting", "northing", "height") if entry["model"] == "grid" else ("east", "north", "up")
    values = (entry["shift_east"], entry["shift_north"], entry["shift_up"])
    vector = ", ".join(f"{axis} {value:+.3f}" for axis, value in zip(axes, values, strict=True))
    span = f"{_second(entry['from'])} to {_second(entry['until'])} UTC"
    by = ""
    if entry["tie"] is not None:
        register = "by the register" + (f" as of issue {entry['since']:03d}" if entry["since"] != issue else "")
        whose = register if entry["coordinates"] == "register" else "as typed in the field"
        by = f", by {entry['tie']} ({_second(entry['observed'] or '')} UTC) on {entry['mark']} {whose}"
    return f"field shift taken out of {of}, {span}: {vector}{by}"


def _second(text: str) -> str:
    """Return a time of the record to the second, as text."""
    return text[:19].replace("T", " ")
