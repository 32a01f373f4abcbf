"""Positions of the bases: from the set-ups of the job file, otherwise from the base columns of the points."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.intake.base_log import ValueSeen
from pipeline.intake.base_values import merged
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.operations import Operations
from pipeline.intake.prepare import Prepared

#: Metres within which two positions of a base are one, printed or computed with other digits.
_ONE_PLACE = 0.005


class Bases(Struct, frozen=True):
    """Where bases stood, per session (S, 3), working frame, as broadcast; NaN where that is not known.

    ``receiver`` is the antenna's reference point, ``mark`` the mark under it. The former is known from the job's
    set-up, else from the points of a session that all carry one position, unless no base can have stood there; the
    latter from the set-up alone. ``stands``
    are, per session, the different positions that its points carry, in the order of their first use.
    """

    receiver: Floats
    mark: Floats
    stands: tuple[tuple["Stand", ...], ...]


@dataclass(frozen=True)
class Stand:
    """A position of the base that points of a session carry: (3,) working frame, and where it was seen."""

    xyz: Floats
    seen: ValueSeen


def _stands(prepared: Prepared, first_pass: FirstPass, operations: Operations, session: int) -> Iterator[Stand]:
    """Yield the different positions of the base that a session's points carry, in the order of their first use."""
    found = sorted(first_pass.log.sessions[session].positions, key=lambda seen: (seen.time, seen.export, seen.row))
    places = np.array([carried(seen, prepared, operations, session) for seen in found]).reshape(-1, 3)
    known = np.flatnonzero(np.isfinite(places).all(axis=1))
    for group in merged(places[known], _ONE_PLACE):
        yield Stand(places[known[group[0]]], reduce(ValueSeen.and_also, [found[known[number]] for number in group]))


def carried(seen: ValueSeen, prepared: Prepared, operations: Operations, session: int) -> Floats:
    """Return (3,) a position of the base that points of a session carry, working frame; not finite where none."""
    block = prepared.exports[seen.export].block
    first, second, third = seen.value
    year = operations.year(session, block, seen.time)
    return np.ravel(operations.frames.to_working[block].forward(first, second, third, year))


def standing(places: Floats, stands: Sequence[Stand]) -> Integers:
    """Return (n,) which of a session's ``stands`` (n, 3) places of the working frame are, -1 where none."""
    if not stands or not len(places):
        return np.full(len(places), -1)
    apart = np.linalg.norm(places[:, None] - np.array([stand.xyz for stand in stands]), axis=2)
    nearest = np.argmin(np.nan_to_num(apart, nan=np.inf), axis=1)
    found: Integers = np.where(apart[np.arange(len(places)), nearest] <= 2 * _ONE_PLACE, nearest, -1)
    return found


def set_up_bases(prepared: Prepared, first_pass: FirstPass, operations: Operations) -> Bases:
    """Bring the set-ups of the job file, else the one position that a session's points carry, into the working frame.

    The antenna height is taken down along the ellipsoid normal, that is, off the ellipsoidal height.
    """
    receiver = np.full((len(prepared.windows), 3), np.nan)
    mark = receiver.copy()
    found_on = tuple(tuple(_stands(prepared, first_pass, operations, window.index)) for window in prepared.windows)
    for window in prepared.windows:
        setup = window.session.setup
        if setup is None or operations.base is None:
            here = found_on[window.index] if window.index not in first_pass.implausible.misplaced else ()
            if len(here) == 1 and not first_pass.log.sessions[window.index].positions.further:
                receiver[window.index] = here[0].xyz
            continue
        time = operations.year(window.index, None, window.start_ms)
        for found, height in ((receiver, 0.0), (mark, setup.antenna_height)):
            place = operations.base.forward(
                [setup.longitude], [setup.latitude], [setup.ellipsoid_height - height], time=time
            )
            found[window.index] = np.column_stack(place)[0]
    return Bases(receiver, mark, found_on)
