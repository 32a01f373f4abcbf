"""What became of a run."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.issue.attention import attention
from pipeline.issue.record_types import Record


@dataclass(frozen=True)
class Outcome:
    """The issue's record, the folder it stands in (None where nothing was written), and whether this run made it."""

    record: Record
    folder: Path | None
    issued: bool

    @property
    def headline(self) -> str:
        """Say in a few words what became of the run."""
        number = f"issue {self.record['issue']:03d}"
        if self.issued:
            return f"{number} written to {_from_here(self.folder)}"
        return f"{number} would be written" if self.folder is None else f"nothing changed since {number}"

    @property
    def exit_code(self) -> int:
        """Return 3 where something of the issue that stands needs attention, made by this run or not, else 0."""
        return 3 if attention(self.record) else 0


def _from_here(folder: Path | None) -> str:
    """Return a path as it is typed in the working folder, where it lies below that."""
    try:
        return str(folder.relative_to(Path.cwd())) if folder is not None else ""
    except (OSError, ValueError):
        return str(folder)
