"""Compares a named geoid grid with PROJ's own over the job: what of their difference does no tie absorb?

Ties take up what two geoid models differ by at their marks. What the difference changes by from there to the points
stays in the heights, and marks beside the ties do not show it.
"""

from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.geoid_step import of_another_model
from pipeline.geodesy import crs as systems
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, Role, counted

#: Metres within which two models of a national service, an older and a newer one, may differ over a job; and points
#: from which on a difference is not that of a few far out. Ours, no source.
_MODELS, _POINTS = 0.05, 3
#: Metres that a national model is good to where PROJ does not say it: 0.02 to 0.1 m are said (common practice).
_UNSAID = 0.1
#: The part of the vertical tolerance from which on a difference is told.
_TOLD = 0.5


class Unlike(Struct, frozen=True):
    """How far two models part between ties and points, (k,) metres, beyond where a check would show it.

    ``there`` (k,) are their differences at the points, ``at_ties`` (k,) at the ties of each one's session, ``count``
    (k,) the points that each stands for.
    """

    beyond: Floats
    there: Floats
    at_ties: Floats
    count: Integers

    def points(self, limit: float) -> int:
        """Return how many points lie where the models part by more than a limit [m]."""
        return int(self.count[np.abs(self.beyond) > limit].sum())


def geoid_over_extent(survey: Survey, own: Operation | None) -> tuple[list[Doubtful], list[str]]:
    """Return the doubt or the note that a named geoid grid and PROJ's own part over the job, by more than ties absorb.

    Nothing without PROJ's ``own_way``, or where the register's heights do not tie the height datum.
    """
    job = survey.job
    geoid, target, control = job.target.geoid, job.target, job.control
    if geoid is None or own is None or control is None or survey.register is None:
        return [], []
    if not systems.same_height_datum(control.height, target.height):
        return [], []
    unlike = _unlike(survey, own)
    if unlike is None:
        return [], []
    tolerance = job.checks.vertical
    # A model of the whole earth is itself good to a metre, so that a better one may differ from it.
    accuracy = own.accuracy if own.accuracy is not None else _UNSAID
    allowed = (tolerance, _MODELS, 2.0 * accuracy, 2.0 * (target.geoid_sigma or 0.0), target.max_transform_error or 0.0)
    if unlike.points(_TOLD * tolerance) < _POINTS:
        return [], []
    most = int(np.argmax(np.abs(unlike.beyond)))
    at_ties, there = float(unlike.at_ties[most]), float(unlike.there[most])
    doubted = unlike.points(max(allowed)) >= _POINTS
    concerned = unlike.points(max(allowed) if doubted else _TOLD * tolerance)
    what = (
        f"the grid {Path(geoid).name} puts {target.height} {at_ties:+.3f} m from where {own.name} of PROJ does at the"
        f" ties, which absorb that, but {there:+.3f} m at points: heights there differ by"
        f" {abs(there - at_ties):.3f} m between the two ({counted(concerned, 'point')} by more than"
        f" {max(allowed) if doubted else _TOLD * tolerance:.3f} m), and no check is near enough to them to show it"
    )
    if doubted:
        what += ". Check that it is the grid of this height datum, or leave target.geoid out"
        return [Doubtful(Doubt.TRANSFORMATION, what, None, *survey.recorded_at("target", "geoid"))], []
    file, line = survey.recorded_at("target", "geoid")
    return [], [f"{file}:{line}: {what}"]


def _unlike(survey: Survey, own: Operation) -> Unlike | None:
    """Return how far two models part between ties and points; None where nothing ties, or another finding says it."""
    area = survey.first_pass.area
    places = area.places if area is not None else None
    if area is None or places is None or places.session is None:
        return None
    tied, tied_session = _ties(survey)
    at_ties = _differences(survey, own, *tied)
    known = np.isfinite(at_ties)
    if not known.any():
        return None
    absorbed = np.full(len(survey.windows), at_ties[known].mean())
    for number in np.unique(tied_session[known]).tolist():
        absorbed[number] = at_ties[known & (tied_session == number)].mean()
    at_points = _differences(survey, own, places.longitude, places.latitude)
    counts = np.isfinite(at_points) & (places.session >= 0) & area.holds(places.longitude, places.latitude)
    if not counts.any() or of_another_model(at_points[counts], np.zeros(counts.sum()), own.accuracy):
        return None
    session, there = places.session[counts], at_points[counts]
    low, high = _shown_by_checks(survey, own, absorbed)
    beyond = there - absorbed[session]
    beyond = beyond - np.clip(beyond, low[session], high[session])
    return Unlike(beyond, there, absorbed[session], places.count[counts])


def _shown_by_checks(survey: Survey, own: Operation, absorbed: Floats) -> tuple[Floats, Floats]:
    """Return (S,) the lowest and highest that models part by at checks, metres: where those fail, if the grid is wrong.

    A check where the models part by less than its tolerance tells nothing; without others these are 0.
    """
    found = np.zeros((2, len(survey.windows)))
    rows = [row for row, said in enumerate(survey.candidates.named) if said is not None and said.role is Role.CHECK]
    session = survey.candidates.session[rows].astype(np.int64)
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*survey.candidates.raw[rows].T)
    parted = np.nan_to_num(_differences(survey, own, longitude, latitude) - absorbed[session])
    parted[np.abs(parted) <= survey.job.checks.vertical] = 0.0
    np.minimum.at(found[0], session, parted)
    np.maximum.at(found[1], session, parted)
    return found[0], found[1]


def _ties(survey: Survey) -> tuple[tuple[Floats, Floats], Integers]:
    """Return the longitudes and latitudes (t,) of what ties to marks of the register, and their sessions.

    Where no session has a tie, as with stations of a network, these are the checks.
    """
    register = survey.register
    names = set(register.names) if register is not None else set[str]()
    on_marks = [row for row, said in enumerate(survey.candidates.named) if said is not None and said.mark in names]
    ties = [row for row, mark in survey.candidates.ties() if mark in names]
    setups = [
        window.index
        for window in survey.windows
        if window.session.setup is not None and window.session.setup.mark in names
    ]
    rows = ties or ([] if setups else on_marks)
    xyz = np.vstack([survey.candidates.raw[rows], survey.bases.mark[setups]])
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*xyz.T)
    session = np.append(survey.candidates.session[rows], np.array(setups, np.int64))
    return (np.asarray(longitude), np.asarray(latitude)), session.astype(np.int64)


def _differences(survey: Survey, own: Operation, longitude: Floats, latitude: Floats) -> Floats:
    """Return (n,) metres that the named grid puts the height datum above where PROJ's own way does; NaN where none."""
    known = survey.first_pass.place[:, 2]
    known = known[np.abs(np.nan_to_num(known, nan=np.inf)) < 10_000.0]
    level = np.full(len(longitude), known.min() if known.size else 0.0)
    xyz = survey.operations.frames.to_geographic.inverse(longitude, latitude, level)
    by_named, by_own = (way.forward(*xyz)[2] for way in (survey.operations.frames.to_issued, own))
    apart = np.asarray(by_own, np.float64) - np.asarray(by_named, np.float64)
    apart[~np.isfinite(apart)] = np.nan
    return apart
