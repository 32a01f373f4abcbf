"""Points on or beside marks of the register that no list names, with the lines that would name them."""

from collections.abc import Sequence

from msgspec import Struct

from pipeline.intake.survey import Survey
from pipeline.sessions.toml_lines import more_occupations, sayable
from pipeline.solve.solve import Solved
from pipeline.solve.taken_out import unlisted
from pipeline.solve.unanswered_checks import where_read
from pipeline.words import plural

#: Readings that a sentence lists, occupations that its lines have, and sessions that are told one by one.
_LISTED, _LINES, _SESSIONS = 3, 6, 8


class Beside(Struct, frozen=True):
    """A point of a session and the ``mark`` that it may stand on, None where it only has the name of one far away.

    ``away`` orders them, the most likely first; ``what`` says in words which point it is and how it lies.
    """

    session: int
    name: str | None
    mark: str | None
    away: float
    what: str


def named_after(survey: Survey, solved: Solved) -> list[Beside]:
    """Return the points that are named after a mark and lie on it, or far from it."""
    names, by_field = survey.candidates.names, unlisted(survey, solved)
    return [
        Beside(
            one.session,
            names[one.row],
            one.mark,
            -1.0 if one.mark is not None else float("inf"),
            f"{where_read(survey, survey.candidates, one.row)}: {one.why}",
        )
        for one in solved.unsaid
        if one.row not in by_field
    ]


def beside_notes(survey: Survey, solved: Solved, near: Sequence[Beside], more: int = 0) -> list[str]:
    """Return a sentence per session that has points on marks which no list names.

    Args:
        survey: the job.
        solved: with the points that are named after marks.
        near: the others within ``checks.radius`` of a mark.
        more: how many more there are of those.
    """
    by_session: dict[int, list[Beside]] = {}
    for one in (*named_after(survey, solved), *near):
        by_session.setdefault(one.session, []).append(one)
    told = [_note(survey, number, found) for number, found in sorted(by_session.items())]
    more += sum(len(found) for _, found in sorted(by_session.items())[_SESSIONS:])
    if more:
        told[_SESSIONS:] = [f"{more:,} more {plural(more, 'point is', 'points are')} on marks and not listed"]
    return told


def _note(survey: Survey, session: int, found: Sequence[Beside]) -> str:
    ordered = sorted(found, key=lambda one: one.away)
    listed = "; ".join(one.what for one in ordered[:_LISTED])
    more = f"; and {len(ordered) - _LISTED:,} more in session {survey.windows[session].session.name}"
    until = f"until then {plural(len(ordered), 'it is issued as a point', 'they are issued as points')}"
    return f"{listed}{more if len(ordered) > _LISTED else ''}; {_what_to_write(survey, session, ordered)}; {until}"


def _what_to_write(survey: Survey, session: int, found: Sequence[Beside]) -> str:
    """Say which lines make checks of points, of those that can be listed by name."""
    on = [(one.name, one.mark, 0) for one in found if one.mark is not None]
    if not on:
        return "rename it if it is another place; otherwise check the mark's coordinates"
    names = sayable(on)
    pairs = list(dict.fromkeys((point or "", mark) for point, mark, _ in on if point in names))
    if not pairs:
        return "if the pole stood on the mark, give the reading a name of its own in the export and list it as a check"
    of_session = survey.windows[session].session
    write = more_occupations(of_session, "checks", pairs[:_LINES], survey.job.sessions)
    return f"if the pole stood on the mark, {write}"
