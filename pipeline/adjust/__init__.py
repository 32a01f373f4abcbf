"""The job-wide weighted least-squares adjustment of sessions and marks. Arrays only, metres."""

from pipeline.adjust.connected import MissingTie, Ties, find_ties, missing_ties
from pipeline.adjust.network import Adjustment, Response, adjust
from pipeline.adjust.observations import FIRM, Observations

__all__ = [
    "FIRM",
    "Adjustment",
    "MissingTie",
    "Observations",
    "Response",
    "Ties",
    "adjust",
    "find_ties",
    "missing_ties",
]
