"""The GeoPackage: what other readers find in it, that it repeats, and what a failure in its making leaves."""

import os
import resource
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import pyarrow as pa
import pyogrio
import pytest
from every import every
from issue_layers import CARRIED, CRS, DATA_TO, points, positions, source
from warm import Warm

from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import (
    CHANGES,
    CHECK_MARKS,
    HELD_BACK,
    LINE_Z,
    SESSIONS,
    points_schema,
    wkb_lines,
    wkb_points,
)
from pipeline.issue.geopackage.readback import ReadBackError, read_back
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.geopackage.write_errors import NotWritten
from pipeline.replace import replace

#: For scripts run on their own: the checkout and the tests' shared modules.
SEARCH = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "support")]

Make = Callable[..., Any]


def one_row(name: str, schema: pa.Schema) -> LayerSource:
    """A layer with one row: text, 1.5, 3, true, a known moment, and a point (a line in ``changes``)."""
    place = np.array([[1_600_000.25, 5_400_000.5, 12.125]])
    values: dict[str, Any] = {
        "string": "text",
        "double": 1.5,
        "int64": 3,
        "bool": True,
        "timestamp[ms, tz=UTC]": datetime.fromisoformat("2026-03-02T03:45:01.250Z"),
    }
    columns = [pa.array([values[str(field.type)]], field.type) for field in schema if field.name != "geometry"]
    geometry = wkb_lines(place, place + 1) if name == "changes" else wkb_points(*place.T)
    batch = pa.record_batch([*columns, geometry], schema=schema)
    return LayerSource(name, schema, [batch], geometry_type=LINE_Z if name == "changes" else "Point Z")


ALL = {
    "points": points_schema(CARRIED),
    "check_marks": CHECK_MARKS,
    "sessions": SESSIONS,
    "held_back": HELD_BACK,
    "changes": CHANGES,
}
STORED = {
    "string": "TEXT",
    "double": "REAL",
    "int64": "INTEGER",
    "bool": "BOOLEAN",
    "timestamp[ms, tz=UTC]": "DATETIME",
}


def query(path: Path, sql: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)) as file:
        return file.execute(sql).fetchall()


def test_sqlite_finds_the_layers_in_the_tables_of_the_standard(tmp_path: Path) -> None:
    """Layers in order, dated by the data, Z mandatory, the grid under its own code, an R-tree for each, types kept."""
    path = tmp_path / "a.gpkg"
    written = write_geopackage(path, [one_row(*item) for item in ALL.items()], Georeference(CRS), DATA_TO)
    read_back(path, written)
    assert query(path, "SELECT table_name, data_type, last_change, srs_id FROM gpkg_contents") == [
        (name, "features", "2026-03-02T03:45:00.000Z", 2193) for name in ALL
    ]
    assert query(path, "SELECT * FROM gpkg_geometry_columns") == [
        (name, "geom", "LINESTRING" if name == "changes" else "POINT", 2193, 1, 0) for name in ALL
    ]
    assert ("EPSG", 2193, 2193) in query(
        path, "SELECT organization, organization_coordsys_id, srs_id FROM gpkg_spatial_ref_sys"
    )
    indexed = query(path, "SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'")
    assert {name for (name,) in indexed} == set(ALL)
    for name, schema in ALL.items():
        columns = [(row[1], row[2]) for row in query(path, f"PRAGMA table_info({name})")]
        shape = "LINESTRING" if name == "changes" else "POINT"
        assert columns[:2] == [("fid", "INTEGER"), ("geom", shape)]
        assert columns[2:] == [(field.name, STORED[str(field.type)]) for field in schema if field.name != "geometry"]


