"""Says of standard uncertainties that are too large that they would be those of fixed solutions in millimetres."""

import math

from pipeline.intake.file_log import FileLog, stated_sizes
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export

#: Millimetres between which those of fixed solutions lie, in plan and in height. Common practice, no source.
_USUAL = (2.0, 60.0)


def usual_unit(export: Export, log: FileLog) -> str:
    """Return in words that the numbers that an export states would be usual in millimetres; "" where they would not."""
    written = 1.0 / lengths_of(export.points).other
    sizes = zip(("in plan", "in height"), stated_sizes([(log, (written, written))]), strict=True)
    known = [(size, where) for where, size in sizes if math.isfinite(size)]
    if not known or not all(_USUAL[0] <= size <= _USUAL[1] for size, _ in known):
        return ""
    numbers = " and ".join(f"{size:.1f} {where}" for size, where in known)
    return (
        f". What the export has, {numbers} (root mean square), would be usual in millimetres: if they are, write the"
        ' unit into the headings of these columns, as in "sE [mm]", and they are converted'
    )
