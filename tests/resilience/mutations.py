"""Spoils the exports and tables of a small job in turn and says which spoilt ones end in a fault in the program.

    python tests/resilience/mutations.py [--seconds 60] [--seed 1] [--keep FOLDER]

A job must be answered by an outcome or by problems (`JobError`). Everything else is printed with its traceback, and the
job kept for looking at.
"""

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from spoilt_jobs import originals, spoil


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--seconds", type=float, default=60.0)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--keep", type=Path)
    asked = words.parse_args()
    counts: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        jobs, seed, end = originals(Path(folder)), asked.seed, time.monotonic() + asked.seconds
        while time.monotonic() < end:
            for form, job_file in jobs.items():
                found = spoil(job_file, form, seed, Path(folder, "spoilt"))
                known = found.came if found.came in ("issued", "refused") else "FAULT"
                counts[known] = counts.get(known, 0) + 1
                if known == "FAULT":
                    print(f"{found.form} {found.file} {found.how} seed {found.seed}\n{found.came}", flush=True)
                    if asked.keep:
                        kept = asked.keep / f"{form}-{seed}"
                        shutil.copytree(Path(folder, "spoilt"), kept, dirs_exist_ok=True)
            seed += 1
    print(counts)


if __name__ == "__main__":
    main()
