"""What an issue changes, in words: how many points since the previous issue, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from pipeline.issue.drawn_changes import drawn_among, reasons_among, with_drawn
from pipeline.words import Change, counted

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record

#: So many reasons are told one by one.
_REASONS = 4


def change_message(record: Record) -> list[str]:
    """Return in words why there is an issue after another, and what it did to points; nothing of a first issue."""
    changes = record["changes"]
    if changes is None:
        return []
    why, drawn = reasons_among(changes["because"]), drawn_among(changes["because"])
    more = len(why) - _REASONS
    return [
        *(f"because {one}" for one in why[:_REASONS]),
        *([f"because of {counted(more, 'more reason')}, in issue.json"] if more > 0 else []),
        counts_message(changes, changes["since"], rows_changed(record), drawn),
    ]


def takes_away(record: Record) -> bool:
    """Say whether an issue has fewer points for drafting than the one before, as far as points were compared."""
    changes = record["changes"]
    if changes is None:
        return False
    gone, come = (Change.WITHDRAWN, Change.HELD), (Change.ADDED, Change.RELEASED)
    counts = {str(name): count for name, count in changes.items() if isinstance(count, int)}
    return sum(counts.get(name, 0) for name in gone) > sum(counts.get(name, 0) for name in come)


def rows_changed(record: Record) -> int | None:
    """Return how many rows the layer ``changes`` of an issue has; None where the record does not say."""
    layers = next((entry["layers"] for entry in record["files"] if "layers" in entry), [])
    return next((layer["rows"] for layer in layers if layer["name"] == "changes"), None)


def counts_message(
    changes: Mapping[str, object], since: int | None, rows: int | None, drawn: Sequence[str] = ()
) -> str:
    """Return how many points changed and how far, and what else is drawn otherwise.

    Args:
        changes: the counts by `Change`, None for one that its record does not have, ``attributes``, and in metres
            ``max_horizontal`` and ``max_vertical``.
        since: the number of the previous issue, None where that is not known.
        rows: how many rows the layer has, None where that is not known.
        drawn: what lines and temporary marks are otherwise, in words.
    """
    before = f"since issue {since:03d}" if since is not None else "since the previous issue"
    if not any(isinstance(changes.get(name), int) for name in Change):
        return f"{before}: points were not compared"
    told = counts_in_words(changes, rows, _farthest(changes))
    if changes["attributes"] and not isinstance(changes.get(Change.RECODED), int):
        told.append(f"{changes['attributes']:,} with changed attributes")
    return f"{before}: {with_drawn(told, drawn)}"


def counts_in_words(changes: Mapping[str, object], rows: int | None, farthest: str = "") -> list[str]:
    """Return how many points changed, each told once: "3 moved", "1 of them also recoded", "2 recoded".

    A record counts a point that moved and was recoded as both, while the layer ``changes`` has one row of it, as moved:
    the difference is the number of such points.

    Args:
        changes: the counts by `Change`.
        rows: how many rows the layer has, None where that is not known.
        farthest: what follows those that moved.
    """
    counts = {name: count for name in Change if isinstance(count := changes.get(name), int) and count}
    moved, recoded = counts.get(Change.MOVED, 0), counts.get(Change.RECODED, 0)
    both = min(max(sum(counts.values()) - rows, 0), moved, recoded) if rows is not None else 0
    told = [f"{moved:,} {Change.MOVED}{farthest}"] if moved else []
    told += [f"{both:,} of them also {Change.RECODED}"] if both else []
    others = {**counts, Change.MOVED: 0, Change.RECODED: recoded - both}
    told += [f"{count:,} {name}" for name, count in others.items() if count]
    if rows is None and moved and recoded:
        told[-1] += " (moved or not)"
    return told


def _farthest(changes: Mapping[str, object]) -> str:
    horizontal, vertical = changes["max_horizontal"], changes["max_vertical"]
    if horizontal is None or vertical is None:
        return ""
    return f" (by up to {horizontal:.4f} m horizontally, {vertical:.4f} m in height)"
