"""Finds sessions that left the job and are back: what failed in them is asked of the issue that had them last."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from pipeline.clock import milliseconds_of
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.issue.session_types import Session
from pipeline.reissue.history import History
from pipeline.sessions.attach import base_key
from pipeline.sessions.windows import SessionWindow


def returned(history: History, survey: Survey) -> Iterator[tuple[Record, frozenset[int]]]:
    """Yield records of issues before the newest that had sessions of the job which that has not, and which these are.

    Only a session that begins before the newest observation of the newest issue may be an old one.
    """
    if history.newest is None:
        return
    newest = history.newest.record
    since = milliseconds_of(newest["data_to"])
    missing = {one.index for one in survey.windows if one.start_ms < since and not _had(one, newest)}
    for number in range(newest["issue"] - 1, 0, -1):
        if not missing:
            return
        record = history.record(number)
        back = frozenset(index for index in missing if record is not None and _had(survey.windows[index], record))
        if record is not None and back:
            yield record, back
        missing -= back


def of_sessions(doubts: Sequence[Doubtful], back: frozenset[int]) -> list[Doubtful]:
    """Return the doubts that concern sessions which are back, as doubts of these alone."""
    found = [(one, tuple(sorted(back & set(one.sessions or ())))) for one in doubts]
    return [replace(one, sessions=sessions) for one, sessions in found if sessions]


def _had(window: SessionWindow, record: Record) -> bool:
    return any(_same(window, session) for session in record["sessions"])


def _same(window: SessionWindow, session: Session) -> bool:
    """Tell whether a session of an issue ran while one of the job does, with a base that may be its own."""
    if milliseconds_of(session["start"]) >= window.end_ms or window.start_ms >= milliseconds_of(session["end"]):
        return False
    return session["base"] is None or window.base is None or base_key(session["base"]) == base_key(window.base)
