"""Databases of somebody else's: what they define is read within bounds, or refused in words; nothing else happens."""

import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from every import every
from packages_made import point_z, stored_package

from pipeline.control.table_source import read_source
from pipeline.files import guarded_database
from pipeline.files.geopackages import for_gdal, opened
from pipeline.issue.geopackage.recount import NotReadable, recount_package
from pipeline.job.model import Columns, Points
from pipeline.problems import Problems
from pipeline.read.findings import Unusable
from pipeline.read.geopackage_layers import batches, columns_of, layers_of, look_into

POINTS = Points(files=["*.gpkg"], columns=Columns(name="Point", time="Observed"))
ENDLESS = "WITH RECURSIVE r(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM r)"
NO_END, COMPUTED = "may be endless", "which is not supported: save the layer as a table"


@pytest.fixture(autouse=True)
def little_time(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Seconds of work that any file may take, so that the tests do not take them all."""
    monkeypatch.setattr(guarded_database, "_SECONDS", 0.3)
    monkeypatch.setattr(guarded_database, "_STEPS", 10_000_000)
    yield


@pytest.fixture
def package(tmp_path: Path) -> Path:
    path = tmp_path / "rover.gpkg"
    rows = [{"Point": f"P{row}", "Observed": "2026-03-02T07:30:00Z", "Code": "KERB"} for row in range(20)]
    stored_package(path, {"Point": "TEXT", "Observed": "TEXT", "Code": "TEXT"}, rows, geometry=[point_z()] * 20)
    return path


def alter(path: Path, sql: str) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.executescript(sql)


def view(code: str = "Code", of: str = "kept") -> str:
    return f"ALTER TABLE points RENAME TO kept; CREATE VIEW points AS SELECT geom, Point, Observed, {code} FROM {of}"


def read(path: Path) -> list[str]:
    """The names of the points, read as a run reads them."""
    (layer,) = layers_of(path)
    columns_of(path, layer)
    found = look_into(path, layer, POINTS)
    return [name for raw in batches(path, POINTS, found, 1000) for name in raw.columns["Point"].to_pylist()]


HONEST = {
    "view": view(),
    "view with a choice": view(of="kept WHERE Code LIKE 'k%' AND Code GLOB 'K*'"),
    "view with functions": view(code="upper(trim(coalesce(Code, '-'))) AS Code"),
    "trigger": "CREATE TRIGGER t AFTER INSERT ON points BEGIN SELECT load_extension('x'); END",
    "index of an expression": "CREATE INDEX i ON points (hex(Code))",
    "another view": f"CREATE VIEW other AS {ENDLESS} SELECT x FROM r",
    "extensions": "CREATE VIEW gpkg_extensions AS " + ENDLESS
    + " SELECT 'points' AS table_name, NULL AS column_name, 'x' AS extension_name FROM r",
    "metadata": f"CREATE VIEW gpkg_metadata AS {ENDLESS} SELECT x AS id, 'x' AS metadata FROM r",
    "features counted": f"CREATE VIEW gpkg_ogr_contents AS {ENDLESS} SELECT 'points' AS table_name, x AS n FROM r",
    "virtual table of text": "CREATE VIRTUAL TABLE f USING fts5(a)",
    "virtual table that nobody knows": "PRAGMA writable_schema = ON; INSERT INTO sqlite_master VALUES"
    " ('table', 'odd', 'odd', 0, 'CREATE VIRTUAL TABLE odd USING VirtualText(''/etc/passwd'')')",
    "a computed column": "ALTER TABLE points ADD COLUMN double TEXT AS (Code || Code)",
}  # fmt: skip

HOSTILE = {
    "endless view": (view(of="kept, (WITH RECURSIVE r(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM r) SELECT x FROM r)"),
                     NO_END),
    "endless condition": (view(of=f"kept WHERE EXISTS ({ENDLESS} SELECT 1 FROM r WHERE x < 0)"), NO_END),
    "all with all": (view(of="(SELECT a.* FROM " + ", ".join(f"kept {name}" for name in "abcdefghij") + ")"), NO_END),
    "endless contents": (f"ALTER TABLE gpkg_contents RENAME TO c; CREATE VIEW gpkg_contents AS {ENDLESS}"
                         " SELECT c.* FROM c, r", NO_END),
    "endless systems": (f"ALTER TABLE gpkg_spatial_ref_sys RENAME TO s; CREATE VIEW gpkg_spatial_ref_sys AS {ENDLESS}"
                        " SELECT s.* FROM s, r", NO_END),
    "endless geometry columns": (f"ALTER TABLE gpkg_geometry_columns RENAME TO g; CREATE VIEW gpkg_geometry_columns AS"
                                 f" {ENDLESS} SELECT x AS table_name, 'g' AS column_name, 1 AS srs_id FROM r",
                                 NO_END),
    "load_extension": (view(code="load_extension(Code) AS Code"), COMPUTED),
    "randomblob": (view(code="hex(randomblob(500000000)) AS Code"), COMPUTED),
    "pages of the file": (view(of="kept, dbstat"), COMPUTED),
    "zeroblob": ("ALTER TABLE points ADD COLUMN big BLOB AS (zeroblob(900000000))", "larger than 32 megabytes"),
    "much text": ("ALTER TABLE points ADD COLUMN big TEXT AS (printf('%.*c', 5000000, 'x'))", "much more than its"),
    "much text of a view": (view(code="printf('%.*c', 5000000, 'x') AS Code"), "much more than its file"),
    "virtual layer": ("PRAGMA writable_schema = ON; UPDATE sqlite_master SET rootpage = 0, sql ="
                      " 'CREATE VIRTUAL TABLE points USING VirtualText(''/etc/passwd'')' WHERE name = 'points'",
                      "no such module"),
}  # fmt: skip


@pytest.mark.parametrize("name", HONEST)
def test_what_is_honest_or_not_asked_for_is_read(package: Path, name: str) -> None:
    alter(package, HONEST[name])
    assert read(package) == [f"P{row}" for row in range(20)]


@pytest.mark.parametrize("name", HOSTILE)
def test_what_costs_without_end_or_does_more_is_refused_in_words(package: Path, name: str) -> None:
    sql, said = HOSTILE[name]
    alter(package, sql)
    begun = time.process_time()
    with pytest.raises(Unusable) as refused:
        read(package)
    assert said in refused.value.what and time.process_time() - begun < 5


@pytest.mark.parametrize("name", HOSTILE)
def test_a_register_is_guarded_as_an_export_is(package: Path, name: str) -> None:
    """Of a register only its own columns are read, so that what others cost is nobody's concern."""
    alter(package, HOSTILE[name][0])
    problems = Problems()
    begun = time.process_time()
    read_source(package, "register.gpkg", ("easting", "northing", "height"), problems)
    assert time.process_time() - begun < 5
    own = "big" in HOSTILE[name][0] or "AS Code" in HOSTILE[name][0]
    assert own or [one for one in problems.found if "cannot be read" in one.what]


@pytest.mark.parametrize("name", [*HOSTILE, "extensions", "metadata", "features counted"])
def test_gdal_is_given_nothing_that_is_computed(package: Path, name: str) -> None:
    """It has no bounds of its own: an issue whose file was altered so is not opened with it."""
    alter(package, HOSTILE[name][0] if name in HOSTILE else HONEST[name])
    with pytest.raises(NotReadable):
        recount_package(package)


def test_nothing_is_written_attached_or_set(package: Path, tmp_path: Path) -> None:
    before = package.read_bytes()
    with closing(opened(package)) as file:
        for sql in (
            "CREATE TABLE x (a)", "DELETE FROM points", "PRAGMA writable_schema = ON", "PRAGMA journal_mode = WAL",
            f"ATTACH '{tmp_path / 'other.db'}' AS other", "VACUUM INTO '/tmp/x'", "SELECT load_extension('x')",
        ):  # fmt: skip
            with pytest.raises(sqlite3.DatabaseError):
                file.execute(sql)
    assert package.read_bytes() == before and sorted(tmp_path.iterdir()) == [package]


def test_a_table_whose_pages_are_one_page_many_times_over_comes_to_an_end(tmp_path: Path) -> None:
    """Inner pages that name one page again and again: some kilobytes that hold more rows than anybody can read.

    SQLite's file format, section 1.6: an inner page of a table has the number of its last child at 8, and cells of a
    child's number and a key.
    """
    path = tmp_path / "deep.gpkg"
    rows = [{"Point": f"P{row}" * 20} for row in range(2000)]
    stored_package(path, {"Point": "TEXT"}, rows)
    data = bytearray(path.read_bytes())
    size = int.from_bytes(data[16:18], "big")
    with closing(sqlite3.connect(path)) as file:
        (root,) = file.execute("SELECT rootpage FROM sqlite_master WHERE name = 'points'").fetchone()
    at = (root - 1) * size
    cells = int.from_bytes(data[at + 3 : at + 5], "big")
    assert data[at] == 5 and cells > 10
    leaf = data[at + 8 : at + 12]
    inner = [len(data) // size + 1 + level for level in range(6)]
    for level, number in every(enumerate(inner)):
        page = bytearray(data[at : at + size])
        child = leaf if level == 0 else inner[level - 1].to_bytes(4, "big")
        page[8:12] = child
        for cell in range(cells):
            place = int.from_bytes(page[12 + 2 * cell : 14 + 2 * cell], "big")
            page[place : place + 4] = child
        data += page
        assert len(data) == number * size
    data[at : at + size] = data[(inner[-1] - 1) * size : inner[-1] * size]
    data[28:32] = (len(data) // size).to_bytes(4, "big")
    path.write_bytes(data)
    begun = time.process_time()
    with pytest.raises(Unusable, match=r"may be endless|malformed"):
        look_into(path, "points", POINTS)
    assert time.process_time() - begun < 20


@pytest.mark.parametrize(
    "log", [b"", b"\x37\x7f\x06\x82" + bytes(60), bytes(100_000), b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" * 9]
)
def test_a_log_beside_a_file_is_nobodys_content(package: Path, log: bytes) -> None:
    """An export with changes that another program has not put in yet is refused; an empty log says nothing."""
    package.with_name("rover.gpkg-wal").write_bytes(log)
    if not log:
        assert len(read(package)) == 20
        return
    with pytest.raises(Unusable, match="another program has unsaved changes in"):
        read(package)


def test_a_page_that_was_flipped_ends_in_words_or_in_rows(package: Path, tmp_path: Path) -> None:
    """Each page of the file in turn, all its bits: nothing but `Unusable` comes of it."""
    data, copy = package.read_bytes(), tmp_path / "flipped.gpkg"
    size = int.from_bytes(data[16:18], "big")
    for page in range(0, len(data), size):
        copy.write_bytes(data[:page] + bytes(byte ^ 0xFF for byte in data[page : page + size]) + data[page + size :])
        try:
            assert len(read(copy)) <= 20
        except (Unusable, ValueError) as refused:
            assert isinstance(refused, Unusable) or "unpack" in str(refused)
    shutil.rmtree(tmp_path, ignore_errors=True)


def test_a_plain_file_is_given_to_gdal(package: Path) -> None:
    with closing(opened(package)) as file:
        assert for_gdal(file)
