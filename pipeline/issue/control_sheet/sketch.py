"""The sketch of a control sheet: marks on the grid with the work between them, north above, and a scale bar."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.issue.report.drawing import Label, Labels, round_step
from pipeline.issue.report.plan_drawing import LEFT, RIGHT, TOP, PlanFrame

#: As `plan` draws control and temporary marks.
_TRIANGLE, _SQUARE = "M{0:.1f} {1:.1f}m0-7l6 11h-12z", "M{0:.1f} {1:.1f}m-5-5h10v10h-10z"

#: The frame's height, room around the outermost places as a part of the whole, metres that it shows at the least.
_HIGH, _MARGIN, _LEAST = 250.0, 0.08, 10.0


class Sketch(Struct, frozen=True):
    """A drawing: path data of the register's marks, of adjusted ones, of the work, of lines between marks; labels.

    ``bar`` is the scale bar's length in metres and in drawing units; ``spot`` says that the work is a single place.
    """

    frame: PlanFrame
    register: str
    adjusted: str
    work: str
    lines: str
    labels: Sequence[Label]
    bar: tuple[float, float]
    unlabelled: int
    spot: bool


def sketch(
    names: Sequence[str],
    places: Floats,
    adjusted: Sequence[bool],
    work: Floats | None,
    lines: Sequence[tuple[int, int]],
) -> Sketch:
    """Return the sketch of marks.

    Args:
        names: (n,) the marks.
        places: (n, 2) metres to the east and north.
        adjusted: (n,) whether a mark comes from an issue.
        work: (k, 2) corners of the work; None where nothing says where it is.
        lines: pairs of marks between which a line is drawn.
    """
    every = places if work is None else np.vstack([places, work])
    frame = _frame(every)
    at = [frame.place(east, north) for east, north in places.tolist()]
    labels = Labels((LEFT, TOP, RIGHT, frame.bottom), 12.0)
    labels.keep_off(at, 6.0)
    for (x, y), name in zip(at, names, strict=True):
        labels.place(x, y, name, 10.0)
    step = round_step((RIGHT - LEFT) / frame.scale, 4)
    return Sketch(
        frame,
        "".join(_TRIANGLE.format(*spot) for spot, other in zip(at, adjusted, strict=True) if not other),
        "".join(_SQUARE.format(*spot) for spot, other in zip(at, adjusted, strict=True) if other),
        "" if work is None else _outline(frame, work),
        "".join("M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*at[one], *at[other]) for one, other in lines),
        labels.placed,
        (step, round(step * frame.scale, 2)),
        labels.left_out,
        work is not None and _is_spot(frame, work),
    )


def _frame(places: Floats) -> PlanFrame:
    """Return the frame around places: wide and low, so that a page has room for the tables too."""
    low, high = places.min(axis=0), places.max(axis=0)
    middle, span = (low + high) / 2.0, np.maximum(high - low, _LEAST) * (1.0 + 2.0 * _MARGIN)
    wide = RIGHT - LEFT
    scale = float(min(wide / span[0], _HIGH / span[1]))
    return PlanFrame(float(middle[0]) - wide / scale / 2.0, float(middle[1]) + _HIGH / scale / 2.0, scale, TOP + _HIGH)


def _outline(frame: PlanFrame, work: Floats) -> str:
    """Return the rectangle around the work; of a single place a cross."""
    (west, south), (east, north) = work.min(axis=0).tolist(), work.max(axis=0).tolist()
    left, bottom = frame.place(west, south)
    right, top = frame.place(east, north)
    if _is_spot(frame, work):
        return f"M{left - 8:.1f} {bottom:.1f}h16m-8-8v16"
    return f"M{left:.1f} {bottom:.1f}H{right:.1f}V{top:.1f}H{left:.1f}z"


def _is_spot(frame: PlanFrame, work: Floats) -> bool:
    return bool(((work.max(axis=0) - work.min(axis=0)) * frame.scale < 4.0).all())
