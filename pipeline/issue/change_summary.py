"""What an issue changes, in words: how many points since the previous issue, and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

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
    more = len(changes["because"]) - _REASONS
    return [
        *(f"because {why}" for why in changes["because"][:_REASONS]),
        *([f"because of {counted(more, 'more reason')}, in issue.json"] if more > 0 else []),
        counts_message(changes, changes["since"]),
    ]


def takes_away(record: Record) -> bool:
    """Say whether an issue has fewer points for drafting than the one before, as far as points were compared."""
    changes = record["changes"]
    if changes is None:
        return False
    gone, come = (Change.WITHDRAWN, Change.HELD), (Change.ADDED, Change.RELEASED)
    counts = {str(name): count for name, count in changes.items() if isinstance(count, int)}
    return sum(counts.get(name, 0) for name in gone) > sum(counts.get(name, 0) for name in come)


def counts_message(changes: Mapping[str, object], since: int | None) -> str:
    """Return how many points changed and how far.

    Args:
        changes: the counts by `Change`, None for one that its record does not have, ``attributes``, and in metres
            ``max_horizontal`` and ``max_vertical``.
        since: the number of the previous issue, None where that is not known.
    """
    before = f"since issue {since:03d}" if since is not None else "since the previous issue"
    counts = {name: count for name in Change if isinstance(count := changes.get(name), int)}
    if not counts:
        return f"{before}: points were not compared"
    told = [
        f"{count:,} {name}" + (_farthest(changes) if name == Change.MOVED else "")
        for name, count in counts.items()
        if count
    ]
    if changes["attributes"] and Change.RECODED not in counts:
        told.append(f"{changes['attributes']:,} with changed attributes")
    return f"{before}: " + (", ".join(told) or "no point changed")


def _farthest(changes: Mapping[str, object]) -> str:
    horizontal, vertical = changes["max_horizontal"], changes["max_vertical"]
    if horizontal is None or vertical is None:
        return ""
    return f" (by up to {horizontal:.4f} m horizontally, {vertical:.4f} m in height)"
