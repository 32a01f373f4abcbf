"""Reading back finds any difference and disturbs nothing."""

import hashlib
import os
import shutil
import sqlite3
import struct
import subprocess
import sys
from collections import OrderedDict
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from issue_layers import DATA_TO, written_to

from pipeline.issue.geopackage import read_by_fiona, read_by_sqlite, readback
from pipeline.issue.geopackage.layers import wkb_points
from pipeline.issue.geopackage.readback import ReadBackError, read_back
from pipeline.issue.geopackage.written_counts import KEPT, Tally, Written

#: For scripts run on their own: the checkout and the tests' shared modules.
SEARCH = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "support")]

Make = Callable[..., tuple[Written, ...]]


def tamper(path: Path, *statements: str) -> None:
    """Change a GeoPackage as no viewer does: without the triggers that keep its tables in step."""
    with closing(sqlite3.connect(path)) as file:
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        file.create_function("raised", 2, _raised)
        for statement in statements:
            file.execute(statement)
        file.commit()


def _raised(blob: bytes, metres: float) -> bytes:
    return blob[:-8] + struct.pack("<d", struct.unpack("<d", blob[-8:])[0] + metres)


SMALL, LARGE = 900, KEPT + 400
TAMPERED = {
    "a row deleted": ("DELETE FROM points WHERE fid = 17", "rows"),
    "the last row deleted": ("DELETE FROM points WHERE fid = (SELECT max(fid) FROM points)", "rows"),
    "a row added": ("INSERT INTO points (geom, name) SELECT geom, name FROM points WHERE fid = 1", "rows"),
    "a millimetre of height": ("UPDATE points SET geom = raised(geom, 0.001) WHERE fid = 6", "geometry"),
    "the highest point a metre higher": ("UPDATE points SET geom = raised(geom, 9.0) WHERE fid = 15", "range"),
    "the lowest point among the last rows a metre lower": (
        "UPDATE points SET geom = raised(geom, -900.0) WHERE fid = (SELECT max(fid) - 5 FROM points)",
        "range",
    ),
    "a row before the first": (
        "INSERT INTO points (fid, geom, name) SELECT -7, geom, name FROM points LIMIT 1",
        "rows",
    ),
    "a row far behind the last": (
        "INSERT INTO points (fid, geom, name) SELECT 1 << 62, geom, name FROM points LIMIT 1",
        "rows",
    ),
    "a position as text": ("UPDATE points SET geom = CAST(geom AS TEXT) WHERE fid = 9", "type and size|decode"),
    "a position longer by a byte": (
        "UPDATE points SET geom = CAST(geom || x'00' AS BLOB) WHERE fid = 9",
        "type and size|geometry",
    ),
    "a position lost": ("UPDATE points SET geom = NULL WHERE fid = 12", "geometries"),
    "two rows exchanged": (
        "UPDATE points SET fid = CASE fid WHEN 2 THEN -3 ELSE 2 END WHERE fid IN (2, 3)",
        "geometry|feature ids",
    ),
    "the layer's CRS": ("UPDATE gpkg_geometry_columns SET srs_id = 4326", "srs_id"),
    "the CRS of all tables": (
        "UPDATE gpkg_contents SET srs_id = 4326; UPDATE gpkg_geometry_columns SET srs_id = 4326",
        "CRS",
    ),
    "the extent": ("UPDATE gpkg_contents SET max_x = max_x + 0.001", "extent"),
    "the spatial index": ("DELETE FROM rtree_points_geom WHERE id = 8", "spatial index"),
    "a column": ("ALTER TABLE points RENAME COLUMN height TO h", "columns"),
    "a layer": ("DELETE FROM gpkg_contents WHERE table_name = 'points'", "geometry type"),
}


@pytest.fixture(scope="module")
def wholes(tmp_path_factory: pytest.TempPathFactory) -> dict[int, tuple[Path, tuple[Written, ...]]]:
    """A GeoPackage of each size that holds what was written."""
    found = {}
    for rows in (SMALL, LARGE):
        path = tmp_path_factory.mktemp("whole") / "a.gpkg"
        found[rows] = path, written_to(path, points=rows)
        read_back(*found[rows])
    return found


