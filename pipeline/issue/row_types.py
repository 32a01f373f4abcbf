"""The rows that are both in layers of the GeoPackage and in the record: each column once, with its type and meaning.

`pipeline/issue/geopackage/layers.py` makes the layers' columns of these, in this order. Coordinates on the grid are in
its own unit, as the record's ``target.axes`` says; differences, tolerances and uncertainties are metres, differences to
the east, the north and upwards whatever the grid counts. What is not known or does not apply is null.
"""

from typing import Annotated

from pydantic import Field

from pipeline.issue.record_values import (
    HoldsWord,
    Instant,
    MarkStatusWord,
    PlaceWord,
    RoleWord,
    Strict,
    VerdictWord,
    Whole,
)


class Reliability(Strict):
    """How well an observation of the adjustment is checked by the others, east, north and up at its place."""

    redundancy_east: Annotated[float | None, Field(description="redundancy number, east [0: unchecked, 1: checked]")]
    redundancy_north: Annotated[float | None, Field(description="redundancy number, north")]
    redundancy_up: Annotated[float | None, Field(description="redundancy number, up")]
    standardised_east: Annotated[float | None, Field(description="residual by its standard uncertainty, east")]
    standardised_north: Annotated[float | None, Field(description="residual by its standard uncertainty, north")]
    standardised_up: Annotated[float | None, Field(description="residual by its standard uncertainty, up")]
    detectable_east: Annotated[float | None, Field(description="smallest error that would be detected, east [m]")]
    detectable_north: Annotated[float | None, Field(description="smallest error that would be detected, north [m]")]
    detectable_up: Annotated[float | None, Field(description="smallest error that would be detected, up [m]")]


class Occupation(Strict):
    """One occupation of a mark, and how far it is off."""

    session: Annotated[str, Field(description="the session in which it was observed")]
    mark: Annotated[str, Field(description="the mark that was occupied")]
    point: Annotated[str | None, Field(description="the reading's name in its export; null: it has none, or was noted")]
    role: Annotated[RoleWord, Field(description="a tie is adjusted, a check never is, a noted one proves nothing")]
    place: Annotated[PlaceWord, Field(description="where it stands among the drafted points of its session")]
    observed: Annotated[Instant, Field(description="when it was observed [UTC]")]
    known_easting: Annotated[float | None, Field(description="the mark's known easting [target.axes]")]
    known_northing: Annotated[float | None, Field(description="the mark's known northing [target.axes]")]
    known_height: Annotated[float | None, Field(description="the mark's known height [target.axes]")]
    easting: Annotated[float | None, Field(description="easting as corrected [target.axes]")]
    northing: Annotated[float | None, Field(description="northing as corrected [target.axes]")]
    height: Annotated[float | None, Field(description="height as corrected [target.axes]")]
    d_east: Annotated[float | None, Field(description="observed minus known, to the east [m]")]
    d_north: Annotated[float | None, Field(description="observed minus known, to the north [m]")]
    d_height: Annotated[float | None, Field(description="observed minus known, upwards [m]")]
    d_horizontal: Annotated[float | None, Field(description="length of the horizontal difference [m]")]
    tolerance_h: Annotated[
        float | None,
        Field(description="the most that the horizontal difference may be, null where it is not tested [m]"),
    ]
    tolerance_v: Annotated[
        float | None,
        Field(description="the most that the difference in height may be, either way, null where it is not tested [m]"),
    ]
    hu95: Annotated[float | None, Field(description="95 % uncertainty of the horizontal difference: radius [m]")]
    vu95: Annotated[float | None, Field(description="95 % uncertainty of the difference in height [m]")]
    passed: Annotated[
        bool | None,
        Field(description="whether it is within the tolerances; null: not tested, or agrees with a temporary mark"),
    ]
    cause: Annotated[str | None, Field(description="what a failing one may mean; of a noted one what was noted")]


class CheckRow(Occupation, Reliability):
    """One occupation of a mark. The statistics are those of a tie in the adjustment, null for a check."""


