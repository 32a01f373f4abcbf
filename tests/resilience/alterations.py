"""Bytes of an issue flipped and cut off at random, many times, by hand: what `verify` says of each.

    python tests/resilience/alterations.py --times 5000 --seed 1

Prints how many passed, and each that passed although it may not, or that took longer than ten seconds. An exception
ends it, with its traceback: there is to be none.
"""

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "support"), str(Path(__file__).resolve().parents[2])]

from alterations_made import flips  # noqa: E402  (found on the path set above)
from simulate import Plan, simulate  # noqa: E402

from pipeline import run_job  # noqa: E402

#: As in `tests/verify/test_alterations.py`.
MAY_BE_TOUCHED = {18, 19, *range(24, 28), *range(92, 100)}


def main() -> None:
    """Make an issue of every format, and alter it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        job = simulate(Plan(sessions=1, points=60, noise=False))
        job.job["issue"] = {"formats": ["gpkg", "dxf", "csv", "geojson", "landxml"]}
        run_job(job.write(Path(scratch)))
        counted: Counter[tuple[str, str]] = Counter()
        begun = time.monotonic()
        for path, at, passed in flips(Path(scratch) / "out", random.Random(options.seed), options.times):
            allowed = path.suffix == ".gpkg" and at in MAY_BE_TOUCHED
            word = ("forgiven" if allowed else "PASSED") if passed else "found"
            counted[path.suffix, word] += 1
            if passed != allowed or time.monotonic() - begun > 10:
                print(f"{path.name}, byte {at}: {word}, {time.monotonic() - begun:.1f} s", flush=True)
            begun = time.monotonic()
    for (suffix, word), times in sorted(counted.items()):
        print(f"{suffix:9} {word:9} {times:6}")


if __name__ == "__main__":
    main()
