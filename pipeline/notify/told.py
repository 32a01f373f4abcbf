"""What became of telling of a job."""

from pathlib import Path

from msgspec import Struct

from pipeline.run.fleet import Result


class Told(Struct, frozen=True):
    """What became of telling: of which job, whether it was told, in words how, and what the command said."""

    job: Path
    result: Result
    well: bool
    how: str
    output: str = ""
