"""Where the control marks of a finished GeoPackage are drawn and published, for the formats made from it."""

from collections.abc import Iterator, Sequence
from contextlib import closing

import numpy as np

from pipeline.arrays import Floats
from pipeline.files.unlocked_database import unlocked
from pipeline.geodesy.axes import NAMES
from pipeline.issue.drawn_coordinates import drawn_message
from pipeline.issue.formats.layer_names import one_line
from pipeline.issue.geopackage.layer_stream import Package


def drawn_elsewhere_messages(package: Package, factors: Sequence[float] = (1.0, 1.0, 1.0)) -> dict[str, str]:
    """Return for each mark of the adjustment that is drawn elsewhere than it is published what is drawn, and why.

    ``factors`` turn easting, northing, height of the grid into the format's numbers.
    """
    return dict(_told(package, np.asarray(factors, np.float64)))


def control_lines(package: Package, factors: Sequence[float] = (1.0, 1.0, 1.0)) -> list[str]:
    """Return the same as lines, each with its mark; numbers are the grid's unless there are ``factors``."""
    return [f"{one_line(mark)}: {told}" for mark, told in drawn_elsewhere_messages(package, factors).items()]


def _told(package: Package, factors: Floats) -> Iterator[tuple[str, str]]:
    columns = ("mark", "holds", *NAMES, *(f"published_{axis}" for axis in NAMES))
    with closing(unlocked(package.path)) as file:  # GDAL takes ten times as long to open the few rows
        rows = file.execute(f"SELECT {', '.join(columns)} FROM marks ORDER BY fid").fetchall()
    for mark, holds, *values in rows:
        drawn, published = np.array(values, np.float64).reshape(2, 3) * factors
        if (told := drawn_message(drawn, published, holds)) is not None:
            yield mark, told