def test_fiona_reads_what_was_written(tmp_path: Path, make: Make) -> None:
    """Coordinates, values, times and missing positions, through another build of GDAL."""
    path = tmp_path / "a.gpkg"
    make(path, points=200)
    east, north, height = positions(np.arange(200))
    with fiona.open(path, layer="points") as layer:
        assert layer.schema["geometry"] == "3D Point"
        assert layer.crs.to_epsg() == 2193
        rows = list(layer)
    assert len(rows) == 200
    for row, feature in every(enumerate(rows)):
        if np.isnan(height[row]):
            assert feature.geometry is None
            assert feature.properties["height"] is None
        else:
            assert feature.geometry.coordinates == (east[row], north[row], height[row])
            assert feature.properties["height"] == height[row]
        assert feature.properties["name"] == f"{row:05d}"
        assert feature.properties["source_row"] == row + 2
        assert feature.properties["Depth"] == row / 4
    (stored,) = query(path, "SELECT observed FROM points WHERE fid = 3")[0]
    assert datetime.fromisoformat(stored).timestamp() == 1_772_400_002.0
    assert stored.endswith("Z")


def test_the_height_datum_stands_in_file_and_layers(tmp_path: Path) -> None:
    """Metadata come back letter for letter from the file and from each layer; the description names the datum."""
    path = tmp_path / "a.gpkg"
    metadata = {"height_datum": "NZVD2016 height", "compound": 'COMPOUNDCRS["a & b",\n  <c>]', "caution": "Vorsicht: ä"}
    write_geopackage(path, [source(5), source(5, "held_back")], Georeference(CRS, metadata=metadata), DATA_TO)
    for layer in ("points", "held_back"):
        with fiona.open(path, layer=layer) as opened:
            assert opened.tags() == {**metadata, "DESCRIPTION": "heights: NZVD2016"}
    assert pyogrio.read_info(path, layer="points")["dataset_metadata"] == metadata
    assert query(path, "SELECT DISTINCT description FROM gpkg_contents") == [("heights: NZVD2016",)]


def test_an_empty_layer_has_its_columns(tmp_path: Path) -> None:
    """No row is held back: the layer is there all the same."""
    path = tmp_path / "a.gpkg"
    empty = LayerSource("held_back", HELD_BACK, [])
    read_back(path, write_geopackage(path, [source(5), empty], Georeference(CRS), DATA_TO))
    assert query(path, "SELECT count(*) FROM held_back") == [(0,)]


def test_positions_missing_throughout(tmp_path: Path) -> None:
    """A layer all of whose geometries are null reads back as such."""
    path = tmp_path / "a.gpkg"
    nowhere = [pa.record_batch([pa.nulls(3, field.type) for field in HELD_BACK], schema=HELD_BACK)]
    read_back(path, write_geopackage(path, [LayerSource("held_back", HELD_BACK, nowhere)], Georeference(CRS), DATA_TO))


def test_a_grid_without_a_code_is_written_by_its_definition(tmp_path: Path) -> None:
    """WKT of a site grid: fiona reads the same CRS."""
    wkt = (
        'PROJCS["site",GEOGCS["g",DATUM["d",SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],'
        'UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",-41],'
        'PARAMETER["central_meridian",174],PARAMETER["scale_factor",1],PARAMETER["false_easting",1000],'
        'PARAMETER["false_northing",2000],UNIT["metre",1]]'
    )
    path = tmp_path / "a.gpkg"
    read_back(path, write_geopackage(path, [source(5)], Georeference(wkt), DATA_TO))
    assert query(path, "SELECT definition LIKE '%central_meridian%174%' FROM gpkg_spatial_ref_sys WHERE srs_id > 9999")


WRITE = """
import sys
from pathlib import Path
from datetime import datetime
import time
sys.path[:0] = {path!r}
from issue_layers import source, CRS, DATA_TO
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.write import write_geopackage
layers = [source(5000), source(7, "held_back")]
write_geopackage(Path(sys.argv[1]), layers, Georeference(CRS, metadata={{"a": "b"}}), DATA_TO)
"""


