"""Where the bases stood: by the set-ups of the job file, else by what the points of a session carry."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce

import numpy as np

from pipeline.arrays import Floats
from pipeline.intake.base_log import Seen
from pipeline.intake.base_values import merged
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.operations import Operations
from pipeline.intake.prepare import Prepared

#: Metres within which two positions of a base are one, printed or computed with other digits.
_ONE_PLACE = 0.005


@dataclass(frozen=True)
class Bases:
    """Where bases stood, per session (S, 3), working frame, as broadcast; NaN where that is not known.

    ``receiver`` is the antenna's reference point, ``mark`` the mark under it. The former is known from the job's
    set-up, else from the points of a session that all carry one position; the latter from the set-up alone. ``stands``
    are, per session, the different positions that its points carry, in the order of their first use.
    """

    receiver: Floats
    mark: Floats
    stands: tuple[tuple["Stand", ...], ...]


@dataclass(frozen=True)
class Stand:
    """A position of the base that points of a session carry: (3,) working frame, and where it was seen."""

    xyz: Floats
    seen: Seen


def _stands(prepared: Prepared, first_pass: FirstPass, operations: Operations, session: int) -> Iterator[Stand]:
    """Yield the different positions of the base that a session's points carry, in the order of their first use."""
    found = sorted(first_pass.log.sessions[session].positions, key=lambda seen: (seen.time, seen.export, seen.row))
    places = np.zeros((len(found), 3))
    for number, seen in enumerate(found):
        block = prepared.exports[seen.export].block
        first, second, third = seen.value
        year = operations.year(session, block, seen.time)
        places[number] = np.ravel(operations.frames.to_working[block].forward(first, second, third, year))
    known = np.flatnonzero(np.isfinite(places).all(axis=1))
    for group in merged(places[known], _ONE_PLACE):
        yield Stand(places[known[group[0]]], reduce(Seen.and_also, [found[known[number]] for number in group]))


def set_up_bases(prepared: Prepared, first_pass: FirstPass, operations: Operations) -> Bases:
    """Bring the set-ups of the job file, else the one position that a session's points carry, into the working frame.

    The antenna height is taken down along the ellipsoid normal, that is, off the ellipsoidal height.
    """
    receiver = np.full((len(prepared.windows), 3), np.nan)
    mark = receiver.copy()
    carried = tuple(tuple(_stands(prepared, first_pass, operations, window.index)) for window in prepared.windows)
    for window in prepared.windows:
        setup = window.session.setup
        if setup is None or operations.base is None:
            here = carried[window.index]
            if len(here) == 1 and not first_pass.log.sessions[window.index].positions.further:
                receiver[window.index] = here[0].xyz
            continue
        time = operations.year(window.index, None, window.start_ms)
        for found, height in ((receiver, 0.0), (mark, setup.antenna_height)):
            place = operations.base.forward(
                [setup.longitude], [setup.latitude], [setup.ellipsoid_height - height], time=time
            )
            found[window.index] = np.column_stack(place)[0]
    return Bases(receiver, mark, carried)
