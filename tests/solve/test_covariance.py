"""The 95 % of a difference on a mark hold 95 % of simulated differences, whatever it has in common with the shift.

A small world, thousands of times over with errors drawn afresh: the truth and the errors are made here, in local east,
north and up (the rotation is the textbook's), and nothing of the pipeline is asked what they are.
A coverage is told to within one percent; what a figure without the common part would cover stands beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from every import every
from numpy.typing import NDArray
from tie_networks import directions

from pipeline.geodesy.uncertainty import horizontal_95, vertical_95
from pipeline.solve.covariance import Parts, covariance
from pipeline.solve.reading_precision import Precision
from pipeline.solve.shift import NetworkMarks, ReceiversOverMarks, Shifts, StatedShifts, derive_shifts

Floats = NDArray[np.float64]
TIMES = 20_000
#: Standard uncertainties east, north, up, metres: rovers, the pole, bases over marks.
ROVER, POLE, BASE = np.array([0.006, 0.006, 0.011]), np.array([0.003, 0.003, 0.0]), np.array([0.003, 0.003, 0.003])
#: Of the register, by mark; what each holds; where it lies, degrees of latitude and longitude off.
REGISTER = {
    "CM1": ([0.004, 0.004, 0.010], "3d", (0.0, 0.0)),
    "CM2": ([0.008, 0.008, 0.006], "3d", (0.01, 0.0)),
    "CM3": ([0.004, 0.004, 0.010], "3d", (0.0, 0.02)),
    "PO1": ([0.005, 0.005, 0.030], "position", (-0.01, 0.01)),
    "HE1": ([0.300, 0.300, 0.004], "height", (0.02, 0.01)),
    "TM1": ([1.0, 1.0, 1.0], "none", (0.005, 0.005)),
}
HELD = {"3d": (1, 1, 1), "position": (1, 1, 0), "height": (0, 0, 1), "none": (0, 0, 0)}
#: By session: the marks that tie it, the mark under its base, whether its shift is stated.
WORLD: tuple[tuple[Sequence[str], str | None, bool], ...] = (
    (["CM1"], None, False),
    (["CM1", "CM2", "PO1", "HE1"], None, False),
    ([], "CM2", False),
    (["TM1", "CM3"], None, False),
    (["TM1"], None, False),
    (["CM1"], None, True),
)
STATED = np.array([0.010, 0.010, 0.020])


@dataclass(frozen=True)
class World:
    """The world without errors, as adjusted, and (TIMES, ...) errors with those of the shifts that come of them.

    The adjustment is linear, so one error of a metre at a time tells what any errors do to the shifts.
    """

    shifts: Shifts
    shift_errors: Floats
    square_sums: Floats
    register: Floats
    ties: Floats
    random: np.random.Generator

    def difference(self, session: int, mark: str, tie: int | None = None) -> tuple[Floats, Floats]:
        """Return (TIMES, 3) simulated observed minus known, east, north, up, and its (1, 3, 3) covariance as told."""
        number, turn = list(REGISTER).index(mark), ROTATION[list(REGISTER).index(mark)]
        error = self.random.normal(size=(TIMES, 3)) * _rover() if tie is None else self.ties[:, tie]
        # the true shift is none, so what was found of it is its error
        off = error + self.shift_errors[:, session] @ turn.T - self.register[:, number]
        between = self.shifts.between(np.array([session]), np.array([number]))
        parts = Parts(
            observation=_rover()[None],
            known=np.array([REGISTER[mark][0]]),
            geoid=0.0,
            shift=turn @ self.shifts.covariance[[session]] @ turn.T,
            between=turn @ between @ turn.T,
            held=np.array([HELD[REGISTER[mark][1]]], bool),
            tie=np.array([tie is not None]),
        )
        return off, covariance(parts)


def _rover() -> Floats:
    return np.asarray(np.hypot(ROVER, POLE))


NAMES = list(REGISTER)
SIZE = np.array([sigma for sigma, _, _ in REGISTER.values()])
LATITUDE, LONGITUDE = np.array([-43.5, 172.6])[:, None] + np.array([at for _, _, at in REGISTER.values()]).T
ROTATION = np.array([directions(*at) for at in zip(LATITUDE, LONGITUDE, strict=True)])
TIED = [(session, NAMES.index(mark)) for session, (tied, _, _) in enumerate(WORLD) for mark in tied]
OVER = [(session, NAMES.index(mark)) for session, (_, mark, _) in enumerate(WORLD) if mark is not None]
TOLD = [session for session, (_, _, stated) in enumerate(WORLD) if stated]
#: Standard uncertainties of every error there is: register, ties, bases over marks, stated shifts.
ALL = np.vstack(
    [SIZE, np.tile(_rover(), (len(TIED), 1)), np.tile(BASE, (len(OVER), 1)), np.tile(STATED, (len(TOLD), 1))]
)
PARTS = np.cumsum([len(SIZE), len(TIED), len(OVER)])


def adjusted(errors: Floats) -> Shifts:
    """Adjust the world with (e, 3) errors, east, north, up: every shift is nought but for them."""
    register, ties, bases, stated = np.split(errors, PARTS)
    true = 6_371_000.0 * ROTATION[:, 2]
    held = np.array([HELD[holds] for _, holds, _ in REGISTER.values()], bool)
    marks = NetworkMarks(tuple(NAMES), true + _turned(register, range(len(NAMES))), LONGITUDE, LATITUDE, held, SIZE)

    def occupied(pairs: list[tuple[int, int]], off: Floats, sigma: Floats) -> ReceiversOverMarks:
        session, mark = np.array(pairs, np.int64).T
        return ReceiversOverMarks(
            session, mark, true[mark] + _turned(off, mark), Precision(np.tile(sigma, (len(pairs), 1)))
        )

    at = np.full(len(TOLD), LONGITUDE[0]), np.full(len(TOLD), LATITUDE[0])
    told = StatedShifts(np.array(TOLD), stated, np.tile(STATED, (len(TOLD), 1)), *at)
    return derive_shifts(len(WORLD), marks, occupied(TIED, ties, _rover()), occupied(OVER, bases, BASE), told)


def _turned(local: Floats, mark: Any) -> Floats:
    return np.asarray(np.einsum("pji,pj->pi", ROTATION[mark], local))


def simulated(seed: int) -> World:
    """Draw the errors, and turn them into those of the shifts."""
    random = np.random.default_rng(seed)
    errors = random.normal(size=(TIMES, *ALL.shape)) * ALL
    units = np.eye(ALL.size).reshape(-1, *ALL.shape)
    response = [adjusted(unit) for unit in units]
    flat = errors.reshape(TIMES, -1)
    shift_errors = np.einsum("te,esj->tsj", flat, np.array([one.shift for one in response]))
    residuals = np.einsum("te,enj->tnj", flat, np.array([np.nan_to_num(one.adjustment.residuals) for one in response]))
    # the adjustment's observations are the ties, the set-ups, the control that holds anything, the stated shifts
    register, ties, bases, stated = np.split(ALL, PARTS)
    sigma = np.vstack([ties, bases, register[[holds != "none" for _, holds, _ in REGISTER.values()]], stated])
    register, ties, _, _ = np.split(errors, PARTS, axis=1)
    squares = ((residuals / sigma) ** 2).sum(axis=(1, 2))
    return World(adjusted(np.zeros_like(ALL)), shift_errors, squares, register, ties, random)


@pytest.fixture(scope="module")
def world() -> World:
    return simulated(3)


def covered(off: Floats, told: Floats) -> tuple[float, float]:
    """Share of differences within the 95 % figures, horizontally and in height."""
    level = np.hypot(off[:, 0], off[:, 1]) <= horizontal_95(told)
    return float(level.mean()), float((np.abs(off[:, 2]) <= vertical_95(np.sqrt(told[:, 2, 2]))).mean())


CHECKS = [
    (0, "CM3", "on an independent mark"),
    (0, "CM1", "on the mark that alone ties the session"),
    (0, "CM2", "on a mark that ties another session"),
    (1, "CM2", "on one of many marks that tie the session"),
    (1, "PO1", "on a mark that holds position alone"),
    (1, "HE1", "on a mark that holds height alone"),
    (2, "CM2", "on the mark under the base"),
    (2, "CM1", "on another mark than that under the base"),
    (4, "CM3", "on the mark at the far end of a temporary one"),
    (5, "CM1", "on the tie mark of a session with a stated shift"),
]


@pytest.mark.parametrize(("session", "mark", "what"), CHECKS, ids=[what for _, _, what in CHECKS])
def test_95_percent_of_checks_lie_within(world: World, session: int, mark: str, what: str) -> None:
    horizontal, vertical = covered(*world.difference(session, mark))
    assert 0.94 <= horizontal <= 0.96, what
    assert 0.94 <= vertical <= 0.96, what


#: Ties by number, without that which alone holds its session and those on the temporary mark.
TIES = {0: "CM1", 1: "CM1", 2: "CM2", 3: "PO1", 4: "HE1", 8: "CM1"}


@pytest.mark.parametrize("tie", TIES, ids=TIES.values())
def test_95_percent_of_ties_residuals_lie_within(world: World, tie: int) -> None:
    session, number = TIED[tie]
    assert NAMES[number] == TIES[tie]
    off, told = world.difference(session, TIES[tie], tie)
    horizontal, vertical = covered(off, told)
    assert 0.94 <= horizontal <= 0.96
    assert 0.94 <= vertical <= 0.96


def test_a_tie_that_alone_holds_its_session_leaves_nothing(world: World) -> None:
    """No difference, and no uncertainty of it: by the closed form, observation and register cancel in both."""
    off, told = world.difference(3, "CM3", 6)
    assert np.abs(off).max() < 1e-6
    assert horizontal_95(told).max() < 1e-5 and told[:, 2, 2].max() < 1e-10


def test_shift_alone_would_cover_too_little_or_too_much(world: World) -> None:
    """The figure without what the two have in common, or without the mark's own: the tests above are able to fail."""
    off, _ = world.difference(0, "CM1")
    apart = ROTATION[0] @ world.shifts.covariance[[0]] @ ROTATION[0].T + np.diag(_rover() ** 2)
    assert covered(off, apart + np.diag(np.square(SIZE[0])))[1] > 0.97
    off, _ = world.difference(0, "CM2")
    assert covered(off, apart)[0] < 0.93


