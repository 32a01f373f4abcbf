"""Puts a question to the stages of a run up to its first pass, where what is computed has no say in the answer."""

from pathlib import Path

from pipeline.examine.examine import examine
from pipeline.intake.prepare import begin, prepare
from pipeline.problems import Problems


def doubts_before(path: Path) -> list[str]:
    """Return what takes the proof of a job away whatever its checks say, in the words that a check has for it."""
    problems = Problems()
    return [str(doubt) for doubt in examine(prepare(begin(path, problems), problems), problems).doubts]
