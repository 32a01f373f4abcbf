"""Whether an issue may be released: what the job file's rule says of its record, and what waits, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from pipeline.words import ReleaseRule, Verdict, counted

if TYPE_CHECKING:
    from pipeline.issue.record_types import AtStake, Record, Release, WhollyHeld

#: So many sessions are told one by one, and so many failing occupations of each.
_SESSIONS, _FAILING = 6, 3
#: So many files that are gone are told one by one.
_FILES = 12


def waits_for(record: Record, rule: str | None = None, now: int | None = None) -> list[str]:
    """Return in words why an issue is not released by a rule, its own where none is given; nothing where it is.

    ``now`` is the number of the issue that `current` shows, where that is known: another one may have been released by
    hand since, and what is at stake was counted against the one before.
    """
    release = record["release"]
    if release is None:
        return []
    points = {row["session"]: row["points"] for row in record["sessions"]}
    return why_held(release, record["verdict"], record["wholly_held_back"], rule, now, points)


def why_held(
    release: Release,
    verdict: str,
    wholly: Iterable[WhollyHeld],
    rule: str | None = None,
    now: int | None = None,
    points: Mapping[str, int] | None = None,
) -> list[str]:
    """Return the same of an issue whose record is being made; whether it is pending is not looked at.

    ``points`` is how many points of each session are issued now.
    """
    by = rule or release["rule"]
    if by == ReleaseRule.ANY:
        return []
    gone = [what_is_gone(entry) for entry in wholly if is_gone(entry)]
    gone[_FILES:] = [f"and {counted(len(gone) - _FILES, 'more file')} likewise"] if len(gone) > _FILES else []
    if by == ReleaseRule.PROVEN and verdict != Verdict.PROVEN:
        return [f'its verdict is {verdict}, and issue.release asks for "proven"', *gone]
    stakes = release["at_stake"]  # of a proven issue those of sessions without any point left: no check fails
    others = {session for session, count in (points or {}).items() if count}
    told = [_sentence(stake, release["current"], now, stake["session"] in others) for stake in stakes[:_SESSIONS]]
    more = len(stakes) - _SESSIONS
    told += [f"and so in {counted(more, 'more session')}"] if more > 0 else []
    return [*told, *_another_day(stakes, points or {}), *gone]


def _another_day(stakes: Iterable[AtStake], points: Mapping[str, int]) -> list[str]:
    """Ask whether other work bears the job's name, where points of sessions are all gone and others are issued."""
    lost = [stake for stake in stakes if not stake["failing"] and stake["withdrawn"]]
    if not any(points.get(stake["session"]) for stake in lost) and not (
        any(points.values()) and any(stake["session"] not in points for stake in lost)
    ):
        return []
    return [
        "other points are issued in their place: if that is other work, as another day in a copy of this job's folder,"
        " give it a job of its own, with another name and folder in [job]; if it replaces the former points, release it"
    ]


def is_gone(entry: WhollyHeld) -> bool:
    """Say whether an entry is of a file that the previous issue read and that is no longer there.

    The rows that it counts are points of that issue; of what is there, all rows are held back or occupations of marks.
    """
    return entry["rows"] > entry["on_marks"] + entry["held_back"]


def what_is_gone(entry: WhollyHeld) -> str:
    """Return in words what is lost with such a file, and what to do."""
    points = counted(entry["rows"], "point that only it has is", "points that only it has are")
    return (
        f"file {entry['name']} is no longer there, though the job file asks for it: {points} withdrawn: put it back, or"
        " take it out of the job file's files if it is not to be read"
    )


def stays(record: Record, now: int | None = None) -> str:
    """Return in words what `current` shows in the place of an issue that waits.

    ``now`` is the number of that issue; where it is not given, it is the one of when the issue that waits was made.
    """
    release = record["release"]
    shown = now if now is not None or release is None else release["current"]
    return f"current stays at issue {shown:03d}" if shown is not None else "there is no current issue yet"


def release_command(record: Record) -> str:
    """Return the command that releases an issue."""
    return f'tiedown release JOB {record["issue"]} --because "..."'


def _sentence(stake: AtStake, current: int | None, now: int | None, others: bool) -> str:
    counts = ((stake["held"], "held back"), (stake["withdrawn"], "withdrawn"), (stake["moved"], "moved"))
    told = [f"{count:,} {word}" for count, word in counts if count]
    number = sum(count for count, _ in counts)
    those = f"{counted(number, 'point')} of issue {current:03d}" if current is not None else counted(number, "point")
    if current is not None and now is not None and now != current:
        those += " (current when this issue was made)"
    if not stake["failing"]:
        left = "none of its former points" if others else "no point left"
        return f"session {stake['session']} has {left}: {those}: {', '.join(told)}"
    failing = ", ".join(stake["failing"][:_FAILING])
    more = len(stake["failing"]) - _FAILING
    rest = f" and {more} more" if more > 0 else ""
    fails = "fails" if len(stake["failing"]) == 1 else "fail"
    return f"in session {stake['session']}, on which {failing}{rest} {fails}, {those}: {', '.join(told)}"
