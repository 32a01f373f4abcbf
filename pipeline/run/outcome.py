"""The outcome of a run: headline, exit code and further lines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from pipeline.clock import from_iso
from pipeline.issue.attention import attention, chosen
from pipeline.issue.change_summary import change_message, takes_away
from pipeline.issue.date_ahead import date_ahead_notes
from pipeline.issue.folder.folder_names import SET_ASIDE
from pipeline.issue.folder.manual_release import is_pending
from pipeline.issue.release import release_command, stays, waits_for
from pipeline.visible import one_line
from pipeline.words import FailOn

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record


class Outcome(Struct, frozen=True):
    """The issue's record, the folder it stands in (None where nothing was written), and whether this run made it.

    ``current`` is the number of the issue that `current` shows, None where none is released; ``waits`` says in words
    why that is not this one, where this one waits to be released. ``untold`` are records of issues that runs wrote
    which did not come to their end, so that nobody was told of them; ``aside`` is the number of one that a command set
    aside which did not either, and the name by which it is kept, None where nothing is left of it. ``fail_on`` is what
    the caller chose to be told of by the exit code, None for whatever needs attention. ``removed`` says which files
    `issue.keep` removed, ``notes`` what the job is noted for by now and the record does not have: by a newer program,
    or of what shapes no issue.
    """

    record: Record
    folder: Path | None
    issued: bool
    current: int | None = None
    waits: tuple[str, ...] = ()
    untold: tuple[Record, ...] = ()
    fail_on: frozenset[FailOn] | None = None
    removed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    aside: tuple[int, str | None] | None = None

    @property
    def headline(self) -> str:
        """Say in a few words what became of the run."""
        number = f"issue {self.record['issue']:03d}"
        if self.issued:
            return f"{number} written to {one_line(_from_here(self.folder))}{self._untold()}"
        return (f"{number} would be written" if self.folder is None else f"nothing changed since {number}") + (
            self._untold()
        )

    @property
    def exit_code(self) -> int:
        """Return 3 where the issue that stands, or one that nobody was told of, needs attention or waits, else 0.

        Where it was chosen what that is, nothing else counts.
        """
        if self.fail_on is None:
            return 3 if self.needs_attention else 0
        return 3 if self.chosen() else 0

    @property
    def needs_attention(self) -> bool:
        """Say whether anything needs attention, whatever was chosen."""
        return bool(self.waits) or any(attention(record) for record in (self.record, *self.untold))

    @property
    def is_new(self) -> bool:
        """Say whether this run made the issue, or would have."""
        return self.issued or self.folder is None

    @property
    def is_news(self) -> bool:
        """Say whether somebody should hear of it: it needs attention, has fewer points than the previous issue, or
        tells what a command did that was cut short.
        """
        return self.needs_attention or self.aside is not None or (self.is_new and takes_away(self.record))

    def chosen(self) -> list[str]:
        """Return in words what was found of that which was chosen."""
        records, words = (self.record, *self.untold), self.fail_on or ()
        found = [text for record in records for text in chosen(record, words)]
        if self.waits and FailOn.PENDING in words:
            found.append(f"{FailOn.PENDING}: issue {self.record['issue']:03d} waits to be released")
        return [f"--fail-on {text}" for text in found]

    def more(self) -> list[str]:
        """Say what `current` shows where that is not this issue, what was removed, what changed, what was chosen."""
        changed = change_message(self.record) if self.is_new else []
        return [*self._about_current(), *self.removed, *changed, *self.chosen()]

    def _about_current(self) -> list[str]:
        if self.waits:
            told = [f"PENDING: {stays(self.record, self.current)}; this issue waits to be released"]
            return [*told, *(f"  {why}" for why in self.waits), f"  to release it: {release_command(self.record)}"]
        if self.folder is None or self.current in (None, self.record["issue"]):
            return []
        return [f"current shows issue {self.current:03d}, released by hand; tiedown history gives the reason"]

    def new_notes(self) -> list[str]:
        """Return in words the notes that the record does not have."""
        new = (f"note, not in issue {self.record['issue']:03d}: {note}" for note in self.notes)
        return [*new, *(f"note: {note}" for note in date_ahead_notes(from_iso(self.record["data_to"])))]

    def told_late(self) -> list[str]:
        """Return in words which issues a run wrote, or a command set aside, that did not come to its end."""
        told = [
            f"issue {one['issue']:03d}, verdict {one['verdict'].upper()}, was written by a run that did not finish"
            for one in self.untold
        ]
        if self.aside is not None:
            number, kept = self.aside
            where = f"kept in {SET_ASIDE}/{kept}" if kept is not None else "nothing is left of it"
            told.append(f"issue {number:03d} was set aside by a command that did not finish, {where}")
        return told

    def _untold(self) -> str:
        told = self.told_late()
        return f" ({'; '.join(told)})" if told else ""


def outcome(
    record: Record,
    folder: Path | None,
    issued: bool,
    current: int | None,
    removed: tuple[str, ...] = (),
    notes: tuple[str, ...] = (),
) -> Outcome:
    """Return what became of a run, with the issue that `current` shows now; ``removed``, ``notes`` as in `Outcome`."""
    number = record["issue"]
    waits = waits_for(record, now=current) if is_pending(record) and current != number else []
    return Outcome(record, folder, issued, current, tuple(waits), removed=removed, notes=notes)


def _from_here(folder: Path | None) -> str:
    """Return a path as it is typed in the working folder, where it lies below that."""
    try:
        return str(folder.relative_to(Path.cwd())) if folder is not None else ""
    except (OSError, ValueError):
        return str(folder)
