"""What an issue draws otherwise than the one before, beside its points, in words: lines, temporary marks.

The layer ``changes`` has points alone. What is said here stands among the reasons of an issue, in its record's
``changes.because``, and is known again by how it begins.
"""

import re
from collections.abc import Iterable, Sequence

from pipeline.near import and_more
from pipeline.words import counted, plural

#: How many lines or marks a sentence names; of the others it says how many they are.
NAMED = 4

_BEGINS = re.compile(r"[\d,]+ (?:lines?|temporary marks?) (?:changed|moved|(?:is|are) (?:gone|new)): ")


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


def is_drawn(reason: str) -> bool:
    """Say whether a reason for an issue is a sentence of `drawn_message`: it tells what changed, not why."""
    return _BEGINS.match(reason) is not None


def drawn_among(reasons: Iterable[str]) -> list[str]:
    """Return those of the reasons for an issue that say what it draws otherwise."""
    return [reason for reason in reasons if is_drawn(reason)]


def reasons_among(reasons: Iterable[str]) -> list[str]:
    """Return the others."""
    return [reason for reason in reasons if not is_drawn(reason)]
