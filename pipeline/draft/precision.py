"""Stated precision against real precision: how many times too small the exports state their standard uncertainties.

What says so are differences that should be zero: readings on marks of the register, ties and checks alike, and points
measured twice. Each is written as the sum of what it comes from (its own readings, those that gave the shifts, the
register), so that what several have in common is not taken for agreement. Poles' centring, the register and set-ups
count as stated; the readings' variances are estimated, per raw file where there are few, and of all together.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.adjust.components import Components, Model, chance_of, components, misfit, varying
from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.common_offsets import CommonOffset, SessionsApart, among, common_offsets, sessions_apart
from pipeline.draft.repeat_pairs import Repeated
from pipeline.geodesy.frames import enu_rotation
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.solve.solve import Solved
from pipeline.words import Role

#: Metres: an occupation that lies so far from its mark, or higher, says nothing of noise.
_NO_NOISE = 100.0
#: Occupations, and pairs of readings, that are looked at, evenly spread over all.
_MOST = 60
#: So many raw files are told apart at the most.
_FILES = 8
#: Of normal noise a third lies within so many standard deviations; beyond the others it is something else than noise.
_THIRD, _OF_NORMAL, _WILD = 1.0 / 3.0, 0.4307, 5.0
#: Metres: a difference with less uncertainty cannot but be zero, as that of a tie that alone gives a shift.
_NOTHING = 1e-6
#: Readings on a mark, and sessions of theirs, that may say together that its coordinates are off; and the chance that
#: those of any mark do so by noise alone.
_ON_ONE, _OF_SESSIONS, _CHANCE = 3, 2, 0.001
#: Axes of one kind, with whether each is of the position.
_PLAN, _HEIGHT = (0, 1), (2,)


class Precision(Struct, frozen=True):
    """What was found of some readings: ``scale`` of all axes together, of the position and of the height alone.

    ``file`` is the number of their export, None for all. ``differences`` are how many numbers it comes from, and
    ``left_out`` how many readings on marks and pairs were not taken, since something else than noise is in them.
    ``misfit`` is how far all of them are from what is stated of readings and all else (`components.misfit`).
    """

    file: int | None
    whole: Components
    plan: Components
    height: Components
    differences: int
    left_out: int
    misfit: tuple[float, int]


class MarkOff(Struct, frozen=True):
    """A mark off which readings of ``sessions`` lie (3,) metres east, north and up, and what is found but for that."""

    name: str
    by: Floats
    sessions: int
    others: list[Precision]


class _Differences(Struct, frozen=True):
    """Differences (n, 3) that should be zero, and the sources of their errors (m,).

    ``there`` (n, 3) is which are judged, those that cannot but be zero left out; ``share`` (3, n, m) how each source
    moves each; ``own`` and ``fixed`` (m, 3) are standard uncertainties: of the readings as stated, and of what is taken
    as it is. ``export`` (m,) is a reading's raw file, -1 of another source. ``session`` (n,) is that of a reading on a
    mark, -1 of a pair of readings; ``mark`` (n,) the source that is its mark, -1 of a pair, and ``names`` what marks
    are called by their sources.
    """

    off: Floats
    there: Flags
    share: Floats
    own: Floats
    fixed: Floats
    export: Integers
    session: Integers
    mark: Integers
    names: dict[int, str]


def precision(survey: Survey, solved: Solved, repeated: Repeated) -> list[Precision]:
    """Return what can be said of all readings, and of each raw file where there are a few; nothing without differences.

    What is unlike the rest says nothing of noise, nor do pairs that all differ by one vector: both are left out.
    """
    found, left_out = _differences(survey, solved, repeated)
    return [] if found is None else _told(found, left_out)


def mark_off(survey: Survey, solved: Solved, repeated: Repeated) -> MarkOff | None:
    """Return the mark whose coordinates, being off, explain most of what readings differ; None where none does.

    That is by least squares, weighed as stated; a mark that ties moves the shifts with it. Noise that is worse than
    stated lies to all sides of every mark, and takes nothing away by one vector but what chance does.
    """
    every, left_out = _differences(survey, solved, repeated)
    if every is None:
        return None
    found = _some(every, ~_unlike(every))
    best: tuple[float, int, Floats] | None = None
    marks = [number for number in np.unique(found.mark[found.mark >= 0]).tolist() if _several(found, number)]
    models = [_weighed(found, axis) for axis in (*_PLAN, *_HEIGHT)]
    for number in marks:
        fits = [_fit(model, found.share[axis][:, number], found, axis) for axis, model in enumerate(models)]
        gain = sum(one[1] for one in fits)
        if best is None or gain > best[0]:
            best = gain, number, np.array([one[0] for one in fits])
    if best is None:
        return None
    gain, number, by = best
    others = _told(replace(every, off=every.off - every.share[:, :, number].T * by), left_out)
    noise = max([1.0, *(float(one.whole.scale[0]) for one in others if np.isfinite(one.whole.scale[0]))])
    if chance_of(gain / noise**2, 3) * len(marks) >= _CHANCE:
        return None
    sessions = len(np.unique(found.session[found.mark == number]))
    return MarkOff(found.names[number], by, sessions, others)


def _several(found: _Differences, mark: int) -> bool:
    sessions = found.session[found.mark == mark]
    return len(sessions) >= _ON_ONE and len(np.unique(sessions)) >= _OF_SESSIONS


def _weighed(found: _Differences, axis: int) -> tuple[Floats, Floats]:
    """Return the directions (n, k) in which differences along an axis vary as stated, and their weights (k,)."""
    model = _model(found, axis, np.zeros(len(found.export), np.int64))
    values, vectors = np.linalg.eigh(model.fixed + model.parts.sum(axis=0))
    there = values > _NOTHING**2
    return vectors[:, there], 1.0 / values[there]


def _fit(weighed: tuple[Floats, Floats], share: Floats, found: _Differences, axis: int) -> tuple[float, float]:
    """Return by how much a source with a ``share`` (n,) in differences is off, and what of chi-square that explains."""
    turn, weight = weighed
    rows = found.there[:, axis]
    design, off = turn.T @ share[rows], turn.T @ found.off[rows, axis]
    square, product = float(design @ (weight * design)), float(design @ (weight * off))
    return (product / square, product**2 / square) if square > 0.0 else (0.0, 0.0)


def _differences(survey: Survey, solved: Solved, repeated: Repeated) -> tuple[_Differences | None, int]:
    """Return the differences but for pairs that all differ by one vector, and how many these are."""
    contrasts = repeated.contrasts
    offsets: list[CommonOffset | SessionsApart] = [*common_offsets(repeated, survey), *sessions_apart(repeated, survey)]
    constant = among(offsets, repeated, survey)[contrasts]
    return _gathered(survey, solved, repeated, contrasts[~constant]), int(np.count_nonzero(constant))


def _told(found: _Differences, left_out: int) -> list[Precision]:
    """Return what differences tell, but for what is unlike the rest; ``left_out`` were before."""
    unlike = _unlike(found)
    left_out += int(np.count_nonzero(unlike))
    found = _some(found, ~unlike)
    told = [_estimated(found, None, left_out)]
    files = np.unique(found.export[found.export >= 0])
    if 1 < len(files) <= _FILES:
        told += _of_files(found, files.tolist(), left_out)
    return [one for one in told if one.differences]


def _of_files(found: _Differences, files: list[int], left_out: int) -> list[Precision]:
    """Estimate each raw file's components against all others; of two, both are found at once."""
    if len(files) > 2:
        return [_estimated(found, file, left_out) for file in files]
    first = _estimated(found, files[0], left_out)
    whole, plan, height = map(_turned, (first.whole, first.plan, first.height))
    return [first, replace(first, file=files[1], whole=whole, plan=plan, height=height)]


