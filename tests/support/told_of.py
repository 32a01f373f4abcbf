"""What a new job tells of a folder that it cannot read whole: why it refuses it, or what it asks in the job file."""

from pathlib import Path

from pipeline.new_job import new_job
from pipeline.problems import JobError


def told_of(folder: Path) -> str:
    """Return the refusal, or all that is asked and told of files; the job file that may be written is taken away."""
    try:
        started = new_job(folder)
    except JobError as error:
        return str(error)
    Path(started.path).unlink()
    assert started.asked, "nothing is refused, and nothing is asked"
    asks = [one.question.asks for one in started.asked]
    return "\n".join([*asks, *(f"{file}: {why}" for file, _, why in started.files)])
