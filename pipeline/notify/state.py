"""How a job stands, as far as a change of it is worth a word, and what changed from one state to the next."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from pipeline.issue.folder.folder_names import numbered
from pipeline.issue.folder.manual_release import find_issue_to_show
from pipeline.issue.folder.standing_issues import newest_standing
from pipeline.issue.record import RecordError
from pipeline.problems import JobError, JobHeld
from pipeline.replace import replace
from pipeline.run.fleet import Result
from pipeline.run.mishaps import Mishap
from pipeline.run.outcome import Outcome, outcome


class Stand(StrEnum):
    """How a job stands: by an issue, refused, or ended otherwise; UNTOLD: of whatever was, nothing was ever told."""

    STANDS = "stands"
    REFUSED = "refused"
    FAILED = "failed"
    UNTOLD = "untold"


class Event(StrEnum):
    """What changed: the job's first issue, another one, one that waits, and so on; `README` has their meanings."""

    FIRST = "first"
    ISSUE = "issue"
    PENDING = "pending"
    RELEASED = "released"
    VERDICT = "verdict"
    ASIDE = "aside"
    REFUSED = "refused"
    FAILED = "failed"
    RECOVERED = "recovered"


@dataclass(frozen=True)
class ToldState:
    """How a job stands; of one that is refused or failed the issue is the one that was last told of."""

    stand: Stand
    issue: int | None = None
    verdict: str | None = None
    pending: bool = False
    current: int | None = None

    @classmethod
    def of(cls, result: Result, before: "ToldState | None") -> "ToldState | None":
        """Return the state by what became of a run; None where that says nothing of the job: another run holds it."""
        if isinstance(result, Outcome):
            record = result.record
            return cls(Stand.STANDS, record["issue"], record["verdict"], bool(result.waits), result.current)
        if isinstance(result, JobHeld):
            return None
        stand = Stand.FAILED if isinstance(result, Mishap) else Stand.REFUSED
        return replace(before, stand=stand) if before is not None else cls(stand)

    def with_newest(self, folder: Path) -> "ToldState":
        """Return how a job that is refused or failed stands by its folder: of the newest issue there, told of or not.

        That is for the message alone: what is noted says of which issue somebody was told. Where the folder has no
        issue, or it cannot be read, the state is as it is.
        """
        if self.stand == Stand.STANDS:
            return self
        try:
            if (found := newest_standing(folder)) is None:
                return self
            path, record = found
            shown = find_issue_to_show(folder, [number for number, _ in numbered(folder)], record)
            state = ToldState.of(outcome(record, path.parent, False, shown), None)
        except (JobError, RecordError, OSError):
            return self
        return self if state is None else replace(state, stand=self.stand)

    @classmethod
    def read(cls, said: Mapping[str, Any] | None) -> "ToldState | None":
        """Return a state as `plain` gave it; None where it is not in that form."""
        try:
            return cls(**{**said, "stand": Stand(said["stand"])}) if said is not None else None
        except (TypeError, ValueError, KeyError):
            return None

    def plain(self) -> dict[str, Any]:
        """Return it in plain JSON values."""
        return {**asdict(self), "stand": str(self.stand)}


def events(before: ToldState | None, now: ToldState, *, fresh: bool) -> list[Event]:
    """Return what changed, in the order of `Event`.

    Args:
        before: what was last told; None where nothing was noted, as when a command is named for the first time.
        now: how the job stands.
        fresh: this run made an issue, or tells of one of which nobody was told.
    """
    if now.stand != Stand.STANDS:
        return [Event(now.stand)] if before is None or before.stand != now.stand else []
    if before is None:
        before = ToldState(Stand.UNTOLD) if fresh else now
    return sorted(set(_of_issue(before, now, fresh)), key=list(Event).index)


def _of_issue(before: ToldState, now: ToldState, fresh: bool) -> Iterator[Event]:
    """Yield what changed to the issue that stands now."""
    if before.stand in (Stand.REFUSED, Stand.FAILED):
        yield Event.RECOVERED
    if before.issue is None and not (fresh or before.stand == Stand.UNTOLD):
        return
    another = now.issue != before.issue
    if another and now.issue is not None:
        newer = before.issue is None or now.issue > before.issue
        yield (Event.FIRST if now.issue == 1 else Event.ISSUE) if newer else Event.ASIDE
    if now.pending and (another or not before.pending):
        yield Event.PENDING
    by_itself = another and now.current == now.issue
    if before.issue is not None and now.current not in (None, before.current) and not by_itself:
        yield Event.RELEASED
    if before.verdict is not None and now.verdict != before.verdict:
        yield Event.VERDICT
