"""Which mark a point lies near; expected is what all distances, one by one, give."""

import numpy as np
import pytest

from pipeline.draft.near_marks import NearMarks


@pytest.mark.parametrize(("marks", "within"), [(300, 0.5), (300, 40.0), (40, 2000.0), (1, 0.5)])
def test_near_marks_are_those_of_all_distances(marks: int, within: float) -> None:
    random = np.random.default_rng(5)
    at, points = random.uniform(0, 5000, (marks, 2)), random.uniform(-900, 5900, (4000, 2))
    at[1::7], points[3], points[4] = np.nan, np.nan, np.inf
    points[5] = at[0] + [within, 0.0]
    away = np.nan_to_num(np.hypot(*np.moveaxis(points[:, None] - at, 2, 0)), nan=np.inf)
    found, nearest = NearMarks.of(at, within).find(points[:, 0], points[:, 1])
    assert found.tolist() == np.flatnonzero(away.min(axis=1) <= within).tolist()
    assert (away[found, nearest] == away.min(axis=1)[found]).all()
    nothing, _ = NearMarks.of(np.full((2, 2), np.nan), within).find(points[:, 0], points[:, 1])
    assert not len(nothing)
