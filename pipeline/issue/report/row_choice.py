"""Chooses which rows of a long list are shown, folded away, or left to the GeoPackage."""

from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

from msgspec import Struct

Row = TypeVar("Row")
Shown = TypeVar("Shown", covariant=True)


class Chosen(Struct, Generic[Shown], frozen=True):
    """Rows of a list: those shown at once, those folded away, and how many are neither."""

    first: Sequence[Shown]
    rest: Sequence[Shown]
    left_out: int

    @property
    def total(self) -> int:
        """Return how many rows the whole list has."""
        return len(self.first) + len(self.rest) + self.left_out


def choose(
    rows: Sequence[Row],
    urgency: Callable[[Row], int],
    *,
    short: int = 30,
    first: int = 60,
    most: int = 1000,
) -> Chosen[Row]:
    """Choose what is shown of a list.

    A short list is shown whole and in its order. Of a long one the rows to look at come first, the most urgent before
    the others; the rest is folded away in its own order, up to ``most`` rows altogether.

    Args:
        rows: the list.
        urgency: 0 for a row that needs no look, more for one that does.
        short: up to so many rows are shown in their order.
        first: how many rows to look at are shown at once.
        most: how many rows are in the page at all.
    """
    if len(rows) <= short:
        return Chosen(rows, (), 0)
    order = sorted(range(len(rows)), key=lambda number: (-urgency(rows[number]), number))
    urgent = sum(1 for row in rows if urgency(row) > 0)
    seen = order[: min(urgent, first)] or order[: short // 3]
    kept = sorted(order[len(seen) : most])
    return Chosen([rows[n] for n in seen], [rows[n] for n in kept], len(rows) - len(seen) - len(kept))
