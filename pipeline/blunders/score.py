"""Explaining a failure: every hypothesis scored by the misfit that it leaves, against how much it had to guess.

The evidence is a table of differences, observed minus known, easting, northing and height, with their covariance. A
hypothesis predicts such a table whole, or a shape of it whose size is free. Its score is

    chi-square of what it leaves  +  2 ln(ways in which its kind could have been tried)  +  a charge for free sizes,

the usual trade of likelihood against the number of guesses: minus twice the logarithm of likelihood times prior, every
kind as likely as any other but for those in `ODDS`, and every way within a kind as likely as any other. A free vector
has no preferred size: every octave from `LEAST` to `RANGE` is as likely, and every direction (see `charge`). An
occupation that is off by any vector, for no known reason, is a hypothesis too: a reason that does not beat it may be a
chance fit and is said to be one. Nothing is ever applied.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.blunders.grouped_errors import Covariance, Whitener
from pipeline.replace import replace
from pipeline.tolerance import Tolerance

#: Metres between which an error of unknown reason is taken to lie: below is noise, above it is no survey any more.
#: Common practice, no source.
LEAST, RANGE = 0.01, 10.0

#: Two explanations whose scores differ by less are told apart by nobody: ten to one in likelihood.
CLOSE = 2.0 * math.log(10.0)
#: Metres, the size of noise against which a slack is charged.
_FINE = 0.02
#: Rows by which most predictions are told not to fit.
_FEW = 4
#: Length of the two ends of a line, circumference of the unit circle, surface of the unit sphere.
_SPHERE = (0.0, 2.0, 2.0 * math.pi, 4.0 * math.pi)


class Kind(StrEnum):
    """Kinds of causes."""

    REGISTER_BEFORE = "register before"
    BASE_MOVED = "base moved"
    BASE_DRIFTS = "base drifts"
    DIGITS_SWAPPED = "digits swapped"
    DIGIT_WRONG = "digit wrong"
    AXES_SWAPPED = "axes swapped"
    HEMISPHERE = "hemisphere"
    ZONE = "neighbouring zone"
    ORIGIN = "false origin"
    DATUM = "other datum"
    HEIGHT_SYSTEM = "height system"
    ANTENNA = "antenna or pole height"
    FEET = "feet"
    OTHER_MARK = "other mark"
    EXCHANGED = "marks exchanged"
    ONE_SCALE = "one scale"
    FIELD_SHIFT = "field shift"
    MISSTATED = "field shift misstated"
    NOT_STATED = "field shift not stated"
    STATED_SHIFT = "stated shift"
    OTHER_SESSION = "other session"
    MARK_UNEXPLAINED = "mark unexplained"
    POINT_UNEXPLAINED = "point unexplained"
    SETUP_UNEXPLAINED = "set-up unexplained"
    SHIFT_UNEXPLAINED = "stated shift unexplained"


#: Kinds that say where the error is but not why.
UNEXPLAINED = frozenset({Kind.MARK_UNEXPLAINED, Kind.POINT_UNEXPLAINED, Kind.SETUP_UNEXPLAINED, Kind.SHIFT_UNEXPLAINED})


#: How likely a kind is against the others, where that is not one. Common practice, no source: a tripod that settles by
#: centimetres in a day is rarer than one that somebody knocks, and where nobody was between opening and close, the two
#: look alike. A mark that is off once its typing was tried has been disturbed: rarer than a poor occupation of it.
ODDS = {Kind.BASE_DRIFTS: 0.1, Kind.MARK_UNEXPLAINED: 0.3}


class WeighedDifferences(Struct, frozen=True):
    """Differences of (n,) occupations and what they are worth.

    Args:
        difference: (n, 3) observed minus known; anything where not known.
        known: (n, 3) whether the component is known.
        covariance: what they are worth together.
        loose: (n,) what a metre of a prediction's slack is in each row's differences; None for one in all.
    """

    difference: Floats
    known: Flags
    covariance: Covariance
    loose: Floats | None = None

    def white(self) -> tuple[Whitener, Floats]:
        """Return what turns differences into independent ones of unit variance, and (n, 3) these."""
        whitener = Whitener(self.covariance, self.known)
        return whitener, whitener(np.where(self.known, self.difference, 0.0))


#: Which axes of an error have sizes of their own: all, those of the position, that of the height; and how it is said.
ALL, LEVEL, HEIGHT = (True, True, True), (True, True, False), (False, False, True)
PARTS = ((ALL, ""), (LEVEL, " in position"), (HEIGHT, " in height"))


class OneShape(Struct, frozen=True, eq=False):
    """What hypotheses have in common that differ only in which components of one shape are free; each is its own."""


class Hypothesis(Struct, frozen=True, eq=False):
    """One possible cause; equal to itself alone, so that what is known of it can be kept by it.

    Args:
        kind: what kind it is; `ways` of a kind are counted among the hypotheses given together.
        text: a sentence without its numbers' fit.
        shape: (n, 3) the differences that it predicts; where ``free``, how strongly its free vector shows in each.
        free: which of easting, northing and height have a size of their own, to be found; none where ``shape`` is all.
        decide: what observation would decide for or against it.
        slack: metres by which the horizontal prediction itself may be off, such as a datum operation's accuracy.
        where: free to use by the caller: the gap in time of a moved base, for instance.
        given: (n, 3) differences that it predicts besides those whose size is free; None for none.
        guesses: how many ways there were to draw it besides those of its kind.
        sentence_for: gives the sentence for a (3,) size that was found, in place of ``text``; None where that says all.
        group: the same for those that have one shape and differ only in what is free, of which the best is told; None
            for one that stands alone.
    """

    kind: Kind
    text: str
    shape: Floats
    free: tuple[bool, bool, bool] = (False, False, False)
    decide: str = ""
    slack: float = 0.0
    where: tuple[int, int] | None = None
    given: Floats | None = None
    guesses: float = 1.0
    sentence_for: Callable[[Floats], str] | None = None
    group: OneShape | None = None


class Explanation(Struct, frozen=True):
    """A hypothesis compared with the evidence.

    ``predicted`` (n, 3) are the differences that it explains and ``left`` what it leaves of them, ``size`` (3,) its
    free vector (zero where not free) with ``sigma`` (3,), ``misfit_horizontal`` and ``misfit_vertical`` the most it
    leaves anywhere, ``chi_square`` what it leaves in all, ``chance`` whether it names a reason and yet does no better
    than an unexplained error, so that it may fit by chance.
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


