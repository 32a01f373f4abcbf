"""Runs all benchmarks one after the other and keeps their tables in `figures.md` beside this.

    python tests/benchmarks/everything.py [--rounds 1] [--without ten night ...]

Takes an hour and a half, or half an hour with one round of each, 12 GB of memory and as much disk; ``--without`` leaves
parts out by the beginning of their names. What a part prints while it goes stands on the terminal. Nothing else should
be running.
"""

import argparse
import datetime as dt
import os
import subprocess
import sys
from pathlib import Path

FIGURES = Path(__file__).with_name("figures.md")
#: Each part: what it is about, the script with what it is asked for, and how many rounds.
PARTS = (
    ("small jobs", "measure.py --points 200 2000 --sessions 1 30", 5),
    ("large jobs", "measure.py --points 100000 1000000 --sessions 1 30 300", 3),
    ("ten million points", "measure.py --points 10000000 --sessions 30 --without script", 1),
    ("one mark revised", "revision.py", 3),
    ("failing checks", "failing.py", 3),
    ("night of small jobs", "batch.py", 1),
    ("codes and further formats", "formats.py", 3),
)
_HEAD = """# Figures

Written by `everything.py` on {day}: {processors} processors, {memory:.0f} GiB. Medians of whole processes in turn, and
medians of each round's ratios. Ratios are what counts: machines are shared.
"""


def main() -> None:
    """Run the parts and write the file, each part once it is there."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--rounds", type=int, help="of every part, instead of its own number")
    options.add_argument("--without", nargs="*", default=[])
    asked = options.parse_args()
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    day = dt.datetime.now(dt.UTC).date().isoformat()
    told = [_HEAD.format(day=day, processors=os.cpu_count(), memory=memory)]
    for name, command, rounds in PARTS:
        if any(name.startswith(left) for left in asked.without):
            continue
        command += f" --rounds {asked.rounds or rounds}"
        script, *words = command.split()
        print(f"{name}: {command}", file=sys.stderr)
        done = subprocess.run(
            [sys.executable, str(FIGURES.with_name(script)), *words], stdout=subprocess.PIPE, text=True, check=True
        )
        told.append(f"## {name.capitalize()}\n\n`{command}`\n\n{done.stdout}")
        FIGURES.write_text("\n".join(told), encoding="utf-8")


if __name__ == "__main__":
    main()
