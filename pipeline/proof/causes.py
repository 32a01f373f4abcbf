"""Reading a blunder: every hypothesis scored by the misfit that it leaves, against how much it had to guess.

The evidence of one session is a table of differences, observed minus known, easting, northing and height, with their
covariance. A hypothesis predicts such a table, or a shape of it whose size is free. Its score is

    chi-square of what it leaves  +  2 ln(ways in which its kind could have been tried)  +  a charge per free size,

the usual trade of likelihood against the number of guesses (minus twice the logarithm of likelihood times prior, with
equal prior on the ways of a kind). A free size of standard uncertainty s, drawn from anywhere within `RANGE`, is
charged 2 ln(RANGE / (s sqrt(2 pi))). An occupation that is off by any vector, for no known reason, is a hypothesis too,
with three free sizes: what does not beat it may be a chance fit and is said to be one. Nothing is ever applied.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Metres within which an unexplained error is taken to lie. Common practice, no source.
RANGE = 10.0


#: Metres, the size of noise against which a slack is charged.
_FINE = 0.02


class Kind(StrEnum):
    """Kinds of causes."""

    BASE_MOVED = "base moved"
    BASE_DRIFTS = "base drifts"
    DIGITS_SWAPPED = "digits swapped"
    DIGIT_WRONG = "digit wrong"
    AXES_SWAPPED = "axes swapped"
    HEMISPHERE = "hemisphere"
    ZONE = "neighbouring zone"
    DATUM = "other datum"
    HEIGHT_SYSTEM = "height system"
    ANTENNA = "antenna or pole height"
    FEET = "feet"
    OTHER_MARK = "other mark"
    FIELD_SHIFT = "field shift"
    OTHER_SESSION = "other session"
    MARK_UNEXPLAINED = "mark unexplained"
    POINT_UNEXPLAINED = "point unexplained"


#: Kinds that say where the error is but not why.
UNEXPLAINED = frozenset({Kind.MARK_UNEXPLAINED, Kind.POINT_UNEXPLAINED})


@dataclass(frozen=True)
class Evidence:
    """Differences of (n,) occupations and what they are worth.

    Args:
        difference: (n, 3) observed minus known; anything where not known.
        known: (n, 3) whether the component is known.
        covariance: (3, n, n) of easting, northing, height, each.
    """

    difference: Floats
    known: Flags
    covariance: Floats

    def whitener(self) -> Floats:
        """Return (3, n, n): W such that W'W is the inverse covariance of the known rows, zero for the others."""
        found = np.zeros_like(self.covariance)
        for axis in range(3):
            rows = np.flatnonzero(self.known[:, axis])
            block = np.linalg.cholesky(self.covariance[axis][np.ix_(rows, rows)])
            found[axis][np.ix_(rows, rows)] = np.linalg.inv(block)
        return found


@dataclass(frozen=True)
class Hypothesis:
    """One possible cause.

    Args:
        kind: what kind it is; `ways` of a kind are counted among the hypotheses given together.
        text: a sentence without its numbers' fit.
        shape: (n, 3) the differences that it predicts; where ``free``, how strongly its free vector shows in each.
        free: which of easting, northing and height have a size of their own, to be found; none where ``shape`` is all.
        decide: what observation would decide for or against it.
        slack: metres by which the horizontal prediction itself may be off, such as a datum operation's accuracy.
        where: free to use by the caller: the gap in time of a moved base, for instance.
    """

    kind: Kind
    text: str
    shape: Floats
    free: tuple[bool, bool, bool] = (False, False, False)
    decide: str = ""
    slack: float = 0.0
    where: tuple[int, int] | None = None


