"""The texts of occupations of marks: which stand beside their mark, and the list of the others.

A mark that is occupied twice a day for weeks would bury the drawing around it under texts.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import pyarrow as pa

from pipeline.issue.formats.dxf_symbols import CHECKS_SHOWN
from pipeline.issue.formats.figures import fixed
from pipeline.issue.formats.layer_names import one_line
from pipeline.words import counted

_RESULT = {True: "passed", False: "FAILED", None: "not tested"}


def difference(row: Mapping[str, Any]) -> str:
    """Return in words how far an occupation is off, to the millimetre and with no minus zero."""
    parts = [
        f"d{axis[0].upper()} {_signed(row[f'd_{axis}'])}"
        for axis in ("east", "north", "height")
        if row[f"d_{axis}"] is not None
    ]
    return " ".join([*parts, _RESULT[row["passed"]]])


def _signed(number: float) -> str:
    (text,) = fixed([number], 3)
    return text if text.startswith("-") else f"+{text}"


class Crowded:
    """Which occupations' texts stand beside their mark; rows are counted over all that have a position."""

    def __init__(self) -> None:
        self._rows: list[dict[str, Any]] = []
        self._lines: dict[int, tuple[int | None, int]] | None = None

    def add(self, batch: pa.RecordBatch) -> None:
        """Take in the next occupations."""
        self._rows += batch.select(["mark", "point", "passed", "d_east", "d_north", "d_height"]).to_pylist()

    def line(self, row: int) -> tuple[int | None, int]:
        """Return at which place below its mark a row's texts stand, None for not, and how many more are to be told."""
        if self._lines is None:
            self._lines = dict(self._placed())
        return self._lines[row]

    def _placed(self) -> Iterator[tuple[int, tuple[int | None, int]]]:
        for rows in self._by_mark().values():
            first = sorted(rows, key=lambda row: self._rows[row]["passed"] is not False)[:CHECKS_SHOWN]
            shown = sorted(first)
            left = len(rows) - len(shown)
            for row in rows:
                place = shown.index(row) if row in first else None
                yield row, (place, left if row == shown[-1] else 0)

    def _by_mark(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = {}
        for number, row in enumerate(self._rows):
            found.setdefault(row["mark"], []).append(number)
        return found

    def listed(self) -> list[str]:
        """Return the list, a line each: all occupations of each mark that has too many of them."""
        lines = []
        for mark, rows in self._by_mark().items():
            if len(rows) > CHECKS_SHOWN:
                lines.append(f"{one_line(mark)}: {counted(len(rows), 'occupation')}")
                lines += map(self._told, rows)
        return lines

    def _told(self, row: int) -> str:
        given = self._rows[row]
        return f"  {one_line(given['point'] or '')}: {difference(given)}"
