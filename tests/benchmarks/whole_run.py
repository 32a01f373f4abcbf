"""Times a whole run against GDAL's plain conversion of the same CSV to GeoPackage, in turn, and prints the ratio.

    python tests/benchmarks/whole_run.py [--points 1000000] [--sessions 30] [--rounds 3]

The conversion does no sessions and no shift: read the CSV with its types found, make points of longitude, latitude and
height, write a GeoPackage with a spatial index. It is the GDAL that pyogrio's wheel carries, driven in a process of its
own. Machines are shared and noisy: quote the ratio of one run of this script, not its seconds.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

CONVERT = """
import ctypes, glob, os, sqlite3, sys
import pyogrio
from pathlib import Path
import pyogrio._io
folder = Path(pyogrio.__file__).parent.parent / "pyogrio.libs"
gdal = ctypes.CDLL(glob.glob(str(folder / "libgdal*"))[0])
for name in ("GDALOpenEx", "GDALVectorTranslate", "GDALVectorTranslateOptionsNew"):
    getattr(gdal, name).restype = ctypes.c_void_p
gdal.GDALAllRegister()
def texts(*items):
    return (ctypes.c_char_p * (len(items) + 1))(*[item.encode() for item in items], None)
options = texts("AUTODETECT_TYPE=YES", "X_POSSIBLE_NAMES=Lon", "Y_POSSIBLE_NAMES=Lat", "Z_POSSIBLE_NAMES=EllHt")
source = ctypes.c_void_p(gdal.GDALOpenEx(sys.argv[1].encode(), 4, None, options, None))
assert source.value, "the CSV cannot be opened"
how = ctypes.c_void_p(gdal.GDALVectorTranslateOptionsNew(texts("-f", "GPKG", "-a_srs", "EPSG:4959"), None))
one = (ctypes.c_void_p * 1)(source.value)
wrong = ctypes.c_int(0)
made = ctypes.c_void_p(gdal.GDALVectorTranslate(sys.argv[2].encode(), None, 1, one, how, ctypes.byref(wrong)))
assert made.value and not wrong.value, "not converted"
gdal.GDALClose(made)
with sqlite3.connect(sys.argv[2]) as found:
    rows = found.execute("SELECT count(*) FROM rtree_" + Path(sys.argv[1]).stem + "_geom").fetchone()[0]
assert rows > 0, "converted without points or without their index"
"""

SIMULATE = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from simulate import Plan, simulate
sessions = int(sys.argv[4])
simulate(Plan(sessions=sessions, points=int(sys.argv[3]) // sessions)).write(Path(sys.argv[2]) / "job")
"""

RUN = "import sys; from pipeline import run_job; print(run_job(sys.argv[1]).record['rows'])"


def timed(code: str, *arguments: str) -> tuple[float, float]:
    """Run Python code in a process of its own; return wall seconds and peak megabytes."""
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", code, *arguments], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    assert status == 0, f"exit status {status}"
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def main() -> None:
    """Simulate the job, run both in turn, print each figure's median and the ratio."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--points", type=int, default=1_000_000)
    options.add_argument("--sessions", type=int, default=30)
    options.add_argument("--rounds", type=int, default=3)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as place:
        # in a process of its own: a child's peak memory counts what its parent held when it was started
        timed(SIMULATE, str(Path(__file__).parents[1] / "support"), place, str(asked.points), str(asked.sessions))
        job = Path(place) / "job" / "job.toml"
        (csv,) = sorted(job.parent.glob("rover*.csv"))
        print(f"{csv.stat().st_size / 1e6:.0f} MB of CSV, {asked.sessions} sessions")
        converted, ran = [], []
        for number in range(asked.rounds):
            converted.append(timed(CONVERT, str(csv), str(Path(place) / f"plain{number}.gpkg")))
            text = job.read_text(encoding="utf-8").replace('folder = "out', f'folder = "out{number}')
            again = job.with_name(f"job{number}.toml")
            again.write_text(text, encoding="utf-8")
            ran.append(timed(RUN, str(again)))
            print("  convert {:6.1f} s {:5.0f} MB   run {:6.1f} s {:5.0f} MB".format(*converted[-1], *ran[-1]))
        ratio = median(r[0] / c[0] for r, c in zip(ran, converted, strict=True))
        print(f"ratio of wall time, run to convert, median of {asked.rounds}: {ratio:.2f}")
        print(f"peak memory of the run: {max(r[1] for r in ran):.0f} MB")


if __name__ == "__main__":
    main()
