"""What the record says of a session besides its row of the layer: its course in time, and what is known of its base."""

from typing import Annotated, NotRequired

from pydantic import Field
from typing_extensions import TypedDict

from pipeline.issue.record_values import Instant, ProofWord, Strict, Whole
from pipeline.issue.row_types import SessionRow

_Span = TypedDict(
    "_Span",
    {
        "from": Annotated[Instant, Field(description="its first moment [UTC]")],
        "until": Annotated[Instant, Field(description="its last moment [UTC]")],
    },
)


class Stretch(Strict, _Span):
    """A part of a session in time, in which all points have one proof word."""

    proof: Annotated[ProofWord, Field(description="the word of points in it")]


class Logged(Strict, _Span):
    """Where and when readings carry one value of something about their base."""

    readings: Annotated[Whole, Field(description="how many readings carry it")]
    source_file: Annotated[str, Field(description="the export of the first of them, as the job file has it")]
    source_row: Annotated[int, Field(description="the row of the first of them")]


class BasePosition(Logged):
    """A position of the base as readings carry it: on a grid or in degrees, as the export has it."""

    easting: NotRequired[Annotated[float, Field(description="easting, if on a grid [m]")]]
    northing: NotRequired[Annotated[float, Field(description="northing, if on a grid [m]")]]
    longitude: NotRequired[Annotated[float, Field(description="longitude, if in degrees [deg]")]]
    latitude: NotRequired[Annotated[float, Field(description="latitude, if in degrees [deg]")]]
    height: Annotated[float | None, Field(description="height as the export has it [m]")]


class AntennaHeight(Logged):
    """An antenna height of the base as readings carry it."""

    antenna_height: Annotated[float, Field(description="the antenna height [m]")]


class FirstReading(Strict):
    """The first reading of a session, and how far from the base it was taken."""

    point: Annotated[str | None, Field(description="its name")]
    observed: Annotated[Instant, Field(description="when it was observed [UTC]")]
    from_base: Annotated[float, Field(description="its distance from the base [m]")]
    source_file: Annotated[str, Field(description="its export, as the job file has it")]
    source_row: Annotated[int, Field(description="its row there")]


class BaseLog(Strict):
    """What the points of a session carry of its base."""

    positions: Annotated[list[BasePosition], Field(description="the base's positions, in the order of time")]
    antenna_heights: Annotated[list[AntennaHeight], Field(description="its antenna heights, in the order of time")]
    first_reading: Annotated[FirstReading | None, Field(description="the first reading; null: no base is known")]


class SetUpStated(Strict):
    """A base over a mark, as the job states it."""

    mark: Annotated[str, Field(description="the mark that the base stood over")]
    longitude: Annotated[float, Field(description="as broadcast, of the antenna's reference point [deg]")]
    latitude: Annotated[float, Field(description="as broadcast [deg]")]
    ellipsoid_height: Annotated[float, Field(description="as broadcast [m]")]
    antenna_height: Annotated[float, Field(description="height of the broadcast position above the mark [m]")]


class Course(Strict):
    """A session in the course of time."""

    first_point: Annotated[
        Instant | None, Field(description="time of its first reading that is no occupation [UTC]; null: it has none")
    ]
    last_point: Annotated[Instant | None, Field(description="time of its last such reading [UTC]")]
    stretches: Annotated[list[Stretch], Field(description="the session in parts, in the order of time")]


class Session(SessionRow, Course):
    """A session: its row of the layer, its course in time, and what its points carry of its base."""

    base_log: Annotated[BaseLog | None, Field(description="what its points carry of its base; null: nothing")]
    setup: Annotated[SetUpStated | None, Field(description="the base over a mark, as stated; null: not stated")]
