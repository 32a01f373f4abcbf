"""A doubt: an error that may affect a whole session or job although every check agrees, until somebody checked it."""

from dataclasses import dataclass, field

from pipeline.issue.doubt_types import ChangedNumbers, FrameChange, LostOccupation, ShiftAnew, Unread
from pipeline.issue.record_types import DoubtNoted
from pipeline.words import Doubt

#: The issue that is being made, whose number is known when its record is written, as the one that an origin names.
THIS_ISSUE = 0


@dataclass(frozen=True)
class Doubtful:
    """Something that may be wrong with every point of some sessions alike, so that no check of theirs proves it.

    ``sessions`` are indices of sessions, None for all. ``file`` and ``line`` say where it was seen, as in `Problem`.
    ``confirmed`` is whether the job file says that somebody looked into this kind of doubt and found all in order.
    ``origin`` is what it is about, where the next issues know it again by that; ``what`` is for people alone. Doubts of
    one sentence that are about several things are told once.
    """

    kind: Doubt
    what: str
    sessions: tuple[int, ...] | None = None
    file: str = ""
    line: int = 0
    confirmed: bool = False
    origin: LostOccupation | FrameChange | ShiftAnew | ChangedNumbers | Unread | None = field(default=None, hash=False)

    def reaches(self, session: int) -> bool:
        """Return whether this takes the proof of a session away."""
        return not self.confirmed and (self.sessions is None or session in self.sessions)

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}: " if self.line > 0 else f"{self.file}: " if self.file else ""
        if self.confirmed:
            return f"{where}{self.what} (confirmed by the job file)"
        key = f'[checks] confirmed = ["{self.kind}"]'
        return f"{where}{self.what} -> the points stay unproven until you have checked this and set {key}"

    def recorded(self, names: list[str], issue: int) -> DoubtNoted:
        """Return the doubt as the record of an issue has it; ``names`` are those of the job's sessions."""
        origin = self.origin
        if origin is not None and origin["of"] == "occupation" and origin["failed_in"] == THIS_ISSUE:
            origin = {**origin, "failed_in": issue}
        concerned = names if self.sessions is None else [names[number] for number in self.sessions]
        return {
            "kind": str(self.kind),
            "what": str(self),
            "sessions": concerned,
            "confirmed": self.confirmed,
            "origin": origin,
        }