@pytest.mark.parametrize("rows", [SMALL, LARGE])
@pytest.mark.parametrize("change", TAMPERED)
def test_a_change_is_found(
    tmp_path: Path,
    wholes: dict[int, tuple[Path, tuple[Written, ...]]],
    change: str,
    rows: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In a layer that is compared row by row, and in one that fiona samples; where SQLite gives some rows at a time."""
    whole, written = wholes[rows]
    monkeypatch.setattr(read_by_sqlite, "_TOGETHER", 1_000)
    path = Path(shutil.copy(whole, tmp_path))
    statements, word = TAMPERED[change]
    tamper(path, *statements.split(";"))
    with pytest.raises(ReadBackError, match=word):
        read_back(path, written)


def test_a_height_in_a_small_layer_is_told_with_its_row(tmp_path: Path, make: Make) -> None:
    """Every value up to some thousands of rows is compared."""
    path = tmp_path / "a.gpkg"
    written = make(path, points=SMALL)
    tamper(path, "UPDATE points SET geom = raised(geom, 0.001) WHERE fid = 613")
    with pytest.raises(ReadBackError, match=r"row 613 is at"):
        read_back(path, written)


VALUES = {
    "hu95": "hu95 + 1e-12",
    "name": "name || ' '",
    "observed": "'2026-03-02T07:30:00Z'",
    "source_row": "source_row + 1",
    "Depth": "NULL",
    "height": "'9'",
}


@pytest.mark.parametrize("column", VALUES)
def test_a_value_is_found(tmp_path: Path, wholes: dict[int, tuple[Path, tuple[Written, ...]]], column: str) -> None:
    """Whatever it is: the column is named."""
    whole, written = wholes[SMALL]
    path = Path(shutil.copy(whole, tmp_path))
    tamper(path, f"UPDATE points SET {column} = {VALUES[column]} WHERE fid = 7")
    with pytest.raises(ReadBackError, match=f"its {column} are not those given"):
        read_back(path, written)


def test_fiona_finds_a_height_for_itself(tmp_path: Path, make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other GDAL reads some rows of every file, whatever SQLite says of it, and of a kind that it has seen too."""
    path = tmp_path / "a.gpkg"
    written = make(path, points=SMALL)
    read_back(path, written)
    tamper(path, "UPDATE points SET geom = raised(geom, 0.001) WHERE fid = 1")
    monkeypatch.setattr(readback, "differences_by_sqlite", lambda *_: [])
    with pytest.raises(ReadBackError, match=r"row 1 is at"):
        read_back(path, written)


def test_fiona_opens_every_layer_of_a_kind_that_it_has_not_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once; of the next file of the kind, of whatever day, it opens the one with most rows."""
    opened: list[str] = []
    look = read_by_fiona._layer_by_fiona
    monkeypatch.setattr(read_by_fiona, "_layer_by_fiona", lambda file, one: opened.append(one.name) or look(file, one))
    monkeypatch.setattr(readback, "_seen", OrderedDict())
    for name, days in (("a.gpkg", 0), ("b.gpkg", 0), ("c.gpkg", 1)):
        written = written_to(tmp_path / name, at=DATA_TO + timedelta(days=days), points=5, held_back=9)
        read_back(tmp_path / name, written)
    assert opened == ["points", "held_back", "held_back", "held_back"]


def test_the_second_layer_is_read_too(tmp_path: Path, make: Make) -> None:
    """The message names the layer."""
    path = tmp_path / "a.gpkg"
    written = make(path, points=100, held_back=100)
    tamper(path, "DELETE FROM held_back WHERE fid = 1")
    with pytest.raises(ReadBackError, match="layer held_back"):
        read_back(path, written)


@pytest.mark.parametrize("keep", [0, 50, 4096, 60_000])
def test_a_file_cut_short_is_found(tmp_path: Path, make: Make, keep: int) -> None:
    """An error that says so, not one of SQLite's or fiona's own."""
    path = tmp_path / "a.gpkg"
    written = make(path, points=SMALL)
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(ReadBackError):
        read_back(path, written)


def test_a_file_that_is_missing(tmp_path: Path, make: Make) -> None:
    """Nothing is made where nothing was."""
    with pytest.raises(FileNotFoundError):
        read_back(tmp_path / "a.gpkg", ())
    assert not list(tmp_path.iterdir())


def test_reading_touches_nothing(tmp_path: Path, make: Make) -> None:
    """Same bytes, same times, no file beside it; also in a folder with a space, a percent sign and an umlaut."""
    folder = tmp_path / "sölar 50% farm#1"
    folder.mkdir()
    path = folder / "a.gpkg"
    written = make(path, points=500)
    before = (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns)
    read_back(path, written)
    assert (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns) == before
    assert list(folder.iterdir()) == [path]


def tally_of(x: np.ndarray, sizes: list[int]) -> Written:
    tally = Tally("Point Z")
    start = 0
    for size in sizes:
        piece = x[start : start + size]
        tally.add(wkb_points(piece, piece + 1, piece + 2))
        start += size
    return tally.written("points", "EPSG:2193", (), {})


@pytest.mark.parametrize("rows", [0, 1, 2, KEPT - 1, KEPT, KEPT + 1, 3 * KEPT, 100_003])
def test_the_tally_samples_evenly(rows: int) -> None:
    """First and last row always, every row up to the limit, about 500 beyond; the batches' sizes do not show."""
    x = np.arange(rows, dtype=float)
    x[5::11] = np.nan
    x.flags.writeable = False
    written = tally_of(x, [7] * 3 + [rows])
    assert (written.rows, written.geometries) == (rows, int(np.isfinite(x).sum()))
    np.testing.assert_array_equal(written.vertices[:, 0, 0], x[written.sampled])
    if rows <= KEPT:
        assert written.sampled.tolist() == list(range(rows))
    else:
        assert 250 <= len(written.sampled) <= 502
        assert (written.sampled[0], written.sampled[-1]) == (0, rows - 1)
        assert len(set(np.diff(written.sampled)[:-1].tolist())) == 1
    again = tally_of(x, [1000] * (rows // 1000 + 1))
    assert (again.checksum, again.low, again.high) == (written.checksum, written.low, written.high) or rows == 0
    assert again.sampled.tolist() == written.sampled.tolist()


def test_the_tally_takes_sliced_columns() -> None:
    """A slice of a longer column, with missing values before and in it."""
    x = np.array([1.0, np.nan, 3.0, np.nan, 5.0])
    whole = wkb_points(x, x, x)
    tally = Tally("Point Z")
    tally.add(whole.slice(1, 3))
    written = tally.written("points", "EPSG:2193", (), {})
    assert (written.rows, written.geometries, written.low, written.high) == (3, 1, (3.0,) * 3, (3.0,) * 3)


def test_the_tally_refuses_another_geometry() -> None:
    """A 2D point in a layer of 3D points."""
    with pytest.raises(ValueError, match="29 bytes"):
        Tally("Point Z").add(pa.array([struct.pack("<BIdd", 1, 1, 0.0, 0.0)], pa.binary()))


BOTH = """
import os, sys
before = dict(os.environ)
import {first}
import {second}
sys.path[:0] = {path!r}
import pyproj
data = pyproj.datadir.get_data_dir()
from pathlib import Path
from issue_layers import CRS, DATA_TO, source
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.geopackage.readback import read_back
path = Path(sys.argv[1])
step = pyproj.Transformer.from_crs("EPSG:4167", CRS, always_xy=True)
east = step.transform(174.0, -41.0)
for number in range(3):
    file = path / f"{{number}}.gpkg"
    read_back(file, write_geopackage(file, [source(50)], Georeference(CRS), DATA_TO))
assert step.transform(174.0, -41.0) == east
assert pyproj.Transformer.from_crs("EPSG:4167", CRS, always_xy=True).transform(174.0, -41.0) == east
assert pyproj.datadir.get_data_dir() == data
import fiona, pyogrio
assert fiona.__gdal_version__ and pyogrio.__gdal_version__
print(sorted(key for key in {{*before, *os.environ}} if before.get(key) != os.environ.get(key)))
"""


@pytest.mark.parametrize("order", [("fiona", "pyogrio"), ("pyogrio", "fiona"), ("pyproj", "fiona"), ("pyproj", "os")])
def test_two_gdals_and_three_projs_live_together(tmp_path: Path, order: tuple[str, str]) -> None:
    """In either order of import; the only environment that changes is where downloads find their certificates."""
    script = BOTH.format(first=order[0], second=order[1], path=SEARCH)
    environment = {key: value for key, value in os.environ.items() if "CA_BUNDLE" not in key}
    run = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)], env=environment, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    changed: Any = eval(run.stdout)
    assert set(changed) <= {"GDAL_CURL_CA_BUNDLE", "PROJ_CURL_CA_BUNDLE"}
    assert "Warning" not in run.stderr
