"""Readings that are the same observation exported twice, digit for digit or with other rounding."""

from pipeline.duplicates.decimals import height_rounding, plan_rounding, time_rounding
from pipeline.duplicates.exact import mixed_with, observation_hashes, repeated, text_hashes
from pipeline.duplicates.near import Alike, Observed, alike
from pipeline.duplicates.one import grouped, settled_rounding

__all__ = [
    "Alike",
    "Observed",
    "alike",
    "grouped",
    "height_rounding",
    "mixed_with",
    "observation_hashes",
    "plan_rounding",
    "repeated",
    "settled_rounding",
    "text_hashes",
    "time_rounding",
]
