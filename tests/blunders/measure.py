"""Plants every kind of blunder in random jobs, runs them, and prints what the readings made of it. Run by hand.

    python tests/blunders/measure.py [--few] [--only WORDS] [--series WORD] [--marks 300] [--workers 2]

Nothing here depends on the day or the machine: job number n of a kind is the same everywhere. See README.md beside it.
"""

import argparse
import json
import sys
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial
from pathlib import Path

_HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(path) for path in (_HERE.parent / "support", _HERE.parents[1])]

from blunder_kinds import BLUNDERS, RANDOM  # noqa: E402
from blunder_run import NO_REASON, Found, run_one  # noqa: E402

#: Jobs per kind, clean jobs, jobs per kind of unexplained error; and of a quick look.
COUNTS, FEW = (50, 500, 300), (8, 40, 30)
#: Tolerances, the classes that errors without a reason are told in.
SIZES = ((1.0, 1.5), (1.5, 2.0), (2.0, 10.0), (10.0, 100.0))


def tasks(counts: tuple[int, int, int], only: str) -> list[tuple[str, int]]:
    """Return the kind and the number of every job."""
    blunders, clean, unexplained = counts
    wanted = [(kind, blunders) for kind in BLUNDERS]
    wanted += [("clean", clean)] + [(f"unexplained: {name}", unexplained) for name in RANDOM]
    return [(kind, number) for kind, count in wanted if only in kind for number in range(count)]


def table(found: Iterable[Found]) -> str:
    """Return the results in Markdown."""
    by_kind: dict[str, list[Found]] = {}
    for one in found:
        by_kind.setdefault(one.kind, []).append(one)
    lines = [_row("kind", "planted", "detected", "right first", "first or shared", "listed"), "| --- |" + " ---: |" * 5]
    planted = {kind: some for kind, some in by_kind.items() if kind in BLUNDERS}
    whole = [one for some in planted.values() for one in some]
    for kind, some in [*planted.items(), ("**all**", whole)]:
        counts = [sum(getattr(one, key) for one in some) for key in ("detected", "right", "shared", "listed")]
        lines.append(_row(kind, len(some), *counts))
    return "\n".join([*lines, "", *_splits(whole), "", *_clean(by_kind.get("clean", [])), "", *_unexplained(by_kind)])


def _row(*cells: object) -> str:
    return "| " + " | ".join(map(str, cells)) + " |"


def _splits(found: list[Found]) -> list[str]:
    given = [one.split for one in found if one.split is not None]
    stated = [one.stated for one in found if one.stated is not None]
    return [
        f"Lines that split a session: given {len(given)} times; with them every check passes {sum(given)} times.",
        "",
        f"Lines that state a field shift: given {len(stated)} times; with them every check passes {sum(stated)} times.",
    ]


def _clean(found: list[Found]) -> list[str]:
    alarms = [one for one in found if one.alarm]
    drifts = sum("drift" in one.alarm for one in alarms)
    share = 100 * len(alarms) / max(len(found), 1)
    return [
        f"Clean jobs: {len(found)}, of them with a false alarm {len(alarms)} ({share:.1f} %):"
        f" a failing check {len(alarms) - drifts}, a drift note {drifts}."
    ]


def _unexplained(by_kind: dict[str, list[Found]]) -> list[str]:
    head = (
        "error without a reason on one check",
        "size, tolerances",
        "planted",
        "detected",
        "a reason first",
        "the point, or tied",
    )
    lines = [_row(*head), "| --- | --- |" + " ---: |" * 4]
    for kind, found in by_kind.items():
        for least, most in SIZES if kind.startswith("unexplained") else ():
            some = [one for one in found if least <= one.size < most]
            seen = [one for one in some if one.alarm]
            wrong = sum(one.first not in NO_REASON and one.first != "" and "chance" not in one.first for one in seen)
            share = f"{wrong} ({100 * wrong / max(len(seen), 1):.0f} %)"
            cells = f"{least:g} to {most:g}", len(some), len(seen), share, sum(one.shared for one in seen)
            lines.append(_row(kind.removeprefix("unexplained: "), *cells))
    return lines


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--few", action="store_true", help="a quick look")
    parser.add_argument("--only", default="", help="only kinds with these words")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--each", type=Path, help="write what every job came to, one JSON object a line")
    parser.add_argument("--series", default="", help="any word: draw other jobs than those of the table in README.md")
    parser.add_argument("--marks", type=int, default=0, help="marks that nobody occupies, besides those of each job")
    arguments = parser.parse_args()
    start = time.perf_counter()
    work = tasks(FEW if arguments.few else COUNTS, arguments.only)
    with ProcessPoolExecutor(arguments.workers) as pool:
        found = list(pool.map(partial(run_one, series=arguments.series, marks=arguments.marks), work, chunksize=10))
    if arguments.each:
        arguments.each.write_text("".join(json.dumps(asdict(each)) + "\n" for each in found), encoding="utf-8")
    print(table(found))
    slowest = max(found, key=lambda each: each.seconds)
    took = f"{len(found)} jobs in {time.perf_counter() - start:.0f} s; the slowest {slowest.seconds:.1f} s"
    print(f"\n{took}", file=sys.stderr)


if __name__ == "__main__":
    main()