def _turned(pair: Components) -> Components:
    return Components(*(values[::-1] for values in (pair.scale, pair.freedom)))


def _estimated(found: _Differences, file: int | None, left_out: int) -> Precision:
    """Estimate the components of one raw file against all others, or of all files together."""
    groups = np.zeros(len(found.export), np.int64) if file is None else np.where(found.export == file, 0, 1)
    models = {axis: _model(found, axis, groups) for axis in (*_PLAN, *_HEIGHT)}
    count = sum(len(model.differences) for model in models.values())
    models = {axis: varying(model) for axis, model in models.items()}
    whole, plan, height = (components([models[axis] for axis in axes]) for axes in (models, _PLAN, _HEIGHT))
    return Precision(file, whole, plan, height, count, left_out, misfit(list(models.values())))


def _model(found: _Differences, axis: int, groups: Integers) -> Model:
    rows = found.there[:, axis]
    share, reading = found.share[axis][rows], found.export >= 0
    parts = [
        (share * np.where(reading & (groups == group), found.own[:, axis] ** 2, 0.0)) @ share.T
        for group in range(int(groups.max(initial=0)) + 1)
    ]
    return Model(found.off[rows, axis], (share * found.fixed[:, axis] ** 2) @ share.T, np.array(parts))


def _unlike(found: _Differences) -> Flags:
    """Return (n,) which differences something else than noise is in: far larger than the others say of their noise.

    How large noise is, is taken from the third of them that is smallest, which no mistake has made so. One of a session
    that is unlike takes all readings on marks of its session with it: a base that moved reaches those too that pass.
    """
    judged, variance = found.there, _variance(found.share, found.own, found.fixed)
    size = np.zeros(variance.shape)
    size[judged] = np.abs(found.off[judged]) / np.sqrt(variance[judged])
    if not judged.any():
        return np.zeros(len(size), bool)
    noise = max(float(np.quantile(size[judged], _THIRD)) / _OF_NORMAL, 1.0)
    wild = (size > _WILD * noise).any(axis=1)
    return wild | np.isin(found.session, found.session[wild & (found.session >= 0)])


