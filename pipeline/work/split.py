"""The lines of a job file that split a session where its base moved."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.words import Role
from pipeline.work.prepare import Prepared
from pipeline.work.session_lines import instead, occupation_lines, part_names, set_up_lines, table_lines
from pipeline.work.settle import Settled


def split_lines(prepared: Prepared, settled: Settled, session: int, last_good: int, first_bad: int) -> str:
    """Return the two ``[[session]]`` tables that take the place of one.

    The first ends just after the last occupation before the base moved, the second starts with the first one after it
    and is tied to it: what lies between belongs to neither, since nobody knows when the base moved, and is held back.
    The second has no more of the session than its base id and its field shift: a base that moved stands over no mark.

    Args:
        prepared: the job.
        settled: the job as settled.
        session: index of the session.
        last_good: row of the last occupation before the base moved.
        first_bad: row of the first one after it.
    """
    on_marks, window = settled.occupations, prepared.windows[session]
    rows = [int(row) for row in np.flatnonzero(on_marks.session == session)]
    end, start = int(on_marks.time[last_good]) + 1, int(on_marks.time[first_bad])
    early = [row for row in rows if on_marks.time[row] < end]
    late = [row for row in rows if on_marks.time[row] >= start]
    given = window.session
    ties = [row for row in early if on_marks.roles[row] is Role.TIE]
    if not ties and given.setup is None and given.shift == "derive":
        ties = _to_tie(settled, early)
    first, second = part_names(given.name, [other.session.name for other in prepared.windows], 2)
    return "\n".join(
        [
            *instead(given.name, prepared.loaded.job.sessions),
            *table_lines(first, given, window.start_ms, end),
            *set_up_lines(given),
            *_occupations(settled, early, ties),
            "",
            *table_lines(second, given, start, window.end_ms),
            *_occupations(settled, late, _to_tie(settled, late)),
            "",
        ]
    )


def _occupations(settled: Settled, rows: Sequence[int], ties: Sequence[int]) -> Iterator[str]:
    names, marks = settled.occupations.table.column("name").to_pylist(), settled.occupations.marks
    yield from occupation_lines("ties", [(names[row], marks[row]) for row in ties])
    yield from occupation_lines("checks", [(names[row], marks[row]) for row in rows if row not in ties])


def _to_tie(settled: Settled, rows: Sequence[int]) -> list[int]:
    """Return the occupations of the first mark that holds both position and height; without such a one, all of them."""
    on_marks, held = settled.occupations, dict(zip(settled.reference.names, settled.reference.held, strict=True))
    whole = [row for row in rows if on_marks.marks[row] in held and held[on_marks.marks[row]].all()]
    return [row for row in rows if not whole or on_marks.marks[row] == on_marks.marks[whole[0]]]
