"""Tells codes that are mistyped for the code of a check: two letters changed over, one wrong, missing or doubled."""

from collections.abc import Iterable

from pipeline.letter_case import folded

#: Letters from which a code is long enough that one wrong or missing letter is a slip, and no code of its own.
_LONG = 3


def slip_of(code: str, meant: Iterable[str]) -> str:
    """Return the first of some codes that a code is one slip of the keys away from; "" where it is none's.

    Numbers count things: CHK1 and CHK2 are codes of their own. Upper and lower case are alike.
    """
    typed = folded(code)
    return next((one for one in meant if _one_slip(typed, folded(one))), "")


def changed_over(code: str, meant: str) -> bool:
    """Tell whether a code has the letters of another in another order, which no other word has by chance."""
    return sorted(folded(code)) == sorted(folded(meant))


def _one_slip(typed: str, meant: str) -> bool:
    if typed == meant or len(meant) < 2 or len(typed) < 2:
        return False
    start = next((at for at, (a, b) in enumerate(zip(typed, meant, strict=False)) if a != b), None)
    start = min(len(typed), len(meant)) if start is None else start
    rest, wanted = typed[start:], meant[start:]
    if len(typed) == len(meant):
        changed = rest[:2] == wanted[1::-1] and rest[2:] == wanted[2:]
        wrong = len(meant) >= _LONG and rest[1:] == wanted[1:] and _letters(rest[0], wanted[0])
        return (changed and _letters(*rest[:2])) or wrong
    if len(typed) + 1 == len(meant):
        return len(meant) >= _LONG and rest == wanted[1:] and _letters(wanted[0])
    more = len(typed) == len(meant) + 1 and rest[1:] == wanted
    return more and start > 0 and rest[0] == typed[start - 1] and _letters(rest[0])


def _letters(*signs: str) -> bool:
    return all(sign.isalpha() for sign in signs)
