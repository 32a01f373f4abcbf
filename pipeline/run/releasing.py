"""What a run takes over from the issues before, and whether `current` follows the one that it makes."""

from datetime import UTC, datetime
from pathlib import Path

from pipeline.blunders.scope import Former
from pipeline.issue.folder.issues_list import BY_RULE
from pipeline.issue.folder.manual_release import ManualRelease, is_pending, read_release, stands_until, write_release
from pipeline.issue.folder.publish import issues, recover
from pipeline.issue.record_types import Record, Release
from pipeline.issue.release import waits_for, why_held
from pipeline.reissue.at_stake import at_stake
from pipeline.reissue.earlier import Last
from pipeline.reissue.history import History
from pipeline.run.layers import Laid
from pipeline.run.ready import Ready
from pipeline.solve.proof import worst
from pipeline.solve.solve import Solved


def former_register(history: History, solved: Solved) -> Former | None:
    """Return the register as a sound issue was made with, where an occupation fails; else None.

    That is the one that drafters have, or the newest before it in which none failed.
    """
    compared, last = solved.occupations.compared, history.drawn_without_failure
    if last is None or not (compared.judged & ~compared.passed).any():
        return None
    return Former(last.record["issue"], last.record["register"])


def decided(job: Ready, laid: Laid, current: Last | None, compared: bool) -> Release:
    """Return whether the issue that is being made is released.

    Args:
        job: the job.
        laid: what the second pass gave.
        current: the issue that `current` shows, which ``laid`` is compared with; None where there is none.
        compared: whether the two could be compared.
    """
    rows, touched = job.fingerprint.register, laid.touched if compared else None
    names, points = (laid.sessions.column(name).to_pylist() for name in ("session", "points"))
    some = {name for name, count in zip(names, points, strict=True) if count}
    release: Release = {
        "rule": str(job.survey.job.issue.release),
        "pending": False,
        "current": current.record["issue"] if current is not None else None,
        "at_stake": at_stake(current.record, job.survey, job.solved, rows, touched, some) if current else [],
    }
    return {**release, "pending": bool(why_held(release, worst(list(job.solved.verdicts)), laid.wholly))}


def follow(folder: Path, record: Record, rule: str, shown: int | None) -> int | None:
    """Let `current` follow the newest issue where it waits, and need not by the rule that the job file has by now.

    A rule shapes no issue, so that no new one is made for it. What somebody decided by hand since the issue was made
    is left alone. Returns the issue that `current` shows.
    """
    number, hand = record["issue"], read_release(folder)
    if shown == number or not is_pending(record) or waits_for(record, rule):
        return shown
    if hand is not None and stands_until(folder, [each for each, _ in issues(folder)], hand, record) >= number:
        return shown
    write_release(
        folder,
        ManualRelease(number, number, datetime.now(UTC).replace(microsecond=0), f'{BY_RULE}"{rule}" now'),
    )
    return recover(folder, record)
