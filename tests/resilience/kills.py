"""Kills, starves, refuses and crowds whole runs of a small job, and checks what stands after each. Run by hand.

    python tests/resilience/kills.py [--times 200] [--seed 1]

Half of the kills come by the clock, half just before a request to the file system about the job's folder. After each,
every issue must be what its record says, `current` one of them, and the next run must succeed by itself and leave
nothing over.
"""

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from kill_runs import Bench, crowd, hold_open, kills, refuse, starve  # noqa: E402  (found on the path set above)


def main() -> None:
    """Do it all and print what was done."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--times", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        place.chmod(0o755)
        print("kills:", kills(place, asked.times, asked.seed, tell=lambda said: print(said, file=sys.stderr)))
        starved = Bench(place / "starved")
        starve(starved, [1 << size for size in range(10, 18)])
        print("a full disk: said, the previous issue stands, the next run succeeds")
        for part in ("", "issues"):
            tried = refuse(starved, part)
            print(f"a read-only folder ({part or 'the job'}): {'refused, in words' if tried else 'could not be tried'}")
        for how in ("plain", "log"):
            hold_open(starved, how)
            print(f"the GeoPackage before held open ({how}): the run succeeds")
        crowded = Bench(place / "crowded")
        for number in range(4):
            print(f"eight runs at once, {'a folder not there yet' if number == 0 else 'again'}: {crowd(crowded, 8)}")


if __name__ == "__main__":
    main()
