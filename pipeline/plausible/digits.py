"""Finds and undoes typing errors in one number: two neighbouring digits swapped, or one wrong digit."""

from collections.abc import Iterator
from enum import StrEnum
from itertools import pairwise

from msgspec import Struct


class Slip(StrEnum):
    """How one number became another in typing."""

    SWAPPED = "two neighbouring digits are swapped"
    DIGIT = "one digit differs"


class Misread(Struct, frozen=True):
    """A coordinate of the register: which of its three, what is written, and what may have been meant."""

    component: int
    written: str
    meant: str
    how: Slip


def misread_numbers(written: tuple[str, str, str]) -> Iterator[Misread]:
    """Yield every way in which one coordinate may have been mistyped by two neighbouring digits or by one.

    Args:
        written: the coordinates as the register has them, "" where there is none.
    """
    for component, text in enumerate(written):
        places = [place for place, character in enumerate(text) if character.isdigit()]
        for one, two in pairwise(places):
            if text[one] != text[two]:
                swapped = list(text)
                swapped[one], swapped[two] = text[two], text[one]
                yield Misread(component, text, "".join(swapped), Slip.SWAPPED)
        for place in places:
            for digit in "0123456789":
                if digit != text[place]:
                    yield Misread(component, text, text[:place] + digit + text[place + 1 :], Slip.DIGIT)


def slip(before: str, after: str) -> Slip | None:
    """Return what makes of one number, as written, another; None where it is no slip of one or two digits."""
    one, other = _padded(before, after)
    if len(one) != len(other):
        return None
    differing = [at for at, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    digits = [at for at, sign in enumerate(one) if sign.isdigit()]
    if not differing or any(not (one[at].isdigit() and other[at].isdigit()) for at in differing):
        return None
    if len(differing) == 1:
        return Slip.DIGIT
    first, second = differing[0], differing[-1]
    neighbours = len(differing) == 2 and digits.index(second) - digits.index(first) == 1
    return Slip.SWAPPED if neighbours and (one[first], one[second]) == (other[second], other[first]) else None


def _padded(*texts: str) -> list[str]:
    """Return numbers as written with a point as their decimal sign and equally many decimals."""
    parts = [text.strip().replace(",", ".").removeprefix("+").partition(".") for text in texts]
    decimals = max(len(fraction) for _, _, fraction in parts)
    return [f"{whole}.{fraction.ljust(decimals, '0')}" for whole, _, fraction in parts]
