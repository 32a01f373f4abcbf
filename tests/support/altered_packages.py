"""Alterations of an issued GeoPackage that leave the rows of its layers as they are, by SQLite alone, each with a name.

What each does is plain from its statement; what `verify` is to say of it stands beside it: a part of the sentence.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

_SCHEMA = "PRAGMA writable_schema = ON; UPDATE sqlite_master SET sql = {} WHERE type = '{}' AND name = '{}'"

ALTERATIONS: dict[str, tuple[str, str]] = {
    "CRS definition": (
        "UPDATE gpkg_spatial_ref_sys SET definition = replace(definition, '173', '174') WHERE srs_id = 2193",
        "gpkg_spatial_ref_sys: the definitions of its coordinate systems changed",
    ),
    "CRS code": (
        "UPDATE gpkg_spatial_ref_sys SET organization_coordsys_id = 27200 WHERE srs_id = 2193",
        "the definitions of its coordinate systems changed",
    ),
    "srs_id of a layer": (
        "UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'points'",
        "gpkg_geometry_columns: the kind and coordinate system of its geometries changed",
    ),
    "kind of geometry": (
        "UPDATE gpkg_geometry_columns SET geometry_type_name = 'GEOMETRY' WHERE table_name = 'marks'",
        "the kind and coordinate system of its geometries changed",
    ),
    "emptied index": (
        "DELETE FROM rtree_points_geom", "the spatial index of layer points is not that of its geometries",
    ),
    "an entry of the index": (
        "UPDATE rtree_points_geom SET minx = minx + 100, maxx = maxx + 100 WHERE id = 3",
        "the spatial index of layer points is not that of its geometries",
    ),
    "a node of the index": (
        "UPDATE rtree_marks_geom_node SET data = zeroblob(length(data))",
        "the spatial index of layer marks cannot be read: database disk image is malformed",
    ),
    "no index": (
        "DROP TABLE rtree_points_geom", "table rtree_points_geom is missing",
    ),
    "added trigger": (
        "CREATE TRIGGER moved AFTER UPDATE ON points BEGIN UPDATE points SET height = 0; END",
        "trigger moved was not issued",
    ),
    "changed trigger": (
        _SCHEMA.format("replace(sql, 'NEW.', 'OLD.')", "trigger", "rtree_points_geom_update6"),
        "trigger rtree_points_geom_update6 is another one",
    ),
    "style": (
        "CREATE TABLE other_styles (id INTEGER PRIMARY KEY, styleQML TEXT)", "table other_styles was not issued",
    ),
    "unlisted table": ("CREATE TABLE notes AS SELECT 'x' AS note", "table notes was not issued"),
    "view": ("CREATE VIEW fine AS SELECT * FROM points", "view fine was not issued"),
    "index": ("CREATE INDEX by_name ON points (name)", "index by_name was not issued"),
    "type of a column": (
        _SCHEMA.format("replace(sql, '\"height\" REAL', '\"height\" TEXT')", "table", "points"),
        "points",
    ),
    "default of a column": (
        _SCHEMA.format("replace(sql, '\"code\" TEXT', '\"code\" TEXT DEFAULT ''KERB''')", "table", "points"),
        "table points is another one",
    ),
    "metadata": (
        "UPDATE gpkg_metadata SET metadata = replace(metadata, 'height', 'depth')", "gpkg_metadata: its metadata",
    ),
    "added metadata": (
        "INSERT INTO gpkg_metadata SELECT max(id) + 1, 'dataset', 'x', 'text/plain', 'x' FROM gpkg_metadata",
        "gpkg_metadata: its metadata changed",
    ),
    "extension": (
        "INSERT INTO gpkg_extensions VALUES ('points', NULL, 'x', 'x', 'read-write')", "the extensions that it names",
    ),
    "identifier": ("UPDATE gpkg_contents SET identifier = 'best' WHERE table_name = 'points'", "what it says of"),
    "description": ("UPDATE gpkg_contents SET description = 'x' WHERE table_name = 'points'", "gpkg_contents: what it"),
    "extent": ("UPDATE gpkg_contents SET min_x = 0 WHERE table_name = 'points'", "gpkg_contents: what it says"),
    "date": ("UPDATE gpkg_contents SET last_change = '2001-01-01T00:00:00.000Z'", "gpkg_contents: what it says"),
    "number of features": ("UPDATE gpkg_ogr_contents SET feature_count = 7", "the numbers of features that it names"),
    "application_id": ("PRAGMA application_id = 7", "its application_id is 7, issued was 1196444487"),
    "user_version": ("PRAGMA user_version = 7", "its user_version is 7, issued was"),
    "written again": ("VACUUM", "its pages are not those that were issued"),
    "endless view": (
        "CREATE VIEW gpkg_odd AS WITH RECURSIVE r(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM r) SELECT x FROM r;"
        " INSERT INTO gpkg_contents (table_name, data_type) VALUES ('gpkg_odd', 'attributes')",
        "view gpkg_odd was not issued",
    ),
}  # fmt: skip


def alter(package: Path, sql: str) -> None:
    """Run statements on a GeoPackage, whatever they do."""
    with closing(sqlite3.connect(package, isolation_level=None)) as file:
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            file.create_function(name, 1, lambda _: 0)
        before = package.read_bytes()
        file.executescript(sql)
    assert package.read_bytes() != before