def explain(
    evidence: WeighedDifferences,
    hypotheses: Sequence[Hypothesis],
    tolerance: Tolerance,
    tried: Mapping[Kind, int] | None = None,
) -> list[Explanation]:
    """Return the hypotheses that bring every occupation within the tolerance, best score first.

    ``tried`` says how many ways of each kind were tried, where some of them were left out because they cannot fit.
    """
    ways: dict[Kind, int] = {}
    for hypothesis in hypotheses:
        ways[hypothesis.kind] = ways.get(hypothesis.kind, 0) + 1
    ways |= tried or {}
    whitener, white = evidence.white()
    found = _whole(evidence, whitener, [one for one in hypotheses if not any(one.free)], tolerance)
    found += _fitted(evidence, whitener, white, [one for one in hypotheses if any(one.free)])
    fitting = [
        replace(one, score=one.score + 2.0 * math.log(_ways(one.hypothesis, ways)))
        for one in found
        if tolerance.passes([one.misfit_horizontal, one.misfit_vertical])
    ]
    unexplained = min((one.score for one in fitting if one.hypothesis.kind in UNEXPLAINED), default=math.inf)
    told = [replace(one, chance=not any(one.hypothesis.free) and one.score >= unexplained) for one in fitting]
    return _once(sorted(told, key=lambda one: one.score))


def _ways(hypothesis: Hypothesis, ways: Mapping[Kind, int]) -> float:
    return ways[hypothesis.kind] * hypothesis.guesses / ODDS.get(hypothesis.kind, 1.0)


