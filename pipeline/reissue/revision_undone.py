"""Finds marks that have again the coordinates which an issue before had revised: an old register that came back.

The revision may be a millimetre or a decimetre; either way ties follow it and checks may still agree.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal, InvalidOperation

from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.folder.publish import issues
from pipeline.issue.record_types import Record, RegisterMark
from pipeline.near import listed
from pipeline.reissue.history import History
from pipeline.visible import one_line
from pipeline.words import Doubt, plural

#: Issues before the newest that are looked into.
_BACK = 10
_COORDINATES = ("easting", "northing", "longitude", "latitude", "height")


def undone_notes(history: History, survey: Survey, rows: Sequence[RegisterMark]) -> Iterator[str]:
    """Yield which marks have other coordinates than in the newest issue, and those of one before that again.

    A mark of a session in which a check failed, and all where the newest doubts a datum, were put right by that.

    Args:
        history: the issues before.
        survey: the job.
        rows: the register's rows that the job uses.
    """
    newest = None if history.newest is None else history.newest.record
    if newest is None or newest["control"] != control_used(survey.job) or _doubted(newest):
        return
    now, last, repaired = _by_mark(rows), _by_mark(newest["register"]), _of_failed_sessions(newest)
    after = {
        mark: newest["issue"]
        for mark, row in now.items()
        if mark in last and mark not in repaired and not _same(row, last[mark])
    }
    if not after:
        return
    found: dict[tuple[int, int], list[str]] = {}
    for number in sorted((one for one, _ in issues(history.folder) if one < newest["issue"]), reverse=True)[:_BACK]:
        record = history.record(number)
        if record is None or record["control"] != newest["control"]:
            continue
        then = _by_mark(record["register"])
        for mark in [mark for mark in after if mark in then]:
            if _same(now[mark], then[mark]):
                found.setdefault((number, after.pop(mark)), []).append(one_line(mark))
            else:
                after[mark] = number
        if not after:
            break
    for (number, revised), marks in found.items():
        yield (
            f"{plural(len(marks), 'mark')} {listed(marks)} {plural(len(marks), 'has', 'have')} again the coordinates of"
            f" issue {number:03d}, which issue {revised:03d} revised: an older register may have come back; make sure"
            f" that the revision in issue {newest['issue']:03d} was wrong"
        )


def _doubted(record: Record) -> bool:
    frames = (Doubt.DATUM, Doubt.REGISTER_HEIGHTS)
    return any(one["kind"] in frames and not one["confirmed"] for one in record["doubts"])


def _of_failed_sessions(record: Record) -> set[str]:
    """Return the marks that a session was tied to or checked on in which a check failed."""
    failed = {check["session"] for check in record["checks"] if check["passed"] is False}
    return {check["mark"] for check in record["checks"] if check["session"] in failed}


def _by_mark(rows: Sequence[RegisterMark]) -> dict[str, Mapping[str, object]]:
    return {row["mark"]: dict(row) for row in rows}


def _same(one: Mapping[str, object], other: Mapping[str, object]) -> bool:
    """Say whether two rows have the same coordinates, as far as both write their digits."""
    return all(_alike(str(one.get(key, "")), str(other.get(key, ""))) for key in _COORDINATES)


def _alike(one: str, other: str) -> bool:
    try:
        first, second = (Decimal(text.replace(",", ".")) for text in (one, other))
        coarse = max(int(number.as_tuple().exponent) for number in (first, second))
    except (InvalidOperation, ValueError):  # not held, or written in another way
        return one == other
    return 2 * abs(first - second) <= Decimal(1).scaleb(coarse)
