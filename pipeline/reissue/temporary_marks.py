"""Temporary marks with other coordinates than in the previous issue: the field may have those in its controller."""

import math
from collections.abc import Iterator, Sequence

from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.drawn_changes import drawn_message
from pipeline.issue.row_types import MarkRow
from pipeline.letter_case import folded
from pipeline.visible import one_line
from pipeline.words import MarkStatus

#: Metres. What is less is no millimetre, which is what is told.
_SHOWN = 0.0005


def temporary_marks(was: Sequence[MarkRow], now: Sequence[MarkRow], axes: Axes) -> list[str]:
    """Return in words which temporary marks moved between two issues, and which the later one has no longer.

    Args:
        was: the marks of the earlier issue.
        now: those of the later one.
        axes: how the grid writes their coordinates.
    """
    before = {folded(mark["mark"]): mark for mark in was if mark["status"] == MarkStatus.ADJUSTED}
    after = {folded(mark["mark"]): mark for mark in now}
    moved = [*_moved(before, after, axes)]
    gone = [one_line(mark["mark"]) for name, mark in before.items() if name not in after]
    told = [drawn_message("temporary mark", "moved", moved)] if moved else []
    return [*told, drawn_message("temporary mark", "gone", gone)] if gone else told


def _moved(before: dict[str, MarkRow], after: dict[str, MarkRow], axes: Axes) -> Iterator[str]:
    for name, mark in after.items():
        old = before.get(name)
        if old is None or mark["status"] != MarkStatus.ADJUSTED:
            continue
        plan, height = _apart(old, mark, axes)
        parts = [f"{plan:.3f} m in plan"] if plan is not None else []
        parts += [f"{height:.3f} m in height"] if height is not None else []
        if max(plan or 0.0, height or 0.0) >= _SHOWN:
            yield f"{one_line(mark['mark'])} ({', '.join(parts)})"


def _apart(old: MarkRow, new: MarkRow, axes: Axes) -> tuple[float | None, float | None]:
    """Return how far a mark moved in plan and in height, metres; None where one of the two issues does not know."""
    east, north, up = (
        None if (was := old[name]) is None or (now := new[name]) is None else (now - was) * count  # type: ignore[literal-required]
        for name, count in zip(NAMES, axes.counts(), strict=True)
    )
    return None if east is None or north is None else math.hypot(east, north), None if up is None else abs(up)