def _variance(share: Floats, own: Floats, fixed: Floats) -> Floats:
    """Return (n, 3) the variances of differences as stated."""
    return np.asarray(np.einsum("anm,ma->na", share**2, own**2 + fixed**2))


def _some(found: _Differences, rows: Flags) -> _Differences:
    return replace(
        found,
        off=found.off[rows],
        there=found.there[rows],
        share=found.share[:, rows],
        session=found.session[rows],
        mark=found.mark[rows],
    )


class _Sources:
    """Collects rows of differences and columns of sources."""

    def __init__(self, survey: Survey, solved: Solved) -> None:
        self.survey, self.solved = survey, solved
        self.count = len(solved.shifts.observations.session)
        self.columns: dict[object, int] = {}
        self.own: list[Floats] = []
        self.fixed: list[Floats] = []
        self.export: list[int] = []
        self.rows: list[tuple[Floats, Flags, Floats, dict[int, float], int, int]] = []
        self.names: dict[int, str] = {}
        self.gains: dict[int, Floats] = {}
        self._observations()

    def _observations(self) -> None:
        """Take what the adjustment was made of; ties of rovers are readings, all else is as stated."""
        observations, on_marks = self.solved.shifts.observations, self.solved.occupations
        sigma = np.sqrt(np.diagonal(observations.covariance, axis1=1, axis2=2))
        self.own, self.fixed = [np.zeros(3)] * self.count, list(np.where(observations.present, sigma, 0.0))
        self.export = [-1] * self.count
        files = np.asarray(on_marks.table.column("export"), np.int64)
        for row in np.flatnonzero(on_marks.observation >= 0).tolist():
            number = int(on_marks.observation[row])
            self.own[number], self.fixed[number] = on_marks.precision.sigma[row], self.centred
            self.export[number] = int(files[row])

    @property
    def centred(self) -> Floats:
        """Return (3,) the standard uncertainty of a pole over its mark."""
        centring = self.survey.job.quality.centring
        return np.array([centring, centring, 0.0])

    def source(self, key: object, own: Floats, fixed: Floats, export: int) -> int:
        """Return the column of a source, made where it is new."""
        if key not in self.columns:
            self.columns[key] = len(self.own)
            self.own.append(own)
            self.fixed.append(fixed)
            self.export.append(export)
        return self.columns[key]

    def shift(self, session: int, turn: Floats) -> Floats:
        """Return (count, 3) how the session's shift moves with each observation, axis by axis, local."""
        if session not in self.gains:
            self.gains[session] = self.solved.shifts.response.gain(session)
        return np.asarray(np.einsum("cx,nxc->nc", turn, self.gains[session]))

    def add(
        self, off: Floats, there: Flags, shift: Floats, shares: dict[int, float], session: int = -1, mark: int = -1
    ) -> None:
        """Add a difference: how the adjustment's observations move it, and the share of further sources."""
        self.rows.append((off, there, shift, shares, session, mark))

    def differences(self) -> _Differences:
        """Return what was collected."""
        share = np.zeros((3, len(self.rows), len(self.own)))
        for row, (_, _, shift, shares, *_) in enumerate(self.rows):
            share[:, row, : self.count] = shift.T
            for number, part in shares.items():
                share[:, row, number] += part
        off, there, _, _, session, mark = zip(*self.rows, strict=True)
        arrays = (np.array(self.own), np.array(self.fixed), np.array(self.export))
        uncertain = _variance(share, *arrays[:2]) > _NOTHING**2
        return _Differences(
            np.array(off), np.array(there) & uncertain, share, *arrays, np.array(session), np.array(mark), self.names
        )


