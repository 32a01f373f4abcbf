"""Times a first issue, a run with nothing changed, and a re-issue: one mark revised, or another day delivered.

Of one job a single session is tied to the mark, of another every fourth. Of the third the last sessions, one of fifty,
come later, in an export of their own.

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
REVISED, DELIVERED = "a tie revised", "the last sessions delivered"
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


class Later:
    """The last sessions of a job, kept back from it."""

    def __init__(self, place: Path, sessions: int) -> None:
        self.job, self.export = place / "job.toml", place / "rover001.csv"
        self.whole = self.job.read_text(encoding="utf-8")
        head, *blocks = self.whole.split("[[session]]\n")
        last, end = blocks[-1].split("\n[[", 1)
        first = len(blocks) - max(sessions // 50, 1)
        self.less = "[[session]]\n".join([head, *blocks[:first]]) + "\n[[" + end
        lines = "\n".join([*blocks[first:-1], last]).splitlines()
        bases = {line.split('"')[1] for line in lines if line.startswith("base =")}
        header, *rows = self.export.read_text(encoding="utf-8").splitlines(keepends=True)
        late = [not bases.isdisjoint(row.rstrip("\n").split(",")) for row in rows]
        self.rows = [header, *(row for row, later in zip(rows, late, strict=True) if not later)]
        self.more = [header, *(row for row, later in zip(rows, late, strict=True) if later)]

    def keep_back(self) -> None:
        """Leave them out of the job."""
        self.job.write_text(self.less, encoding="utf-8")
        self.export.write_text("".join(self.rows), encoding="utf-8")
        self.export.with_name("rover002.csv").unlink(missing_ok=True)

    def deliver(self) -> None:
        """Take them into the job."""
        self.job.write_text(self.whole, encoding="utf-8")
        self.export.with_name("rover002.csv").write_text("".join(self.more), encoding="utf-8")


def alternately(asked: argparse.Namespace, marks: int, again: str) -> dict[str, list[Spent]]:
    """Simulate a job with so many marks and run it three ways in turn."""
    found: dict[str, list[Spent]] = {"first issue": [], "nothing changed": [], again: []}
    with tempfile.TemporaryDirectory() as place:
        spent(SIMULATE, SUPPORT, place, str(asked.points), str(asked.sessions), str(marks))
        later = Later(Path(place), asked.sessions) if again == DELIVERED else None
        for number in range(asked.rounds):
            shutil.rmtree(Path(place) / "out", ignore_errors=True)
            if later is not None:
                later.keep_back()
            for way, taken in found.items():
                if way == again and later is not None:
                    later.deliver()
                elif way == again:
                    revise(Path(place) / "register.csv")
                taken.append(spent(RUN, str(Path(place) / "job.toml")))
            told = ", ".join(f"{way} {taken[-1].wall:.1f} s" for way, taken in found.items())
            print(f"round {number + 1}: {told}", file=sys.stderr)
    return found


def main() -> None:
    """Run all jobs, print each figure's median and the ratios."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--points", type=int, default=1_000_000)
    options.add_argument("--sessions", type=int, default=300)
    options.add_argument("--rounds", type=int, default=3)
    asked = options.parse_args()
    print("| points in sessions | what | s | peak MB | to the first (processor time) |")
    print("| --- | --- | --- | --- | --- |")
    own, shared = asked.sessions + 2, 4
    ways = ((f"{REVISED} of one session", own), (f"{REVISED} of every fourth session", shared), (DELIVERED, own))
    for again, marks in ways:
        found = alternately(asked, marks, again)
        for way, taken in found.items():
            (ratio, work), one = ratios(taken, found["first issue"]), typical(taken)
            of = f"{asked.points:,} in {asked.sessions}"
            print(f"| {of} | {way} | {one.wall:.1f} | {one.peak:.0f} | {ratio:.2f} ({work:.2f}) |")


if __name__ == "__main__":
    main()
