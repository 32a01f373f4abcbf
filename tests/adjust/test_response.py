"""What one observation does to the shifts: against the difference of two whole adjustments, which is what it says."""

import numpy as np
import pytest
from closed_forms import turn_enu
from numpy.testing import assert_allclose

from pipeline.adjust import Observations, adjust
from pipeline.replace import replace

SESSIONS, MARKS = 7, 5
EVERY = np.arange(SESSIONS)
#: Metres for a metre of change. A part of the first network has one held height and no held position, which is held to
#: metres beside millimetres: variances 1e7 apart, so that last bits, of two ways or two processors, are some 1e-9.
SAME = 1e-7


def network(seed: int) -> Observations:
    """Seven sessions on five marks at random, three marks held; the last session and the last mark are alone."""
    rng = np.random.default_rng(seed)
    session = np.concatenate([np.repeat(np.arange(SESSIONS - 1), 3), [SESSIONS - 1], np.full(3, -1)])
    mark = np.concatenate([rng.integers(0, MARKS - 1, 3 * (SESSIONS - 1)), [MARKS - 1], [0, 1, 2]])
    count = len(session)
    longitude, latitude = rng.uniform(170, 171, count), rng.uniform(-44, -43, count)
    rotation = np.array([turn_enu(lon, lat, np.eye(3)).T for lon, lat in zip(longitude, latitude, strict=True)])
    sigma = rng.uniform(0.002, 0.02, (count, 3))
    present = np.ones((count, 3), bool)
    present[-1, :2] = False  # mark 2 holds its height alone
    return Observations(
        session=session, mark=mark, rotation=rotation, observed=rng.normal(size=(count, 3)),
        covariance=sigma[:, :, None] ** 2 * np.eye(3), present=present,
    )  # fmt: skip


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("seed", range(4))
def test_it_is_the_difference_of_two_adjustments(seed: int) -> None:
    given = network(seed)
    before = adjust(given, SESSIONS, MARKS).shifts
    response = adjust(given, SESSIONS, MARKS).response
    change = np.array([0.3, -1.0, 2.0])
    for number in range(len(given.session)):
        observed = given.observed.copy()
        observed[number] += change
        after = adjust(replace(given, observed=observed), SESSIONS, MARKS).shifts
        assert_allclose(response.shifts(number, change, EVERY), after - before, rtol=0, atol=SAME)
    assert np.isnan(response.shifts(0, change, EVERY)[-1]).all()


def test_a_few_sessions_of_a_long_chain() -> None:
    """Sixty sessions, each on two pegs in a row, control at one end: an error shows in all that hang behind it."""
    sessions = 60
    near = np.arange(sessions)
    session, mark = np.concatenate([near, near, [-1]]), np.concatenate([near, near + 1, [0]])
    rotation = np.tile(turn_enu(171.0, -43.0, np.eye(3)), (len(mark), 1, 1))
    given = Observations(
        session=session, mark=mark, rotation=rotation, observed=np.zeros((len(mark), 3)),
        covariance=np.tile(0.01**2 * np.eye(3), (len(mark), 1, 1)), present=np.ones((len(mark), 3), bool),
    )  # fmt: skip
    asked = np.array([5, 30, 31, 32, 59, 32])
    found = adjust(given, sessions, sessions + 1).response.shifts(sessions + 30, np.array([0.0, 0.0, 1.0]), asked)
    # peg 31 comes out a metre lower, and with it what ties on it: sessions 31 and later go down, the others stay
    up = found @ rotation[0, 2]
    assert_allclose(up, [0.0, 0.0, -1.0, -1.0, -1.0, -1.0], rtol=0, atol=1e-9)
    assert_allclose(found, np.outer(up, rotation[0, 2]), rtol=0, atol=1e-9)


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("seed", range(4))
def test_gains_of_a_session_are_its_responses_one_by_one(seed: int) -> None:
    given = network(seed)
    response = adjust(given, SESSIONS, MARKS).response
    for session in range(SESSIONS - 1):
        gain = response.gain(session)
        for number in range(0, len(given.session), 4):
            for axis, change in enumerate(np.eye(3)):
                alone = response.shifts(number, change, EVERY)[session]
                assert_allclose(gain[number, :, axis], alone, rtol=0, atol=SAME)


def test_what_two_shifts_have_in_common_is_the_law_of_propagation() -> None:
    """The covariance of two linear functions of the observations, G C G', with gains and the observations' own C."""
    given = network(3)
    found = adjust(given, SESSIONS, MARKS)
    response = found.response
    first, second = np.array([0, 1, 2, 5, 4]), np.array([3, 1, 0, 2, 4])
    between = response.between_sessions(first, second)
    weight = np.where(given.present[:, :, None] & given.present[:, None, :], given.covariance, 0.0)
    gains = {session: response.gain(session) for session in range(SESSIONS - 1)}
    for row, (one, other) in enumerate(zip(first.tolist(), second.tolist(), strict=True)):
        expected = np.einsum("nab,nbc,ndc->ad", gains[one], weight, gains[other])
        assert_allclose(between[row], expected, rtol=0, atol=1e-10)
    assert_allclose(between[[1, 4]], found.shift_covariance[[1, 4]], rtol=0, atol=1e-12)