def _gathered(survey: Survey, solved: Solved, repeated: Repeated, contrasts: Integers) -> _Differences | None:
    sources = _Sources(survey, solved)
    for row in _spread(_comparable(solved)):
        _occupation(sources, row)
    for pair in _spread(contrasts):
        _pair(sources, repeated, pair)
    return sources.differences() if sources.rows else None


def _spread(rows: Integers) -> Iterator[int]:
    """Yield rows, evenly spread where there are too many."""
    if len(rows) > _MOST:
        rows = rows[np.linspace(0, len(rows) - 1, _MOST).astype(np.int64)]
    yield from rows.tolist()


def _comparable(solved: Solved) -> Integers:
    on_marks = solved.occupations
    tied = solved.shifts.fully_tied[on_marks.session]
    compared = on_marks.compared
    near = (compared.horizontal < _NO_NOISE) & (np.abs(np.nan_to_num(compared.height)) < _NO_NOISE)
    return np.flatnonzero(compared.judged & ~on_marks.temporary & tied & near)


def _occupation(sources: _Sources, row: int) -> None:
    """Add a reading on a mark of the register: its position and its session's shift less the mark's coordinates."""
    solved = sources.solved
    on_marks, compared, marks = solved.occupations, solved.occupations.compared, solved.tied.marks
    name, session = on_marks.marks[row], int(on_marks.session[row])
    known = solved.reference.names.index(name)
    turn = enu_rotation(on_marks.corrected.longitude[row], on_marks.corrected.latitude[row])
    shares: dict[int, float] = {}
    if on_marks.roles[row] is Role.TIE and on_marks.observation[row] >= 0:
        shares[int(on_marks.observation[row])] = -1.0  # what is adjusted is the mark less the reading
    else:
        export = int(on_marks.table.column("export")[row].as_py())
        shares[sources.source(("occupation", row), on_marks.precision.sigma[row], sources.centred, export)] = 1.0
    held = marks.names.index(name) if name in marks.names else -1
    control = np.flatnonzero(solved.shifts.control == held) if held >= 0 else np.zeros(0, np.int64)
    if len(control):
        mark = len(solved.tied.occupied) + int(control[0])
    else:
        geoid = np.array([0.0, 0.0, sources.survey.operations.geoid_sigma])
        mark = sources.source(("mark", name), np.zeros(3), np.hypot(solved.reference.sigma[known], geoid), -1)
    shares[mark] = 1.0  # what is observed of a mark is that it lies lower than the register says, as in the adjustment
    sources.names[mark] = name
    off = np.array([compared.east[row], compared.north[row], compared.height[row]])
    there = compared.holds[row][[0, 0, 1]] & np.isfinite(off)
    sources.add(np.nan_to_num(off), there, sources.shift(session, turn), shares, session, mark)


def _pair(sources: _Sources, repeated: Repeated, pair: int) -> None:
    """Add two readings of one point: the later one and its shift less the earlier one and its shift."""
    readings, pairs = repeated.readings, repeated.pairs
    shares: dict[int, float] = {}
    shift = np.zeros((sources.count, 3))
    for row, sign in ((int(pairs.second[pair]), 1.0), (int(pairs.first[pair]), -1.0)):
        session = int(readings.session[row])
        turn = enu_rotation(readings.value("longitude")[row], readings.value("latitude")[row])
        shift = shift + sign * sources.shift(session, turn)
        key, file = ("reading", row), int(readings.export[row])
        shares[sources.source(key, readings.sigma[row], sources.centred, file)] = sign
    sources.add(pairs.apart[pair], np.ones(3, bool), shift, shares)
