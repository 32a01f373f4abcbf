"""What changed in the table of codes since the previous issue, in words."""

from collections.abc import Iterator, Sequence

from pipeline.issue.record_types import CodeKnown, CodesNoted

#: What is told of a row, by its key in the record.
_TOLD = ("description", "kind", "layer", "colour")
#: Changes that are told one by one.
_SHOWN = 6


def code_changes(before: CodesNoted | None, now: Sequence[CodeKnown]) -> list[str]:
    """Return a sentence for each code that is new, gone or changed; of many the first, and how many there are.

    Nothing where the previous issue had no table of codes.
    """
    if before is None:
        return []
    told = list(_changes({row["code"]: row for row in before["known"]}, {row["code"]: row for row in now}))
    more = [f"and {len(told) - _SHOWN:,} more changes in the table of codes"] if len(told) > _SHOWN else []
    return [*told[:_SHOWN], *more]


def _changes(then: dict[str, CodeKnown], now: dict[str, CodeKnown]) -> Iterator[str]:
    for code in sorted(then.keys() | now.keys()):
        if code not in then or code not in now:
            yield f"code {code} {'is new in' if code in now else 'is gone from'} the table of codes"
            continue
        was: dict[str, object] = {**then[code]}
        is_now: dict[str, object] = {**now[code]}
        parts = [was_and_is(key, was[key], is_now[key]) for key in _TOLD if was[key] != is_now[key]]
        if parts:
            yield f"code {code} has changed in the table of codes: {', '.join(parts)}"


def was_and_is(of: str, was: object, now: object) -> str:
    """Return in words what a value was and is."""
    return f"{of} was {_said(was)} and is now {_said(now)}"


def _said(value: object) -> str:
    return "none" if value is None or value == "" else f"'{value}'"
