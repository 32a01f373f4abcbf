"""What is odd about the job file as a whole: lengths that seem to be millimetres, sessions without a tie."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.uncertainties import unstated
from pipeline.intake.candidates import Candidates
from pipeline.intake.occupations import MarkNames
from pipeline.intake.survey import Survey
from pipeline.sessions.toml_lines import more_occupations
from pipeline.sessions.windows import SessionWindow
from pipeline.words import Doubt, plural

#: Metres beyond which a tolerance of checks lets every blunder pass, and a limit every solution: millimetres or
#: centimetres were meant. Ours, no source.
_TOLERANCE, _SIGMA = 3.0, 1.0
#: Readings that a sentence lists.
_LISTED = 4

#: Metres beyond which a limit of shifts lets every datum and every zone pass.
_SHIFT = 1_000.0
_LIMITS = ("max_sigma_horizontal", "max_sigma_vertical")


def tolerance_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt where the tolerance of checks is so wide that passing one proves nothing."""
    checks = survey.job.checks
    wide = {key: value for key in ("horizontal", "vertical") if (value := getattr(checks, key)) > _TOLERANCE}
    if not wide:
        return []
    file, line = survey.where("checks", next(iter(wide)))
    stated = " and ".join(f"checks.{key} = {value:g}" for key, value in wide.items())
    what = f"{stated} passes every blunder: lengths are metres, so 30 mm are written 0.030"
    return [Doubtful(Doubt.TOLERANCE, what, None, Path(file).name, line)]


def job_notes(survey: Survey) -> Iterator[str]:
    """Yield in words what of the job file should be looked at, each with its line."""
    unused = {"sigma_horizontal", "sigma_vertical"}.difference(unstated(survey))
    for name, table, most, keys, what in (
        ("quality", survey.job.quality, _SIGMA, _LIMITS, "lets every reading pass: 50 mm are written 0.050"),
        ("quality", survey.job.quality, _SIGMA, sorted(unused), "cannot be right: 8 mm are written 0.008"),
        ("shift", survey.job.shift, _SHIFT, ("limit_horizontal", "limit_vertical"), "lets every blunder pass"),
    ):
        for key in keys:
            value = getattr(table, key)
            if value is not None and value > most:
                file, line = survey.where(name, key)
                yield f"{Path(file).name}:{line}: {name}.{key} = {value:g} {what}, lengths are metres"
    for window in survey.windows:
        session = window.session
        if session.shift == "derive" and not session.ties and session.setup is None:
            yield (
                f"{Path(window.where[0]).name}:{window.where[1]}: session {session.name} has no tie and no setup, so"
                f" all of it is held back as untied: {_would_tie(survey, window)}"
            )


def _would_tie(survey: Survey, window: SessionWindow) -> str:
    """Say which line ties a session: of its readings that are named after marks, or, where there are none, of any."""
    names = MarkNames.of(survey.register.names if survey.register is not None else ())
    candidates = survey.candidates
    like = [(candidates.names[row], names.like(candidates.names[row])) for row in _of(candidates, window.index)]
    pairs = list(dict.fromkeys((name, mark) for name, mark in like if name and mark))[:_LISTED]
    if not pairs:
        return 'name a point that stands on a known mark, as in ties = [{ point = "...", mark = "..." }]'
    write = more_occupations(window.session, "ties", pairs, survey.job.sessions)
    return f"{plural(len(pairs), 'a reading is', 'readings are')} named after a mark; if the pole stood on it, {write}"


def _of(candidates: Candidates, session: int) -> list[int]:
    return [int(row) for row in np.flatnonzero(candidates.session == session)]
