"""Tells mean errors from coordinates where one heading may say either: mE and mN."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.new_job.headings import bare
from pipeline.new_job.values import numbers_of
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.precision_headings import DECIMETRE, MEAN_ERRORS_OR_METRES

#: What half of mean errors stay below, in millimetres too, those of floats left out; ours, no source.
_MOST = 100.0


def mean_errors_in(columns: Mapping[str, Sequence[str]], names: Sequence[str]) -> list[str]:
    """Return the columns that are likelier mean errors than coordinates if any others of a file are coordinates.

    Those of a small site's own grid may be as small, and are coordinates where there are no others.
    """
    return [name for name in names if is_either(name) and _may_be_errors(name, columns[name])]


def is_either(heading: str) -> bool:
    """Tell whether a heading says metres to a side or a mean error."""
    return bare(heading) in MEAN_ERRORS_OR_METRES


def _may_be_errors(heading: str, texts: Sequence[str]) -> bool:
    values = numbers_of(texts)
    if values is None:
        return False
    known = values[np.isfinite(values)]
    said = metres_in_heading(heading)
    small = bool(said) and said[0] < DECIMETRE
    return bool((known >= 0.0).all()) and (small or float(np.median(known)) <= _MOST)
