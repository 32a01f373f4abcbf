"""Which observations of the adjustment have a standardised residual over the critical value, from a record alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pipeline.words import Role

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record

_AXES = ("east", "north", "up")


def over_critical(record: Record) -> int:
    """Return how many observations of the adjustment have a standardised residual over the critical value."""
    over = is_over(record)
    return sum(over(row) for _, _, rows in with_statistics(record) for row in rows)


def is_over(record: Record) -> Callable[[Mapping[str, Any]], bool]:
    """Return the question whether a row with standardised residuals has one over the critical value."""
    critical = record["adjustment"]["critical_value"]

    def over(row: Mapping[str, Any]) -> bool:
        found = [row[f"standardised_{axis}"] for axis in _AXES]
        return any(value is not None and abs(value) > critical for value in found)

    return over


def with_statistics(record: Record) -> list[tuple[str, tuple[str, ...], Sequence[Mapping[str, Any]]]]:
    """Return the observations that have statistics, with a title and the keys that name them."""
    adjustment = record["adjustment"]
    ties = [check for check in record["checks"] if check["role"] == Role.TIE]
    return [
        ("Ties: rovers on marks", ("session", "point", "mark"), ties),
        ("Set-ups: bases over marks", ("session", "mark"), adjustment["set_ups"]),
        ("Control: coordinates of the register", ("mark",), adjustment["control"]),
    ]
