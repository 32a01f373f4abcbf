"""The GeoPackage against the standard (OGC 12-128r18, its abstract test suite in annex A), by SQL of our own.

Each check has the number of the requirement that it holds the file to.
"""

import re
import sqlite3
import subprocess
import sys
import warnings
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree

import fiona
import numpy as np
import pyogrio
import pytest
import shapely
from every import every
from format_layers import CARRIED, DATA_TO, checks, hostile, marks, points
from pyproj import CRS

from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import (
    CHANGES,
    CHECK_MARKS,
    HELD_BACK,
    LINE_Z,
    MARKS,
    REPEATS,
    SESSIONS,
    points_schema,
)
from pipeline.issue.geopackage.readback import read_back
from pipeline.issue.geopackage.write import write_geopackage

LAYERS = ("points", "check_marks", "repeats", "sessions", "marks", "held_back", "changes", "points_FENCE")
LINEAGE = ("What it is <now> & here.", "Read a.csv.", "Tied to control.")
SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
GMD = "{http://www.isotc211.org/2005/gmd}"


def written(path: Path, lineage: tuple[str, ...] = LINEAGE, rows: int = 1) -> Path:
    layers = [
        LayerSource("points", points_schema(CARRIED), [hostile()] * rows, "heights: NZVD2016"),
        LayerSource("check_marks", CHECK_MARKS, [checks()]),
        LayerSource("repeats", REPEATS, []),
        LayerSource("sessions", SESSIONS, []),
        LayerSource("marks", MARKS, [marks()]),
        LayerSource("held_back", HELD_BACK, []),
        LayerSource("changes", CHANGES, [], geometry_type=LINE_Z),
        LayerSource("points_FENCE", points_schema(CARRIED), [points(["a"], ["FENCE"], ["bracketed"])]),
    ]
    told = {"height_datum": "NZVD2016 height"}
    read_back(path, write_geopackage(path, layers, Georeference("EPSG:2193", metadata=told), DATA_TO, lineage=lineage))
    return path