def _once(explanations: Sequence[Explanation]) -> list[Explanation]:
    """Return the best of those that differ only in which components of one shape are free, in their order."""
    seen: set[tuple[Kind, OneShape]] = set()
    best = []
    for one in explanations:
        kind, group = one.hypothesis.kind, one.hypothesis.group
        if group is None or (kind, group) not in seen:
            best.append(one)
        if group is not None:
            seen.add((kind, group))
    return best


def _whole(
    evidence: WeighedDifferences, whitener: Whitener, hypotheses: Sequence[Hypothesis], tolerance: Tolerance
) -> list[Explanation]:
    """Hold hypotheses without free sizes against the evidence, all at once; those beyond the tolerance are dropped.

    Nearly all fail at the rows that are furthest off, so those are looked at first, and all rows of what is left.
    """
    near = hypotheses
    for rows in (furthest(evidence, tolerance), np.arange(len(evidence.difference))):
        if not near:
            return []
        shapes = np.stack([one.shape[rows] for one in near])
        slack = np.array([one.slack for one in near])
        left = unexplained(evidence, rows, shapes, slack)
        level = np.hypot(left[..., 0], left[..., 1]).max(axis=1, initial=0.0)
        height = np.abs(left[..., 2]).max(axis=1, initial=0.0)
        passes = tolerance.passes(np.stack([level, height], axis=-1))
        if len(rows) == len(evidence.difference):
            passes &= ~_by_looseness(evidence, shapes, slack, tolerance)
        fit = np.flatnonzero(passes)
        near = [near[at] for at in fit.tolist()]
    none, found = np.zeros(3), []
    for hypothesis, at in zip(near, fit.tolist(), strict=True):
        chi_square = float((whitener(left[at]) ** 2).sum())
        score = chi_square + 4.0 * math.log(max(slack[at] / _FINE, 1.0))
        explanation = Explanation(
            hypothesis=hypothesis,
            predicted=shapes[at],
            left=left[at],
            size=none,
            sigma=none,
            misfit_horizontal=float(level[at]),
            misfit_vertical=float(height[at]),
            chi_square=chi_square,
            score=score,
            chance=False,
        )
        found.append(explanation)
    return found


def _by_looseness(evidence: WeighedDifferences, shapes: Floats, slack: Floats, tolerance: Tolerance) -> Flags:
    """Return (k,) which predictions fit by their slack alone: it takes up all differences, or more without them."""
    nothing = np.zeros((len(slack), *evidence.difference.shape))
    left = unexplained(evidence, np.arange(len(evidence.difference)), nothing, slack)[..., :2]
    level = np.hypot(left[..., 0], left[..., 1]).max(axis=1, initial=0.0)
    alone = tolerance.passes(np.stack([level, np.zeros(len(slack))], axis=-1))
    known = np.where(evidence.known, evidence.difference, 0.0)
    before, after = (np.hypot(off[..., 0], off[..., 1]).max(axis=-1, initial=0.0) for off in (known, known - shapes))
    return np.asarray((slack > 0.0) & (alone | (after >= before)))


def furthest(evidence: WeighedDifferences, tolerance: Tolerance) -> Integers:
    """Return (k,) the few rows whose differences are the most tolerances."""
    off = np.where(evidence.known, np.abs(evidence.difference), 0.0) / tolerance.axes()
    return np.argsort(-off.max(axis=1, initial=0.0), kind="stable")[:_FEW]


def unexplained(evidence: WeighedDifferences, rows: Integers, shapes: Floats, slack: Floats) -> Floats:
    """Return (k, m, 3) what predictions leave of the differences of (m,) rows.

    What a prediction with a slack cannot be blamed for is taken off, and charged as two free sizes within the slack.
    """
    left = np.where(evidence.known[rows], evidence.difference[rows] - shapes, 0.0)
    distance = np.hypot(left[..., 0], left[..., 1])
    most = slack[:, None] * (1.0 if evidence.loose is None else evidence.loose[rows])
    left[..., :2] *= (np.maximum(distance - most, 0.0) / np.maximum(distance, 1e-12))[..., None]
    return left


