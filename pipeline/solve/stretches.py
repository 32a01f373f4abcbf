"""Writes each session's timeline for the issue record: its readings, and intervals [UTC] with their proof word."""

from pipeline.clock import iso, moment
from pipeline.intake.survey import Survey
from pipeline.issue.session_types import Course
from pipeline.solve.compare import span
from pipeline.solve.solve import Solved


def courses(survey: Survey, solved: Solved) -> list[Course]:
    """Return per session the times of its first and last reading, None without any, and its parts by proof word."""
    found: list[Course] = []
    for window, evidence, spans in zip(survey.windows, solved.evidence, solved.spans, strict=True):
        first, last = span(spans)
        found.append(
            {
                "first_point": None if first is None else iso(moment(first)),
                "last_point": None if last is None else iso(moment(last)),
                "stretches": [
                    {"from": iso(moment(since)), "until": iso(moment(until)), "proof": str(word)}
                    for since, until, word in evidence.stretches(window.start_ms, window.end_ms)
                ],
            }
        )
    return found
