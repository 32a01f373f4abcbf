"""What an issue draws otherwise than the one before, beside the places of points: lines, temporary marks, proof words.

The layer ``changes`` has points alone. What is said here stands among the reasons of an issue, in its record's
``changes.because``, and is known again by how it begins.
"""

import re
from collections.abc import Iterable, Sequence

from pipeline.near import and_more
from pipeline.words import counted, plural

#: How many lines or marks a sentence names; of the others it says how many they are.
NAMED = 4

_PROVEN = "proven otherwise: "
_BEGINS = re.compile(r"[\d,]+ (?:lines?|temporary marks?) (?:changed|moved|(?:is|are) (?:gone|new)): ")
_BEGINS_PROVEN = re.compile(rf"[\d,]+ points? {_PROVEN}")


def drawn_message(what: str, became: str, named: Sequence[str], count: int | None = None) -> str:
    """Return a sentence of some lines or marks: "2 lines changed: KERB 1 (...), FENCE (...)".

    Args:
        what: "line" or "temporary mark".
        became: "changed", "moved", "gone" or "new".
        named: the first of them, or all, in words.
        count: how many there are; None where these are all.
    """
    count = len(named) if count is None else count
    how = f"{plural(count, 'is', 'are')} {became}" if became in ("gone", "new") else became
    shown = named[:NAMED]
    return f"{counted(count, what)} {how}: {', '.join(shown)}{and_more(count - len(shown))}"


def proof_message(pairs: Sequence[tuple[str, str, int]]) -> list[str]:
    """Return how many points have another proof word; ``pairs`` are the word before, the one now, and how many."""
    if not pairs:
        return []
    told = [f"{count:,} {plural(count, 'was', 'were')} {one} and {plural(count, 'is', 'are')} {other}"
            for one, other, count in pairs]  # fmt: skip
    return [f"{counted(sum(count for _, _, count in pairs), 'point')} {_PROVEN}{', '.join(told)}"]


def with_drawn(points: Sequence[str], drawn: Sequence[str]) -> str:
    """Return what became of points, and what else is drawn otherwise, as one line; where that is nothing, so."""
    none = [] if any(map(_BEGINS_PROVEN.match, drawn)) else ["no point changed"]
    return "; ".join([*([", ".join(points)] if points else none), *drawn])


def is_drawn(reason: str) -> bool:
    """Say whether a reason for an issue is a sentence of the above: it tells what changed, not why."""
    return _BEGINS.match(reason) is not None or _BEGINS_PROVEN.match(reason) is not None


def drawn_among(reasons: Iterable[str]) -> list[str]:
    """Return those of the reasons for an issue that say what it draws otherwise."""
    return [reason for reason in reasons if is_drawn(reason)]


def reasons_among(reasons: Iterable[str]) -> list[str]:
    """Return the others."""
    return [reason for reason in reasons if not is_drawn(reason)]