class MarkRow(Strict):
    """One mark that the adjustment knows: those of the register that are tied to, and temporary ones."""

    mark: Annotated[str, Field(description="the mark's name")]
    easting: Annotated[float | None, Field(description="easting as adjusted [target.axes]")]
    northing: Annotated[float | None, Field(description="northing as adjusted [target.axes]")]
    height: Annotated[float | None, Field(description="height as adjusted [target.axes]")]
    hu95: Annotated[float | None, Field(description="95 % uncertainty of the position: radius of the circle [m]")]
    vu95: Annotated[float | None, Field(description="95 % uncertainty of the height [m]")]
    holds: Annotated[HoldsWord | None, Field(description="what of its register coordinates is held; null: nothing")]
    occupations: Annotated[Whole, Field(description="how many ties are on it, set-ups of bases among them")]
    status: Annotated[MarkStatusWord, Field(description="how its coordinates came about")]
    published_easting: Annotated[float | None, Field(description="easting by the register [target.axes]")]
    published_northing: Annotated[float | None, Field(description="northing by the register [target.axes]")]
    published_height: Annotated[float | None, Field(description="height by the register [target.axes]")]
    drawn: Annotated[str | None, Field(description="where it is published elsewhere: which of the two is drawn, why")]


class RepeatRow(Strict):
    """Two readings of one point, a before b: of one name, or of one place where that is asked for."""

    name: Annotated[str | None, Field(description="the point's name in the export, of the earlier reading")]
    session_a: Annotated[str, Field(description="the session of the earlier reading")]
    session_b: Annotated[str, Field(description="the session of the later one")]
    observed_a: Annotated[Instant, Field(description="when the earlier one was observed [UTC]")]
    observed_b: Annotated[Instant, Field(description="when the later one was observed [UTC]")]
    d_east: Annotated[float, Field(description="later minus earlier, to the east [m]")]
    d_north: Annotated[float, Field(description="later minus earlier, to the north [m]")]
    d_height: Annotated[float, Field(description="later minus earlier, upwards [m]")]
    d_horizontal: Annotated[float, Field(description="length of the horizontal difference [m]")]
    hu95: Annotated[float | None, Field(description="95 % uncertainty of the horizontal difference: radius [m]")]
    vu95: Annotated[float | None, Field(description="95 % uncertainty of the difference in height [m]")]
    passed: Annotated[
        bool, Field(description="within the tolerances of checks, or within what chance gives among so many pairs")
    ]


class SessionRow(Strict):
    """One base session. A shift is what was added to raw positions."""

    session: Annotated[str, Field(description="the session's name")]
    start: Annotated[Instant, Field(description="its start [UTC]")]
    end: Annotated[Instant, Field(description="its end [UTC]")]
    base: Annotated[str | None, Field(description="the base's id in the exports; null: any")]
    points: Annotated[Whole, Field(description="how many points are issued")]
    ties: Annotated[Whole, Field(description="how many occupations of marks are adjusted")]
    checks: Annotated[Whole, Field(description="how many occupations of marks only check")]
    shift_x: Annotated[float | None, Field(description="shift, geocentric X of the target grid's datum [m]")]
    shift_y: Annotated[float | None, Field(description="shift, geocentric Y [m]")]
    shift_z: Annotated[float | None, Field(description="shift, geocentric Z [m]")]
    shift_east: Annotated[float | None, Field(description="shift at the session's place, east [m]")]
    shift_north: Annotated[float | None, Field(description="shift at the session's place, north [m]")]
    shift_up: Annotated[float | None, Field(description="shift at the session's place, up [m]")]
    sigma_east: Annotated[float | None, Field(description="standard uncertainty of the shift, east [m]")]
    sigma_north: Annotated[float | None, Field(description="standard uncertainty of the shift, north [m]")]
    sigma_up: Annotated[float | None, Field(description="standard uncertainty of the shift, up [m]")]
    verdict: Annotated[VerdictWord, Field(description="what its evidence amounts to")]
