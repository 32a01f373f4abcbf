"""Times a first issue, a run with nothing changed, and a re-issue after one mark was revised.

Of one job a single session is tied to that mark, of the other every fourth.

    python tests/benchmarks/revision.py [--points 1000000] [--sessions 300] [--rounds 3]

Every round starts with an empty folder. Machines are shared and noisy: quote the ratios of one run of this script, not
its seconds.
"""

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from peers import RUN, Spent, ratios, spent, typical

SIMULATE = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from simulate import Plan, simulate
points, sessions, marks = map(int, sys.argv[3:])
simulate(Plan(sessions=sessions, points=points // sessions, ties=1, marks=marks)).write(Path(sys.argv[2]))
"""
REVISED = "a tie revised"
SUPPORT = str(Path(__file__).resolve().parents[1] / "support")
#: A tie, of the fourth session where each has its own, on which others are checked; metres far within their tolerances.
MARK, METRES = "CM4", 0.001


def revise(register: Path) -> None:
    """Add to the easting of one mark."""
    lines = register.read_text(encoding="utf-8").splitlines()
    (at,) = [number for number, line in enumerate(lines) if line.startswith(f"{MARK},")]
    mark, easting, *rest = lines[at].split(",")
    lines[at] = ",".join([mark, f"{float(easting) + METRES:.5f}", *rest])
    register.write_text("\n".join(lines) + "\n", encoding="utf-8")


def alternately(asked: argparse.Namespace, marks: int) -> dict[str, list[Spent]]:
    """Simulate a job with so many marks and run it three ways in turn."""
    found: dict[str, list[Spent]] = {"first issue": [], "nothing changed": [], REVISED: []}
    with tempfile.TemporaryDirectory() as place:
        spent(SIMULATE, SUPPORT, place, str(asked.points), str(asked.sessions), str(marks))
        for number in range(asked.rounds):
            shutil.rmtree(Path(place) / "out", ignore_errors=True)
            for way, taken in found.items():
                if way == REVISED:
                    revise(Path(place) / "register.csv")
                taken.append(spent(RUN, str(Path(place) / "job.toml")))
            told = ", ".join(f"{way} {taken[-1].wall:.1f} s" for way, taken in found.items())
            print(f"round {number + 1}: {told}", file=sys.stderr)
    return found


def main() -> None:
    """Run both jobs, print each figure's median and the ratios."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--points", type=int, default=1_000_000)
    options.add_argument("--sessions", type=int, default=300)
    options.add_argument("--rounds", type=int, default=3)
    asked = options.parse_args()
    print("| points in sessions | what | s | peak MB | to the first (processor time) |")
    print("| --- | --- | --- | --- | --- |")
    for revised, marks in {"of one session": asked.sessions + 2, "of every fourth session": 4}.items():
        found = alternately(asked, marks)
        for way, taken in found.items():
            (ratio, work), one = ratios(taken, found["first issue"]), typical(taken)
            of, what = f"{asked.points:,} in {asked.sessions}", f"{way} {revised}" if way == REVISED else way
            print(f"| {of} | {what} | {one.wall:.1f} | {one.peak:.0f} | {ratio:.2f} ({work:.2f}) |")


if __name__ == "__main__":
    main()
