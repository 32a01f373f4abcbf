"""Runs all benchmarks one after the other and keeps their tables in `figures.md` beside this.

    python tests/benchmarks/everything.py [--without ten night ...]

Takes an hour and a half, 24 GB of memory and 20 GB of disk; ``--without`` leaves parts out by the beginning of their
names. What a part prints while it goes stands on the terminal. Nothing else should be running meanwhile.
"""

import argparse
import datetime as dt
import os
import subprocess
import sys
from pathlib import Path

FIGURES = Path(__file__).with_name("figures.md")
#: Each part: what it is about, and the script with what it is asked for.
PARTS = (
    ("small jobs", "measure.py --points 200 2000 --sessions 1 30 --rounds 5"),
    ("large jobs", "measure.py --points 100000 1000000 --sessions 1 30 300"),
    ("ten million points", "measure.py --points 10000000 --sessions 30 --without script --rounds 1"),
    ("one mark revised", "revision.py"),
    ("failing checks", "failing.py"),
    ("night of small jobs", "batch.py"),
    ("codes and further formats", "formats.py"),
)
_HEAD = """# Figures

Written by `everything.py` on {day}: {processors} processors, {memory:.0f} GiB. Medians of whole processes in turn, and
medians of each round's ratios. Ratios are what counts: machines are shared.
"""


def main() -> None:
    """Run the parts and write the file, each part once it is there."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--without", nargs="*", default=[])
    asked = options.parse_args()
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    day = dt.datetime.now(dt.UTC).date().isoformat()
    told = [_HEAD.format(day=day, processors=os.cpu_count(), memory=memory)]
    for name, command in PARTS:
        if any(name.startswith(left) for left in asked.without):
            continue
        script, *words = command.split()
        print(f"{name}: {command}", file=sys.stderr)
        done = subprocess.run(
            [sys.executable, str(FIGURES.with_name(script)), *words], stdout=subprocess.PIPE, text=True, check=True
        )
        told.append(f"## {name.capitalize()}\n\n`{command}`\n\n{done.stdout}")
        FIGURES.write_text("\n".join(told), encoding="utf-8")


if __name__ == "__main__":
    main()
