"""Sends signals to runs and batches at seeded moments, and checks how each ends. Run by hand (Linux).

    python tests/resilience/signals.py [--times 100] [--seed 1]

SIGINT, SIGTERM and SIGHUP, half of them to the first process and half to all, as a terminal's keys do. Each must end
the command at once and by that signal, with one line and no traceback, and with all of its processes. At the end what
is missing is issued by one run, and every issue is whole.
"""

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from batches import issued, signals, write_jobs  # noqa: E402  (found on the path set above)
from command import process  # noqa: E402

from pipeline.verify import verify  # noqa: E402


def main() -> None:
    """Do it all and print what was done."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--times", type=int, default=100)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        jobs = write_jobs(Path(scratch), 6)
        for name, those, count in (("a job alone", jobs[:1], 1), ("six jobs, two workers", jobs, 2)):
            found = signals(those, count, asked.times, asked.seed, lambda said: print(said, file=sys.stderr))
            print(f"{name}: {dict(found)}")
            code = process("run", "--quiet", *those).returncode
            assert code == 0 and issued(those) == len(those), code
            assert all(verify(job.parent / "out").findings == () for job in those)


if __name__ == "__main__":
    main()
