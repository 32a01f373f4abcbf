"""Compares verdicts and doubts of a job with its newest issue: a newer version of the program may judge otherwise."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from pipeline.issue.record_types import DoubtNoted, Record
from pipeline.issue.release import is_gone
from pipeline.words import HeldUnit, counted

#: Metres by which a shift may come out otherwise: on another machine the last bits differ.
_SAME = 5e-5
#: Sessions that a sentence names.
_NAMED = 3
#: The line that a note begins with, behind its file.
_LINE = re.compile(r"(?<=:)\d+(?=: )")
_AXES = ("shift_x", "shift_y", "shift_z")


def judged_otherwise(today: Record, then: Record) -> list[str]:
    """Return sentences on what is judged differently now from an issue made from the same inputs.

    Args:
        today: the record that an issue of it would have now; of its words nothing is compared, as they are not what is
            held or proven.
        then: the record of the issue.
    """
    return [
        *_sessions(today, then),
        *_doubts(today, then),
        *_checks(today, then),
        *_rows(today, then),
        *_repeats(today, then),
    ]


def not_noted(today: Record, then: Record) -> tuple[str, ...]:
    """Return the notes of a job that an issue of it, which stands, does not have; arguments as `judged_otherwise`.

    A doubt may be worded otherwise once it has been issued: it is a new one only where there are more of its kind.
    """
    before = Counter(map(_key, then["doubts"]))
    more = Counter(map(_key, today["doubts"])) - before
    known = {*then["notes"], *(one["what"] for one in today["doubts"] if not more[_key(one)])}
    return _unknown(today["notes"], known)


def beside_not_noted(beside: Sequence[str], then: Record) -> tuple[str, ...]:
    """Return of the notes on files that lie beside those of a job the ones that an issue of it does not have."""
    return _unknown(beside, then["notes"])


def _unknown(notes: Sequence[str], known: Iterable[str]) -> tuple[str, ...]:
    """Return the notes that are not known, wherever the lines that they name are by now: comments move them."""
    there = {_LINE.sub("", note, count=1) for note in known}
    return tuple(note for note in notes if _LINE.sub("", note, count=1) not in there)


def _sessions(today: Record, then: Record) -> Iterator[str]:
    before = {one["session"]: one for one in then["sessions"]}
    for one in today["sessions"]:
        was = before.get(one["session"])
        if was is None:
            continue
        if was["verdict"] != one["verdict"]:
            yield f"session {one['session']}: {was['verdict']} then, {one['verdict']} now"
        moved: list[tuple[Any, Any]] = [(one.get(axis), was.get(axis)) for axis in _AXES]
        if any(
            (a is None) != (b is None) or (a is not None and b is not None and abs(a - b) > _SAME) for a, b in moved
        ):
            yield f"session {one['session']}: its shift is different now"


def _doubts(today: Record, then: Record) -> Iterator[str]:
    def of(record: Record) -> set[tuple[str, tuple[str, ...], bool]]:
        return set(map(_key, record["doubts"]))

    for kind, sessions, _ in sorted(of(today) - of(then)):
        yield f"doubt {kind} is new for {_few(sessions)}"
    for kind, sessions, _ in sorted(of(then) - of(today)):
        yield f"doubt {kind} no longer applies to {_few(sessions)}"


def _key(doubt: DoubtNoted) -> tuple[str, tuple[str, ...], bool]:
    """Return what a doubt is told from others by, whatever its words."""
    return doubt["kind"], tuple(doubt["sessions"]), doubt["confirmed"]


def _checks(today: Record, then: Record) -> Iterator[str]:
    def of(record: Record) -> dict[tuple[Any, ...], bool | None]:
        rows = record["checks"]
        return {(one["session"], one["mark"], one["point"], str(one["observed"])): one["passed"] for one in rows}

    now, before = of(today), of(then)
    differ = [key for key in {**now, **before} if now.get(key, "none") != before.get(key, "none")]
    if differ:
        session, mark, point, _ = differ[0]
        more = f", and {len(differ) - 1:,} more" if len(differ) > 1 else ""
        yield f"the verdict on these occupations has changed: {point} on {mark} in {session}{more}"


def _rows(today: Record, then: Record) -> Iterator[str]:
    def of(record: Record) -> tuple[Any, ...]:
        rows = record["rows"]
        return rows["points"], rows["on_marks"], rows["held_back"], {k: n for k, n in rows["by_reason"].items() if n}

    if of(today) != of(then):
        yield "different rows are held back"
    if _wholly(today) != _wholly(then):
        yield "different files, sessions or days have no point"


def _repeats(today: Record, then: Record) -> Iterator[str]:
    def of(record: Record) -> tuple[int, int, int]:
        repeats = record["repeats"]
        return repeats["pairs"], repeats["failed"], repeats["means"]

    if of(today) != of(then):
        failed = today["repeats"]["failed"]
        yield f"the comparison of points measured twice has changed: {counted(failed, 'pair fails', 'pairs fail')} now"


def _wholly(record: Record) -> set[tuple[str, str]]:
    """Return files and sessions without a point, and whether there is such a day, by whichever clock.

    A file that is no longer there is told when an issue is made, against the one before: it is not judged again.
    """
    there = (one for one in record["wholly_held_back"] if not is_gone(one))
    return {(one["kind"], "" if one["kind"] == HeldUnit.DAY else one["name"]) for one in there}


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:_NAMED]) + (" and others" if len(names) > _NAMED else "")
