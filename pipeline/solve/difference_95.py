"""The 95 % figures of the differences on occupied marks, from the adjustment and the register."""

import numpy as np

from pipeline.adjust import FIRM
from pipeline.arrays import Floats
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.solve.covariance import Parts, covariance
from pipeline.solve.observations import covariance_of
from pipeline.solve.solve import Solved
from pipeline.words import Role


def differences_95(survey: Survey, solved: Solved) -> tuple[Floats, Floats]:
    """Return (n,) the 95 % radius and the 95 % uncertainty in height of each occupation's observed minus known.

    NaN where nothing is known of the mark, as on a temporary one, or its session is untied.
    """
    found = solved.occupations.corrected
    turn = enu_rotation(np.nan_to_num(found.longitude), np.nan_to_num(found.latitude))
    local = covariance(_parts(survey, solved, turn))
    horizontal, vertical = horizontal_95(local), vertical_95(np.sqrt(local[:, 2, 2]))
    known = np.isfinite(solved.occupations.known)
    return np.where(known[:, :2].all(axis=1), horizontal, np.nan), np.where(known[:, 2], vertical, np.nan)


def _parts(survey: Survey, solved: Solved, turn: Floats) -> Parts:
    """Put together what the differences come from; ``turn`` (n, 3, 3) leads to the local directions."""
    on_marks, marks, job = solved.occupations, solved.tied.marks, survey.job
    in_register = {name: number for number, name in enumerate(solved.reference.names)}
    adjusted = {name: number for number, name in enumerate(marks.names)}
    known = np.array([in_register.get(name, -1) for name in on_marks.marks], np.int64)
    number = np.array([adjusted.get(name, -1) for name in on_marks.marks], np.int64)
    hanging = np.flatnonzero(number >= 0)
    between = np.zeros((len(number), 3, 3))
    between[hanging] = solved.shifts.between(on_marks.session[hanging], number[hanging])
    centring = job.quality.centring
    observation = np.hypot(on_marks.sigma, [centring, centring, 0.0])
    return Parts(
        observation=np.maximum(observation, FIRM),
        known=np.maximum(np.vstack([solved.reference.sigma, np.full((1, 3), np.nan)])[known], FIRM),
        geoid=job.target.geoid_sigma or 0.0,
        shift=rotate_covariance(solved.applied.covariance[on_marks.session], turn),
        between=rotate_covariance(between, turn),
        held=np.vstack([marks.held, np.zeros((1, 3), bool)])[number],
        tie=np.array([role is Role.TIE for role in on_marks.roles], bool),
        correlated=covariance_of(on_marks.table, survey),
    )
