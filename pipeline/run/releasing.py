"""Which issue a run compares with, and whether `current` follows the one that it makes."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from pipeline.blunders.scope import Former
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.issue.folder.confirmation import Signs, confirmed
from pipeline.issue.folder.manual_release import (
    ManualRelease,
    find_issue_to_show,
    is_pending,
    read_release,
    stands_until,
    write_release,
)
from pipeline.issue.folder.publish import issues, recover
from pipeline.issue.folder.standing_issues import newest_standing, standing_issue
from pipeline.issue.record import RecordError
from pipeline.issue.record_types import Record, Release
from pipeline.issue.release import waits_for
from pipeline.problems import JobError
from pipeline.reissue.at_stake import at_stake
from pipeline.reissue.earlier import Last
from pipeline.reissue.fingerprint import fingerprint
from pipeline.reissue.frame_carried import standing_doubts
from pipeline.reissue.frame_notes import frame_notes
from pipeline.reissue.intact import damage, refuse_damaged
from pipeline.reissue.shown import put_right, refuse_other
from pipeline.reissue.unjudged import unjudged_doubts
from pipeline.reissue.unread_doubts import unread_doubts
from pipeline.reissue.vanished import gone_checks
from pipeline.run.layers import Laid
from pipeline.run.ready import Ready
from pipeline.solve.solve import Solved, doubted


def newest_issue(folder: Path) -> Last | None:
    """Return the newest issue of a job, None where there is none yet. Raises `JobError` as `newest_standing`."""
    found = newest_standing(folder)
    return Last.of(*found) if found else None


def drawn_from(folder: Path, newest: Last | None, shown: int | None) -> Last | None:
    """Return the issue that `current` shows, which drafters have; the newest where none was ever released.

    Raises `JobError` where it is damaged.
    """
    if shown is None or newest is None or newest.record["issue"] == shown:
        return newest
    return Last.of(*standing_issue(folder, shown))


def refuse_damaged_issues(folder: Path, newest: Last, shown: int | None) -> None:
    """Raise `JobError` where the newest issue, or the one that `current` shows in its place, is not what was issued."""
    noted = confirmed(folder, newest.record["issue"]).signs
    refuse_damaged(newest.folder, newest.record, noted)
    if shown is not None and shown != newest.record["issue"]:
        path, record = standing_issue(folder, shown)
        refuse_damaged(path.parent, record, {})


def shown_put_right(folder: Path, newest: Last | None, shown: int | None) -> None:
    """Let `current` show what was issued, under all names, where a copy came in part or a link leads elsewhere.

    Raises `JobError` where somebody changed what stands there, and OSError.
    """
    if (found := _stands_for(folder, newest, shown)) is not None:
        put_right(folder, *found)


def refuse_other_shown(folder: Path, newest: Last | None, shown: int | None) -> None:
    """Raise `JobError` where somebody changed what stands for the issue that `current` shows, and OSError."""
    if (found := _stands_for(folder, newest, shown)) is not None:
        refuse_other(folder, *found)


def _stands_for(
    folder: Path, newest: Last | None, shown: int | None
) -> tuple[Path, Record, Mapping[str, Signs]] | None:
    """Return folder, record and noted signs of the issue that `current` shows; None where that is none, or damaged."""
    if shown is None or newest is None:
        return None
    last, noted = newest, confirmed(folder, newest.record["issue"]).signs
    if shown != newest.record["issue"]:
        last, noted = Last.of(*standing_issue(folder, shown)), {}
    # what a damaged issue has of its own is told where it is needed
    return None if damage(last.folder, last.record, noted) else (last.folder, last.record, noted)


def former_register(folder: Path, solved: Solved) -> Former | None:
    """Return the register as the issue that drafters have was made with, where an occupation fails; else None.

    What cannot be read here is told where the previous issue is needed.
    """
    compared = solved.occupations.compared
    if not (compared.judged & ~compared.passed).any():
        return None
    with suppress(JobError, RecordError, OSError):
        shown = find_issue_to_show(folder, [number for number, _ in issues(folder)])
        last = drawn_from(folder, newest_issue(folder), shown)
        return Former(last.record["issue"], last.record["register"]) if last is not None else None
    return None


def with_history(folder: Path, survey: Survey) -> tuple[tuple[Doubtful, ...], list[str]]:
    """Return what the newest issue had of occupations and a job has not any more, as `gone_checks`.

    What it has in doubt in words alone, of an earlier version, is in doubt still.
    What cannot be read here is told where the previous issue is needed.
    """
    with suppress(JobError, RecordError, OSError):
        newest = newest_issue(folder)
        if newest is not None:
            doubts, notes = gone_checks(newest.record, survey)
            return (*unread_doubts(newest.record, survey), *doubts), notes
    return (), []


def with_unjudged(folder: Path, survey: Survey, solved: Solved) -> tuple[Solved, list[str]]:
    """Return a solved job with doubts of what failed in the newest issue and is judged no more, and what is noted.

    What cannot be read here is told where the previous issue is needed.
    """
    with suppress(JobError, RecordError, OSError):
        if (newest := newest_issue(folder)) is not None:
            doubts, notes = unjudged_doubts(newest.record, survey, solved)
            return doubted(solved, doubts), notes
    return solved, []


def with_frames(folder: Path, survey: Survey, solved: Solved) -> tuple[Solved, list[str]]:
    """Return a solved job with what frames that differ from its issues' before put in doubt, and what is noted of them.

    What cannot be read here is told where the previous issue is needed.
    """
    newest: Last | None = None
    with suppress(JobError, RecordError, OSError):
        newest = newest_issue(folder)
    if newest is None:
        return solved, []
    now, notes = fingerprint(survey, solved), list[str]()
    doubts = standing_doubts(newest.record, partial(_record, folder), survey, solved, now)
    with suppress(JobError, RecordError, OSError):
        last = drawn_from(folder, newest, find_issue_to_show(folder, [number for number, _ in issues(folder)]))
        notes = frame_notes(last.record, survey, solved, now) if last is not None and not doubts else []
    return doubted(solved, doubts), notes


def _record(folder: Path, number: int) -> Record | None:
    """Return the record of an issue, None where it is gone, was set aside or is damaged."""
    try:
        return standing_issue(folder, number)[1]
    except (JobError, RecordError, OSError):
        return None


def decided(job: Ready, laid: Laid, record: Record, current: Last | None, compared: bool) -> Release:
    """Return whether the issue with a record is released.

    Args:
        job: the job.
        laid: what the second pass gave.
        record: the issue's record, but for this.
        current: the issue that `current` shows, which ``laid`` is compared with; None where there is none.
        compared: whether the two could be compared.
    """
    rows, touched = job.fingerprint.register, laid.touched if compared else None
    stake = at_stake(current.record, job.survey, job.solved, rows, touched) if current is not None else []
    release: Release = {
        "rule": str(job.survey.job.issue.release),
        "pending": False,
        "current": current.record["issue"] if current is not None else None,
        "at_stake": stake,
    }
    return {**release, "pending": bool(waits_for({**record, "release": release}))}


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
        ManualRelease(number, number, datetime.now(UTC).replace(microsecond=0), f'issue.release is "{rule}" now'),
    )
    return recover(folder, record)
