"""What became of a run."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.issue.attention import attention
from pipeline.issue.record_types import Record


@dataclass(frozen=True)
class Outcome:
    """The issue's record, the folder it stands in (None where nothing was written), and whether this run made it.

    ``untold`` are records of issues that runs wrote which did not come to their end, so that nobody was told of them.
    """

    record: Record
    folder: Path | None
    issued: bool
    untold: tuple[Record, ...] = ()

    @property
    def headline(self) -> str:
        """Say in a few words what became of the run."""
        number = f"issue {self.record['issue']:03d}"
        if self.issued:
            return f"{number} written to {_from_here(self.folder)}{self._untold()}"
        return (f"{number} would be written" if self.folder is None else f"nothing changed since {number}") + (
            self._untold()
        )

    @property
    def exit_code(self) -> int:
        """Return 3 where the issue that stands, or one that nobody was told of, needs attention, else 0."""
        return 3 if any(attention(record) for record in (self.record, *self.untold)) else 0

    def told_late(self) -> list[str]:
        """Return in words which issues a run wrote that did not come to its end."""
        return [
            f"issue {one['issue']:03d}, verdict {one['verdict'].upper()}, was written by a run that did not come to its"
            " end"
            for one in self.untold
        ]

    def _untold(self) -> str:
        return f" ({'; '.join(self.told_late())})" if self.untold else ""


def _from_here(folder: Path | None) -> str:
    """Return a path as it is typed in the working folder, where it lies below that."""
    try:
        return str(folder.relative_to(Path.cwd())) if folder is not None else ""
    except (OSError, ValueError):
        return str(folder)
