"""Knows the points of an issue by their columns: they are corrected already, and no raw readings."""

from collections.abc import Iterable

#: Columns that all points of an issue have, and no export.
_ISSUED = frozenset(("hu95", "vu95", "proof", "source_file", "source_row"))
#: What such a file is, in words.
ISSUED_SAID = "of an issue, not raw readings: its columns proof, hu95, source_file and source_row say so"


def is_issued(names: Iterable[str]) -> bool:
    """Tell whether the columns of a table are those of an issue's points."""
    return set(names) >= _ISSUED
