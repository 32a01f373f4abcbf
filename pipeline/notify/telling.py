"""Sends the notification of one job: decides whether there is one, runs the command, notes what was sent.

A run that is killed before it could tell leaves it to the next.
"""

from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from pipeline.issue.folder import last_notification
from pipeline.issue.folder.marker import read_marker
from pipeline.job.command_named import Command
from pipeline.notify.called import Called, call
from pipeline.notify.job_change import JobChange
from pipeline.notify.message import message
from pipeline.notify.state import Stand, ToldState, events
from pipeline.notify.told import Told
from pipeline.problems import JobError

#: Seconds more than a command's own for which another run's is waited for; calls of a command that may take too long
#: in one run, after which it is not called any more.
_MORE, _LATE = 10.0, 3


class _Notes(Struct, frozen=True):
    """Where it is noted what was told of a job: beside its issues, else beside the job file."""

    folder: Path | None
    beside: Path

    def read(self) -> ToldState | None:
        """Return what was told last."""
        kept = (
            ToldState.read(last_notification.read_last_notification(self.folder / last_notification.NAME))
            if self.folder is not None
            else None
        )
        later = ToldState.read(last_notification.read_last_notification(self.beside))
        if kept is None or later is None:
            return later or kept
        return ToldState(later.stand, kept.issue, kept.verdict, kept.pending, kept.current)

    def write(self, state: ToldState) -> None:
        """Note what was told. Raises OSError."""
        path = self.folder / last_notification.NAME if self.folder is not None else self.beside
        last_notification.write_last_notification(path, state.plain())
        if self.folder is not None:
            self.beside.unlink(missing_ok=True)


def is_due(change: JobChange) -> bool:
    """Say whether a run changed anything that is told; note how a job stands of which nothing was noted yet."""
    notes = _Notes(change.folder(), last_notification.note_path(change.job))
    before = notes.read()
    now = ToldState.of(change.result, before)
    if now is None or now == before:
        return False
    if events(before, now, fresh=change.fresh):
        return True
    _noted(notes, now)
    return False


def tell(change: JobChange, command: Command, around: Mapping[str, str], late: list[tuple[str, ...]]) -> Told | None:
    """Tell of a job, where nobody else has meanwhile; what goes wrong with that is told in its place.

    ``late`` has the commands of this run that took too long, once for each call; one more is added to it.
    """
    folder = change.folder()
    try:
        if folder is None:
            return _told(change, command, around, late, None)
        with last_notification.notification_lock(folder, command.timeout + _MORE):
            return _told(change, command, around, late, folder)
    except Exception as error:  # whatever it is, it costs no job
        return Told(change.job, change.result, False, f"no notification was sent: {error!r}")


def _told(
    change: JobChange, command: Command, around: Mapping[str, str], late: list[tuple[str, ...]], folder: Path | None
) -> Told | None:
    notes = _Notes(folder, last_notification.note_path(change.job))
    before = notes.read()
    now = ToldState.of(change.result, before)
    if now is None or not (changed := events(before, now, fresh=change.fresh)):
        return None
    if command.distrusted is not None:
        called = Called(False, f"was not called: {command.distrusted}; name a command with tiedown run --notify")
    elif late.count(command.words) >= _LATE:
        called = Called(False, "was not called: it took too long three times in this run")
    else:
        stands = now if folder is None else now.with_newest(folder)
        said = message(change, _name(folder), changed, before, stands, folder)
        called = call(command.words, command.folder, said.environment(around), said.document(), command.timeout)
        late += [command.words] if called.late else []
    kept = _noted(notes, now if called.well else before or ToldState(Stand.UNTOLD))
    how = f"the command for {', '.join(changed)} {called.how}"
    if not called.well:
        how += "; the next run calls it again"
    elif not kept:
        how += "; this cannot be recorded, so the next run calls it again"
    return Told(change.job, change.result, called.well and kept, how, called.output)


def _name(folder: Path | None) -> str | None:
    """Return the name of the job whose folder this is."""
    try:
        marker = read_marker(folder) if folder is not None else None
    except JobError:
        return None
    return marker.job if marker is not None else None


def _noted(notes: _Notes, state: ToldState) -> bool:
    try:
        notes.write(state)
    except OSError:
        return False
    return True
