"""How large variances are against what is stated of them, from differences that should be zero: variance components.

A set of differences y has the covariance V = B + sum of t_g M_g: B is taken as it is stated, each M_g stands for the
readings of one receiver and t_g is how many times too small their variance is stated. The estimate is that of largest
likelihood for normal errors, by Fisher's scoring, which for differences without unknowns is Helmert's strict estimate
iterated: with W = V^-1, the score of t_g is (y' W M_g W y - tr(W M_g)) / 2 and the information of two of them
tr(W M_g W M_h) / 2, whose inverse is the covariance of the estimates.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats

#: Directions of V smaller than this against the largest are differences that cannot but be zero.
_SINGULAR = 1e-9
#: Directions of the information smaller than this against its largest are none.
_NO_INFORMATION = 1e-15
_ITERATIONS, _CLOSE = 100, 1e-5
#: A step is halved where the likelihood rises by less than this part of what its slope promises, but for rounding: far
#: from what is stated it leads beyond the largest likelihood, and the next one as far back. How often at the most.
_RISING, _NOTHING, _HALVINGS = 0.25, 1e-12, 30
#: A step takes no component below this part of itself, and none below the least.
_SHRINK, _LEAST = 0.2, 1e-6


class Model(Struct, frozen=True):
    """Differences (n,) that should be zero, their ``fixed`` covariance (n, n) and ``parts`` (g, n, n)."""

    differences: Floats
    fixed: Floats
    parts: Floats


class Components(Struct, frozen=True):
    """Estimates (g,): how many times too small standard uncertainties are stated, NaN where nothing says so.

    ``freedom`` are the degrees of freedom that a variance known as well would have: 2 t2 / var(t).
    """

    scale: Floats
    freedom: Floats

    def bounds(self) -> tuple[Floats, Floats]:
        """Return (g,) what the estimates lie above and below with 95 %, by the chi-square of their freedom."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return _least(self.scale, self.freedom, 0.025), _least(self.scale, self.freedom, 0.975)


def components(models: Sequence[Model]) -> Components:
    """Estimate the components that independent sets of differences have in common.

    Each set must be `varying`: in the directions in which it does vary. Units are the caller's. Nothing is
    told where no largest likelihood is found. Raises `ValueError` where no set is given.
    """
    if not models:
        raise ValueError("no differences are given")
    known = _stacked([model for model in models if len(model.differences)])
    theta = np.ones(len(models[0].parts))
    here = _weighed(known, theta)
    for _ in range(_ITERATIONS):
        free = (theta > _LEAST) | (here.score > 0.0)
        step = np.zeros(len(theta))
        step[free] = _gained(here.information[np.ix_(free, free)], here.score[free])
        step = _kept_positive(theta, step)
        if here.score @ step < 0.0:  # a component that is held back may turn the way of all
            step = _kept_positive(theta, here.score / np.maximum(np.diagonal(here.information), np.finfo(float).tiny))
        there = _weighed(known, theta + step)
        for _ in range(_HALVINGS):
            if there.likely - here.likely >= _RISING * (here.score @ step) - _NOTHING * max(abs(here.likely), 1.0):
                break
            step = step / 2.0
            there = _weighed(known, theta + step)
        theta, here = theta + step, there
        if np.abs(step).max(initial=0.0) <= _CLOSE * theta.max(initial=1.0):
            return _told(theta, here.information)
    return Components(np.full(len(theta), np.nan), np.zeros(len(theta)))


def varying(model: Model) -> Model:
    """Return a set in the directions in which it varies, so many differences."""
    if not len(model.differences):
        return model
    values, vectors = np.linalg.eigh(model.fixed + model.parts.sum(axis=0))
    turn = vectors[:, values > _SINGULAR * values[-1]]
    return Model(turn.T @ model.differences, turn.T @ model.fixed @ turn, turn.T @ model.parts @ turn)


