"""Lets each request of a re-issue to the file system fail in turn, or kills the run at it. Run by hand; Linux only.

    python tests/resilience/faults.py [--every 1] [--from 1] [--what EIO,ENOSPC,SIGKILL]

A word with a + ("ENOSPC+") lets all later requests fail too, as on a disk that stays full. After each the issues must
be whole, and the next run must succeed and tell of an issue of which nobody was told.
"""

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1] / "support")]

from fault_runs import ERRORS, SIGNALS, Case, broken, came, compiled, prepared  # noqa: E402  (found on the path above)


def main() -> None:
    """Do it all and print what came of it."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--every", type=int, default=1)
    options.add_argument("--from", type=int, default=1, dest="first")
    options.add_argument("--what", default=",".join([*ERRORS, *(f"{name}+" for name in ERRORS), *SIGNALS]))
    asked = options.parse_args()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        shim = compiled(place)
        if shim is None:
            sys.exit("there is no compiler here, or this is not Linux")
        (place / "runs").mkdir()
        job = str(prepared(place / "job"))
        (whole,) = came(shim, place / "runs", [Case(job, 0, "EIO")])
        print(f"a re-issue makes {whole.requests} requests that change something", file=sys.stderr)
        requests = range(asked.first, whole.requests + 1, asked.every)
        cases = [
            Case(job, nth, what.rstrip("+"), what.endswith("+")) for what in asked.what.split(",") for nth in requests
        ]
        for found in came(shim, place / "runs", cases):
            how = "issued" if found.code in (0, 3) else "appeared" if found.appeared else "nothing issued"
            counts[f"{found.case.what}{'+' * found.case.lasts}: {how}"] += 1
            for wrong in broken(found):
                counts["BROKEN"] += 1
                print(f"{found.case.what} at {found.case.nth}: {wrong}", flush=True)
    print(dict(counts))


if __name__ == "__main__":
    main()
