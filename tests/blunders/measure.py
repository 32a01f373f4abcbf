"""Plants every kind of blunder in random jobs, runs them, and prints what the readings made of it. Run by hand.

    python tests/blunders/measure.py [--few] [--only WORDS] [--workers 2]

Nothing here depends on the day or the machine: job number n of a kind is the same everywhere. See README.md beside it.
"""

import argparse
import json
import sys
import tempfile
import time
import zlib
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

_HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(path) for path in (_HERE, _HERE.parent / "support", _HERE.parents[1])]

from plant import BLUNDERS, RANDOM, Planted, Planter  # noqa: E402
from world import draw  # noqa: E402

from pipeline import run_job  # noqa: E402
from pipeline.problems import JobError  # noqa: E402

#: Jobs per kind, clean jobs, jobs per kind of unexplained error; and of a quick look.
COUNTS, FEW = (50, 500, 300), (8, 40, 30)
#: Scores closer than this share a place: ten to one in likelihood, as the sentence in `cause` counts it.
CLOSE = 4.605
#: Kinds that say where an error is, but make no claim why.
_NO_REASON = {"point unexplained", "mark unexplained", "base moved", "base drifts"}


@dataclass(frozen=True)
class Found:
    """What one job came to. ``first`` is the kind read first, or how the job ended without any reading."""

    kind: str
    seed: int
    detected: bool
    right: bool
    shared: bool
    listed: bool
    first: str
    alarm: str
    seconds: float


def one(task: tuple[str, int]) -> Found:
    """Draw, plant, run and judge one job."""
    kind, number = task
    planter: Planter | None = (BLUNDERS | {f"unexplained: {name}": plant for name, plant in RANDOM.items()}).get(kind)
    for attempt in range(1000):
        seed = zlib.crc32(f"{kind} {number} {attempt}".encode())
        world = draw(seed)
        planted = planter(world) if planter else Planted(("clean",))
        if planted is not None:
            break
    else:
        raise RuntimeError(f"no job has room for: {kind}")
    with tempfile.TemporaryDirectory() as folder:
        path = world.write(Path(folder))
        start = time.perf_counter()
        try:
            record = run_job(path, dry_run=True).record
        except JobError as error:
            told = " ".join(f"{problem.what} {problem.fix}" for problem in error.problems)
            right = not planted.kinds and all(word in told for word in planted.says)
            return Found(kind, seed, True, right, right, right, f"refused: {told[:80]}", "", 0.0)
        return judged(kind, seed, planted, record, time.perf_counter() - start)


def judged(kind: str, seed: int, planted: Planted, record: dict[str, Any], seconds: float) -> Found:
    """Compare the record of a run with what was planted."""
    failing = [check["point"] for check in record["checks"] if check["passed"] is False]
    drifts = [note for note in record["notes"] if "appears to drift" in note]
    alarm = "; ".join([*failing, *(one["session"] for one in record["diagnoses"]), *drifts])
    if not planted.kinds:
        told = any(all(word in note for word in planted.says) for note in record["notes"])
        held = "outside_sessions" in record["rows"]["by_reason"]
        return Found(kind, seed, told or held, told, told, told, "a note" if told else "", alarm, seconds)
    diagnoses = [one for one in record["diagnoses"] if one["readings"]]
    if not diagnoses:
        told = bool(drifts) and planted.kinds == ("base drifts",)
        return Found(kind, seed, bool(alarm), told, told, told, "a drift note" if told else "", alarm, seconds)
    ranks = [rank(planted, one["readings"]) for one in diagnoses]
    first = diagnoses[0]["readings"][0]
    return Found(
        kind,
        seed,
        True,
        all(place == 0 for place, _ in ranks),
        all(place == 0 or shared for place, shared in ranks),
        any(place is not None for place, _ in ranks),
        first["kind"] + (" (by chance?)" if first["chance"] else ""),
        alarm,
        seconds,
    )


def rank(planted: Planted, readings: list[dict[str, Any]]) -> tuple[int | None, bool]:
    """Return at which place the right reading stands, and whether it shares the first and it is said what decides."""
    for place, reading in enumerate(readings):
        if reading["kind"] in planted.kinds and all(word in reading["text"] for word in planted.says):
            close = reading["score"] - readings[0]["score"] < CLOSE
            return place, close and bool(reading["decide"] or readings[0]["decide"])
    return None, False


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
    lines = ["| kind | planted | detected | right first | first or shared | listed |", "| --- | ---: | ---: | ---: | ---: | ---: |"]
    whole = [0] * 5
    for kind in BLUNDERS:
        if kind in by_kind:
            some = by_kind[kind]
            row = [len(some), *(sum(getattr(one, key) for one in some) for key in ("detected", "right", "shared", "listed"))]
            whole = [a + b for a, b in zip(whole, row, strict=True)]
            lines.append(f"| {kind} | " + " | ".join(map(str, row)) + " |")
    lines.append("| **all** | " + " | ".join(map(str, whole)) + " |")
    lines += ["", *_clean(by_kind.get("clean", [])), "", *_unexplained(by_kind)]
    return "\n".join(lines)


def _clean(found: list[Found]) -> list[str]:
    alarms = [one for one in found if one.alarm]
    return [f"Clean jobs: {len(found)}, with a false alarm {len(alarms)} ({100 * len(alarms) / max(len(found), 1):.1f} %)."]


def _unexplained(by_kind: dict[str, list[Found]]) -> list[str]:
    lines = [
        "| error without a reason, on one check | planted | detected | a reason first | the point first or shared |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    for kind, found in by_kind.items():
        if kind.startswith("unexplained"):
            seen = [one for one in found if one.detected and not one.first.startswith("refused")]
            wrong = sum(one.first not in _NO_REASON and one.first != "" and "chance" not in one.first for one in seen)
            share = f"{wrong} ({100 * wrong / max(len(seen), 1):.0f} %)"
            lines.append(f"| {kind[13:]} | {len(found)} | {len(seen)} | {share} | {sum(one.shared for one in seen)} |")
    return lines


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--few", action="store_true", help="a quick look")
    parser.add_argument("--only", default="", help="only kinds with these words")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--each", type=Path, help="write what every job came to, one JSON object a line")
    arguments = parser.parse_args()
    start = time.perf_counter()
    work = tasks(FEW if arguments.few else COUNTS, arguments.only)
    with ProcessPoolExecutor(arguments.workers) as pool:
        found = list(pool.map(one, work, chunksize=10))
    if arguments.each:
        arguments.each.write_text("".join(json.dumps(asdict(each)) + "\n" for each in found), encoding="utf-8")
    print(table(found))
    slowest = max(found, key=lambda each: each.seconds)
    print(f"\n{len(found)} jobs in {time.perf_counter() - start:.0f} s; the slowest {slowest.seconds:.1f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
