"""Finds sessions that left the job and are back: what failed in them is asked of the issue that had them last.

An issue in between that cannot be read may be that one, so that nobody knows what failed in them: that is noted.
"""

from collections.abc import Iterator, Sequence

from pipeline.clock import milliseconds_of
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.issue.session_types import Session
from pipeline.near import and_more
from pipeline.reissue.history import History
from pipeline.replace import replace
from pipeline.sessions.attach import base_key
from pipeline.sessions.windows import SessionWindow
from pipeline.words import plural

#: Sessions that a note names.
_LISTED = 3


def returned(history: History, survey: Survey) -> Iterator[tuple[Record, frozenset[int]]]:
    """Yield records of issues before the newest that had sessions of the job which it has not, and which these are."""
    for _, record, missing in _before(history, survey):
        if record is not None and (back := _back(missing, record, survey)):
            yield record, back


def unread_notes(history: History, survey: Survey) -> list[str]:
    """Return in words which issues that may have had sessions of the job, and the newest has not, cannot be read."""
    return [
        f"issue {number:03d} was set aside or cannot be read: if it had {_listed(missing, survey)}, what failed there"
        " is not known"
        for number, record, missing in _before(history, survey)
        if record is None
    ]


def _before(history: History, survey: Survey) -> Iterator[tuple[int, Record | None, frozenset[int]]]:
    """Yield the issues before the newest, its predecessor first, with the sessions that none after them had.

    Only a session that begins before the newest observation of the newest issue may be an old one.
    """
    if history.newest is None:
        return
    newest = history.newest.record
    since = milliseconds_of(newest["data_to"])
    missing = frozenset(one.index for one in survey.windows if one.start_ms < since and not _had(one, newest))
    for number in range(newest["issue"] - 1, 0, -1):
        if not missing:
            return
        record = history.record(number)
        yield number, record, missing
        if record is not None:
            missing -= _back(missing, record, survey)


def _back(missing: frozenset[int], record: Record, survey: Survey) -> frozenset[int]:
    return frozenset(index for index in missing if _had(survey.windows[index], record))


def _listed(sessions: frozenset[int], survey: Survey) -> str:
    names = [survey.windows[index].session.name for index in sorted(sessions)]
    return f"{plural(len(names), 'session')} {', '.join(names[:_LISTED])}{and_more(len(names) - _LISTED)}"


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
