"""Finds points of the current issue that a new one changes and that depend on a failing check; those hold it back.

It waits as well where a session of the job loses every point, or the whole job does: a mark's name mistyped in the
register, or an export of the marks alone, must not empty the drawing overnight. So it is where a session has points
again, but those of another day. A day that somebody took out of the job file goes as any re-issue does.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator

from pipeline.intake.survey import Survey
from pipeline.issue.record_types import AtStake, Record, RegisterMark
from pipeline.reissue.another_day import of_another_day
from pipeline.reissue.changes import Touched
from pipeline.reissue.linked_sessions import joined
from pipeline.reissue.register_changes import mark_changes
from pipeline.solve.solve import Solved
from pipeline.words import Change, HeldUnit, Reason, Role, Verdict


def at_stake(
    current: Record,
    survey: Survey,
    solved: Solved,
    rows: Iterable[RegisterMark],
    touched: Touched | None,
    with_points: Collection[str],
) -> list[AtStake]:
    """Return the points of the current issue that are moved or taken away while a check that they hang on fails.

    Also those of a session of the job without any left or with those of other work alone, and of all where none is
    left; ``failing`` is empty where no check of them fails.

    Args:
        current: the record of the current issue.
        survey: the job.
        solved: the same, adjusted.
        rows: the register's rows that the job uses.
        touched: how many points were moved or taken away; None where the two issues cannot be compared, so that every
            point counts as moved.
        with_points: the sessions of which points are issued now, those that they had or others.
    """
    if touched is None:
        moved = {row["session"]: row["points"] for row in current["sessions"]}
        moved.update(_in_means_only(current))
        touched = Touched({session: Counter({Change.MOVED: points}) for session, points in moved.items() if points})
    failing = _failing(survey, solved, mark_changes(current["register"], list(rows)))
    there = {window.session.name for window in survey.windows}
    emptied = _emptied(current, touched, there, _untied(survey, solved)).difference(with_points)
    emptied |= of_another_day(current, survey, touched.wholly_gone)
    return [
        {
            "session": session,
            "moved": counts[Change.MOVED],
            "withdrawn": counts[Change.WITHDRAWN],
            "held": counts[Change.HELD],
            "failing": failing.get(session, []),
        }
        for session, counts in sorted(touched.hanging.items())
        if session in failing or session in emptied
    ]


def _in_means_only(current: Record) -> Iterator[tuple[str, int]]:
    """Yield the sessions without a point of their own whose readings may be in means, and how many at the most.

    The record has the number of all means alone, not whose readings are in them: so it is that for each such session,
    rather too many at stake than none. What is wholly held back for other reasons is in none.
    """
    means = current["repeats"]["means"]
    whole = {row["name"]: row["by_reason"] for row in current["wholly_held_back"] if row["kind"] == HeldUnit.SESSION}
    for row in current["sessions"] if means else ():
        reasons = whole.get(row["session"])
        if not row["points"] and row["first_point"] and (reasons is None or str(Reason.DUPLICATE) in reasons):
            yield row["session"], means


def _emptied(current: Record, touched: Touched, there: set[str], untied: set[str]) -> set[str]:
    """Return the sessions of which no point is issued any more: those still ``there``; all, if none of any is.

    One for most of whose points other readings are issued, as of points measured again, lost nothing unless it is
    ``untied``.
    """
    had = {row["session"]: row["points"] for row in current["sessions"] if row["points"]}
    gone = {name for name, points in had.items() if touched.lost.get(name, 0) >= points}
    if len(gone) == len(had):
        return gone
    replaced = {name for name in gone if 2 * touched.replaced.get(name, 0) >= had[name]}
    return (gone & (there - replaced)) | (gone & untied)


def _untied(survey: Survey, solved: Solved) -> set[str]:
    """Return the names of the sessions that no chain of ties leads from to control."""
    verdicts = zip(survey.windows, solved.verdicts, strict=True)
    return {window.session.name for window, verdict in verdicts if verdict == Verdict.UNTIED}


def _failing(survey: Survey, solved: Solved, revised: Iterable[str]) -> dict[str, list[str]]:
    """Return per session the failing occupations that its points hang on, in words.

    They are its own, those of sessions that temporary marks join to it, and any on a ``revised`` mark that ties it.
    """
    on_marks, revised = solved.occupations, set(revised)
    names = [window.session.name for window in survey.windows]
    points = on_marks.table.column("name").to_pylist()
    failing = on_marks.compared.judged & ~on_marks.compared.passed
    ties = [(names[s], mark) for s, mark, role in _ties(survey, solved) if role is Role.TIE]
    known = survey.prepared.register_names
    groups = joined((session, mark) for session, mark in ties if mark not in known)
    found: dict[str, list[tuple[bool, str]]] = {}
    for row in failing.nonzero()[0].tolist():
        own, mark = names[int(on_marks.session[row])], on_marks.marks[row]
        first = {own} | {session for session, tied in ties if tied == mark and mark in revised}
        reached = first.union(*(group for group in groups if group & first))
        for session in reached:
            where = "" if session == own else f" in session {own}"
            found.setdefault(session, []).append((bool(where), f"{points[row]} on {mark}{where}"))
    return {session: [text for _, text in sorted(told, key=lambda one: one[0])] for session, told in found.items()}


def _ties(survey: Survey, solved: Solved) -> list[tuple[int, str, Role]]:
    """Return session, mark and role of every occupation, and of every base that stands over a mark."""
    on_marks = solved.occupations
    found = list(zip(on_marks.session.tolist(), on_marks.marks, on_marks.roles, strict=True))
    setups = ((window.index, window.session.setup) for window in survey.windows)
    return [*found, *((number, setup.mark, Role.TIE) for number, setup in setups if setup is not None)]
