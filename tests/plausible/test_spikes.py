"""Vertices aside of a line, planted in lines as they are surveyed: kerbs, fences, ponds, branches."""

import numpy as np
import pytest

from pipeline.plausible.spikes import spike


def kerb(count: int = 20, seed: int = 1) -> np.ndarray:
    """(n, 2) metres, some six metres from vertex to vertex along a bend."""
    at = np.cumsum(np.random.default_rng(seed).uniform(4.0, 8.0, count))
    return np.column_stack([200.0 * np.sin(at / 200.0), 200.0 * (1.0 - np.cos(at / 200.0))])


@pytest.mark.parametrize("aside", [(300.0, 50.0), (-100.0, 0.0), (0.0, 80.0)])
@pytest.mark.parametrize("at", [1, 7, 18])
def test_a_vertex_aside_is_found(at: int, aside: tuple[float, float]) -> None:
    line = kerb()
    line[at] += aside
    (place, metres) = spike(line, closed=False) or (-1, 0.0)
    assert place == at and metres == pytest.approx(np.hypot(*aside), abs=10.0)


@pytest.mark.parametrize("at", [0, 5, 23])
def test_a_vertex_aside_of_a_closed_line_is_found_wherever_it_begins(at: int) -> None:
    turn = 2.0 * np.pi * np.arange(24) / 24
    pond = 20.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    assert spike(pond, closed=True) is None
    pond[at] += (0.0, 150.0)
    assert (spike(pond, closed=True) or (-1,))[0] == at


def test_lines_as_they_are_surveyed_have_none() -> None:
    line = kerb()
    away, comb, jog = line.copy(), line.copy(), line.copy()
    away[10:] += (250.0, 0.0)  # on the other side of a square
    comb[3::4] += (0.0, 70.0)  # house by house: that is the line
    jog[9] += (0.0, 12.0)  # around a tree
    ends = line.copy()
    ends[0] -= 300.0
    ends[-1] += 300.0
    branch = np.vstack([line[:8], line[7] + (90.0, 0.0), line[7] + 0.02, line[8:]])  # to a house, and back to the place
    corners = np.array(
        [[0, 0], [400, 0], [400, 5], [0, 5], [0, 10], [400, 10], [400, 15], [0, 15]], float
    )  # up and down
    for one in (line, away, comb, jog, ends, branch, corners, line[:5], line[:0], 0.0 * line):
        assert spike(one, closed=False) is None
    for seed in range(200):
        walk = np.cumsum(np.random.default_rng(seed).normal(0.0, 6.0, (60, 2)), axis=0)
        assert spike(walk, closed=False) is None and spike(walk, closed=True) is None
