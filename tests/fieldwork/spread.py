"""Whether a day spreads as `tiedown plan` foresees: simulated truth, estimated by least squares of this script's own.

    python tests/fieldwork/spread.py [--times 200] [--seed 1]

Run by hand. It shares no code with the pipeline: it asks the command for its JSON, then draws register, readings and
points of the same two days so many times, in plane east, north and up, solves each draw with numpy's `lstsq`, and
compares the share of points and checks within the 95 % foreseen, and the share of blunders of the smallest size that
shows which a test at 1 in 1,000 finds (80 %). A share counts as right within three of its own standard deviations.
"""

import argparse
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ORIGIN = np.array([1_506_000.0, 5_160_500.0])
#: Easting and northing from the origin; sigmas of the register east, north, up (hu95 / 2.4477, vu95 / 1.96).
MARKS = {"CM1": (-900.0, -400.0), "CM2": (1000.0, 300.0), "CM3": (300.0, 1400.0)}
HU95, VU95 = 0.010, 0.020
REGISTER = np.array([HU95 / 2.447747, HU95 / 2.447747, VU95 / 1.959964])
PEG, BASE = (100.0, 50.0), (0.0, 0.0)
RECEIVER, CENTRING, PPM = np.array([0.008, 0.008, 0.015]), np.array([0.003, 0.003, 0.0]), 2e-6
FAR = (4000.0, 3000.0)
CRITICAL = 3.2905

JOB = """
[job]
name = "spread"
folder = "out"
[target]
grid = "EPSG:2193"
height = "ellipsoid"
[source]
crs = "EPSG:4959"
[[points]]
files = ["none.csv"]
[quality]
ppm = {ppm}
[control]
file = "register.csv"
crs = "EPSG:2193"
[plan]
area = [{low}, {far}]
pegs = [{{ mark = "TM1", at = {peg} }}]
[[plan.session]]
name = "monday"
base = {base}
ties = ["CM1", "TM1"]
checks = ["CM2"]
[[plan.session]]
name = "tuesday"
base = {base}
ties = ["TM1", "CM2"]
checks = ["CM3", "CM1"]
"""


def foreseen(folder: Path) -> Any:
    """What the command says of the two days."""
    lines = ["mark,easting,northing,ellipsoid_height,hu95,vu95"]
    lines += [f"{name},{ORIGIN[0] + e},{ORIGIN[1] + n},300.0,{HU95},{VU95}" for name, (e, n) in MARKS.items()]
    (folder / "register.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    places = {"low": (-500.0, -500.0), "far": FAR, "peg": PEG, "base": BASE}
    told = {name: [float(ORIGIN[0] + e), float(ORIGIN[1] + n)] for name, (e, n) in places.items()}
    (folder / "job.toml").write_text(JOB.format(ppm=PPM * 1e6, **told), encoding="utf-8")
    command = [sys.executable, "-m", "pipeline.cli.start", "plan", str(folder / "job.toml"), "--json"]
    return json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)["sessions"]


def sigma(place: tuple[float, float], centring: bool = True) -> Floats:
    """(3,) of a reading at a place, by its distance from the base."""
    away = math.hypot(place[0] - BASE[0], place[1] - BASE[1]) * PPM
    return np.sqrt(RECEIVER**2 + away**2 + (CENTRING**2 if centring else 0.0))


#: Ties of both days: session and mark, and their marks' columns among the unknowns.
TIES = ((0, "CM1"), (0, "TM1"), (1, "TM1"), (1, "CM2"))
CHECKS = ((0, "CM2"), (1, "CM3"), (1, "CM1"))
UNKNOWN = {"CM1": 2, "TM1": 3, "CM2": 4}


def estimator(axis: int) -> tuple[Floats, Floats]:
    """(2, 6) from readings minus mark, then register minus mark, to the two shifts; and (6,) their sigmas."""
    design, spread = np.zeros((6, 5)), np.zeros(6)
    for row, (session, mark) in enumerate(TIES):
        design[row, session], design[row, UNKNOWN[mark]] = -1.0, 1.0
        spread[row] = sigma(MARKS.get(mark, PEG))[axis]
    for row, mark in ((4, "CM1"), (5, "CM2")):
        design[row, UNKNOWN[mark]], spread[row] = 1.0, REGISTER[axis]
    weight = np.diag(1.0 / spread)
    solution, *_ = np.linalg.lstsq(weight @ design, weight, rcond=None)
    return solution[:2], spread


def draw(times: int, random: np.random.Generator) -> tuple[Floats, Floats]:
    """(2, n, 3) errors of a point at the far end on both days, and (3, n, 3) differences of the checks."""
    points, checks = np.zeros((2, times, 3)), np.zeros((3, times, 3))
    for axis in range(3):
        solve, spread = estimator(axis)
        register = {name: random.normal(0.0, REGISTER[axis], times) for name in MARKS}
        noise = random.normal(0.0, 1.0, (4, times)) * spread[:4, None]
        shift = solve @ np.vstack([noise, register["CM1"], register["CM2"]])
        for day in range(2):
            points[day, :, axis] = random.normal(0.0, sigma(FAR, centring=False)[axis], times) + shift[day]
        for row, (day, mark) in enumerate(CHECKS):
            reading = random.normal(0.0, sigma(MARKS[mark])[axis], times)
            checks[row, :, axis] = reading + shift[day] - register[mark]
    return points, checks


def share(what: str, within: NDArray[np.bool_], wanted: float) -> bool:
    """Print a share beside what it should be, and say whether it is that but for chance."""
    found, chance = float(within.mean()), 3.0 * math.sqrt(wanted * (1.0 - wanted) / within.size)
    right = abs(found - wanted) <= chance
    print(f"{what:<48} {found:6.3f}  foreseen {wanted:.2f} +- {chance:.3f}  {'' if right else 'OFF'}")
    return right


def main() -> int:
    """Compare, and return how many shares are off."""
    options = argparse.ArgumentParser(description="Compare the spread of simulated days with what is foreseen.")
    options.add_argument("--times", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        sessions = foreseen(Path(folder))
    points, checks = draw(given.times, np.random.default_rng(given.seed))
    right = []
    for day, session in enumerate(sessions):
        (end,) = [
            one for one in session["ends"] if one["easting"] > ORIGIN[0] + 3999 and one["northing"] > ORIGIN[1] + 2999
        ]
        plan = np.hypot(points[day, :, 0], points[day, :, 1])
        right.append(share(f"{session['session']}: points in plan", plan <= end["hu95"], 0.95))
        right.append(share(f"{session['session']}: points in height", np.abs(points[day, :, 2]) <= end["vu95"], 0.95))
    said = [check for session in sessions for check in session["checks"]]
    for row, check in enumerate(said):
        name = f"check on {check['mark']}"
        plan = np.hypot(checks[row, :, 0], checks[row, :, 1])
        right.append(share(f"{name}: difference in plan", plan <= check["hu95"], 0.95))
        right.append(share(f"{name}: difference in height", np.abs(checks[row, :, 2]) <= check["vu95"], 0.95))
        for axis, word in ((0, "horizontal"), (2, "vertical")):
            blunder = check["shown"][word]
            test = np.abs(checks[row, :, axis] + blunder) > CRITICAL * blunder / (CRITICAL + 0.8416)
            right.append(share(f"{name}: blunder of {blunder:.3f} found, {word}", test, 0.80))
    return right.count(False)


if __name__ == "__main__":
    sys.exit(main())
