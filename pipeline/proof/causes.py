"""What a failing occupation may mean: each hypothesis with the difference it predicts and the misfit it leaves.

A hypothesis is a sentence and a vector: the difference, observed minus known, that the check would show if the
sentence were true and everything else right. What brings the mark within tolerance is listed, best first. Nothing is
ever applied.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Kind(IntEnum):
    """Kinds of hypotheses. A lower one makes fewer guesses, so it fits by chance less often and is named first."""

    OTHER_MARK = 1
    AXES_SWAPPED = 2
    FIELD_SHIFT_TWICE = 3
    OTHER_SESSION = 4
    ELLIPSOIDAL_HEIGHT = 5
    FEET = 6
    DIGITS_SWAPPED = 7
    DIGIT_WRONG = 8


@dataclass(frozen=True)
class Hypothesis:
    """A possible cause and the (3,) easting, northing, height difference, in metres, that it predicts."""

    kind: Kind
    text: str
    predicted: Floats


@dataclass(frozen=True)
class Reading:
    """A hypothesis that fits, with the horizontal and vertical misfit, in metres, that it leaves."""

    kind: Kind
    text: str
    misfit_horizontal: float
    misfit_vertical: float


def fitting(difference: Floats, hypotheses: Iterable[Hypothesis], horizontal: float, vertical: float) -> list[Reading]:
    """Return the hypotheses that bring a (3,) difference within the tolerances, best first.

    An unknown component of the difference (NaN) is not compared.
    """
    found = []
    for hypothesis in hypotheses:
        left = np.nan_to_num(difference - hypothesis.predicted)
        far, high = float(np.hypot(left[0], left[1])), float(abs(left[2]))
        if far <= horizontal and high <= vertical:
            found.append(Reading(hypothesis.kind, hypothesis.text, far, high))
    return sorted(found, key=lambda reading: (reading.kind, np.hypot(reading.misfit_horizontal, reading.misfit_vertical)))


@dataclass(frozen=True)
class Misread:
    """A number of the register as it may have been meant: which of its three coordinates, and the other value."""

    kind: Kind
    component: int
    written: str
    meant: str


def misread_numbers(written: tuple[str, str, str]) -> Iterator[Misread]:
    """Yield every way in which one register coordinate may have been mistyped by two neighbouring digits or by one.

    Args:
        written: the coordinates as the register has them, "" where there is none.
    """
    for component, text in enumerate(written):
        places = [place for place, character in enumerate(text) if character.isdigit()]
        for one, two in zip(places, places[1:], strict=False):
            if text[one] != text[two]:
                swapped = list(text)
                swapped[one], swapped[two] = text[two], text[one]
                yield Misread(Kind.DIGITS_SWAPPED, component, text, "".join(swapped))
        for place in places:
            for digit in "0123456789":
                if digit != text[place]:
                    yield Misread(Kind.DIGIT_WRONG, component, text, text[:place] + digit + text[place + 1 :])


def agreeing(vectors: Floats, horizontal: float, vertical: float) -> Floats | None:
    """Return the (3,) mean of (n, 3) differences if there are two or more and each is within tolerance of it, else None."""
    if len(vectors) < 2:
        return None
    mean: Floats = vectors.mean(axis=0)
    left = vectors - mean
    near = (np.hypot(left[:, 0], left[:, 1]) <= horizontal) & (np.abs(left[:, 2]) <= vertical)
    return mean if near.all() else None