def test_two_writes_are_the_same_bytes(tmp_path: Path, make: Make) -> None:
    """In one process a second apart, in batches of another size, and in another process."""
    first, second, third = (tmp_path / name for name in ("a.gpkg", "b.gpkg", "c.gpkg"))
    within = Georeference(CRS, metadata={"a": "b"})
    write_geopackage(first, [source(5000), source(7, "held_back")], within, DATA_TO)
    time.sleep(1.1)  # SQLite's and GDAL's clocks count seconds
    write_geopackage(second, [source(5000, size=333), source(7, "held_back")], within, DATA_TO)
    script = WRITE.format(path=SEARCH)
    subprocess.run([sys.executable, "-c", script, str(third)], check=True, env={**os.environ, "TZ": "Asia/Tokyo"})
    assert first.read_bytes() == second.read_bytes()
    assert first.read_bytes() == third.read_bytes()


def test_another_day_the_bytes_are_the_same(tmp_path: Path, make: Make) -> None:
    """The file bears the data's date alone: no other stands in any of its tables."""
    path = tmp_path / "a.gpkg"
    make(path, points=50)
    dates = query(path, "SELECT last_change FROM gpkg_contents UNION SELECT timestamp FROM gpkg_metadata_reference")
    assert dates == [("2026-03-02T03:45:00.000Z",)]
    today = datetime.now().strftime("%Y-%m-%d").encode()
    assert today == b"2026-03-02" or today not in path.read_bytes()


def test_gdal_options_are_put_back(tmp_path: Path, make: Make) -> None:
    """Also after a failure: the process may write other files with today's date."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2020-01-01T00:00:00Z"})
    try:
        make(tmp_path / "a.gpkg", points=5)
        with pytest.raises(FileExistsError):
            make(tmp_path / "a.gpkg", points=5)
        with pytest.raises(ValueError, match="broken"):
            write_geopackage(tmp_path / "b.gpkg", [broken(5)], Georeference(CRS), DATA_TO)
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "2020-01-01T00:00:00Z"
        assert pyogrio.get_gdal_config_option("OGR_SQLITE_JOURNAL") is None
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def test_nothing_is_left_beside(tmp_path: Path, make: Make) -> None:
    """No journal, no write-ahead log, no file of a spatial index in the making."""
    make(tmp_path / "a.gpkg", points=3000, held_back=5)
    assert [path.name for path in tmp_path.iterdir()] == ["a.gpkg"]


def broken(after: int, cause: Exception | None = None) -> LayerSource:
    def batches() -> Iterator[pa.RecordBatch]:
        yield from points(after * 10, 10)
        raise ValueError("broken") from cause

    return LayerSource("points", points_schema(CARRIED), batches())


@pytest.mark.parametrize("after", [0, 1, 5])
def test_a_failure_in_the_batches_is_raised_as_itself(tmp_path: Path, after: int) -> None:
    """With its own cause, at once or midway, and no thread is left."""
    cause = KeyError("why")
    with pytest.raises(ValueError, match="broken") as caught:
        write_geopackage(tmp_path / "a.gpkg", [broken(after, cause)], Georeference(CRS), DATA_TO)
    assert caught.value.__cause__ is cause
    assert not [thread for thread in threading.enumerate() if thread.name == "tiedown-batches"]


@pytest.mark.parametrize("interruption", [KeyboardInterrupt, SystemExit, MemoryError])
def test_an_interruption_passes_through(tmp_path: Path, interruption: type[BaseException]) -> None:
    """Ctrl-C in the midst of the batches is no error of the GeoPackage's."""

    def batches() -> Iterator[pa.RecordBatch]:
        yield from points(100)
        raise interruption

    with pytest.raises(interruption):
        write_geopackage(
            tmp_path / "a.gpkg", [LayerSource("p", points_schema(CARRIED), batches())], Georeference(CRS), DATA_TO
        )