def misfit(models: Sequence[Model]) -> tuple[float, int]:
    """Return the sum of squares of differences against all that is stated, parts and fixed, and how many they are.

    The sets must be `varying`. Where what is stated holds, that is chi-square of so many degrees of freedom.
    """
    square = 0.0
    for model in models:
        if len(model.differences):
            stated = model.fixed + model.parts.sum(axis=0)
            square += float(model.differences @ np.linalg.solve(stated, model.differences))
    return square, sum(len(model.differences) for model in models)


def chance_of(square: float, count: int) -> float:
    """Return the chance that a chi-square of so many degrees of freedom is at least as large."""
    from scipy.special import chdtrc  # as below

    return float(chdtrc(count, square))


def chance_of_ratio(ratio: Floats | float, count: int, of: int = 1) -> Floats:
    """Return (n,) the chances that the mean of ``of`` squares is at least (n,) times that of ``count`` others (F)."""
    from scipy.special import fdtrc  # as below

    return np.asarray(fdtrc(of, count, ratio), np.float64)


def _stacked(models: Sequence[Model]) -> list[Model]:
    """Return sets of one size as one: differences (s, n), fixed (s, n, n), parts (g, s, n, n)."""
    found = []
    for size in {len(model.differences): None for model in models}:
        alike = [model for model in models if len(model.differences) == size]
        differences, fixed = (np.stack([getattr(one, name) for one in alike]) for name in ("differences", "fixed"))
        found.append(Model(differences, fixed, np.stack([one.parts for one in alike], axis=1)))
    return found


class _Weighed(Struct, frozen=True):
    """The logarithm of a likelihood but for a constant, its score (g,) and the information (g, g)."""

    likely: float
    score: Floats
    information: Floats


def _weighed(known: Sequence[Model], theta: Floats) -> _Weighed:
    """Weigh all sets by what the components make of their variances."""
    likely, score, information = 0.0, np.zeros(len(theta)), np.zeros((len(theta), len(theta)))
    for sets in known:
        variance = sets.fixed + np.einsum("g,gsij->sij", theta, sets.parts)
        weight = np.linalg.inv(variance)
        product = weight @ sets.parts
        weighed = np.einsum("sij,sj->si", weight, sets.differences)
        square = np.einsum("si,gsij,sj->g", weighed, sets.parts, weighed)
        likely -= 0.5 * float(np.linalg.slogdet(variance)[1].sum() + np.einsum("si,si->", weighed, sets.differences))
        score += (square - np.einsum("gsii->g", product)) / 2.0
        information += np.einsum("gsij,hsji->gh", product, product) / 2.0
    return _Weighed(likely, score, information)


def _kept_positive(theta: Floats, step: Floats) -> Floats:
    return np.maximum(np.maximum(theta + step, _SHRINK * theta), _LEAST) - theta


def _gained(information: Floats, score: Floats) -> Floats:
    """Return (g,) the information's inverse times the score, in the directions that there is information of."""
    values, vectors = np.linalg.eigh(information)
    there = values > _NO_INFORMATION * values[-1]
    turn = vectors[:, there]
    return np.asarray(turn @ ((score @ turn) / values[there]))


def least(scale: float, freedom: float, chance: float) -> float:
    """Return what a scale is at the least, but for a ``chance``: by the chi-square of its degrees of freedom."""
    return float(_least(np.float64(scale), np.float64(freedom), chance))


def _least(scale: Floats | np.float64, freedom: Floats | np.float64, chance: float) -> Floats:
    from scipy.special import chdtri  # a tenth of a second that jobs with few marks need not wait for

    return np.asarray(scale * np.sqrt(freedom / chdtri(freedom, chance)))


def _told(theta: Floats, information: Floats) -> Components:
    # information falls as the square of a component grows: by itself it would deny what is stated far too good
    known = np.diagonal(information) * np.maximum(theta, 1.0) ** 2 > 1e-9
    variance = np.full(len(theta), np.nan)
    if known.any():
        variance[known] = np.diagonal(np.linalg.pinv(information[np.ix_(known, known)], hermitian=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = np.where(known & (variance > 0.0), 2.0 * theta**2 / variance, 0.0)
        scale = np.where(known, np.sqrt(theta), np.nan)
    return Components(scale, freedom)
