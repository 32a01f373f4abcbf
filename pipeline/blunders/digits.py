"""Numbers as they may have been meant: digits swapped, a digit wrong."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True)
class Misread:
    """A coordinate of the register: which of its three, what is written, and what may have been meant."""

    component: int
    written: str
    meant: str
    swapped: bool


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
                yield Misread(component, text, "".join(swapped), True)
        for place in places:
            for digit in "0123456789":
                if digit != text[place]:
                    yield Misread(component, text, text[:place] + digit + text[place + 1 :], False)
