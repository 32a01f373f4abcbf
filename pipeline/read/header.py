"""Names the columns of a file from its header, or by number where it has none."""

from collections import Counter
from collections.abc import Iterable, Sequence

from pipeline.read.findings import Unusable
from pipeline.read.mapping import spelling


def names_of(cells: Sequence[str], line: int, wanted: frozenset[str]) -> tuple[str, ...]:
    """Return a header's names; a nameless column between others gets its place as a name, last ones go.

    Names that come again get a number, unless one of them is ``wanted``: then nobody can say which is meant.
    """
    names = list(cells)
    while names and not names[-1]:
        names.pop()
    if not names:
        raise Unusable(line, "the header cannot be read: it has no names, or a stray quote in a cell")
    names = [name or f"column_{place}" for place, name in enumerate(names, start=1)]
    twice = [name for name, count in Counter(names).items() if count > 1]
    if not twice:
        return tuple(names)
    if wanted.intersection(map(spelling, twice)):
        listed = ", ".join(f'"{name}"' for name in twice)
        what = f"the header has the same name more than once: {listed}"
        raise Unusable(line, what, "give every column its own name, or map columns by number, such as latitude = 3")
    return _told_apart(names)


def by_place(widths: Iterable[int]) -> tuple[str, ...]:
    """Return names for columns that no line names: as many as most rows have cells."""
    counts = Counter(widths)
    width = max(counts, key=lambda cells: (counts[cells], cells), default=0)
    return tuple(f"column_{place}" for place in range(1, width + 1))


def _told_apart(names: list[str]) -> tuple[str, ...]:
    """Return names of which none comes twice: the second of one is called so with a 2 behind it."""
    found: dict[str, None] = {}
    for name in names:
        other, number = name, 2
        while other in found or (other != name and other in names):
            other, number = f"{name}_{number}", number + 1
        found[other] = None
    return tuple(found)
