"""Which of its two coordinates a control mark is drawn with, where the adjusted ones differ from the published."""

import numpy as np

from pipeline.geodesy.axes import NAMES
from pipeline.issue.formats.figures import LENGTHS, fixed, floats, rounded
from pipeline.issue.geopackage.streamed import Package


def control_told(package: Package) -> dict[str, str]:
    """Return for each mark of the adjustment that is drawn elsewhere than it is published what is drawn, and why.

    Published coordinates are those that its occupations are compared with; they agree to what is written of them.
    """
    published: dict[str, list[float]] = {}
    for batch in package.batches("check_marks"):
        known = np.column_stack([floats(batch.column(f"known_{axis}")) for axis in NAMES])
        for mark, place in zip(batch.column("mark").to_pylist(), known.tolist(), strict=True):
            published.setdefault(mark, place)
    told = {}
    for batch in package.batches("marks"):
        drawn = np.column_stack([floats(batch.column(axis)) for axis in NAMES])
        for mark, place in zip(batch.column("mark").to_pylist(), drawn, strict=True):
            other = np.array(published.get(mark, [np.nan] * 3))
            apart = rounded(place, LENGTHS) != rounded(other, LENGTHS)
            if (apart & np.isfinite(place) & np.isfinite(other)).any():
                told[mark] = _sentence(other)
    return told


def _sentence(published: np.ndarray) -> str:
    parts = [
        f"{axis} {fixed([value], LENGTHS)[0]}"
        for axis, value in zip(NAMES, published.tolist(), strict=True)
        if np.isfinite(value)
    ]
    return (
        f"drawn as adjusted, as the points hang on it so; published is {', '.join(parts)}, "
        "from which its stated uncertainty lets the ties move it"
    )
