"""Readings of blunders in words, and as the issue record has them."""

from collections.abc import Sequence

import numpy as np

from pipeline.blunders.diagnose import CLOSE, Diagnoses, Diagnosis, Drift
from pipeline.blunders.score import Reading
from pipeline.clock import clock
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.solve.solve import Solved
from pipeline.words import counted

#: How many readings of one session are named in `cause`; the record has more.
_NAMED = 3
#: How many readings the record has: of a height that is off, many digits may be the wrong one.
_RECORDED = 20


def causes(solved: Solved, diagnoses: Diagnoses) -> list[str | None]:
    """Return for each occupation of a mark the sentence that says what its failing may mean, None where it passes."""
    told = {row: _sentence(solved, diagnosis) for diagnosis in diagnoses.diagnoses for row in diagnosis.rows}
    return [told.get(row) for row in range(len(solved.occupations.marks))]


def drifts(survey: Survey, solved: Solved, found: Sequence[Drift]) -> list[str]:
    """Return the drifts that no tolerance caught, a sentence each."""
    return [
        f"session {survey.windows[one.session].session.name}: {_words(solved, one.reading)} (chance {one.chance:.1g})"
        for one in found
    ]


def recorded(survey: Survey, solved: Solved, diagnoses: Diagnoses) -> list[record_types.Diagnosis]:
    """Return the diagnoses as the issue record has them, the readings with their numbers."""
    names = solved.occupations.table.column("name").to_pylist()
    return [
        {
            "session": survey.windows[diagnosis.session].session.name,
            "points": [names[row] for row in diagnosis.rows],
            "tried": diagnosis.tried,
            "fitting": len(diagnosis.readings),
            "split": diagnosis.split,
            "explanations": [_reading(solved, diagnosis, reading) for reading in diagnosis.readings[:_RECORDED]],
        }
        for diagnosis in diagnoses.diagnoses
    ]


def _words(solved: Solved, reading: Reading) -> str:
    """Return a reading's sentence with its numbers."""
    text = reading.hypothesis.text
    if "{" not in text:
        return text
    east, north, up = reading.size + 0.0
    opposite = -reading.size + 0.0
    words = {
        "size": f"({east:+.3f}, {north:+.3f}, {up:+.3f}) m east, north, up",
        "opposite": "({:+.3f}, {:+.3f}, {:+.3f}) m east, north, up".format(*opposite),
    }
    if reading.hypothesis.where is not None:
        since, until = reading.hypothesis.where
        times = solved.occupations.time
        words |= {"since": clock(int(times[since])), "until": clock(int(times[until]))}
    return text.format(**words)


def _sentence(solved: Solved, diagnosis: Diagnosis) -> str:
    """Return what stands in `cause`: the best readings with what they leave, and what would decide between them."""
    tested = f"{counted(diagnosis.tried, 'possible cause')} tested"
    if not diagnosis.readings:
        return f"none of {tested} explains it; occupy the mark again, and another one"
    best = diagnosis.readings[0]
    told = []
    for reading in diagnosis.readings[:_NAMED]:
        doubt = "perhaps by chance: " if reading.chance else ""
        horizontal, vertical = _left(reading, diagnosis)
        left = f"unexplained: {horizontal:.3f} m horizontally, {vertical:.3f} m in height"
        told.append(f"{doubt}{_words(solved, reading)} ({left})")
    close = [one for one in diagnosis.readings[1:] if one.score - best.score < CLOSE]
    decide = dict.fromkeys(one.hypothesis.decide for one in [best, *close] if one.hypothesis.decide)
    which = f"; to decide: {'; '.join(list(decide)[:2])}" if close and decide else ""
    return f"{'; or '.join(told)}{which} [{tested}]"


def _left(reading: Reading, diagnosis: Diagnosis) -> tuple[float, float]:
    """Return the most that a reading leaves, horizontally and in height, at its failing occupations."""
    left = reading.left[list(diagnosis.places)]
    return float(np.hypot(left[:, 0], left[:, 1]).max(initial=0.0)), float(np.abs(left[:, 2]).max(initial=0.0))


def _reading(solved: Solved, diagnosis: Diagnosis, reading: Reading) -> record_types.Explanation:
    horizontal, vertical = _left(reading, diagnosis)
    shown = reading.predicted[list(diagnosis.places)]
    east, north, height = (float(shown[np.argmax(np.abs(shown[:, axis])), axis]) for axis in range(3))
    return {
        "kind": str(reading.hypothesis.kind),
        "text": _words(solved, reading),
        "largest": {"d_east": east, "d_north": north, "d_height": height},
        "misfit_horizontal": horizontal,
        "misfit_vertical": vertical,
        "chi_square": reading.chi_square,
        "score": reading.score,
        "chance": reading.chance,
        "close": reading.score - diagnosis.readings[0].score < CLOSE,
        "decide": reading.hypothesis.decide,
    }
