"""Which sessions marks tie to one another, so that a change of one reaches the others."""

from collections.abc import Iterable, Mapping

from pipeline.groups import groups_of
from pipeline.intake.survey import Survey
from pipeline.reissue.earlier import Last
from pipeline.solve.solve import Solved
from pipeline.words import Role


def linked(last: Last, survey: Survey, solved: Solved, own: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """Return per session the changes of other sessions that marks tie to it, now or in the previous issue."""
    pairs = {(row["session"], row["mark"]) for row in last.record["checks"] if row["role"] == Role.TIE}
    on_marks = solved.occupations
    for number, mark, role in zip(on_marks.session.tolist(), on_marks.marks, on_marks.roles, strict=True):
        if role is Role.TIE:
            pairs.add((survey.windows[number].session.name, mark))
    for window in survey.windows:
        if window.session.setup is not None:
            pairs.add((window.session.name, window.session.setup.mark))
    return {
        session: texts
        for group in joined(pairs)
        for session in group
        if (texts := tuple(text for name, text in own.items() if name in group and name != session))
    }


def joined(pairs: Iterable[tuple[str, str]]) -> list[set[str]]:
    """Return the sessions that marks join, by (session, mark)."""
    by_mark: dict[str, int] = {}
    number: dict[str, int] = {}
    links = []
    for session, mark in pairs:
        own = number.setdefault(session, len(number))
        links.append((by_mark.setdefault(mark, own), own))
    names = list(number)
    return [{names[one] for one in group} for group in groups_of(len(names), links)]
