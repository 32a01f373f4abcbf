"""What a run is compared with, each as code for a process of its own: plain conversions, and the script usual for it.

Each takes the job file, its one CSV and the file to write. The conversions do no sessions and no shift: they read the
CSV with its types found, make points of longitude, latitude and height, and write a GeoPackage with a spatial index.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

# Told to keep no compiled files, Python would compile all our modules for every run, and none of its peers' libraries.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

#: GDAL's vector translate, of the library that pyogrio's wheel carries.
CONVERT = """
import ctypes, glob, sqlite3, sys
import pyogrio
from pathlib import Path
import pyogrio._io
_, csv, package = sys.argv[1:]
folder = Path(pyogrio.__file__).parent.parent / "pyogrio.libs"
gdal = ctypes.CDLL(glob.glob(str(folder / "libgdal*"))[0])
for name in ("GDALOpenEx", "GDALVectorTranslate", "GDALVectorTranslateOptionsNew"):
    getattr(gdal, name).restype = ctypes.c_void_p
gdal.GDALAllRegister()
def texts(*items):
    return (ctypes.c_char_p * (len(items) + 1))(*[item.encode() for item in items], None)
options = texts("AUTODETECT_TYPE=YES", "X_POSSIBLE_NAMES=Lon", "Y_POSSIBLE_NAMES=Lat", "Z_POSSIBLE_NAMES=EllHt")
source = ctypes.c_void_p(gdal.GDALOpenEx(csv.encode(), 4, None, options, None))
assert source.value, "the CSV cannot be opened"
how = ctypes.c_void_p(gdal.GDALVectorTranslateOptionsNew(texts("-f", "GPKG", "-a_srs", "EPSG:4959"), None))
one = (ctypes.c_void_p * 1)(source.value)
wrong = ctypes.c_int(0)
made = ctypes.c_void_p(gdal.GDALVectorTranslate(package.encode(), None, 1, one, how, ctypes.byref(wrong)))
assert made.value and not wrong.value, "not converted"
gdal.GDALClose(made)
with sqlite3.connect(package) as found:
    rows = found.execute("SELECT count(*) FROM rtree_" + Path(csv).stem + "_geom").fetchone()[0]
assert rows > 0, "converted without points or without their index"
"""

#: The system's GDAL, of whatever version it is.
OGR2OGR = """
import os, sys
_, csv, package = sys.argv[1:]
words = "-oo AUTODETECT_TYPE=YES -oo X_POSSIBLE_NAMES=Lon -oo Y_POSSIBLE_NAMES=Lat -oo Z_POSSIBLE_NAMES=EllHt"
os.execvp("ogr2ogr", ["ogr2ogr", "-f", "GPKG", "-a_srs", "EPSG:4959", package, csv, *words.split()])
"""

#: Sessions by time, their shifts as the mean of their ties, the grid with geoid heights; nothing is checked.
SCRIPT = """
import sys, tomllib, warnings
warnings.simplefilter("ignore")  # of what a CRS loses as a PROJ string
from pathlib import Path
import geopandas, numpy as np, pandas as pd, pyproj
path, csv, package = sys.argv[1:]
job = tomllib.loads(Path(path).read_text(encoding="utf-8"))
grid = pyproj.CRS(job["target"]["grid"]).to_proj4()
to_grid = pyproj.Transformer.from_pipeline(
    "+proj=pipeline +step +inv +proj=cart +ellps=GRS80 +step +inv +proj=vgridshift +multiplier=1 +grids="
    + job["target"]["geoid"] + " +step " + grid.replace("+type=crs", ""))
to_xyz = pyproj.Transformer.from_pipeline("+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad"
    " +step +proj=cart +ellps=GRS80")
marks = pd.read_csv(Path(path).with_name("register.csv")).set_index("mark")
points = pd.read_csv(csv, parse_dates=["Observed"])
sessions = sorted(job["session"], key=lambda session: session["start"])
starts = pd.to_datetime([session["start"] for session in sessions], utc=True)
number = np.searchsorted(starts, pd.to_datetime(points["Observed"], utc=True), side="right") - 1
points["session"] = np.array([session["name"] for session in sessions])[number]
xyz = np.column_stack(to_xyz.transform(points["Lon"], points["Lat"], points["EllHt"]))
row = pd.Series(points.index, index=points["Point"])
shifts = []
for session in sessions:
    known = marks.loc[[tie["mark"] for tie in session["ties"]], ["easting", "northing", "height"]]
    at = np.column_stack(to_grid.transform(*known.to_numpy().T, direction="INVERSE"))
    shifts.append((at - xyz[row[[tie["point"] for tie in session["ties"]]]]).mean(axis=0))
easting, northing, height = to_grid.transform(*(xyz + np.array(shifts)[number]).T)
points["easting"], points["northing"], points["height"] = easting, northing, height
shapes = geopandas.points_from_xy(easting, northing, height)
geopandas.GeoDataFrame(points, geometry=shapes, crs=job["target"]["grid"]).to_file(package, driver="GPKG")
"""

RUN = "import sys; sys.argv[1:] = ['run', sys.argv[1]]; from pipeline.cli.start import main; main()"


@dataclass(frozen=True)
class Spent:
    """Seconds on the clock, seconds of processors, and the peak of memory in megabytes."""

    wall: float
    cpu: float
    peak: float


def spent(code: str, *arguments: str, ends: int = 0) -> Spent:
    """Run Python code in a process of its own, which ends with that exit code, and say what it took."""
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", code, *arguments], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    assert os.waitstatus_to_exitcode(status) == ends, f"exit status {status}"
    return Spent(time.perf_counter() - start, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def typical(taken: Sequence[Spent]) -> Spent:
    """Return the medians of what runs took, and the largest peak."""
    return Spent(median(one.wall for one in taken), median(one.cpu for one in taken), max(one.peak for one in taken))


def ratios(taken: Sequence[Spent], to: Sequence[Spent]) -> tuple[float, float]:
    """Return the medians of each round's ratios: of the seconds on the clock, and of those of processors."""
    pairs = list(zip(taken, to, strict=True))
    return median(one.wall / other.wall for one, other in pairs), median(one.cpu / other.cpu for one, other in pairs)


def at_hand() -> dict[str, str]:
    """Return the code of every peer that this machine has, by its name."""
    peers = {"GDAL's vector translate, convert only": CONVERT, "script with geopandas": SCRIPT}
    if shutil.which("ogr2ogr"):
        peers["the system's ogr2ogr, convert only"] = OGR2OGR
    return peers
