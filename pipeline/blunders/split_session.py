"""The lines of a job file that split a session where its base moved."""

from collections.abc import Collection, Iterator, Sequence

import numpy as np

from pipeline.intake.survey import Survey
from pipeline.sessions.toml_lines import (
    Reading,
    instead,
    needs_ties,
    noted_lines,
    occupation_lines,
    part_names,
    sayable,
    set_up_lines,
    table_lines,
)
from pipeline.solve.solve import Solved
from pipeline.tolerance import plan_and_height
from pipeline.words import Role


def split_lines(survey: Survey, solved: Solved, session: int, last_good: int, first_bad: int) -> str:
    """Return the two ``[[session]]`` tables that take the place of one.

    The first ends just after the last occupation before the base moved, the second starts with the first one after it
    and is tied to it: what lies between belongs to neither, since nobody knows when the base moved, and is held back.
    The second has no more of the session than its base id and its field shift: a base that moved stands over no mark.

    Args:
        survey: the job before any shift.
        solved: its shifts and what the marks say.
        session: index of the session.
        last_good: row of the last occupation before the base moved.
        first_bad: row of the first one after it.
    """
    on_marks, window = solved.occupations, survey.windows[session]
    rows = [int(row) for row in np.flatnonzero(on_marks.session == session)]
    end, start = int(on_marks.time[last_good]) + 1, int(on_marks.time[first_bad])
    early = [row for row in rows if on_marks.time[row] < end]
    late = [row for row in rows if on_marks.time[row] >= start]
    given = window.session
    ties = [row for row in early if on_marks.roles[row] is Role.TIE]
    if not ties and needs_ties(given):
        ties = _to_tie(solved, early)
    first, second = part_names(given.name, [other.session.name for other in survey.windows], 2)
    return "\n".join(
        [
            *instead(given.name, survey.job.sessions),
            *table_lines(first, given, window.start_ms, end),
            *set_up_lines(given),
            *_occupations(solved, early, ties, (window.start_ms, end), needs_ties(given)),
            *noted_lines(given, window.start_ms, end),
            "",
            *table_lines(second, given, start, window.end_ms),
            *_occupations(solved, late, _to_tie(solved, late), (start, window.end_ms), True),
            *noted_lines(given, start, window.end_ms),
            "",
        ]
    )


def splits(solved: Solved, session: int, last_good: int, first_bad: int, explained: Collection[int]) -> bool:
    """Tell whether all that fails in a session passes with the lines of `split_lines`, but for what is ``explained``.

    Each part's differences are taken from its ties' mean, as its own shift will have them; ``explained`` are failing
    occupations that have another cause, rows of `compare.OnMarks`.
    """
    on_marks = solved.occupations
    compared = on_marks.compared
    rows = np.flatnonzero((on_marks.session == session) & compared.judged & ~on_marks.temporary)
    off = np.nan_to_num(compared.vectors)
    whole = np.flatnonzero(on_marks.session == session)
    late = whole[on_marks.time[whole] >= on_marks.time[first_bad]].tolist()
    early = whole[on_marks.time[whole] <= on_marks.time[last_good]].tolist()
    parts = (early, [row for row in early if on_marks.roles[row] is Role.TIE]), (late, _to_tie(solved, late))
    for part, tied in parts:
        ties = np.intersect1d(tied, rows).astype(np.int64)
        if tied and not len(ties):
            continue  # on temporary marks alone, which show nothing of it
        judged = np.setdiff1d(np.intersect1d(part, rows), list(explained)).astype(np.int64)
        left = off[judged] - (off[ties].mean(axis=0) if len(ties) else 0.0)
        if not compared.tolerance.passes(plan_and_height(left), compared.holds[judged]).all():
            return False
    return True


def _occupations(
    solved: Solved, rows: Sequence[int], ties: Sequence[int], span: tuple[int, int], needed: bool
) -> Iterator[str]:
    # A temporary mark proves nothing, so it is no check; it joins sessions, so it is a tie.
    known = set(solved.reference.names)
    readings = dict(zip(rows, _readings(solved, rows), strict=True))
    tied = [row for row in rows if row in ties or readings[row][1] not in known]
    checks = [readings[row] for row in rows if row not in tied]
    yield from occupation_lines([readings[row] for row in tied], checks, *span, needed)


def _readings(solved: Solved, rows: Sequence[int]) -> list[Reading]:
    on_marks = solved.occupations
    names = on_marks.table.column("name").to_pylist()
    return [(names[row], on_marks.marks[row], int(on_marks.time[row])) for row in rows]


def _to_tie(solved: Solved, rows: Sequence[int]) -> list[int]:
    """Return the occupations of the first mark that holds both position and height; without such a one, all of them.

    A mark goes before others where an occupation of it has a name that can be listed.
    """
    on_marks, held = solved.occupations, dict(zip(solved.reference.names, solved.reference.held, strict=True))
    readings = dict(zip(rows, _readings(solved, rows), strict=True))
    names = sayable(readings.values())
    whole = [row for row in rows if on_marks.marks[row] in held and held[on_marks.marks[row]].all()]
    first = [row for row in whole if readings[row][0] in names] or whole
    return [row for row in rows if not first or on_marks.marks[row] == on_marks.marks[first[0]]]
