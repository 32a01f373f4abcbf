"""Finds points measured twice whose differences share an offset (pole, clock, correction) instead of scattering.

What two exports of one session have in common falls out of their difference, the session's shift above all. So their
pairs scatter about zero by the noise of the readings, and a mean that is many times larger than the scatter is another
thing: no factor of the uncertainties takes it in.

Not the question of `duplicates.constant_vectors`, though its pairs count here too: a copy repeats one vector to the
last digit, whereas these are observed twice and differ by it in the mean.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.repeat_pairs import Pairs, Repeated, widened
from pipeline.duplicates import pairs_among
from pipeline.intake.survey import Survey

#: Pairs from which on a scatter says something, and how many times larger than it a mean is no chance: of five pairs
#: of an axis in three of a thousand, of eight in one of thirty thousand.
_LEAST, _TIMES = 5, 3.0
#: Places at which two sessions have points in common from which on these say something, and metres that one is wide.
_PLACES, _PLACE = 3, 1.0


class CommonOffset(Struct, frozen=True):
    """Pairs of readings of two exports in a session, (k,) rows of the `Pairs`, that differ by one vector.

    ``apart`` (3,) is what the reading of the second of ``exports`` lies east, north and above that of the first.
    """

    exports: tuple[int, int]
    session: int
    rows: Integers
    apart: Floats


def common_offsets(repeated: Repeated, survey: Survey) -> list[CommonOffset]:
    """Return the pairs that differ by one vector beyond what checks tolerate, by exports and session."""
    readings, pairs = repeated.readings, repeated.pairs
    export, session = _of_both(readings.export, pairs), _of_both(readings.session, pairs)
    here = (export[:, 0] != export[:, 1]) & (session[:, 0] == session[:, 1])
    limits, found = survey.job.checks, []
    for (one, other, of), rows, apart in _grouped(export, here, pairs, session[:, :1]):
        mean = apart.mean(axis=0)
        beyond = np.hypot(*mean[:2]) > limits.horizontal or abs(mean[2]) > limits.vertical
        if len(rows) >= _LEAST and beyond and _no_chance(apart, mean, limits.horizontal, limits.vertical):
            found.append(CommonOffset((one, other), of, rows, mean))
    return found


class SessionsApart(Struct, frozen=True):
    """Pairs of readings of two sessions, (k,) rows of the `Pairs`, that differ by one vector.

    ``apart`` (3,) is what the reading of the second of ``sessions`` lies east, north and above that of the first.
    """

    sessions: tuple[int, int]
    rows: Integers
    apart: Floats


def sessions_apart(repeated: Repeated, survey: Survey) -> list[SessionsApart]:
    """Return the sessions whose pairs differ by one vector, beyond checks' tolerance and what is expected of them.

    They do so at several places: one point that moves, or a pole that once was not upright, is no vector of a session.
    What two sessions may differ by is expected of each of their pairs, and does not grow with their number: it is
    widened by the number of sessions that are compared alone.
    """
    readings, pairs = repeated.readings, repeated.pairs
    session = _of_both(readings.session, pairs)
    across = (session[:, 0] != session[:, 1]) & (session >= 0).all(axis=1)
    limits, found = survey.job.checks, []
    groups = list(_grouped(session, across, pairs))
    wider_plan, wider_height = widened(len(groups))
    for (one, other), rows, apart in groups:
        metres = readings.metres(survey.axes.counts())[pairs.first[rows], :2]
        places = len(np.unique(np.floor(metres / _PLACE), axis=0))
        if places < _PLACES:
            continue
        middle = np.median(apart, axis=0)
        plan = max(limits.horizontal, wider_plan * float(np.median(pairs.hu95[rows])))
        height = max(limits.vertical, wider_height * float(np.median(pairs.vu95[rows])))
        near = np.hypot(*(apart - middle)[:, :2].T) <= plan
        near &= np.abs(apart[:, 2] - middle[2]) <= height
        if 2 * np.count_nonzero(near) > len(rows) and _no_chance(apart[near], middle, plan, height):
            found.append(SessionsApart((one, other), rows[near], apart[near].mean(axis=0)))
    return found


def _of_both(values: NDArray[Any], pairs: Pairs) -> Integers:
    """Return (p, 2) what (n,) values of readings are for the first and the second of each pair."""
    return np.column_stack([values[pairs.first], values[pairs.second]]).astype(np.int64)


def _grouped(
    ends: Integers, which: Flags, pairs: Pairs, within: Integers | None = None
) -> Iterator[tuple[list[int], Integers, Floats]]:
    """Yield pairs by what their two readings are of, however they are turned, for those of (p,) ``which``.

    Args:
        ends: (p, 2) what the first and the second reading of each pair are of.
        which: (p,) the pairs that count.
        pairs: all.
        within: (p, 1) what tells pairs of the same two ends apart; None for nothing.

    Yields: the two ends, the lower first, and what they are within; (k,) rows of the pairs; (k, 3) what the reading of
        the higher end lies east, north and above that of the lower.
    """
    sign = np.where(ends[:, 0] <= ends[:, 1], 1.0, -1.0)
    keys = np.sort(ends, axis=1) if within is None else np.column_stack([np.sort(ends, axis=1), within])
    here = np.flatnonzero(which)
    kinds, groups = np.unique(keys[here], axis=0, return_inverse=True)
    for number, kind in enumerate(kinds.tolist()):
        rows = here[groups.ravel() == number]
        yield kind, rows, pairs.apart[rows] * sign[rows, None]


def _no_chance(apart: Floats, mean: Floats, horizontal: float, vertical: float) -> bool:
    """Tell whether (n, 3) differences have a mean that is large against their scatter, where it is large at all."""
    scatter = apart.std(axis=0, ddof=1)
    plan = np.hypot(*mean[:2]) > horizontal and np.hypot(*mean[:2]) > _TIMES * np.hypot(*scatter[:2])
    return bool(plan or (abs(mean[2]) > vertical and abs(mean[2]) > _TIMES * scatter[2]))


def among(found: Sequence[CommonOffset | SessionsApart], repeated: Repeated, survey: Survey) -> Flags:
    """Return (p,) which pairs differ by one vector, or are a reading and its corrected copy."""
    numbers = np.column_stack(
        [repeated.readings.number[rows] for rows in (repeated.pairs.first, repeated.pairs.second)]
    )
    copies = np.concatenate([np.zeros((0, 2), np.int64), *(one.pairs for one in survey.first_pass.shifted)])
    told = pairs_among(numbers.astype(np.int64), copies)
    for one in found:
        told[one.rows] = True
    return told
