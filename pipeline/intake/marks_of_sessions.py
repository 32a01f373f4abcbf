"""Compares the marks that sessions name with those of the register."""

from collections.abc import Collection, Iterator, Sequence

from pipeline.letter_case import folded
from pipeline.limits import HINTS
from pipeline.near import listed, nearest
from pipeline.problems import Problems
from pipeline.sessions.windows import SessionWindow

_TIE, _CHECK, _NOTED = "tie", "check", "noted check"
#: What else to do where a tie's mark is in no register.
_UNTIL_THEN = "; a temporary mark needs a second session that ties it: leave it out until then"


def check_marks_of_sessions(windows: Sequence[SessionWindow], known: Collection[str], problems: Problems) -> None:
    """Check that every mark that a session names is ``known``, or is a temporary mark that joins something.

    A base may stand on a new mark: where other ties hold its session, that gives the mark its coordinates. Nothing is
    checked where no mark is known.
    """
    if not known:
        return
    places: dict[str, set[int]] = {}
    for window in windows:
        named = [tie.mark for tie in window.session.ties]
        named += [window.session.setup.mark] if window.session.setup else []
        for mark in named:
            places.setdefault(mark, set()).add(window.index)
    # no temporary mark has the name of a mark of the register but for a hyphen: one of the two is mistyped
    spelled = {_letters(mark) for mark in known} - {""}
    ordered, near = sorted(known), dict[str, list[str]]()
    there = f"the register has {listed(ordered)}"
    for window in windows:
        for mark, where, use in _uses(window):
            several, tied = len(places.get(mark, ())) > 1, use == _TIE
            joins = several and use != _NOTED and _letters(mark) not in spelled
            if mark in known or joins:
                continue
            if mark not in near and len(near) < HINTS:
                near[mark] = nearest(mark, ordered)
            alike = " or ".join(near.get(mark, ()))
            likely = f"did you mean {alike}?" if alike else "write one of its marks, or add this one:"
            what = f'{use} of session {window.session.name} on the mark "{mark}", which is not in the register'
            what += " and which no other session occupies" if tied and not several else ""
            problems.add(*where, what, f"{likely} {there}{_UNTIL_THEN if tied else ''}")


def _uses(window: SessionWindow) -> Iterator[tuple[str, tuple[str, int], str]]:
    """Yield the marks that a session names, where, and what for."""
    session = window.session
    yield from ((tie.mark, window.where_tie(number), _TIE) for number, tie in enumerate(session.ties))
    yield from ((check.mark, window.where_check(number), _CHECK) for number, check in enumerate(session.checks))
    yield from ((one.mark, window.where_noted(number), _NOTED) for number, one in enumerate(session.noted))


def _letters(mark: str) -> str:
    """Return the letters and digits of a mark's name, whatever their case."""
    return "".join(one for one in folded(mark) if one.isalnum())
