"""Counts how many decimals the numbers of a column are written with."""

import re
from collections.abc import Sequence

import numpy as np

from pipeline.new_job.values import given


def decimals_of(texts: Sequence[str]) -> float:
    """Return how many decimals a column's numbers have in the middle."""
    return float(
        np.median([len(re.split("[.,]", text)[-1]) if re.search("[.,]", text) else 0 for text in given(texts)])
    )
