"""The plan: where the points and the marks lie on the grid, with a scale bar and the grid's own coordinates."""

import math
from collections.abc import Mapping, Sequence
from typing import TypeVar

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.issue.record_types import Record
from pipeline.issue.report.drawing import Label, Labels, dots, round_step, ticks
from pipeline.issue.report.thinning import KINDS, Thinned
from pipeline.issue.written_axes import axes_written
from pipeline.replace import replace
from pipeline.words import MarkStatus

Number = TypeVar("Number", float, Floats)

WIDTH = 720.0
#: The frame's left, top and right; its bottom follows from the shape of the job, within these two heights.
LEFT, TOP, RIGHT = 30.0, 8.0, 712.0
_LOW, _HIGH = 260.0, 760.0
#: Room around the outermost points, as a part of the whole, and metres that a plan shows at the least.
_MARGIN, _LEAST = 0.06, 10.0
#: A plan is cut where its outermost points make it so many times as wide as the middle 98 % of them.
_FAR, _TAIL = 8.0, 1.0
_MARKS, _LABELS = 600, 120
#: The outlines of marks, around a place.
_TRIANGLE, _SQUARE = "M{0:.1f} {1:.1f}m0-7l6 11h-12z", "M{0:.1f} {1:.1f}m-5-5h10v10h-10z"
_CROSS = "M{0:.1f} {1:.1f}m-10-10l20 20m0-20l-20 20"

#: What a point of each kind is drawn as, in words and as path data: told apart without their colours too.
SHAPES = {
    "bracketed": ("green dot", "h0"),
    "unclosed": ("ochre dash", "m-2.2 0h4.4"),
    "suspect": ("red cross", "m-2-2l4 4m0-4l-4 4"),
    "unchecked": ("grey bar", "m0-2.2v4.4"),
    "held back": ("orange plus", "m-2.2 0h4.4m-2.2-2.2v4.4"),
}


class PlanFrame(Struct, frozen=True):
    """The plan's rectangle on the grid and on the page (drawing units), at one scale for both axes.

    On the grid it is in the grid's unit, to the east and to the north.
    x = left + (easting - west) * scale, y = top + (north - northing) * scale.
    """

    west: float
    north: float
    scale: float
    bottom: float

    @classmethod
    def around(cls, easting: Floats, northing: Floats) -> "PlanFrame":
        """Return the frame around places (n,) [m], with a margin; it is never narrower than a few metres."""
        middle = [(float(of.min()) + float(of.max())) / 2 for of in (easting, northing)]
        span = [max(float(of.max() - of.min()), _LEAST) * (1 + 2 * _MARGIN) for of in (easting, northing)]
        wide = RIGHT - LEFT
        high = min(max(wide * span[1] / span[0], _LOW), _HIGH)
        scale = min(wide / span[0], high / span[1])
        return cls(middle[0] - wide / scale / 2, middle[1] + high / scale / 2, scale, TOP + round(high, 1))

    def place(self, easting: Number, northing: Number) -> tuple[Number, Number]:
        """Return where a place of the grid, or (n,) of them, are drawn."""
        return LEFT + (easting - self.west) * self.scale, TOP + (self.north - northing) * self.scale

    def within(self, easting: Floats, northing: Floats) -> Flags:
        """Return (n,) which places lie in the frame."""
        x, y = self.place(easting, northing)
        inside: Flags = (x >= LEFT) & (x <= RIGHT) & (y >= TOP) & (y <= self.bottom)
        return inside


class PlanDrawing(Struct, frozen=True, kw_only=True):
    """A drawing: dots per kind of point and per kind of mark as path data, labels, ticks, and the scale bar.

    ``bar`` is the scale bar's length in the grid's unit and in drawing units.
    """

    frame: PlanFrame
    points: Mapping[str, str]
    control: str
    check: str
    temporary: str
    failed: str
    labels: Sequence[Label]
    eastings: Sequence[tuple[float, str]]
    northings: Sequence[tuple[float, str]]
    bar: tuple[float, float]
    shown: int
    total: int
    beyond: int
    unlabelled: int
    marks_left_out: int
    unit: str


class _Mark(Struct, frozen=True):
    name: str
    easting: float
    northing: float
    kind: str
    failing: bool


