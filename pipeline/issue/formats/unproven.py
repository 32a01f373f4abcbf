"""How many points of an issue are not proven, and by which word: said at the head of every format made from it."""

from collections.abc import Mapping

from pipeline.issue.file_facts import FileFacts
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.words import Proof, counted

NAME = "not proven"

#: Stands for a word that is missing.
UNKNOWN = "unproven"

_ORDER = [str(word) for word in Proof]


def unproven_told(counts: Mapping[str | None, int]) -> str | None:
    """Return in words how many points are not proven; None where all are. ``counts`` are those of each proof word."""
    left = {word or UNKNOWN: count for word, count in counts.items() if word != str(Proof.BRACKETED) and count}
    if not left:
        return None
    order = sorted(left, key=lambda word: (_ORDER.index(word) if word in _ORDER else len(_ORDER), word))
    return f"{counted(sum(left.values()), 'point')} ({', '.join(f'{left[word]:,} {word}' for word in order)})"


def judged_lines(about: FileFacts, package: Package) -> list[str]:
    """Return what became of an issue's readings, and how many of its points are not proven, each as one text."""
    told = unproven_told(package.proofs())
    return [*about.judged_text, *([f"{NAME}: {told}"] if told is not None else [])]
