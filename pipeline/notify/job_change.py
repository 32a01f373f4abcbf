"""A run of a job that may be worth a word, as the stages of a notification hand it on."""

from contextlib import suppress
from pathlib import Path

from msgspec import Struct

from pipeline.replace import replace
from pipeline.run.fleet import Result
from pipeline.run.outcome import Outcome
from pipeline.run.run_log import folder_of


class JobChange(Struct, frozen=True):
    """A run of a job that may be worth a word: its file, what became of it, its exit code, and lines for people."""

    job: Path
    result: Result
    code: int = 0
    text: str = ""

    def told_as(self, code: int, text: str) -> "JobChange":
        """Return it with its exit code, and its lines for people."""
        return replace(self, code=code, text=text)

    @property
    def fresh(self) -> bool:
        """Say whether the run made an issue, or tells of one of which nobody was told."""
        return isinstance(self.result, Outcome) and (self.result.issued or bool(self.result.untold))

    def folder(self) -> Path | None:
        """Return the folder of the job's issues, None where there is none yet, it is another's, or nobody can tell."""
        with suppress(OSError, ValueError):
            return folder_of(self.job, self.result)
        return None
