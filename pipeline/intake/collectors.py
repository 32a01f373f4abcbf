"""All that looks in the first pass at what the rows of an export say of one another: cells that somebody edited.

A collector is handed every batch and gives what it found once all exports are read. It is listed in `COLLECTORS`; what
it found is asked for by its class (`Found.of`).
"""

from collections.abc import Mapping
from typing import Protocol, TypeVar, cast

from msgspec import Struct, field

from pipeline.intake.filled_blanks import FilledBlanks, told_once
from pipeline.intake.filled_down import FilledDown
from pipeline.intake.mean_rows import Means
from pipeline.intake.missing_digits import MissingDigits
from pipeline.intake.moved_cells import MovedColumns
from pipeline.intake.pasted_cells import PastedCells
from pipeline.intake.shared_numbers import SharedNumbers
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.intake.sorted_columns import SortedColumns
from pipeline.intake.sorted_names import NamesInOrder
from pipeline.intake.zero_led_names import ZeroLedNames

T_co = TypeVar("T_co", covariant=True)


class Collector(Protocol[T_co]):
    """What is handed batches."""

    def take(self, batch: SiftedBatch, /) -> None:
        """Look at a batch; those of an export come in the order of its rows, one export after the other."""

    def found(self) -> tuple[T_co, ...]:
        """Return what was found; asked for once, behind the last batch."""


#: Every collector: a new one needs nothing else to be handed the batches.
COLLECTORS: tuple[type[Collector[object]], ...] = (
    FilledDown,
    FilledBlanks,
    Means,
    MissingDigits,
    MovedColumns,
    NamesInOrder,
    PastedCells,
    SharedNumbers,
    SortedColumns,
    ZeroLedNames,
)


class Found(Struct, frozen=True):
    """What the collectors found, by their classes."""

    by_collector: Mapping[type, tuple[object, ...]] = field(default_factory=dict)

    def of(self, collector: type[Collector[T_co]]) -> tuple[T_co, ...]:
        """Return what one of them found."""
        return cast(tuple[T_co, ...], self.by_collector.get(collector, ()))


class Collectors:
    """One collector of each kind."""

    def __init__(self) -> None:
        self._each = {kind: kind() for kind in COLLECTORS}

    def take(self, batch: SiftedBatch) -> None:
        """Hand a batch to all of them."""
        for collector in self._each.values():
            collector.take(batch)

    def found(self) -> Found:
        """Return what they found; what two of them tell of the same rows is told by one."""
        found = Found({kind: collector.found() for kind, collector in self._each.items()})
        filled, blanks = told_once(found.of(FilledDown), found.of(FilledBlanks))
        return Found({**found.by_collector, FilledDown: filled, FilledBlanks: blanks})
