"""Chooses which coordinates a control mark is drawn with, and gives the reason in one sentence for all formats.

Adjusted marks are drawn at their adjusted positions because the points depend on them. Where the published coordinates
differ by more than the rounding of what is written, every format says so.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.axes import NAMES
from pipeline.issue.formats.figures import LENGTHS, fixed, rounded
from pipeline.words import Holds


def drawn_message(drawn: npt.ArrayLike, published: npt.ArrayLike, holds: str | None) -> str | None:
    """Return what is drawn of a mark, where it is published, and why the two differ; None where they agree.

    Args:
        drawn: (3,) easting, northing, height as adjusted; NaN where not known.
        published: (3,) the register's, written likewise; NaN for what it lacks.
        holds: what of it the adjustment holds.
    """
    there, here = np.asarray(drawn, np.float64), np.asarray(published, np.float64)
    apart = _apart(there, here)
    if not apart.any():
        return None
    held = np.array([holds in (Holds.FULL, Holds.POSITION)] * 2 + [holds in (Holds.FULL, Holds.HEIGHT)])
    parts = [
        f"{axis} {fixed([value], LENGTHS)[0]}"
        for axis, value in zip(NAMES, here.tolist(), strict=True)
        if value == value
    ]
    where = f"drawn at its adjusted position, which the points are based on; published: {', '.join(parts)}"
    return f"{where}; {_why(apart, held)}"


def _apart(drawn: Floats, published: Floats) -> Flags:
    """Return (3,) what differs in what is written of it, and not by rounding alone."""
    with np.errstate(invalid="ignore"):
        differs = np.abs(drawn - published) > 0.5 * 10.0**-LENGTHS
    return np.asarray(differs & (rounded(drawn, LENGTHS) != rounded(published, LENGTHS)), np.bool_)


def _why(apart: Flags, held: Flags) -> str:
    why: list[str] = []
    if (apart & held).any():
        why.append("its stated uncertainty lets the ties move it")
    free: Sequence[str] = [
        name for name, part in (("position", apart[:2] & ~held[:2]), ("height", apart[2:] & ~held[2:])) if part.any()
    ]
    if free:
        why.append(f"its {' and '.join(free)} {'are' if len(free) > 1 else 'is'} not fixed by the register")
    return ", and ".join(why)