@pytest.mark.parametrize("session", range(len(WORLD)))
def test_95_percent_of_points_lie_within(world: World, session: int) -> None:
    """A point has the shift's error and its own; its observation has no pole over a mark."""
    off = world.random.normal(size=(TIMES, 3)) * ROVER + world.shift_errors[:, session] @ ROTATION[0].T
    told = ROTATION[0] @ world.shifts.covariance[[session]] @ ROTATION[0].T + np.diag(ROVER**2)
    assert all(0.94 <= share <= 0.96 for share in every(covered(off, told)))


def test_the_global_test_fails_as_often_as_it_says(world: World) -> None:
    """5 % of sound networks: of marks that hold position alone and height alone, each counts for what it holds.

    Degrees of freedom by hand: 9 ties, a set-up and a stated shift of three each, 3 x 3 + 2 + 1 held, less 6 shifts and
    6 marks of three each. The mean of chi-square is them, its variance twice them.
    """
    freedom = 33 + 12 - 36
    assert world.shifts.adjustment.degrees_of_freedom == freedom
    test = world.shifts.adjustment.chi_square
    assert test is not None
    failed = np.mean((world.square_sums < test.low) | (world.square_sums > test.high))
    assert abs(failed - 0.05) < 4 * np.sqrt(0.05 * 0.95 / TIMES)
    assert world.square_sums.mean() == pytest.approx(freedom, abs=4 * np.sqrt(2 * freedom / TIMES))


def test_the_square_sum_is_that_of_the_residuals(world: World) -> None:
    """One draw adjusted as it is: what the test above takes from single errors, the adjustment says of all at once."""
    errors = np.random.default_rng(5).normal(size=ALL.shape) * ALL
    found = adjusted(errors).adjustment
    assert found.chi_square is not None
    register, ties, bases, stated = np.split(ALL, PARTS)
    sigma = np.vstack([ties, bases, register[:5], stated])
    assert found.chi_square.value == pytest.approx(float(np.nansum((found.residuals / sigma) ** 2)), rel=1e-6)
