"""Small GeoJSON files and GeoPackages that would cost much: each ends soon, in words or in rows that are held back.

What larger ones took, run by the command, stands in `README.md` beside this.
"""

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from exports_made import block, find, read
from packages_made import stored_package

from pipeline.control.table_source import read_source
from pipeline.files.features import NameTwice, unique_members
from pipeline.problems import Problems

#: CPU seconds that any of them may take; the slowest takes one where nothing else runs.
LONGEST = 10.0
TIME = "2026-03-02T07:30:00Z"
MAPPED = {"name": "name", "time": "time"}
MANY = 60_000


def feature(properties: str = "", coordinates: str = "[174.7,-36.8,12.5]", deep: int = 0) -> str:
    """A feature as it is written: ``properties`` after the name and the time, its point ``deep`` in collections."""
    geometry = f'{{"type":"Point","coordinates":{coordinates}}}'
    geometry = '{"type":"GeometryCollection","geometries":[' * deep + geometry + "]}" * deep
    return f'{{"type":"Feature","properties":{{"name":"P","time":"{TIME}"{properties}}},"geometry":{geometry}}}'


def collection(*features: str, members: str = "") -> str:
    return f'{{"type":"FeatureCollection"{members},"features":[{",".join(features)}]}}'


def deep(opening: str, closing: str = "", depth: int = 100_000) -> str:
    return opening * depth + "1" + closing * depth


