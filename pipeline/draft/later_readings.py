"""Finds points measured again within a session whose later readings all lie off the earlier ones by one vector.

A road that was milled or paved meanwhile, a pole of another length: what they have in common is no noise, and a factor
of the uncertainties that takes it in would make all points look less certain than they are.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.draft.common_offsets import among, common_offsets, sessions_apart
from pipeline.draft.repeat_pairs import Repeated
from pipeline.intake.survey import Survey
from pipeline.replace import replace

#: Pairs from which on a mean says something, and its own sigmas beyond which it is no chance: of eight pairs in less
#: than two of a thousand, by Student's t. Ours, no source.
_LEAST, _SIGMAS = 8, 5.0


class LaterApart(Struct, frozen=True):
    """Pairs of readings of a session, (k,) rows of the `Pairs`, whose later ones lie off the earlier by one vector.

    ``apart`` (3,) is that vector, metres to the east, the north and upwards, in the mean.
    """

    session: int
    rows: Integers
    apart: Floats


def later_apart(repeated: Repeated, survey: Survey) -> list[LaterApart]:
    """Return where the later readings of points lie off those before by one vector, by session and by turn.

    It is larger than the scatter about it: what all readings of an hour have in common, as the weather of it, is not.
    """
    readings, pairs, contrasts = repeated.readings, repeated.pairs, repeated.contrasts
    told = among([*common_offsets(repeated, survey), *sessions_apart(repeated, survey)], repeated, survey)
    session = readings.session[pairs.second]
    rows = contrasts[(readings.session[pairs.first] == session)[contrasts] & ~told[contrasts]]
    keys = np.column_stack([session[rows], _turns(repeated, rows)])
    kinds, groups = np.unique(keys, axis=0, return_inverse=True)
    found = []
    for number, kind in enumerate(kinds.tolist()):
        some = rows[groups.ravel() == number]
        apart = pairs.apart[some]
        if len(some) >= _LEAST and _is_one_vector(apart):
            found.append(LaterApart(kind[0], some, apart.mean(axis=0)))
    return found


def without_vectors(repeated: Repeated, found: Sequence[LaterApart]) -> Repeated:
    """Return the readings and pairs with these vectors taken out of what the later ones lie off."""
    apart = repeated.pairs.apart.copy()
    for one in found:
        apart[one.rows] -= one.apart
    return replace(repeated, pairs=replace(repeated.pairs, apart=apart))


def _turns(repeated: Repeated, rows: Integers) -> Integers:
    """Return (k,) how often the session had measured the point of each pair before, by its name; 0 without a name."""
    readings, second = repeated.readings, repeated.pairs.second[rows]
    name, session = readings.name[second], readings.session[second]
    order = np.lexsort((readings.time[second], session, name))
    begins = np.diff(name[order], prepend=-2) != 0
    begins |= np.diff(session[order], prepend=-1) != 0
    place = np.arange(len(rows))
    turns = np.zeros(len(rows), np.int64)
    turns[order] = place - np.maximum.accumulate(np.where(begins, place, 0))
    return np.where(name < 0, 0, turns)


def _is_one_vector(apart: Floats) -> bool:
    """Tell whether (n, 3) differences have a mean, in plan or in height, larger than chance or scatter."""
    mean, scatter = np.abs(apart.mean(axis=0)), apart.std(axis=0, ddof=1)
    sizes = np.array([[np.hypot(*mean[:2]), np.hypot(*scatter[:2])], [mean[2], scatter[2]]])
    least = max(_SIGMAS / np.sqrt(len(apart)), 1.0)
    return bool((sizes[:, 0] > least * sizes[:, 1]).any())