def test_a_batch_of_other_columns_is_refused(tmp_path: Path) -> None:
    """Not written into whatever columns stand at its places."""
    other = replace(source(5), batches=iter([pa.record_batch({"geometry": pa.nulls(1, pa.binary())})]))
    with pytest.raises(TypeError, match="columns"):
        write_geopackage(tmp_path / "a.gpkg", [other], Georeference(CRS), DATA_TO)


@pytest.mark.parametrize("kind", [pa.null(), pa.string_view(), pa.duration("s"), pa.timestamp("ms", "Asia/Tokyo")])
def test_a_type_that_a_geopackage_cannot_hold_is_refused(tmp_path: Path, kind: pa.DataType) -> None:
    """By the column's name, where GDAL would fail without it or write another time."""
    schema = pa.schema([("bad", kind), ("geometry", pa.binary())])
    with pytest.raises(TypeError, match="bad"):
        write_geopackage(tmp_path / "a.gpkg", [LayerSource("p", schema, [])], Georeference(CRS), DATA_TO)


def test_a_writer_that_fails_lets_the_producer_go(tmp_path: Path) -> None:
    """The folder is missing: an error instead of a wait, and the batches' own clean-up has run."""
    closed = threading.Event()

    def batches() -> Iterator[pa.RecordBatch]:
        try:
            yield from points(50_000, 100)
        finally:
            closed.set()

    layer = LayerSource("points", points_schema(CARRIED), batches())
    with pytest.raises(NotWritten, match="points"):
        write_geopackage(tmp_path / "none" / "a.gpkg", [layer], Georeference(CRS), DATA_TO)
    assert closed.is_set()


@pytest.mark.parametrize("limit", [5_000, 100_000, 300_000, 1_000_000, 2_000_000])
def test_a_full_disk_is_an_error(tmp_path: Path, limit: int) -> None:
    """At whatever size the file may grow no further: never a file that is taken for whole."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
    try:
        with pytest.raises(NotWritten):
            write_geopackage(tmp_path / "a.gpkg", [source(20_000)], Georeference(CRS), DATA_TO)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("short_by", [1, 4096, 12_288])
def test_a_disk_that_fills_at_the_last_page_is_found(tmp_path: Path, make: Make, short_by: int) -> None:
    """GDAL may keep silent about what it could not write on closing the file; reading back does not."""
    make(tmp_path / "whole.gpkg", points=3000, held_back=30)
    size = (tmp_path / "whole.gpkg").stat().st_size
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size - short_by, before[1]))
    try:
        with pytest.raises((NotWritten, ReadBackError)):
            read_back(tmp_path / "a.gpkg", make(tmp_path / "a.gpkg", points=3000, held_back=30))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


STREAM = """
import resource, sys
sys.path[:0] = {path!r}
from pathlib import Path
import pyarrow as pa
from issue_layers import source, CRS, DATA_TO
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.geopackage.readback import read_back
from pipeline.replace import replace
def wide(layer):
    at = layer.schema.get_field_index("Remark")
    field, texts = layer.schema.field(at), pa.array(["x" * 2_000] * 1_000)
    return replace(layer, batches=(batch.set_column(at, field, texts) for batch in layer.batches))
def run(name, rows):
    path = Path(sys.argv[1], name)
    read_back(path, write_geopackage(path, [wide(source(rows))], Georeference(CRS), DATA_TO))
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
small, large = run("a.gpkg", 20_000), run("b.gpkg", 35_000)
print(large - small)
"""


def test_memory_does_not_hold_the_rows(tmp_path: Path) -> None:
    """In batches of 1,000 rows, 15,000 rows more of many, 30 MB of text, in a process forked from a small one.

    A process that is started begins to count at the size of the one that starts it.
    """
    done = Warm(tmp_path, code=STREAM.format(path=SEARCH)).end()
    assert done.returncode == 0, done.stderr.decode()
    assert float(done.stdout) < 15  # half of what a copy of the rows takes; the allocator keeps more on a busy machine
