"""Handles register coordinates that are wrong by hundreds of metres or more, where the earth's curvature matters."""

import numpy as np

from pipeline.arrays import Floats
from pipeline.blunders.influence import Restated
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import WeighedDifferences, size_of

#: Metres below which what is left of the curvature is no more than a millimetre, so that a plane will do.
_PLANE = 50.0
#: Metres of the largest difference below which no mark is so far off: of several ties it shows a part.
_SEEN = 5.0
#: Rounds at most, and metres of change that end them: each leaves of an error its part of the earth's radius.
_ROUNDS, _STILL = 6, 1e-4


def bent(
    scope: Scope, mark: str, evidence: WeighedDifferences, shape: Floats, free: tuple[bool, bool, bool]
) -> Floats | None:
    """Return (n, 3) what must be added to a shape times its size if a mark's coordinates are far off.

    None where they are not: the size is found as if the earth were a plane, and what it truly shows is worked out from
    geocentric coordinates, until the two agree.

    Args:
        scope: what is looked at.
        mark: of the register.
        evidence: the differences.
        shape: (n, 3) how strongly an error shows in each component, `Influence.any_typed`.
        free: which components of the error have sizes of their own.
    """
    case = scope.case
    at = case.number[mark]
    written, written_xyz = np.nan_to_num(case.solved.reference.grid[at]), case.solved.reference.xyz[at]
    seen = np.abs(np.where(evidence.known, evidence.difference, 0.0)).max(initial=0.0)
    if seen < _SEEN or not np.isfinite(written_xyz).all():
        return None
    size = size_of(evidence, shape, free, None)
    if np.linalg.norm(size) < _PLANE:
        return None
    given = np.zeros_like(shape)
    for _ in range(_ROUNDS):
        meant = written - size
        xyz = np.array([float(part) for part in case.survey.operations.frames.to_issued.inverse(*meant)])
        if not np.isfinite(xyz).all():
            return None
        given = scope.influence.restated([Restated(mark, written, meant, written_xyz, xyz)]) - shape * size
        if not np.isfinite(given).all():
            return None
        before, size = size, size_of(evidence, shape, free, given)
        if np.abs(size - before).max() < _STILL:
            break
    return given
