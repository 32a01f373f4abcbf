"""What changed in the register since an earlier issue, in words: marks that are gone or new, and rows that differ."""

from collections.abc import Container, Mapping, Sequence
from decimal import Decimal

from pipeline.issue.record_types import RegisterMark


def marks_gone_and_new(
    before: Sequence[RegisterMark], after: Sequence[RegisterMark], there: Container[str] = ()
) -> list[str]:
    """Return in words which marks of the register are used no more, and which were not before.

    Both are its used rows, as for `mark_changes`; what was not used then may have stood there. ``there`` are all marks
    that the register has now.
    """
    then, now = [row["mark"] for row in before], [row["mark"] for row in after]
    gone, new = [mark for mark in then if mark not in now], [mark for mark in now if mark not in then]
    return [
        *(f"mark {mark} {'is no longer used' if mark in there else 'is gone from the register'}" for mark in gone),
        *(f"mark {mark} is now used and was not before" for mark in new),
    ]


def mark_changes(before: Sequence[Mapping[str, object]], after: Sequence[Mapping[str, object]]) -> dict[str, str]:
    """Return, per mark whose row of the register changed, what changed, in words with the numbers as written.

    Args:
        before: the register's used rows as an earlier record has them, each with ``mark`` and its values as text.
        after: the same now.
    """
    known = {row["mark"]: row for row in before}
    told = {}
    for row in after:
        mark, old = str(row["mark"]), known.get(row["mark"])
        if old is None:
            continue
        pairs = [(key, str(old.get(key, "")), str(value)) for key, value in row.items() if key != "mark"]
        parts = [(key, was, now) for key, was, now in pairs if was != now]
        other = [(key, was, now) for key, was, now in parts if not _same_number(was, now)]
        changed = ", ".join(
            f"{key.replace('_', ' ')} {was or 'none'} to {now or 'none'}" for key, was, now in other or parts
        )
        if parts:
            same = "" if other else ", the same numbers written otherwise"
            told[mark] = f"{mark} {changed} in the register{same}"
    return told


def _same_number(one: str, other: str) -> bool:
    """Say whether two texts are one number, as where trailing zeros were left out."""
    try:
        return Decimal(one) == Decimal(other)
    except ArithmeticError:
        return False
