"""Which sessions only bear another name than in the last issue: nothing else of them is new or gone."""

from collections.abc import Sequence

from pipeline.clock import milliseconds_of
from pipeline.issue.record_types import Record
from pipeline.sessions.windows import SessionWindow


def renamed_sessions(last: Record, windows: Sequence[SessionWindow]) -> dict[str, str]:
    """Return by the names of now what sessions were called in the last issue, where both had one time and base.

    What bears a name that both have is no other session, and of several at one time with one base none is told apart.
    """
    before, now = {one["session"] for one in last["sessions"]}, {window.session.name for window in windows}
    gone, new = dict[tuple[int, int, str | None], list[str]](), dict[tuple[int, int, str | None], list[str]]()
    for row in last["sessions"]:
        if row["session"] not in now:
            key = milliseconds_of(row["start"]), milliseconds_of(row["end"]), row["base"]
            gone.setdefault(key, []).append(row["session"])
    for window in windows:
        if window.session.name not in before:
            new.setdefault((window.start_ms, window.end_ms, window.session.base), []).append(window.session.name)
    pairs = ((new.get(key, []), old) for key, old in gone.items())
    return {names[0]: old[0] for names, old in pairs if len(names) == len(old) == 1}
