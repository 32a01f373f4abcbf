"""The 95 % figures of the differences on occupied marks, from the adjustment and the register."""

from typing import Protocol

import numpy as np

from pipeline.adjust import FIRM
from pipeline.arrays import Floats
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import add_covariance, horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.solve.adjusted_ties import Tied
from pipeline.solve.compare import OnMarks
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import SessionShifts
from pipeline.solve.covariance import Parts, covariance
from pipeline.solve.reading_precision import with_centring
from pipeline.solve.shift import Shifts
from pipeline.solve.temporary_marks import shift_less_mark


class ByShifts(Protocol):
    """What is known of a job once it is adjusted, judged or not (`solve/solve.py:Adjusted`)."""

    @property
    def reference(self) -> Reference: ...  # noqa: D102

    @property
    def tied(self) -> Tied: ...  # noqa: D102

    @property
    def shifts(self) -> Shifts: ...  # noqa: D102

    @property
    def applied(self) -> SessionShifts: ...  # noqa: D102

    @property
    def occupations(self) -> OnMarks: ...  # noqa: D102


def differences_95(survey: Survey, solved: ByShifts) -> tuple[Floats, Floats]:
    """Return (n,) the 95 % radius and the 95 % uncertainty in height of each occupation's observed minus known.

    NaN where nothing is known of the mark, as of a tie on a temporary one, or its session is untied.
    """
    found = solved.occupations.corrected
    turn = enu_rotation(np.nan_to_num(found.longitude), np.nan_to_num(found.latitude))
    local = covariance(_parts(survey, solved, turn))
    _on_temporary(survey, solved, turn, local)
    horizontal, vertical = horizontal_95(local), vertical_95(np.sqrt(local[:, 2, 2]))
    known = np.isfinite(solved.occupations.known)
    return np.where(known[:, :2].all(axis=1), horizontal, np.nan), np.where(known[:, 2], vertical, np.nan)


def _on_temporary(survey: Survey, solved: ByShifts, turn: Floats, local: Floats) -> None:
    """Put in place what the differences of checks on temporary marks come from: reading, shift, and mark as adjusted.

    The geoid separation is the mark's and the reading's alike.
    """
    on_marks, centring = solved.occupations, survey.job.quality.centring
    rows = np.flatnonzero(on_marks.temporary & np.isfinite(on_marks.known[:, 0]))
    if not len(rows):
        return
    number = {name: place for place, name in enumerate(solved.tied.marks.names)}
    at = np.array([number[on_marks.marks[row]] for row in rows], np.int64)
    local[rows] = rotate_covariance(shift_less_mark(solved.tied, on_marks.session[rows], at), turn[rows])
    precision = on_marks.precision.of(rows)
    of_rows = local[rows]
    add_covariance(of_rows, np.maximum(with_centring(precision.sigma, centring), FIRM), precision.correlated)
    local[rows] = of_rows


def _parts(survey: Survey, solved: ByShifts, turn: Floats) -> Parts:
    """Put together what the differences come from; ``turn`` (n, 3, 3) leads to the local directions."""
    on_marks, marks, job = solved.occupations, solved.tied.marks, survey.job
    in_register = {name: number for number, name in enumerate(solved.reference.names)}
    adjusted = {name: number for number, name in enumerate(marks.names)}
    known = np.array([in_register.get(name, -1) for name in on_marks.marks], np.int64)
    number = np.array([adjusted.get(name, -1) for name in on_marks.marks], np.int64)
    hanging = np.flatnonzero(number >= 0)
    between = np.zeros((len(number), 3, 3))
    between[hanging] = solved.shifts.between(on_marks.session[hanging], number[hanging])
    return Parts(
        observation=np.maximum(with_centring(on_marks.precision.sigma, job.quality.centring), FIRM),
        known=np.maximum(np.vstack([solved.reference.sigma, np.full((1, 3), np.nan)])[known], FIRM),
        geoid=survey.operations.geoid_sigma,
        shift=rotate_covariance(solved.applied.covariance[on_marks.session], turn),
        between=rotate_covariance(between, turn),
        held=np.vstack([marks.held, np.zeros((1, 3), bool)])[number],
        tie=on_marks.ties,
        correlated=on_marks.precision.correlated,
    )
