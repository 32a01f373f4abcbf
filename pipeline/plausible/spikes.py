"""Vertices of lines that stand far aside while their neighbours follow one another: readings of something else.

A digit that was mistyped, a code left on while something else was measured, or two strings under one number.
"""

import numpy as np

from pipeline.arrays import Floats

#: Vertices of a line from which on there is a usual step; a vertex stands aside by so many of them, and metres.
_ENOUGH, TIMES, _LEAST = 6, 10.0, 5.0
#: Its neighbours are so many usual steps apart at the most, and so many metres at the least: who goes along a branch
#: and back measures one place twice. Ours, no source.
NEXT, _APART = 4.0, 0.1


def spike(vertices: Floats, closed: bool, least: float = _LEAST) -> tuple[int, float] | None:
    """Return which of a line's vertices stands aside and how far [m]; None where none or several do.

    Args:
        vertices: (n, k) metres, in the order of the line.
        closed: whether the last one is joined to the first.
        least: metres that one stands aside at the least.
    """
    if len(vertices) < _ENOUGH:
        return None
    step = np.linalg.norm(np.roll(vertices, -1, axis=0) - vertices, axis=1)
    over = np.linalg.norm(np.roll(vertices, -1, axis=0) - np.roll(vertices, 1, axis=0), axis=1)
    usual = float(np.median(step if closed else step[:-1]))
    aside = np.minimum(np.roll(step, 1), step)
    found = (aside > max(TIMES * usual, least)) & (over >= _APART) & (over <= NEXT * usual)
    if not closed:
        found[[0, -1]] = False
    at = np.flatnonzero(found)
    return (int(at[0]), float(aside[at[0]])) if len(at) == 1 else None
