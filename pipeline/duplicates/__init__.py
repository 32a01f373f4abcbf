"""Readings that are the same observation exported twice, digit for digit, with other rounding or by another clock."""

from pipeline.duplicates.by_clock import agreeing, by_another_clock
from pipeline.duplicates.clock_lags import clock_lags
from pipeline.duplicates.constant_vectors import copied, in_step
from pipeline.duplicates.counted_row import grouped, usual_rounding
from pipeline.duplicates.decimals import height_rounding, metres_of, plan_rounding, time_rounding
from pipeline.duplicates.exact import having, mixed_with, observation_hashes, occurring_again, repeated, text_hashes
from pipeline.duplicates.near import Alike, alike
from pipeline.duplicates.observed import Observed, of_pairs, pairs_among

__all__ = [
    "Alike",
    "Observed",
    "agreeing",
    "alike",
    "by_another_clock",
    "clock_lags",
    "copied",
    "grouped",
    "having",
    "height_rounding",
    "in_step",
    "metres_of",
    "mixed_with",
    "observation_hashes",
    "occurring_again",
    "of_pairs",
    "pairs_among",
    "plan_rounding",
    "repeated",
    "text_hashes",
    "time_rounding",
    "usual_rounding",
]