def _fitted(
    evidence: WeighedDifferences, whitener: Whitener, white: Floats, hypotheses: Sequence[Hypothesis]
) -> list[Explanation]:
    """Find the free sizes of hypotheses by weighted least squares, each component by itself."""
    shapes: dict[OneShape, Floats] = {}
    found = []
    for one in hypotheses:
        shape = None if one.group is None else shapes.get(one.group)
        if shape is None:
            shape = whitener(one.shape)
        if one.group is not None:
            shapes[one.group] = shape
        found.append(_fit(evidence, one, shape, white if one.given is None else white - whitener(one.given)))
    return found


def _fit(evidence: WeighedDifferences, hypothesis: Hypothesis, shape: Floats, white: Floats) -> Explanation:
    """Find the free sizes of a hypothesis; ``shape`` and ``white`` are its shape and the differences, both white."""
    given = 0.0 if hypothesis.given is None else hypothesis.given
    information = (shape**2).sum(axis=0)
    free = np.array(hypothesis.free) & (information > 0.0)
    known = np.where(free, information, 1.0)
    size = np.where(free, (shape * white).sum(axis=0) / known, 0.0)
    sigma = np.where(free, 1.0 / np.sqrt(known), 0.0)
    predicted = hypothesis.shape * size + given
    left = np.where(evidence.known, evidence.difference - predicted, 0.0)
    chi_square = float(((white - shape * size) ** 2).sum())
    return Explanation(
        hypothesis=hypothesis,
        predicted=predicted,
        left=left,
        size=size,
        sigma=sigma,
        misfit_horizontal=float(np.hypot(left[:, 0], left[:, 1]).max(initial=0.0)),
        misfit_vertical=float(np.abs(left[:, 2]).max(initial=0.0)),
        chi_square=chi_square,
        score=chi_square + charge(size, sigma),
        chance=False,
    )


def size_of(evidence: WeighedDifferences, shape: Floats, free: tuple[bool, bool, bool], given: Floats | None) -> Floats:
    """Return the (3,) size with which a shape explains most beside what is ``given``; zero where it is not free."""
    whitener, white = evidence.white()
    hypothesis = Hypothesis(Kind.MARK_UNEXPLAINED, "", shape, free, given=given)
    return _fit(evidence, hypothesis, whitener(shape), white if given is None else white - whitener(given)).size


def charge(size: Floats, sigma: Floats) -> float:
    """Return what a free vector (3,) with sigmas (3,) is charged; components of zero sigma are not free.

    Minus twice the logarithm of the prior's part that the evidence leaves. A vector of k components has no preferred
    direction, and every octave of its length r between `LEAST` and `RANGE` is as likely as any other, so that its
    density is 1 / (S r^k ln(RANGE / LEAST)) with S the surface of the unit sphere in k dimensions; the evidence leaves
    s sqrt(2 pi) of each component. Never negative.
    """
    free = sigma > 0.0
    count = int(free.sum())
    if not count:
        return 0.0
    length = max(float(np.linalg.norm(size[free])), LEAST)
    spread = _SPHERE[count] * length**count * math.log(RANGE / LEAST)
    return 2.0 * math.log(max(spread / float(np.prod(sigma[free] * math.sqrt(2.0 * math.pi))), 1.0))


def significance_of(size: Floats, sigma: Floats) -> float:
    """Return the probability that noise alone makes a (3,) vector this long or longer, given its (3,) sigma.

    The upper tail of chi-square with three degrees of freedom: erfc(sqrt(x / 2)) + sqrt(2 x / pi) exp(-x / 2).
    """
    squares = np.divide(size, sigma, out=np.zeros(3), where=sigma > 0) ** 2
    return tail(float(squares.sum()))


def tail(chi_square: float) -> float:
    """Return the probability that chi-square with three degrees of freedom is this large or larger."""
    half = chi_square / 2.0
    return math.erfc(math.sqrt(half)) + 2.0 * math.sqrt(half / math.pi) * math.exp(-half)
