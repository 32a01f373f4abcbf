"""Finds the columns of a file that hold the hemispheres of its degrees."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.headings import bare
from pipeline.read.hemispheres import BOTH, axis_of_letters, is_hemisphere


def letters_of(columns: Mapping[str, Sequence[str]], degrees: Mapping[str, tuple[str, Floats]]) -> list[str]:
    """Return the headings of letters that belong to degrees: called so, or beside them with one letter in all rows.

    Elsewhere an E or W is whatever somebody noted, as a side of a road. Both letters are of degrees only near zero.

    Args:
        columns: the texts of a file's columns by their headings, in its order.
        degrees: the heading of longitude and latitude and their degrees (n,) as they are read, by our words.
    """
    names = list(columns)
    found = []
    for at, name in enumerate(names):
        axis = axis_of_letters(columns[name])
        if axis is None or axis not in degrees:
            continue
        heading, values = degrees[axis]
        one = len({text.casefold() for text in columns[name] if text}) == 1 or bool(np.nanmin(np.abs(values)) < BOTH)
        beside = heading in names[max(at - 1, 0) : at + 2]
        if is_hemisphere(bare(name)) or (beside and one):
            found.append(name)
    return found
