"""Finds failures that noise explains: the difference exceeds the tolerance, but not its own 95 % uncertainty [m].

A check depends on few ties, on its mark's coordinates and two readings; where tolerances are narrower than what these
are good to, some fail by noise alone. What explains such a one better than noise does has to be a good deal better.
"""

from collections.abc import Iterable

import numpy as np

from pipeline.arrays import Flags
from pipeline.blunders.scope import Case
from pipeline.blunders.score import Explanation, WeighedDifferences
from pipeline.replace import replace
from pipeline.solve.difference_95 import differences_95


def allowed(case: Case, failing: Flags) -> dict[int, str]:
    """Return of the ``failing`` (n,) occupations those whose differences lie within their own 95 %, with the words."""
    if not failing.any():
        return {}
    compared, limits = case.solved.occupations.compared, case.tolerance
    off = np.column_stack([compared.horizontal, np.abs(compared.height)])
    own = np.column_stack(differences_95(case.survey, case.solved))
    within = failing & ((off <= own) | ~compared.holds).all(axis=1)
    beyond = limits.excess(off, compared.holds) > 0.0
    return {row: _words(off[row], own[row], beyond[row]) for row in np.flatnonzero(within).tolist()}


def _words(off: Iterable[float], own: Iterable[float], beyond: Iterable[bool]) -> str:
    parts = zip(off, own, beyond, ("position", "height"), ("horizontal", "vertical"), strict=True)
    failing = [(size, most, what, key) for size, most, over, what, key in parts if over]
    differs = " and ".join(f"{size:.3f} m in {what}" for size, _, what, _ in failing)
    most = " and ".join(f"{most:.3f} m" for _, most, _, _ in failing)
    keys = " and ".join(f"checks.{key}" for *_, key in failing)
    if len(failing) == 1:
        within = f"the difference of {differs} is within its own 95 % uncertainty of {most}"
    else:
        within = f"the differences of {differs} are within their own 95 % uncertainties of {most}"
    return (
        f"perhaps no blunder: {within}, so the stated uncertainties allow it; more ties, longer occupations or a"
        f" wider {keys} would settle it"
    )


def against_noise(evidence: WeighedDifferences, explanations: Iterable[Explanation], noisy: bool) -> list[Explanation]:
    """Return the explanations with those that may fit by chance, since no cause at all scores as well.

    That has nothing to guess. Where noise may be behind all that fails, as ``noisy`` says, they are left out.
    """
    _, white = evidence.white()
    noise = float((white**2).sum())
    better = (replace(one, chance=one.chance or one.score >= noise) for one in explanations)
    return [one for one in better if one.score < noise or not noisy]
