"""Times a night of many small jobs: all of them new, then nothing changed, beside one process that converts them all.

    python tests/benchmarks/batch.py [--jobs 1000] [--points 500] [--workers 2] [--rounds 1]

The conversion is GDAL's, a GeoPackage for each raw file, alone in one process: no sessions, no shift, no proof.
Machines are shared and noisy: quote the ratios of one run of this script, not its seconds.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

sys.path += [str(Path(__file__).parents[1] / "support"), str(Path(__file__).parents[2] / "sample_data")]

from peers import CONVERT
from simulate import Plan, simulate

#: Simulating is dear: so many jobs are, and the others are copies under other names, which nothing shares.
_SIMULATED = 20
_CONVERT_EACH = f"""
import sys
code = compile({CONVERT!r}, "convert", "exec")
files = sys.argv[1:]
for file in files:
    sys.argv = ["", "", file, file + ".gpkg"]
    exec(code)
"""


def lay_out(place: Path, jobs: int, points: int) -> None:
    """Write the folders of so many jobs, each with its raw file and its register."""
    for number in range(min(jobs, _SIMULATED)):
        simulate(replace(Plan(), sessions=1, points=points, seed=number)).write(place / f"{number:04d}")
    for number in range(_SIMULATED, jobs):
        shutil.copytree(place / f"{number % _SIMULATED:04d}", place / f"{number:04d}")


def seconds(*command: str, folder: Path) -> float:
    """Run a command and return what it took by the clock. Raises SystemExit where it fails."""
    start = time.perf_counter()
    done = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    if done.returncode:
        raise SystemExit(f"{command[:4]} ended with {done.returncode}: {done.stdout[-2000:]}")
    return time.perf_counter() - start


def main() -> None:
    """Lay the jobs out anew for every round, run them twice and convert them, print medians and ratios."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--jobs", type=int, default=1000)
    options.add_argument("--points", type=int, default=500)
    options.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    options.add_argument("--rounds", type=int, default=1)
    asked = options.parse_args()
    tiedown = (sys.executable, "-m", "pipeline.cli.start", "run", "--workers", str(asked.workers))
    found: dict[str, list[float]] = {"converted": [], "issued": [], "unchanged": []}
    for _ in range(asked.rounds):
        with tempfile.TemporaryDirectory() as name:
            place = Path(name)
            lay_out(place, asked.jobs, asked.points)
            jobs = sorted(str(job) for job in place.glob("*/job.toml"))
            raw = sorted(str(file) for file in place.glob("*/rover*.csv"))
            found["converted"].append(seconds(sys.executable, "-c", _CONVERT_EACH, *raw, folder=place))
            found["issued"].append(seconds(*tiedown, *jobs, folder=place))
            found["unchanged"].append(seconds(*tiedown, *jobs, folder=place))
    print(f"{asked.jobs:,} jobs of {asked.points:,} points, {asked.workers} workers.\n")
    print("| what | s | each, ms | to the conversion |")
    print("| --- | --- | --- | --- |")
    for what, taken in found.items():
        ratio = median(ours / plain for ours, plain in zip(taken, found["converted"], strict=True))
        print(f"| {what} | {median(taken):.1f} | {median(taken) / asked.jobs * 1000:.0f} | {ratio:.2f} |")


if __name__ == "__main__":
    main()
