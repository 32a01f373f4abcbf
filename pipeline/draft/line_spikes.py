"""Vertices of lines that stand far aside while their neighbours follow one another: a reading of another string.

A digit that was mistyped, a code left on while something else was measured, or two strings under one number.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.draft.joined import Joined
from pipeline.draft.line_rows import names_of
from pipeline.draft.string_rows import Gathered

#: Vertices of a line from which on there is a usual step; a vertex stands aside by so many of them, and metres.
_ENOUGH, _TIMES, _LEAST = 6, 10.0, 5.0
#: Its neighbours are so many usual steps apart at the most, and so many metres at the least: who goes along a branch
#: and back measures one place twice. Ours, no source.
_NEXT, _APART = 4.0, 0.1
#: Lines that are told.
_LISTED = 20


def spike(vertices: Floats, closed: bool) -> tuple[int, float] | None:
    """Return which of a line's vertices, (n, 2) metres, stands aside and how far [m]; None where none or several do."""
    if len(vertices) < _ENOUGH:
        return None
    step = np.hypot(*(np.roll(vertices, -1, axis=0) - vertices).T)
    over = np.hypot(*(np.roll(vertices, -1, axis=0) - np.roll(vertices, 1, axis=0)).T)
    usual = float(np.median(step if closed else step[:-1]))
    aside = np.minimum(np.roll(step, 1), step)
    found = (aside > max(_TIMES * usual, _LEAST)) & (over >= _APART) & (over <= _NEXT * usual)
    if not closed:
        found[[0, -1]] = False
    at = np.flatnonzero(found)
    return (int(at[0]), float(aside[at[0]])) if len(at) == 1 else None


def spike_notes(joined: Joined, gathered: Gathered) -> Iterator[str]:
    """Yield for each line that is drawn, up to some, its vertex that stands aside."""
    rows, found, survey = joined.rows, joined.segments, gathered.drafter.survey
    plan, told = rows.values[:, :2] * survey.axes.counts()[:2], 0
    for string in joined.drawn.tolist():
        points = joined.point[found.first[string] : found.last[string] + 1]
        if told == _LISTED or (one := spike(plan[points], bool(joined.closed[string]))) is None:
            continue
        told += 1
        at, metres = int(points[one[0]]), one[1]
        (line,) = names_of(rows, found.rows[found.first[string]][None], gathered.writing)
        point = rows.names[at].as_py()
        yield (
            f"{survey.exports[int(rows.export[at])].shown}:{rows.source_row[at]}: in the line {line} the vertex"
            f" {point or 'here'} lies {metres:,.0f} m from the vertices before and after it, which follow one another:"
            " if no such corner was measured, check its code, its string's number and its coordinates"
        )
