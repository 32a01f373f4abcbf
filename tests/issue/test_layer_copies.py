"""Layers that are laid like another one are what GDAL makes of them: definitions, tables beside, index and triggers."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import fiona
import pyarrow as pa
import pyogrio
import pytest
from every import every
from format_layers import CARRIED, DATA_TO, checks, points

from pipeline.issue.geopackage import readback
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_copies import _PIECE
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import CHECK_MARKS, POINT_Z, points_schema
from pipeline.issue.geopackage.readback import read_back
from pipeline.issue.geopackage.write import GATHERED, write_geopackage
from pipeline.issue.geopackage.written_counts import Tally
from pipeline.replace import replace

#: A column called as the layer of all points; codes that hold that word, or what definitions are made of.
SCHEMA = points_schema((*CARRIED, pa.field("points", pa.string()), pa.field("rtree_points_geom", pa.string())))
NAMES = (
    "points_FENCE", "points_points", "points_geom", "points_Zäun-2", "points_漢字", "points_no_code",
    "points_feature_count_points", "points_rtree_points_geom",
)  # fmt: skip
TOLD = {"height_datum": "NZVD2016 height", "caution": "<care> & 'more'"}


def rows(count: int) -> pa.RecordBatch:
    given = points([str(row) for row in range(count)], ["C"] * count, ["bracketed"] * count)
    columns = [*given.columns[:-1], pa.array(["points"] * count), pa.array(["x"] * count), given.columns[-1]]
    return pa.RecordBatch.from_arrays(columns, schema=SCHEMA)


def written(path: Path, like: str | None, many: int = 0, names: tuple[str, ...] = NAMES) -> Path:
    """All points, occupations, and a layer of none to some of the points for each name."""
    whole = rows(max(many, len(names)))
    sources = [
        LayerSource("points", SCHEMA, [whole], "heights: NZVD2016"),
        LayerSource("check_marks", CHECK_MARKS, [checks()], "heights: NZVD2016"),
        *(LayerSource(name, SCHEMA, [whole[:row]], f"code {name}", like=like) for row, name in enumerate(names)),
    ]
    layers = write_geopackage(
        path, sources, Georeference("EPSG:2193", metadata=TOLD), DATA_TO, lineage=("What.", "How.")
    )
    read_back(path, layers)
    return path


@pytest.fixture(scope="module", params=[0, GATHERED + 1])
def both(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The same layers laid alike, and each made by GDAL; beside few points, and beside many that came before."""
    folder = tmp_path_factory.mktemp("alike")
    ours = written(folder / "made.gpkg", "points", request.param)
    (folder / "gdal").mkdir()
    return ours, written(folder / "gdal" / "made.gpkg", None, request.param)


