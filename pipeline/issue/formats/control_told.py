"""Where the control marks of a finished GeoPackage are drawn and published, for the formats made from it."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.geodesy.axes import NAMES
from pipeline.issue.drawn import drawn_told
from pipeline.issue.formats.figures import floats
from pipeline.issue.formats.names import one_line
from pipeline.issue.geopackage.streamed import Package


def control_told(package: Package, factors: Sequence[float] = (1.0, 1.0, 1.0)) -> dict[str, str]:
    """Return for each mark of the adjustment that is drawn elsewhere than it is published what is drawn, and why.

    ``factors`` turn easting, northing, height of the grid into the format's numbers.
    """
    return dict(_told(package, np.asarray(factors, np.float64)))


def control_lines(package: Package) -> list[str]:
    """Return the same as lines, each with its mark; numbers are the grid's."""
    return [f"{one_line(mark)}: {told}" for mark, told in control_told(package).items()]


def _told(package: Package, factors: np.ndarray) -> Iterator[tuple[str, str]]:
    for batch in package.batches("marks"):
        drawn, published = (
            np.column_stack([floats(batch.column(f"{kind}{axis}")) for axis in NAMES]) * factors
            for kind in ("", "published_")
        )
        names, holds = batch.column("mark").to_pylist(), batch.column("holds").to_pylist()
        for mark, there, here, held in zip(names, drawn, published, holds, strict=True):
            if (told := drawn_told(there, here, held)) is not None:
                yield mark, told
