"""What became of telling of a job."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.run.fleet import Result


@dataclass(frozen=True)
class Told:
    """What became of telling: of which job, whether it was told, in words how, and what the command said."""

    job: Path
    result: Result
    well: bool
    how: str
    output: str = ""
