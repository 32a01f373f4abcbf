"""The end of every run that holds its job: what comes after an issue is made, or the newest is found to stand."""

import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import suppress

from msgspec import Struct

from pipeline.files.shared_rights import is_narrower
from pipeline.issue.folder.confirmation import Confirmed, Glanced, Signs, all_signs, confirm
from pipeline.issue.folder.standing_issues import missing_notes
from pipeline.job.model import Issue as Rules
from pipeline.reissue.earlier import Last
from pipeline.reissue.history import History
from pipeline.run.outcome import Outcome, outcome
from pipeline.run.releasing import follow
from pipeline.run.retention import retain


class LookedAt(Struct, frozen=True):
    """What was looked at, for the next run to see that it is as it was, as `confirm` notes it.

    Args:
        hand: the sum of everything at hand.
        glanced: what a glance compares.
        signs: of an issue that was there before, the signs of its files when they were looked at; else None.
        notes: of such an issue, the notes that the job has by now and its record does not.
        beside: likewise those on files that lie beside those of the job.
    """

    hand: str
    glanced: Glanced
    signs: Mapping[str, Signs] | None = None
    notes: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


def finish(history: History, issue: Last, shown: int | None, rules: Rules, looked: LookedAt, *, made: bool) -> Outcome:
    """Let `current` follow where a rule allows it by now, remove what need not be kept, and note what was looked at.

    That comes last: what a kill on the way left undone is looked at again by the next run.

    Args:
        history: the issues before.
        issue: the newest, which may be new.
        shown: the issue that `current` shows.
        rules: the job file's, of issues.
        looked: what was looked at.
        made: whether this run made the issue.
    """
    folder, number = history.folder, issue.record["issue"]
    if not made:  # of a new one it was decided by the same rule
        shown = follow(folder, issue.record, rules.release, shown)
    removed = retain(folder, rules.keep, shown)
    signs = looked.signs if looked.signs is not None else all_signs(folder, issue.folder)
    found = Confirmed(looked.hand, signs, looked.glanced, looked.notes, looked.beside)
    if found != history.noted_of(issue):
        confirm(folder, number, found)
    closed_off = _closed_off(history, issue) if made and shown == number else ()
    notes = (*looked.notes, *looked.beside, *missing_notes(folder), *closed_off)
    return outcome(issue.record, issue.folder, made, shown, removed, notes)


def _closed_off(history: History, issue: Last) -> Iterator[str]:
    """Yield that fewer people may look into an issue under `current` than into the one that it showed before."""
    if history.shown is None:
        return
    with suppress(OSError):  # who reads it is told then
        before, folder = history.shown.folder, issue.folder
        if is_narrower(folder, before):
            modes = [stat.filemode(os.stat(one).st_mode) for one in (folder, before)]
            yield (
                f"current shows issue {folder.name} now, whose folder is {modes[0]}; that of issue {before.name} is "
                f"{modes[1]}, so some who draw from it are shut out: open it to them (chmod), and run by another umask"
            )