def held(path: Path, query: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as file:
        return file.execute(query).fetchall()


def test_definitions_are_those_that_gdal_makes(both: tuple[Path, Path]) -> None:
    """Tables, indexes, what these are kept in, triggers: by type, name, table and text, and none besides."""
    found, wanted = (held(path, "SELECT type, name, tbl_name, sql FROM sqlite_master") for path in both)
    assert sorted(map(repr, found)) == sorted(map(repr, wanted))
    assert sum(row[0] == "trigger" for row in found) > 9 * len(NAMES)


def test_all_tables_hold_what_they_hold_by_gdal(both: tuple[Path, Path]) -> None:
    """Contents, columns, extensions, metadata, counts, styles, rows and indexes: each row, in the same order."""
    tables = held(both[1], "SELECT name FROM sqlite_master WHERE type = 'table' AND name <> 'sqlite_master'")
    for (table,) in tables:
        ours, gdal = (held(path, f'SELECT * FROM "{table}"') for path in both)
        assert ours == gdal, table
    assert {"gpkg_data_columns", "gpkg_metadata_reference", "gpkg_extensions", "layer_styles"} <= {t for (t,) in tables}


def test_the_file_is_sound_and_layers_are_found_quickly(both: tuple[Path, Path]) -> None:
    """GDAL looks for each layer's table from the beginning of all definitions: these come before those beside them."""
    assert held(both[0], "PRAGMA integrity_check") == [("ok",)] and held(both[0], "PRAGMA foreign_key_check") == []
    for name in NAMES:
        assert held(both[0], f"SELECT rtreecheck('rtree_{name}_geom')") == [("ok",)]
    names = [name for (name,) in held(both[0], "SELECT name FROM sqlite_master ORDER BY rowid")]
    first = names.index(NAMES[0])
    assert names[first : first + len(NAMES)] == list(NAMES)
    assert fiona.listlayers(both[0]) == fiona.listlayers(both[1])


def test_a_program_that_changes_a_layer_keeps_index_and_count(both: tuple[Path, Path], tmp_path: Path) -> None:
    """GDAL adds a feature, and the triggers do what the standard has them for."""
    changed, layer = shutil.copy(both[0], tmp_path / "changed.gpkg"), NAMES[3]
    (before,) = held(changed, f'SELECT count(*), max(fid) FROM "{layer}"')
    meta, table = pyogrio.read_arrow(changed, layer=layer)
    shapes = table.column(meta["geometry_name"]).to_pylist()
    one = pa.table({"name": ["new"], "geom": pa.array(shapes[:1], pa.binary())})
    pyogrio.write_arrow(one, changed, layer=layer, driver="GPKG", append=True, geometry_name="geom",
                        geometry_type="Point Z", crs="EPSG:2193")  # fmt: skip
    assert held(changed, f'SELECT count(*), max(fid) FROM "{layer}"') == [(before[0] + 1, before[1] + 1)]
    assert held(changed, f'SELECT count(*) FROM "rtree_{layer}_geom"') == [(before[0] + 1,)]
    query = f"SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = '{layer}'"
    assert held(changed, query) == [(before[0] + 1,)]
    with closing(sqlite3.connect(changed)) as file:
        file.create_function("ST_IsEmpty", 1, lambda blob: 0)
        file.execute(f'DELETE FROM "{layer}" WHERE name = ?', ("new",))
        assert file.execute(f'SELECT count(*) FROM "rtree_{layer}_geom"').fetchone() == (before[0],)


def test_more_layers_than_are_made_at_a_time(tmp_path: Path) -> None:
    """In the order given, each with its own rows; fiona, which looks at all layers of one kind by two of them."""
    names = tuple(f"points_C{number:03d}" for number in range(2 * _PIECE + 1))
    path = written(tmp_path / "made.gpkg", "points", names=names)
    assert fiona.listlayers(path) == ["points", "check_marks", *names, "layer_styles"]
    for row, name in every(enumerate(names)):
        assert held(path, f'SELECT count(*) FROM "{name}"') == [(row,)]


def test_layers_that_are_alike_are_opened_by_two_of_them(both: tuple[Path, Path]) -> None:
    """The one with most rows and the last; one that says anything else of itself, or should, is none of them."""
    names = ("points", "check_marks", *NAMES)
    expected = [
        replace(Tally(POINT_Z).written(name, "EPSG:2193", (), {}), rows=len(names) - row)
        for row, name in enumerate(names)
    ]
    with closing(sqlite3.connect(both[0])) as file:
        assert [one.name for one in readback._unlike(file, expected)] == ["points", "check_marks", NAMES[-1]]
        other = [replace(one, crs="EPSG:4326") if one.name == NAMES[1] else one for one in expected]
        assert NAMES[1] in [one.name for one in readback._unlike(file, other)]
        for statement in (
            f"UPDATE gpkg_geometry_columns SET z = 0 WHERE table_name = '{NAMES[2]}'",
            f"UPDATE gpkg_data_columns SET name = 'x' WHERE table_name = '{NAMES[2]}' AND column_name = 'code'",
            f'ALTER TABLE "{NAMES[2]}" ADD COLUMN more TEXT',
            f'DROP TRIGGER "trigger_delete_feature_count_{NAMES[2]}"',
        ):
            file.execute("BEGIN")
            file.execute(statement)
            assert NAMES[2] in [one.name for one in readback._unlike(file, expected)]
            file.execute("ROLLBACK")
