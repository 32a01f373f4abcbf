"""Demands that there is something to look at: ``all(...)`` of nothing is true, and proves nothing."""

from collections.abc import Iterable
from typing import TypeVar

T = TypeVar("T")


def every(rows: Iterable[T], n: int | None = None) -> list[T]:
    """Return the rows as a list; there must be ``n`` of them, or any where that is not said."""
    found = list(rows)
    assert found if n is None else len(found) == n, f"{len(found)} rows, and {n or 'some'} were to be looked at"
    return found
