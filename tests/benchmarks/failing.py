"""Times a job of many sessions without and with failing checks, in turn, and prints a table.

    python tests/benchmarks/failing.py [--sessions 300] [--failing 22] [--rounds 3]

What caused each failing check is looked for among thousands of causes. Quote ratios of one run of this script.
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from network_job import draft
from peers import RUN, Spent, ratios, spent, typical

#: The exit code of a run whose checks do not all pass.
_FAILED = 3


def job(folder: Path, sessions: int, failing: int) -> Path:
    """Lay down a job whose first sessions have checks that fail by half a metre, each in all of its own."""
    asked = argparse.Namespace(
        sessions=sessions,
        marks=sessions // 3,
        occupations=7 * sessions,
        points=10,
        files=1,
        draw="nearby",
        blunders=failing,
        set_ups=0.0,
        session_file=False,
    )
    return draft(asked, folder)


def main() -> None:
    """Lay the jobs down, run them in turn, print medians and the median of the ratios."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--sessions", type=int, default=300)
    options.add_argument("--failing", type=int, default=22)
    options.add_argument("--rounds", type=int, default=3)
    asked = options.parse_args()
    found: dict[int, list[Spent]] = {0: [], asked.failing: []}
    for _ in range(asked.rounds):
        for failing, taken in found.items():
            with tempfile.TemporaryDirectory() as place:
                path = job(Path(place, "job"), asked.sessions, failing)
                taken.append(spent(RUN, str(path), ends=_FAILED if failing else 0))
    print("| sessions | with checks that fail | s | processor s | peak MB | to the job without (processor time) |")
    print("| --- | --- | --- | --- | --- | --- |")
    for failing, taken in found.items():
        (clock, work), one = ratios(taken, found[0]), typical(taken)
        told = f"{one.wall:.1f} | {one.cpu:.1f} | {one.peak:.0f} | {clock:.2f} ({work:.2f})"
        print(f"| {asked.sessions} | {failing} | {told} |")


if __name__ == "__main__":
    main()