_NAMES = [f',"p{n}":1' for n in range(MANY)]
REFUSED: dict[str, tuple[Callable[[], str], str]] = {
    "properties of a feature": (lambda: collection(feature("".join(_NAMES))), "60,002 properties; the limit is 1,000"),
    "a property for every feature": (lambda: collection(*map(feature, _NAMES)), "1,001 properties; the limit is 1,000"),
    "properties that few have": (
        lambda: collection(feature("".join(_NAMES[:900])), *[feature()] * 30_000), "nearly all of them empty"),
    "nested arrays": (lambda: collection(feature(f',"x":{deep("[", "]")}')), "nested too deeply"),
    "nested objects": (lambda: collection(feature(',"x":' + deep('{"a":', "}"))), "nested too deeply"),
    "nested coordinates": (lambda: collection(feature(coordinates=deep("[", "]"))), "nested too deeply"),
    "nesting at the top": (lambda: collection(feature(), members=f',"x":{deep("[", "]")}'), "nested too deeply"),
    "nulls for features": (lambda: collection(*["null"] * 300_000), "300,000 are not features"),
    "a number of a million digits": (lambda: collection(feature(f',"x":{"1" * 1_000_000}')), "fewer digits"),
    "a long text": (lambda: collection(feature(f',"x":"{"x" * 20_000_000}"')), "at most 8,388,608 characters"),
    "a name twice": (lambda: collection(feature(',"x":1' * MANY)), '"x" occurs twice'),
    "a name twice at last": (lambda: collection(feature("".join(_NAMES) + ',"p59999":1')), '"p59999" occurs twice'),
    "features of nothing": (lambda: collection(*["{}"] * 200_000), "200,000 are not features"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_geojson_that_would_cost_much_is_refused_in_words(name: str, tmp_path: Path) -> None:
    make, words = REFUSED[name]
    (tmp_path / "a.geojson").write_text(make(), encoding="utf-8")
    began = time.process_time()
    _, problems = find(tmp_path, block("a.geojson", MAPPED))
    assert any(words in problem for problem in problems), problems
    assert time.process_time() - began < LONGEST


HELD: dict[str, str] = {
    "nulls for coordinates": feature(coordinates="[" + "null," * 300_000 + "1]"),
    "a coordinate beyond all measure": feature(coordinates="[1e999999999,-36.8,12.5]"),
    "a coordinate of thousands of digits": feature(coordinates=f"[{'1' * 4_000},-36.8,12.5]"),
    "a point within many collections": feature(deep=300),
    "an uncertainty of a million digits": feature(f',"s":"{"1" * 1_000_000}x"'),
}  # fmt: skip


@pytest.mark.parametrize("name", HELD)
def test_a_feature_that_makes_no_reading_is_held_back(name: str, tmp_path: Path) -> None:
    (tmp_path / "a.geojson").write_text(collection(feature(',"s":0.01'), HELD[name]), encoding="utf-8")
    began = time.process_time()
    held = read(tmp_path, block("a.geojson", MAPPED | {"sigma_up": "s"}))["held"].to_pylist()
    assert held[0] == 0 and held[1] != 0
    assert time.process_time() - began < LONGEST


def test_a_name_that_comes_twice_is_found_among_many() -> None:
    pairs: list[tuple[str, Any]] = [(f"k{n}", n) for n in range(200_000)]
    began = time.process_time()
    with pytest.raises(NameTwice, match="k199999"):
        unique_members([*pairs, pairs[-1]])
    assert time.process_time() - began < LONGEST


REGISTER: dict[str, tuple[Callable[[], str], str]] = {
    "attributes of a mark": (lambda: collection(feature("".join(_NAMES))), "60,002 attributes; the maximum is 1,000"),
    "lists": (lambda: collection(members=f',"x":[{"[]," * 3_500_000}[]]'), "more than 6,000,000 values"),
}


@pytest.mark.parametrize("name", REGISTER)
def test_a_register_that_would_cost_much_is_refused_in_words(name: str, tmp_path: Path) -> None:
    make, words = REGISTER[name]
    (tmp_path / "a.geojson").write_text(make(), encoding="utf-8")
    problems = Problems()
    began = time.process_time()
    assert read_source(tmp_path / "a.geojson", "a", ("easting", "northing", "height"), problems) == (None, None)
    assert words in problems.found[0].what
    assert time.process_time() - began < LONGEST


def stored(folder: Path, columns: int) -> list[str]:
    """The problems of a layer with so many columns."""
    kinds = {"name": "TEXT", "time": "DATETIME"} | {f"c{number}": "TEXT" for number in range(columns - 2)}
    stored_package(folder / "a.gpkg", kinds, [{"name": "P", "time": TIME}])
    return find(folder, block("a.gpkg", MAPPED))[1]


def test_a_layer_may_have_so_many_columns_and_no_more(tmp_path: Path) -> None:
    """SQLite takes expressions 1,000 deep (sqlite.org/limits.html), which must not be less than what README says."""
    assert stored(tmp_path, 1_000) == []
    assert read(tmp_path, block("a.gpkg", MAPPED)).num_rows == 1
    assert "1,001 columns; the limit is 1,000" in stored(tmp_path, 1_001)[0]


def test_columns_that_no_row_of_a_layer_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Columns that were added when the rows were there take no byte of the file (sqlite.org/lang_altertable.html)."""
    stored_package(tmp_path / "a.gpkg", {"name": "TEXT", "time": "DATETIME"}, [{"name": "P", "time": TIME}] * 2_000)
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as file:
        file.execute("BEGIN")
        for number in range(200):
            file.execute(f"ALTER TABLE points ADD COLUMN c{number} TEXT")
        file.commit()
    assert find(tmp_path, block("a.gpkg", MAPPED))[1] == []
    monkeypatch.setattr("pipeline.read.findings.CELLS", 0)
    assert "2,000 rows with 202 columns, nearly all" in find(tmp_path, block("a.gpkg", MAPPED))[1][0]


@pytest.mark.filterwarnings("ignore:Table/view:RuntimeWarning")
def test_a_layer_among_thousands_is_found(tmp_path: Path) -> None:
    assert stored(tmp_path, 2) == []
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as file:
        rows = [(f"l{number}",) for number in range(5_000)]
        file.executemany("INSERT INTO gpkg_contents (table_name, data_type) VALUES (?, 'attributes')", rows)
        file.commit()
    began = time.process_time()
    assert "several layers" in find(tmp_path, block("a.gpkg", MAPPED))[1][0]
    assert find(tmp_path, block("a.gpkg", MAPPED, layer="points"))[1] == []
    assert time.process_time() - began < LONGEST
