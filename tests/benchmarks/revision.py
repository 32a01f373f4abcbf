"""Times a first issue, a run with nothing changed, and a re-issue after one mark of one session was revised.

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
points, sessions = int(sys.argv[3]), int(sys.argv[4])
simulate(Plan(sessions=sessions, points=points // sessions, ties=1, marks=sessions + 2)).write(Path(sys.argv[2]))
"""
#: The tie of the fifth session, which its neighbours are checked on, and metres far within their tolerances.
MARK, METRES = "CM5", 0.004


def revise(register: Path) -> None:
    """Add to the easting of one mark."""
    lines = register.read_text(encoding="utf-8").splitlines()
    (at,) = [number for number, line in enumerate(lines) if line.startswith(f"{MARK},")]
    mark, easting, *rest = lines[at].split(",")
    lines[at] = ",".join([mark, f"{float(easting) + METRES:.5f}", *rest])
    register.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Simulate the job, run it three ways in turn, print each figure's median and the ratios."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--points", type=int, default=1_000_000)
    options.add_argument("--sessions", type=int, default=300)
    options.add_argument("--rounds", type=int, default=3)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as place:
        support = str(Path(__file__).resolve().parents[1] / "support")
        spent(SIMULATE, support, place, str(asked.points), str(asked.sessions))
        job = str(Path(place) / "job.toml")
        seconds: dict[str, list[Spent]] = {"first issue": [], "nothing changed": [], "one mark revised": []}
        for number in range(asked.rounds):
            shutil.rmtree(Path(place) / "out", ignore_errors=True)
            for way, found in seconds.items():
                if way == "one mark revised":
                    revise(Path(place) / "register.csv")
                found.append(spent(RUN, job))
            told = ", ".join(f"{way} {found[-1].wall:.1f} s" for way, found in seconds.items())
            print(f"round {number + 1}: {told}", file=sys.stderr)
        print("| points in sessions | what | s | peak MB | to the first (processor time) |")
        print("| --- | --- | --- | --- | --- |")
        for way, found in seconds.items():
            (ratio, work), one = ratios(found, seconds["first issue"]), typical(found)
            of = f"{asked.points:,} in {asked.sessions}"
            print(f"| {of} | {way} | {one.wall:.1f} | {one.peak:.0f} | {ratio:.2f} ({work:.2f}) |")


if __name__ == "__main__":
    main()
