"""What is odd about the job file as a whole: lengths that seem to be millimetres, sessions without a tie."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.uncertainties import unstated
from pipeline.intake.candidates import Candidates
from pipeline.intake.survey import Survey
from pipeline.occupations.signs import MarkNames
from pipeline.sessions.toml_lines import more_occupations
from pipeline.sessions.windows import SessionWindow
from pipeline.words import Doubt, plural

#: Metres beyond which a tolerance of checks lets every blunder pass, a limit of shifts bases, datums and zones of any
#: kind, and a limit of readings every solution: millimetres or centimetres were meant. Ours, no source.
_TOLERANCES = dict.fromkeys(("horizontal", "vertical"), 3.0)
_SHIFTS = dict.fromkeys(("limit_horizontal", "limit_vertical"), 1_000.0)
_SIGMA = 1.0
#: Metres beyond which readings of one name, of one place, are no more of one thing whoever measured it: two bases that
#: averaged their positions put one place some 25 m apart at the most. Ours, no source.
_ONE_POINT = {"same_name": 25.0, "same_place": 3.0}
#: Readings that a sentence lists.
_LISTED = 4

_LIMITS = ("max_sigma_horizontal", "max_sigma_vertical")
#: Limits that nothing is beyond, metres or seconds, by section and key, and what is said of one. Ours, no source.
_WIDE = (
    ("quality", "max_correction_age", 3_600.0, "lets every reading pass: 30 seconds are written 30"),
    ("checks", "radius", 50.0, "reaches marks that nobody stood on: lengths are metres, so 500 mm are written 0.5"),
    ("target", "max_transform_error", 20.0, "lets every datum pass: lengths are metres, so 30 mm are written 0.030"),
)


def tolerance_doubts(survey: Survey) -> list[Doubtful]:
    """Return doubts where tolerances of checks, limits of shifts or what counts as one point say nothing."""
    found = []
    for name, keys, does, written in (
        ("checks", _TOLERANCES, "passes every blunder", "30 mm are written 0.030"),
        ("checks", _ONE_POINT, "treats different points as one that was measured twice", "30 mm are written 0.030"),
        ("shift", _SHIFTS, "passes every blunder", "10 m are written 10"),
    ):
        table = getattr(survey.job, name)
        wide = {key: value for key, most in keys.items() if (value := getattr(table, key)) > most}
        if wide:
            file, line = survey.where(name, next(iter(wide)))
            stated = " and ".join(f"{name}.{key} = {value:g}" for key, value in wide.items())
            what = f"{stated} {does}: lengths are metres, so {written}"
            found.append(Doubtful(Doubt.TOLERANCE, what, None, Path(file).name, line))
    return found


def job_notes(survey: Survey) -> Iterator[str]:
    """Yield in words what of the job file should be looked at, each with its line."""
    unused = {"sigma_horizontal", "sigma_vertical"}.difference(unstated(survey))
    quality = survey.job.quality
    for keys, what in (
        (_LIMITS, "lets every reading pass: lengths are metres, so 50 mm are written 0.050"),
        (sorted(unused), "cannot be right: lengths are metres, so 8 mm are written 0.008"),
    ):
        for key in keys:
            value = getattr(quality, key)
            if value is not None and value > _SIGMA:
                file, line = survey.where("quality", key)
                yield f"{Path(file).name}:{line}: quality.{key} = {value:g} {what}"
    for name, key, most, what in _WIDE:
        value = getattr(getattr(survey.job, name), key)
        if value is not None and value > most:
            file, line = survey.where(name, key)
            yield f"{Path(file).name}:{line}: {name}.{key} = {value:g} {what}"
    for number, block in enumerate(survey.job.points):
        up, columns = block.columns.sigma_up, block.columns
        if up is not None and up in (columns.sigma_east, columns.sigma_north, columns.sigma_horizontal):
            file, line = survey.where("points", number, "columns")
            yield (
                f'{Path(file).name}:{line}: the column "{up}" is mapped as sigma_up and as a horizontal sigma too, and'
                " heights are less certain than positions: map the vertical one as sigma_up, or leave it out and state"
                " sigma_vertical in [quality]"
            )
    for window in survey.windows:
        session = window.session
        if session.shift == "derive" and not session.ties and session.setup is None:
            yield (
                f"{Path(window.where[0]).name}:{window.where[1]}: session {session.name} has no tie and no setup, so"
                f" all its readings are held back as untied: {_would_tie(survey, window)}"
            )


def _would_tie(survey: Survey, window: SessionWindow) -> str:
    """Say which line ties a session: of its readings that are named after marks, or, where there are none, of any."""
    names = MarkNames.of(survey.prepared.register_names)
    candidates = survey.candidates
    like = [(candidates.names[row], names.like(candidates.names[row])) for row in _of(candidates, window.index)]
    pairs = list(dict.fromkeys((name, mark) for name, mark in like if name and mark))[:_LISTED]
    if not pairs:
        return 'name a point on a known mark, as in ties = [{ point = "...", mark = "..." }]'
    write = more_occupations(window.session, "ties", pairs, survey.job.sessions)
    return f"{plural(len(pairs), 'a reading is', 'readings are')} named after a mark; if the pole stood on it, {write}"


def _of(candidates: Candidates, session: int) -> list[int]:
    return [int(row) for row in np.flatnonzero(candidates.session == session)]
