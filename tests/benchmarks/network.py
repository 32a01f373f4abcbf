"""Times the adjustment of a large tie network, by hand: ``PYTHONPATH=. python tests/benchmarks/network.py [S M N]``.

Prints one line per kind of network: sessions, marks and occupations, seconds, and the process's peak memory so far.
"""

import resource
import sys
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pipeline.adjust.network import adjust
from pipeline.adjust.observations import Observations

Ints = NDArray[np.int64]
Draw = Callable[[np.random.Generator, int, int, int], tuple[Ints, Ints]]


def anywhere(random: np.random.Generator, sessions: int, marks: int, occupations: int) -> tuple[Ints, Ints]:
    """Any session on any mark: one connected part, nothing local about it."""
    return random.integers(0, sessions, occupations), random.integers(0, marks, occupations)


def nearby(random: np.random.Generator, sessions: int, marks: int, occupations: int) -> tuple[Ints, Ints]:
    """Sessions in a row, each on marks near its own place: a road or a pipeline."""
    session = random.integers(0, sessions, occupations)
    mark = session * marks // sessions + random.integers(-3, 4, occupations)
    return session, np.clip(mark, 0, marks - 1)


def sites(random: np.random.Generator, sessions: int, marks: int, occupations: int) -> tuple[Ints, Ints]:
    """A hundred separate sites."""
    site = random.integers(0, 100, occupations)
    session = random.integers(0, sessions // 100, occupations) * 100 + site
    return session, random.integers(0, marks // 100, occupations) * 100 + site


def network(session: Ints, mark: Ints, marks: int, random: np.random.Generator) -> Observations:
    """Simulate occupations with noise over a few degrees of the Earth, a third of the marks being control."""
    control = np.arange(0, marks, 3)
    latitude, longitude = np.radians(random.uniform(-38, -36, marks)), np.radians(random.uniform(174, 176, marks))
    zero = np.zeros(marks)
    east = [-np.sin(longitude), np.cos(longitude), zero]
    north = [
        -np.sin(latitude) * np.cos(longitude),
        -np.sin(latitude) * np.sin(longitude),
        np.cos(latitude),
    ]
    up = [np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)]
    all_marks = np.concatenate([mark, control])
    sigma = np.where(np.arange(len(all_marks))[:, None] < len(mark), [0.008, 0.008, 0.015], [0.01, 0.01, 0.02])
    return Observations(
        session=np.concatenate([session, np.full(len(control), -1)]),
        mark=all_marks,
        rotation=np.array([east, north, up]).transpose(2, 0, 1)[all_marks],
        observed=random.normal(size=sigma.shape) * sigma,
        covariance=sigma[:, :, None] ** 2 * np.eye(3),
        present=np.ones(sigma.shape, dtype=np.bool_),
    )


def main(sessions: int = 3000, marks: int = 1000, occupations: int = 20000) -> None:
    """Print the figures."""
    random = np.random.default_rng(1)
    draws: tuple[Draw, ...] = (nearby, sites, anywhere)
    for draw in draws:
        observations = network(*draw(random, sessions, marks, occupations), marks, random)
        start = time.perf_counter()
        result = adjust(observations, sessions, marks)
        seconds = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        factor = result.variance_factor
        print(
            f"{draw.__name__:9} {sessions} sessions {marks} marks {occupations} occupations: {seconds:6.2f} s, "
            f"peak {peak:5.0f} MB, variance factor {factor:.3f}, {result.degrees_of_freedom} degrees of freedom"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
