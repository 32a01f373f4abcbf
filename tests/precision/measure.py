"""Prints how well noise larger than stated is found, and how often the 95 % hold, over many simulated jobs.

python tests/precision/measure.py [--jobs 20] [--days 4] [--points 12]
"""

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from repeated_days import days, within_95
from running import record_of, run_written

WIDE = {"horizontal": 0.5, "vertical": 0.6}


def main() -> None:
    """Simulate, estimate, take in what was estimated, and count."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--jobs", type=int, default=20)
    options.add_argument("--days", type=int, default=4)
    options.add_argument("--points", type=int, default=12)
    asked = options.parse_args()
    print("| times too good | scale found, median (5 % to 95 % of jobs) | interval holds | said | as stated | scaled |")
    print("| --- | --- | --- | --- | --- | --- |")
    for worse in (1.0, 2.0, 4.0):
        scales, held, said, shares = [], 0, 0, {True: [], False: []}
        for seed in range(asked.jobs):
            work = days(asked.days, asked.points, worse=worse, seed=100 + seed)
            work.job["checks"] = WIDE
            with tempfile.TemporaryDirectory() as folder:
                one = record_of(work.write(Path(folder)))["precision"][0]
                scales.append(one["scale"])
                held += one["low"] <= worse <= one["high"]
                said += one["too_good"]
                for scale in (1.0, one["scale"]):
                    work.job["quality"]["scale"] = scale
                    issue = run_written(work.write(Path(folder) / f"{scale}"))
                    shares[scale == 1.0] += within_95(work, issue.points.rows)
        low, high = np.quantile(scales, [0.05, 0.95])
        stated, scaled = (np.mean(shares[as_stated]) for as_stated in (True, False))
        print(
            f"| {worse:g} | {np.median(scales):.2f} ({low:.2f} to {high:.2f}) | {held / asked.jobs:.0%} |"
            f" {said / asked.jobs:.0%} | {stated:.1%} | {scaled:.1%} |"
        )


if __name__ == "__main__":
    main()
