"""One point followed through every stage and every issue, in numbers that a person can add up again."""

from pipeline.trace.model import Agreement, Found, Reading, Step, Tie, Trace
from pipeline.trace.walk import trace

__all__ = ["Agreement", "Found", "Reading", "Step", "Tie", "Trace", "trace"]