@dataclass(frozen=True)
class Reading:
    """A hypothesis held against the evidence.

    ``predicted`` (n, 3) are the differences that it explains and ``left`` what it leaves of them, ``size`` (3,) its
    free vector (zero where not free) with ``sigma`` (3,), ``misfit_horizontal`` and ``misfit_vertical`` the most it
    leaves anywhere, ``chi_square`` what it
    leaves in all, ``chance`` whether it does no better than an unexplained error, so that it may fit by chance.
    """

    hypothesis: Hypothesis
    predicted: Floats
    left: Floats
    size: Floats
    sigma: Floats
    misfit_horizontal: float
    misfit_vertical: float
    chi_square: float
    score: float
    chance: bool


def read(evidence: Evidence, hypotheses: Sequence[Hypothesis], horizontal: float, vertical: float) -> list[Reading]:
    """Return the hypotheses that bring every occupation within the tolerances (metres), best score first."""
    whitener = evidence.whitener()
    ways: dict[Kind, int] = {}
    for hypothesis in hypotheses:
        ways[hypothesis.kind] = ways.get(hypothesis.kind, 0) + 1
    fitted = [_fit(evidence, whitener, hypothesis, ways[hypothesis.kind]) for hypothesis in hypotheses]
    fitting = [one for one in fitted if one.misfit_horizontal <= horizontal and one.misfit_vertical <= vertical]
    unexplained = min((one.score for one in fitting if one.hypothesis.kind in UNEXPLAINED), default=math.inf)
    told = [_with_chance(one, unexplained) for one in fitting]
    return sorted(told, key=lambda one: one.score)


def _with_chance(reading: Reading, unexplained: float) -> Reading:
    chance = reading.hypothesis.kind not in UNEXPLAINED and reading.score >= unexplained
    return Reading(**{**reading.__dict__, "chance": chance})


def _fit(evidence: Evidence, whitener: Floats, hypothesis: Hypothesis, ways: int) -> Reading:
    predicted, size, sigma = np.zeros_like(evidence.difference), np.zeros(3), np.zeros(3)
    charge = 0.0
    if any(hypothesis.free):
        for axis in np.flatnonzero(hypothesis.free):
            shape = whitener[axis] @ hypothesis.shape[:, axis]
            information = float(shape @ shape)
            if information <= 0.0:
                continue
            white = whitener[axis] @ np.where(evidence.known[:, axis], evidence.difference[:, axis], 0.0)
            size[axis], sigma[axis] = float(shape @ white) / information, 1.0 / math.sqrt(information)
            predicted[:, axis] = hypothesis.shape[:, axis] * size[axis]
            charge += 2.0 * math.log(max(RANGE / (sigma[axis] * math.sqrt(2.0 * math.pi)), 1.0))
    else:
        predicted = hypothesis.shape
    left = np.where(evidence.known, evidence.difference - predicted, 0.0)
    if hypothesis.slack > 0.0:
        # What the prediction cannot be blamed for, and a charge as for two free sizes within the slack.
        distance = np.hypot(left[:, 0], left[:, 1])
        left[:, :2] *= (np.maximum(distance - hypothesis.slack, 0.0) / np.maximum(distance, 1e-12))[:, None]
        charge += 4.0 * math.log(max(hypothesis.slack / _FINE, 1.0))
    white = np.einsum("aij,ja->ia", whitener, left)
    chi_square = float((white**2).sum())
    return Reading(
        hypothesis,
        predicted,
        left,
        size,
        sigma,
        float(np.hypot(left[:, 0], left[:, 1]).max(initial=0.0)),
        float(np.abs(left[:, 2]).max(initial=0.0)),
        chi_square,
        chi_square + 2.0 * math.log(ways) + charge,
        False,
    )


def significance_of(size: Floats, sigma: Floats) -> float:
    """Return the probability that noise alone makes a (3,) vector this long or longer, given its (3,) sigma.

    The upper tail of chi-square with three degrees of freedom: erfc(sqrt(x / 2)) + sqrt(2 x / pi) exp(-x / 2).
    """
    squares = np.divide(size, sigma, out=np.zeros(3), where=sigma > 0) ** 2
    total = float(squares.sum())
    return math.erfc(math.sqrt(total / 2.0)) + math.sqrt(2.0 * total / math.pi) * math.exp(-total / 2.0)
