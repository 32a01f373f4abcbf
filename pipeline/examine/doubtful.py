"""A doubt: an error that may affect a whole session or job although every check agrees, until somebody checked it."""

from dataclasses import dataclass, field

from pipeline.issue.doubt_types import FrameChange, LostOccupation, ShiftAnew, Unread
from pipeline.issue.record_types import DoubtNoted
from pipeline.words import Doubt


@dataclass(frozen=True)
class Doubtful:
    """Something that may be wrong with every point of some sessions alike, so that no check of theirs proves it.

    ``sessions`` are indices of sessions, None for all. ``file`` and ``line`` say where it was seen, as in `Problem`.
    ``confirmed`` is whether the job file says that somebody looked into this kind of doubt and found all in order.
    ``origin`` is what it is about, where the next issues know it again by that; ``what`` is for people alone.
    """

    kind: Doubt
    what: str
    sessions: tuple[int, ...] | None = None
    file: str = ""
    line: int = 0
    confirmed: bool = False
    origin: LostOccupation | FrameChange | ShiftAnew | Unread | None = field(default=None, hash=False)

    def reaches(self, session: int) -> bool:
        """Return whether this takes the proof of a session away."""
        return not self.confirmed and (self.sessions is None or session in self.sessions)

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}: " if self.line > 0 else f"{self.file}: " if self.file else ""
        if self.confirmed:
            return f"{where}{self.what} (confirmed by the job file)"
        key = f'[checks] confirmed = ["{self.kind}"]'
        return f"{where}{self.what} -> the points stay unproven until you have checked this and set {key}"

    def recorded(self, names: list[str]) -> DoubtNoted:
        """Return the doubt as the issue record has it; ``names`` are those of the job's sessions."""
        concerned = names if self.sessions is None else [names[number] for number in self.sessions]
        return {
            "kind": str(self.kind),
            "what": str(self),
            "sessions": concerned,
            "confirmed": self.confirmed,
            "origin": self.origin,
        }
