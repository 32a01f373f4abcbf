"""Which stated standard uncertainties stand out from the median of their session, beside numpy's median."""

import numpy as np

from pipeline.intake.sigma_sizes import SigmaSizes


def test_those_that_stand_out_are_counted_in_whatever_batches_they_come() -> None:
    """Ten times the median is known to a fifth: what is less than that does not stand out, half as much more does."""
    draw = np.random.default_rng(4)
    plan = np.exp(draw.normal(np.log(0.012), 0.4, 3_000))
    session = np.sort(draw.integers(0, 2, 3_000)).astype(np.int32)
    plan[session == 1] *= 3.0
    plan[::50] *= draw.uniform(2.0, 60.0, 60)
    for size in (3_000, 700):
        found = SigmaSizes()
        for start in range(0, 3_000, size):
            part = slice(start, start + size)
            found.take(plan[part], np.full(3_000, np.nan)[part], session[part], np.arange(3_000)[part])
        median = np.array([np.median(plan[session == number]) for number in range(2)])
        least, most = (int((plan >= np.maximum(times * median[session], 0.1)).sum()) for times in (10.0 * 1.5, 10.0))
        count, row = found.far_out()
        assert 0 < least <= count <= most
        assert plan[row] >= np.maximum(10.0 * median[session[row]], 0.1)


def test_nothing_stands_out_of_few_readings_or_small_numbers() -> None:
    for plan in ([0.01, 0.01, 0.01, 0.3], [0.002] * 9 + [0.09], [0.3] * 9 + [0.9], [0.0] * 9 + [0.3]):
        found = SigmaSizes()
        values = np.array(plan)
        found.take(values, values, np.zeros(len(plan), np.int32), np.arange(len(plan)))
        assert found.far_out() == (0, 0)