@pytest.fixture(scope="module", params=["gathered", "streamed"])
def package(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both ways in which a GeoPackage is written: few rows appended to a blank one, many streamed by GDAL."""
    rows = 1 if request.param == "gathered" else 300
    return written(tmp_path_factory.mktemp(request.param) / "made-007.gpkg", rows=rows)


@pytest.fixture
def file(package: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"file:{package}?mode=ro", uri=True)) as database:
        yield database


def test_the_file_is_a_sound_geopackage(package: Path, file: sqlite3.Connection) -> None:
    """Requirements 1, 2, 3, 6 and 7: SQLite 3, application id GPKG and version, name, integrity, foreign keys."""
    assert package.read_bytes()[:16] == b"SQLite format 3\0" and package.suffix == ".gpkg"
    assert file.execute("PRAGMA application_id").fetchone()[0].to_bytes(4, "big") == b"GPKG"
    assert 10200 <= file.execute("PRAGMA user_version").fetchone()[0] < 10500
    assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert file.execute("PRAGMA foreign_key_check").fetchall() == []


def test_reference_systems_and_contents(file: sqlite3.Connection) -> None:
    """Requirements 10 to 15: the three records that must be there; contents name tables, systems, and a UTC time."""
    systems = {row[0]: row[1] for row in file.execute("SELECT srs_id, organization FROM gpkg_spatial_ref_sys")}
    assert systems.keys() >= {-1, 0, 4326} and systems[4326].upper() == "EPSG"
    tables = {name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")}
    for table, kind, moment, system in every(
        file.execute("SELECT table_name, data_type, last_change, srs_id FROM gpkg_contents")
    ):
        assert table in tables and kind == "features" and system in systems
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", moment)


def test_feature_tables(file: sqlite3.Connection) -> None:
    """Requirements 18 to 33: a geometry column each, its type and system, an integer key, the blob's head."""
    found = file.execute("SELECT table_name, column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns")
    rows = {row[0]: row[1:] for row in found.fetchall()}
    assert set(rows) == set(LAYERS)
    for table, (column, kind, system, z, m) in every(rows.items()):
        assert (kind, system, z, m) == ("LINESTRING" if table == "changes" else "POINT", 2193, 1, 0)
        columns = {name: (type_, key) for _, name, type_, _, _, key in file.execute(f'PRAGMA table_info("{table}")')}
        assert [name for name, (type_, key) in columns.items() if key] == ["fid"] and columns["fid"][0] == "INTEGER"
        assert columns[column][0] == kind
        for (blob,) in file.execute(f'SELECT "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL LIMIT 50'):
            assert blob[:3] == b"GP\0" and int.from_bytes(blob[4:8], "little") == 2193


def test_extents_spatial_index_and_its_triggers(file: sqlite3.Connection) -> None:
    """Requirements 75 to 77 and table 1: the box of all geometries, an entry for each, and what keeps it up to date.

    The index has single precision, rounded outwards.
    """
    triggers = {name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    for table, *extent in every(file.execute("SELECT table_name, min_x, min_y, max_x, max_y FROM gpkg_contents")):
        rows = file.execute(f'SELECT fid, geom FROM "{table}" WHERE geom IS NOT NULL ORDER BY fid').fetchall()
        index = file.execute(f'SELECT id, minx, miny, maxx, maxy FROM "rtree_{table}_geom" ORDER BY id').fetchall()
        assert [row[0] for row in index] == [fid for fid, _ in rows]
        if rows:
            boxes, found = boxes_of([blob for _, blob in rows]), np.array(index)[:, 1:]
            assert (found[:, :2] <= boxes[:, :2]).all() and (found[:, 2:] >= boxes[:, 2:]).all()
            assert np.allclose(found, boxes, rtol=2e-7, atol=0)
            assert np.allclose(extent, [*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0)], rtol=0, atol=1e-6)
        else:
            assert extent == [None] * 4
        wanted = {"insert", "delete", "update2", "update4"}  # and 1, 3 or their newer forms 5, 6, 7
        assert {f"rtree_{table}_geom_{kind}" for kind in wanted} <= triggers


def boxes_of(blobs: list[bytes]) -> np.ndarray:
    """The boxes (n, 4) min x, min y, max x, max y of points; their heads by requirement 19, all alike, and ISO WKB."""
    every = np.frombuffer(b"".join(blobs), np.uint8).reshape(len(blobs), -1)
    (head,) = np.unique(every[:, :-24], axis=0)
    flags, wkb = int(head[3]), bytes(head[-5:])
    assert bytes(head[:3]) == b"GP\0" and flags & 1 and not flags & 0b111110  # little-endian, standard, no envelope
    assert len(head) == 8 + 5 and wkb == b"\x01" + (1001).to_bytes(4, "little")
    places = np.ascontiguousarray(every[:, -24:]).view("<f8")
    assert np.isfinite(places).all()
    return np.hstack([places[:, :2], places[:, :2]])


def test_extensions_are_declared(file: sqlite3.Connection) -> None:
    """Requirements 58 to 64: every row names a table that is there, an extension in the form author_name, a scope."""
    tables = {name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    declared = file.execute("SELECT table_name, column_name, extension_name, definition, scope FROM gpkg_extensions")
    found = set()
    for table, _, name, definition, scope in every(declared.fetchall()):
        found.add((table, name))
        assert table in tables and re.fullmatch(r"[a-zA-Z0-9]+_[a-zA-Z0-9_]+", name) and definition
        assert scope in ("read-write", "write-only")
    for table, name in (
        ("gpkg_metadata", "gpkg_metadata"), ("gpkg_metadata_reference", "gpkg_metadata"),
        ("gpkg_data_columns", "gpkg_schema"), 
        *((layer, "gpkg_rtree_index") for layer in LAYERS),
    ):  # fmt: skip
        assert (table, name) in found
    core = re.compile(r"gpkg_|rtree_|sqlite_|layer_styles$")
    assert {name for name in tables if not core.match(name)} == set(LAYERS)


def test_columns_are_described(file: sqlite3.Connection) -> None:
    """Requirements 103 to 105: descriptions of columns that are there."""
    described = file.execute("SELECT table_name, column_name, description FROM gpkg_data_columns").fetchall()
    assert {table for table, _, _ in described} == set(LAYERS)
    for table, column, description in described:
        assert column in {row[1] for row in file.execute(f'PRAGMA table_info("{table}")')} and description


def test_metadata_and_its_references(file: sqlite3.Connection) -> None:
    """Requirements 93 to 102: known scopes, XML, references with what their scope needs, a UTC time, a file each."""
    rows = file.execute("SELECT id, md_scope, md_standard_uri, mime_type, metadata FROM gpkg_metadata").fetchall()
    texts = {row[0]: row[1:] for row in rows}
    for scope, standard, mime, text in every(texts.values()):
        assert (scope, mime) == ("dataset", "text/xml") and re.match(r"https?://", standard)
        ElementTree.fromstring(text)
    references = file.execute(
        "SELECT reference_scope, table_name, column_name, row_id_value, timestamp, md_file_id, md_parent_id"
        " FROM gpkg_metadata_reference"
    ).fetchall()
    ours = []
    for scope, table, column, row, moment, number, parent in every(references):
        assert (scope, table is None) in (("geopackage", True), ("table", False))
        assert column is None and row is None and number in texts and parent is None
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", moment)
        ours += [table] if "isotc211" in texts[number][1] else []
    assert ours == [None]


def test_provenance_stands_in_the_metadata(file: sqlite3.Connection) -> None:
    """As ISO 19139: title, date of the data, the statement and every step."""
    query = "SELECT metadata FROM gpkg_metadata WHERE md_standard_uri LIKE '%isotc211%'"
    ((text,),) = file.execute(query).fetchall()
    root = ElementTree.fromstring(text)
    assert root.tag == f"{GMD}MD_Metadata"
    said = ["".join(element.itertext()) for element in root.iter(f"{GMD}description")]
    assert said == list(LINEAGE[1:])
    assert ["".join(element.itertext()) for element in root.iter(f"{GMD}statement")] == [" ".join(LINEAGE)]
    assert ["".join(element.itertext()) for element in root.iter(f"{GMD}dateStamp")] == ["2026-03-02T03:45:06"]


def styles(file: sqlite3.Connection) -> dict[str, tuple[str, str]]:
    query = "SELECT f_table_name, styleQML, styleSLD FROM layer_styles WHERE useAsDefault = 1"
    return {name: (one, other) for name, one, other in file.execute(query)}


def test_every_layer_has_one_default_style(file: sqlite3.Connection) -> None:
    """Of its geometry column, dated by the data; both languages are XML that can be read."""
    found = styles(file)
    assert set(found) == set(LAYERS)
    rows = file.execute("SELECT DISTINCT f_geometry_column, update_time FROM layer_styles").fetchall()
    assert rows == [("geom", "2026-03-02T03:45:06.500Z")]
    for one, other in every(found.values()):
        assert ElementTree.fromstring(one).tag == "qgis"
        assert ElementTree.fromstring(other).tag == f"{SLD}StyledLayerDescriptor"


@pytest.mark.parametrize("layer", ["points", "points_FENCE"])
def test_proof_is_told_by_shape_and_by_word(file: sqlite3.Connection, layer: str) -> None:
    """In grey as well: each proof word has a shape of its own, its word in the legend, and any other word one too."""
    root = ElementTree.fromstring(styles(file)[layer][1])
    shapes = {}
    for rule in every(root.iter(f"{SLD}Rule")):
        if (shape := rule.find(f".//{SLD}WellKnownName")) is not None:
            literal, turned = rule.find(f".//{OGC}Literal"), rule.find(f".//{SLD}Rotation")
            word = literal.text if literal is not None else None
            shapes[word] = (shape.text, turned.text if turned is not None else "0")
            assert (word or "not proven") in (rule.find(f"{SLD}Name").text or "")
            assert (word is None) == (rule.find(f"{SLD}ElseFilter") is not None)
    assert set(shapes) == {"bracketed", "unclosed", "unchecked", "suspect", None}
    assert len(set(shapes.values())) == len(shapes)
    used = ElementTree.fromstring(styles(file)[layer][0])
    assert len(used.findall(".//rule")) == len(used.findall(".//symbol")) == 5


def test_a_rule_for_all_others_is_not_shadowed_by_one_for_all(file: sqlite3.Connection) -> None:
    """OGC 02-070, 11.1: an ElseFilter takes what no other rule of its FeatureTypeStyle takes; a label takes all."""
    for _, text in every(styles(file).values()):
        for one in every(ElementTree.fromstring(text).iter(f"{SLD}FeatureTypeStyle")):
            asked = [(rule.find(f"{OGC}Filter"), rule.find(f"{SLD}ElseFilter")) for rule in one.iter(f"{SLD}Rule")]
            if any(other is not None for _, other in asked):
                assert all(given is not None or other is not None for given, other in asked)
        for rule in every(ElementTree.fromstring(text).iter(f"{SLD}Rule")):
            kinds = [part.tag.removeprefix(SLD).removeprefix(OGC) for part in rule]
            order = ["Name", "Filter", "ElseFilter", "PointSymbolizer", "LineSymbolizer", "TextSymbolizer"]
            assert kinds == sorted(kinds, key=order.index) and len(kinds) == len(set(kinds))


def test_what_is_held_back_cannot_be_taken_for_a_point(file: sqlite3.Connection) -> None:
    """Crossed out, larger than any point, and saying so."""
    one, other = styles(file)["held_back"]
    held, issued = (ElementTree.fromstring(styles(file)[name][1]) for name in ("held_back", "points"))
    assert held.find(f".//{SLD}WellKnownName").text == "x" and "HELD BACK" in one and "HELD BACK" in other
    sizes = [[float(size.text) for size in root.iter(f"{SLD}Size")] for root in (held, issued)]
    assert min(sizes[0]) > max(sizes[1])


SITE = CRS("+proj=tmerc +lat_0=-43.7 +lon_0=171.85 +x_0=5000 +y_0=10000 +ellps=GRS80").to_wkt("WKT2_2019")
#: In feet, to the south and west, of a site's own.
GRIDS = {"feet": "EPSG:6455", "south": "EPSG:2053", "site": SITE}


@pytest.fixture(scope="module", params=["all", "nothing", *GRIDS])
def any_package(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A package with every layer, one without a row, and one on each odd grid."""
    path = tmp_path_factory.mktemp(request.param) / "made-007.gpkg"
    if request.param == "all":
        return written(path)
    rows = [] if request.param == "nothing" else [points(["a"], ["FENCE"], ["bracketed"])]
    layers = [LayerSource("points", points_schema(CARRIED), rows), LayerSource("marks", MARKS, [])]
    within = Georeference(GRIDS.get(request.param, "EPSG:2193"))
    write_geopackage(path, layers, within, DATA_TO, lineage=LINEAGE)
    return path


def test_every_reference_system_is_defined(any_package: Path) -> None:
    """Requirements 10 to 12: also one that no registry has; what layers are in is the grid that was given."""
    with closing(sqlite3.connect(f"file:{any_package}?mode=ro", uri=True)) as file:
        rows = file.execute(
            "SELECT DISTINCT s.srs_name, s.organization, s.organization_coordsys_id, s.definition"
            " FROM gpkg_contents c JOIN gpkg_spatial_ref_sys s USING (srs_id)"
        ).fetchall()
    ((name, organization, number, definition),) = rows
    assert name and organization and number is not None
    given = GRIDS.get(any_package.parent.name.rstrip("0123456789"), "EPSG:2193")
    assert CRS(definition).axis_info[0].unit_name == CRS(given).axis_info[0].unit_name
    assert (f"{organization.upper()}:{number}" == given) == given.startswith("EPSG")


#: GDAL's checker of GeoPackages, a script without needs of its own: of its utilities (PyPI: gdal-utils), or Debian's.
PLACES = [Path(name) / "osgeo_utils" / "samples" for name in (*sys.path, "/usr/lib/python3/dist-packages")]
VALIDATOR = next((path for place in PLACES if (path := place / "validate_gpkg.py").is_file()), None)


def _told(validator: Path, package: Path) -> tuple[int, str, str]:
    said = subprocess.run(
        [sys.executable, validator, "-k", "--extra", package], capture_output=True, text=True, check=False
    )
    return said.returncode, said.stdout, said.stderr


@pytest.fixture(scope="module")
def validator(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The checker, if it is as new as the standard's version that our GDAL writes: it finds nothing in GDAL's own."""
    if VALIDATOR is None:
        pytest.skip("GDAL's validate_gpkg.py is not here: PyPI's gdal-utils has it")
    plain = tmp_path_factory.mktemp("plain") / "plain.gpkg"
    here = np.array([shapely.Point(0.0, 0.0).wkb], object)
    pyogrio.raw.write(plain, here, [np.array([1])], ["n"], driver="GPKG", geometry_type="Point", crs="EPSG:2193")
    if _told(VALIDATOR, plain)[0]:
        pytest.skip(
            "GDAL's validate_gpkg.py here is older than the GDAL that writes: PyPI's gdal-utils has a newer one"
        )
    return VALIDATOR


def test_an_independent_validator_finds_nothing(validator: Path, any_package: Path) -> None:
    assert _told(validator, any_package) == (0, "", "")


def test_a_file_without_styles_has_no_table_of_them(tmp_path: Path) -> None:
    """Such as marks handed out: readers that are given no layer would take it for a second one, and warn."""
    path = tmp_path / "marks.gpkg"
    write_geopackage(path, [LayerSource("control", MARKS, [marks()])], Georeference("EPSG:2193"), DATA_TO)
    assert [name for name, _ in pyogrio.list_layers(path)] == ["control"]


def test_programs_open_it_without_a_warning(package: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert set(LAYERS) <= {name for name, _ in pyogrio.list_layers(package)}
        for layer in LAYERS:
            assert pyogrio.read_info(package, layer=layer)["crs"] == "EPSG:2193"
        with fiona.open(package, layer="layer_styles") as source:
            assert len(source) == len(LAYERS)


def test_the_same_gives_the_same_bytes_and_written_into_it_no_row_twice(tmp_path: Path) -> None:
    one, other = (written(tmp_path / name / "made-007.gpkg") for name in ("a", "b") if not (tmp_path / name).mkdir())
    assert one.read_bytes() == other.read_bytes()
    layers = [LayerSource("marks", MARKS, [marks()])]
    write_geopackage(one, layers, Georeference("EPSG:2193"), DATA_TO, lineage=("Another.", "Step."), into=True)
    with closing(sqlite3.connect(one)) as file:
        count = file.execute("SELECT count(*), count(DISTINCT f_table_name) FROM layer_styles").fetchone()
        texts = file.execute("SELECT metadata FROM gpkg_metadata WHERE md_standard_uri LIKE '%isotc%'").fetchall()
        assert count == (len(LAYERS), len(LAYERS)) and len(texts) == 1 and "Another." in texts[0][0]
        assert file.execute("PRAGMA foreign_key_check").fetchall() == []
