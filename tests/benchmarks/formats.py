"""Times what layers of codes and the further formats cost beside the GeoPackage alone, and prints a table.

    python tests/benchmarks/formats.py [--points 1000000] [--coded 100000] [--codes 10 100 1000] [--rounds 3]
                                       [--formats dxf csv landxml]

Every format is written and read back. Machines are shared and noisy: quote processor time and ratios of one run.
"""

import argparse
import csv
import shutil
import sys
import tempfile
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parent))

from measure import SIMULATE
from peers import RUN, Spent, ratios, spent, typical

SUPPORT = str(Path(__file__).resolve().parents[1] / "support")
SESSIONS = 10


def simulated(place: Path, points: int) -> Path:
    """Simulate a job in a process of its own, and return its job file."""
    spent(SIMULATE, SUPPORT, str(place), str(points), str(SESSIONS))
    return place / "job.toml"


def recode(export: Path, codes: int) -> None:
    """Give the points of an export so many codes, one after the other."""
    with export.open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    at = header.index("Code")
    for number, row in enumerate(rows):
        row[at] = row[at] if row[at] in ("CM", "CHK") else f"C{number % codes:04d}"
    with export.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *rows])


def alternately(job: Path, asked: dict[str, str], rounds: int) -> dict[str, list[Spent]]:
    """Run the job as asked in ``[issue]``, each in turn, so many times; what they write is thrown away."""
    text, found = job.read_text(encoding="utf-8"), dict[str, list[Spent]]()
    for number in range(rounds):
        for name, lines in asked.items():
            shutil.rmtree(job.parent / "out", ignore_errors=True)
            job.write_text(f"{text}\n[issue]\n{lines}\n", encoding="utf-8")
            found.setdefault(name, []).append(spent(RUN, str(job)))
            print(f"  round {number + 1}: {name}: {found[name][-1]}", file=sys.stderr)
    job.write_text(text, encoding="utf-8")
    return found


def rows(points: int, found: dict[str, list[Spent]]) -> list[str]:
    """Return the lines of the table: medians, and the median of processor time over that of the first in its round."""
    alone, lines = next(iter(found.values())), []
    for name, taken in found.items():
        over = median(one.cpu - first.cpu for one, first in zip(taken, alone, strict=True))
        (_, ratio), one = ratios(taken, alone), typical(taken)
        told = f"{one.wall:.1f} | {one.cpu:.1f} | {one.peak:.0f} | {over:.1f} | {ratio:.2f}"
        lines.append(f"| {points:,} | {name} | {told} |")
    return lines


def main() -> None:
    """Simulate the jobs, run each in all ways, print the table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--points", type=int, default=1_000_000)
    options.add_argument("--coded", type=int, default=100_000)
    options.add_argument("--codes", type=int, nargs="*", default=[10, 100, 1000])
    options.add_argument("--formats", nargs="*", default=["dxf", "csv", "landxml"])
    options.add_argument("--rounds", type=int, default=3)
    asked = options.parse_args()
    table = []
    for codes in asked.codes:
        with tempfile.TemporaryDirectory() as place:
            job = simulated(Path(place), asked.coded)
            recode(next(Path(place).glob("rover*.csv")), codes)
            ways = {"GeoPackage": "", f"with layers of {codes:,} codes": "by_code = true"}
            table += rows(asked.coded, alternately(job, ways, asked.rounds))
    if asked.formats:
        with tempfile.TemporaryDirectory() as place:
            ways = {f"with {word}": f'formats = ["{word}"]' for word in asked.formats}
            found = alternately(simulated(Path(place), asked.points), {"GeoPackage": "", **ways}, asked.rounds)
            table += rows(asked.points, found)
    print("| points | what | s | processor s | peak MB | processor s over the GeoPackage alone | ratio |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    print("\n".join(table))


if __name__ == "__main__":
    main()
