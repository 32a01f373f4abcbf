"""The job's ties, set-ups, control and stated shifts handed to the adjustment, and its shifts as they are applied."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.intake.candidates import Candidates
from pipeline.intake.survey import Survey
from pipeline.job.model import GivenShift
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import SessionShifts
from pipeline.solve.reading_precision import Precision, observed_precision, scale_of, with_centring
from pipeline.solve.shift import NetworkMarks, ReceiversOverMarks, Shifts, StatedShifts, derive_shifts

#: Metres. Common practice, no source: an antenna height is measured about as well as a pole is centred, and at best so.
_LEAST_SETUP = 1e-4


class Tied(Struct, frozen=True):
    """The adjustment and what went into it.

    Args:
        marks: the marks that it knows.
        shifts: its result.
        observation: (n,) number of each candidate's observation in the adjustment, -1 where it is no tie.
        occupied: (k,) the mark of each tie and set-up, in the order of their observations.
        setups: the sessions whose bases stand over a mark, in the order of their observations, after the ties'.
    """

    marks: NetworkMarks
    shifts: Shifts
    observation: Integers
    occupied: Integers
    setups: tuple[int, ...]


def used_marks(
    candidates: Candidates, survey: Survey, reference: Reference, guesses: dict[str, Floats]
) -> NetworkMarks:
    """Return the marks that the adjustment knows: those of the register that are tied to, and the temporary ones.

    ``guesses`` are (3,) places, working frame, by mark: metres off, for what the register lacks.
    """
    used = dict.fromkeys(mark for _, mark in candidates.ties())
    used |= {window.session.setup.mark: None for window in survey.windows if window.session.setup is not None}
    known = {name: number for number, name in enumerate(reference.names)}
    xyz, held, sigma = np.zeros((len(used), 3)), np.zeros((len(used), 3), bool), np.ones((len(used), 3))
    for row, name in enumerate(used):
        number = known.get(name)
        if number is not None and np.isfinite(reference.xyz[number]).all():
            xyz[row], held[row], sigma[row] = reference.xyz[number], reference.held[number], reference.sigma[number]
        else:
            xyz[row] = guesses[name]
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*xyz.T)
    return NetworkMarks(tuple(used), xyz, longitude, latitude, held, sigma)


def sole_control(tied: Tied, survey: Survey) -> list[tuple[str | None, str | None]]:
    """Return per session the one mark of the register that its position, its height hang on, by whatever chain of ties.

    None where several marks hold it, or a stated shift does: then a wrong one shows in the adjustment or in checks.
    """
    stated = np.array([window.session.shift != "derive" for window in survey.windows], bool)
    ties, sessions = tied.shifts.adjustment.ties, len(stated)
    found = []
    for component, group in ((0, ties.position_group), (2, ties.height_group)):
        control = np.flatnonzero(tied.marks.held[:, component])
        groups = np.concatenate([group[sessions:][control], group[:sessions][stated]])
        count = np.bincount(groups, minlength=int(group.max(initial=0)) + 1)
        mark = {int(group[sessions + number]): tied.marks.names[number] for number in control.tolist()}
        found.append([mark.get(int(g)) if count[g] == 1 else None for g in group[:sessions]])
    return list(zip(*found, strict=True))


def candidate_precision(candidates: Candidates, survey: Survey) -> Precision:
    """Return how certain the candidates' observations are, without centring."""
    quality = survey.job.quality
    distance = np.linalg.norm(candidates.raw - survey.bases.receiver[candidates.session], axis=1)
    scales = np.array([scale_of(quality, export.points) for export in survey.exports])
    scale = scales[np.asarray(candidates.table.column("export"), np.int64)]
    return observed_precision(candidates.table, quality, distance, scale)


def tie(candidates: Candidates, precision: Precision, survey: Survey, marks: NetworkMarks, places: Floats) -> Tied:
    """Adjust the whole job; ``precision`` is that of the candidates."""
    row_of = {name: number for number, name in enumerate(marks.names)}
    centring = survey.job.quality.centring
    ties = candidates.ties()
    rows = np.array([row for row, _ in ties], np.int64)
    over = [window for window in survey.windows if window.session.setup is not None]
    of_ties = precision.of(rows)
    occupied = ReceiversOverMarks(
        candidates.session[rows],
        np.array([row_of[mark] for _, mark in ties], np.int64),
        candidates.raw[rows],
        Precision(with_centring(of_ties.sigma, centring), of_ties.correlated),
    )
    given = [window.session.setup for window in over if window.session.setup is not None]
    own = np.array([[one.sigma_east, one.sigma_north, one.sigma_up] for one in given], np.float64).reshape(-1, 3)
    setups = ReceiversOverMarks(
        np.array([window.index for window in over], np.int64),
        np.array([row_of[one.mark] for one in given], np.int64),
        survey.bases.mark[[window.index for window in over]],
        Precision(
            np.hypot(own, max(centring, _LEAST_SETUP)),
            np.array([[one.cov_en, one.cov_eu, one.cov_nu] for one in given], np.float64).reshape(-1, 3),
        ),
    )
    shifts = derive_shifts(len(survey.windows), marks, occupied, setups, _stated(survey, places))
    observation = np.full(len(candidates.named), -1)
    observation[rows] = np.arange(len(rows))
    return Tied(
        marks, shifts, observation, np.concatenate([occupied.mark, setups.mark]), tuple(window.index for window in over)
    )


def _stated(survey: Survey, places: Floats) -> StatedShifts:
    """Return the shifts that the job file states; none where no reading of the job lies within its operations."""
    quality = survey.job.quality
    known = np.isfinite(places[:, 0])
    stated = [window for window in survey.windows if window.session.shift != "derive" and known[window.index]]
    shift, sigma = np.zeros((len(stated), 3)), np.zeros((len(stated), 3))
    for row, window in enumerate(stated):
        given = window.session.shift
        if isinstance(given, GivenShift):
            shift[row] = given.east, given.north, given.up
            sigma[row] = given.sigma_horizontal, given.sigma_horizontal, given.sigma_vertical
        else:
            # network corrections are about as good as one observation
            sigma[row] = quality.sigma_horizontal, quality.sigma_horizontal, quality.sigma_vertical
    numbers = np.array([window.index for window in stated], np.int64)
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*places[numbers].T)
    return StatedShifts(numbers, shift, sigma, longitude, latitude)


def applied(survey: Survey, candidates: Candidates, tied: Tied, places: Floats) -> SessionShifts:
    """Return what is added to raw positions, by the model that ``[shift]`` names.

    ``model = "grid"`` adds to easting, northing and height what the geocentric shift adds to them at the session's ties
    (their mean), else at its place: with one tie that is the register's coordinate minus the raw one.
    """
    shifts = tied.shifts
    if survey.job.shift.model == "geocentric":
        return SessionShifts(shifts.shift, shifts.covariance)
    to_issued = survey.operations.frames.to_issued
    rows = np.array([row for row, _ in candidates.ties()], np.int64)
    session = np.concatenate([candidates.session[rows], np.arange(len(places))])
    raw = np.concatenate([candidates.raw[rows], places])
    added = np.column_stack(to_issued.forward(*(raw + shifts.shift[session]).T)) - np.column_stack(
        to_issued.forward(*raw.T)
    )
    grid = added[len(rows) :].copy()
    for number in np.unique(session[: len(rows)]):
        grid[number] = added[: len(rows)][session[: len(rows)] == number].mean(axis=0)
    return SessionShifts(shifts.shift, shifts.covariance, grid)
