"""Times whole runs against their peers in turn, and prints a table.

    python tests/benchmarks/measure.py [--points 2000 100000 1000000] [--sessions 1 30 300] [--rounds 3]
                                       [--without NAME ...]

Ten million points (``--points 10000000 --without script --rounds 1``) take some 8 GB of disk, 8 GB of memory to be
simulated, the script as much again, and ten minutes a round. Machines are shared and noisy: quote ratios of one run of
this script, not its seconds. How a re-issue does is for `revision.py` to say.
"""

import argparse
import os
import sys
import tempfile
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from peers import RUN, Spent, at_hand, ratios, spent, typical

SIMULATE = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from simulate import Plan, simulate
sessions = int(sys.argv[4])
simulate(Plan(sessions=sessions, points=int(sys.argv[3]) // sessions)).write(Path(sys.argv[2]))
"""
_OURS = "tiedown run"


def alternately(job: Path, peers: dict[str, str], rounds: int) -> dict[str, list[Spent]]:
    """Run the job and every peer in turn, so many times; what they write is thrown away."""
    (csv,) = sorted(job.parent.glob("rover*.csv"))
    found: dict[str, list[Spent]] = {name: [] for name in (_OURS, *peers)}
    text = job.read_text(encoding="utf-8")
    for number in range(rounds):
        for name, code in {_OURS: RUN, **peers}.items():
            with tempfile.TemporaryDirectory(dir=job.parent) as place:
                again = Path(place, "job.toml")
                moved = text.replace('file = "register', 'file = "../register').replace('"rover', '"../rover')
                again.write_text(moved, encoding="utf-8")
                given = again if code == RUN else job
                found[name].append(spent(code, str(given), str(csv), str(Path(place, "plain.gpkg"))))
            print(f"  round {number + 1}: {name}: {found[name][-1]}", file=sys.stderr)
    return found


def rows(points: int, sessions: int, found: dict[str, list[Spent]]) -> list[str]:
    """Return the lines of the table: medians, the largest peak, and medians of the run's ratios to each peer."""
    lines = []
    for name, taken in found.items():
        clock, work = ratios(found[_OURS], taken)
        ratio, one = "" if name == _OURS else f"{clock:.2f} ({work:.2f})", typical(taken)
        lines.append(
            f"| {points:,} in {sessions} | {name} | {one.wall:.1f} | {one.cpu:.1f} | {one.peak:.0f} | {ratio} |"
        )
    return lines


def main() -> None:
    """Simulate each job, run it and its peers in turn, print the table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--points", type=int, nargs="+", default=[2_000, 100_000, 1_000_000])
    options.add_argument("--sessions", type=int, nargs="+", default=[1, 30, 300])
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--without", nargs="*", default=[], help="peers to leave out, by a part of their names")
    asked = options.parse_args()
    peers = {name: code for name, code in at_hand().items() if not any(part in name for part in asked.without)}
    support, table = str(Path(__file__).resolve().parents[1] / "support"), []
    for points, sessions in product(asked.points, asked.sessions):
        with tempfile.TemporaryDirectory() as place:
            # in a process of its own: a child's peak memory counts what its parent held when it was started
            spent(SIMULATE, support, place, str(points), str(sessions))
            table += rows(points, sessions, alternately(Path(place, "job.toml"), peers, asked.rounds))
    load = " ".join(f"{one:.1f}" for one in os.getloadavg())
    print(f"Rounds: {asked.rounds}; load of the machine in the end: {load}.\n")
    print("| points in sessions | what | s | processor s | peak MB | run's time to it (processor time) |")
    print("| --- | --- | --- | --- | --- | --- |")
    print("\n".join(table))


if __name__ == "__main__":
    main()