def plan(record: Record, points: Thinned) -> PlanDrawing | None:
    """Return the plan of an issue, or None where nothing of it has coordinates."""
    axes = axes_written(record)
    # the north is above, also on a grid that counts to the south
    across, along = (math.copysign(1.0, count) for count in axes.counts()[:2])
    points = replace(points, easting=points.easting * across, northing=points.northing * along)
    marks = [replace(mark, easting=mark.easting * across, northing=mark.northing * along) for mark in _marks(record)]
    kept = marks[:_MARKS]
    east = np.array([mark.easting for mark in kept])
    north = np.array([mark.northing for mark in kept])
    near = _core(points, east, north)
    if not near.any() and not len(kept):
        return None
    frame = PlanFrame.around(
        np.concatenate([points.easting[near], east]), np.concatenate([points.northing[near], north])
    )
    drawn = frame.within(points.easting, points.northing)
    step = round_step((RIGHT - LEFT) / frame.scale, 6)
    bar = round_step((RIGHT - LEFT) / frame.scale, 4)
    labels = _labels(frame, kept)
    return PlanDrawing(
        frame=frame,
        points={
            kind: data
            for code, kind in enumerate(KINDS)
            if (data := _dots(frame, points, drawn & (points.kind == code), SHAPES[kind][1]))
        },
        control=_symbols(frame, [mark for mark in kept if mark.kind == "control"], _TRIANGLE),
        check=_symbols(frame, [mark for mark in kept if mark.kind == "check"], _TRIANGLE),
        temporary=_symbols(frame, [mark for mark in kept if mark.kind == "temporary"], _SQUARE),
        failed=_symbols(frame, [mark for mark in kept if mark.failing], _CROSS),
        labels=labels.placed,
        eastings=[
            (round(frame.place(at, 0)[0], 1), _round(at * across))
            for at in _along(frame.west, RIGHT - LEFT, frame, step)
        ],
        northings=[
            (round(frame.place(0, at)[1], 1), _round(at * along))
            for at in ticks(frame.north - (frame.bottom - TOP) / frame.scale, frame.north, step)
        ],
        bar=(bar, round(bar * frame.scale, 2)),
        shown=int(drawn.sum()),
        total=points.total,
        beyond=int((~drawn).sum()),
        unlabelled=labels.left_out,
        marks_left_out=len(marks) - len(kept),
        unit=axes.easting.sign,
    )


def _core(points: Thinned, east: Floats, north: Floats) -> Flags:
    """Return (n,) which points the frame is drawn around: all, but for a few that lie far from all others."""
    near = np.ones(len(points.kind), bool)
    for of, marks in ((points.easting, east), (points.northing, north)):
        if len(of) < 3:
            break
        low, high = np.percentile(of, [_TAIL, 100 - _TAIL])
        low, high = min([low, *marks]), max([high, *marks])
        span = max(high - low, _LEAST)
        if of.max() - of.min() > _FAR * span:
            near &= (of >= low - span) & (of <= high + span)
    return near


def _marks(record: Record) -> list[_Mark]:
    """Return the marks with coordinates: those that fail first, then control, then the others."""
    failing = {check["mark"] for check in record["checks"] if check["passed"] is False}
    found: dict[str, _Mark] = {}
    for mark in record["marks"]:
        if mark["easting"] is not None and mark["northing"] is not None:
            kind = "temporary" if mark["status"] == MarkStatus.ADJUSTED else "control"
            found[mark["mark"]] = _Mark(mark["mark"], mark["easting"], mark["northing"], kind, mark["mark"] in failing)
    for check in record["checks"]:
        name = check["mark"]
        if name not in found and check["known_easting"] is not None and check["known_northing"] is not None:
            found[name] = _Mark(name, check["known_easting"], check["known_northing"], "check", name in failing)
    order = {"control": 0, "check": 1, "temporary": 2}
    return sorted(found.values(), key=lambda mark: (not mark.failing, order[mark.kind], mark.name))


def _labels(frame: PlanFrame, marks: Sequence[_Mark]) -> Labels:
    labels = Labels((LEFT, TOP, RIGHT, frame.bottom), 12.0)
    places = [frame.place(mark.easting, mark.northing) for mark in marks]
    labels.keep_off(places, 6.0)
    for (x, y), mark in list(zip(places, marks, strict=True))[:_LABELS]:
        labels.place(x, y, mark.name + (" (fails)" if mark.failing else ""), 10.0, mark.failing)
    labels.left_out += max(len(marks) - _LABELS, 0)
    return labels


def _dots(frame: PlanFrame, points: Thinned, chosen: Flags, shape: str) -> str:
    x, y = frame.place(points.easting[chosen], points.northing[chosen])
    return dots(zip(x.tolist(), y.tolist(), strict=True), shape)


def _symbols(frame: PlanFrame, marks: Sequence[_Mark], shape: str) -> str:
    return "".join(shape.format(*frame.place(mark.easting, mark.northing)) for mark in marks)


def _along(low: float, units: float, frame: PlanFrame, step: float) -> list[float]:
    return ticks(low, low + units / frame.scale, step)


def _round(value: float) -> str:
    return f"{value:.0f}" if abs(value - round(value)) < 1e-6 else f"{value:.1f}"
