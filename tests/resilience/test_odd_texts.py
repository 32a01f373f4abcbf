"""NUL characters are told, never cut off; lines within a text end alike, whatever the format and the neighbours.

Expectations: a text is what its own format's standard says (RFC 8259, SQLite's text, RFC 4180); that its lines end in
a line feed is the project's own rule.
"""

from pathlib import Path
from typing import Any

import pytest
from exports_made import block, feature, find, geojson, read
from packages_made import stored_package

from pipeline.control.table_source import read_source
from pipeline.files.sheet import read_sheet
from pipeline.job.load import load_job
from pipeline.problems import Problems

TIME = "2026-03-02T07:30:00Z"
PLACE = {"type": "Point", "coordinates": [174.7, -36.8, 12.5]}
IN_GEOMETRY = {"name": "name", "time": "time", "code": "code"}
IN_CELLS = {**IN_GEOMETRY, "longitude": "lon", "latitude": "lat", "height": "h"}
REGISTER = ("easting", "northing", "height")


def as_geojson(folder: Path, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    geojson(folder / "a.geojson", [feature(PLACE, **row) for row in rows])
    return read(folder, block("a.geojson", IN_GEOMETRY)).to_pylist()


def as_package(folder: Path, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    stored_package(folder / "a.gpkg", dict.fromkeys(rows[0], "TEXT") | {"time": "DATETIME"}, rows)
    return read(folder, block("a.gpkg", IN_GEOMETRY)).to_pylist()


def as_csv(folder: Path, rows: list[dict[str, Any]], end: str = "\n", beside: str = "x") -> list[dict[str, Any]]:
    cells = [(*row.values(), "174.7", "-36.8", "12.5") for row in [*rows, rows[0] | {"code": beside}]]
    lines = [",".join([*rows[0], "lon", "lat", "h"]), *(",".join(f'"{cell}"' for cell in row) for row in cells)]
    (folder / "a.csv").write_bytes((end.join(lines) + end).encode())
    return read(folder, block("a.csv", IN_CELLS)).to_pylist()[:-1]


def test_lines_within_a_text_end_alike_in_every_format(tmp_path: Path) -> None:
    texts = {
        "\nQ": "Q",
        "Q\r\n": "Q",
        "Q\r\nR": "Q\nR",
        "Q\rR": "Q\nR",
        "Q\n\nR": "Q\n\nR",
        "Q\tR": "Q\tR",
        "\u2028Q": "Q",
    }
    rows = [{"name": f"P{n}", "time": TIME, "code": text} for n, text in enumerate(texts)]
    for found in (
        as_geojson(tmp_path, rows), as_package(tmp_path, rows), as_csv(tmp_path, rows), as_csv(tmp_path, rows, "\r\n"),
        as_csv(tmp_path, rows, "\r\n", "a\r\né"), as_csv(tmp_path, rows, "\n", "a\nb"),
    ):  # fmt: skip
        assert [row["code"] for row in found] == list(texts.values())


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_within_a_cell_of_a_table_end_in_a_line_feed(end: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(f'mark,source{end}"{end}A{end}B","x{end}"{end}C,y{end}'.encode())
    problems = Problems()
    sheet = read_sheet(tmp_path / "a.csv", "a.csv", problems)
    assert sheet is not None and not problems.found
    assert sheet.rows == ((2, {"mark": "A\nB", "source": "x"}), (6, {"mark": "C", "source": "y"}))


@pytest.mark.parametrize("kind", [as_geojson, as_package])
@pytest.mark.parametrize("column", ["name", "code", "note"])
def test_a_nul_in_an_attribute_holds_its_row_back(kind: Any, column: str, tmp_path: Path) -> None:
    rows = [{"name": f"P{n}", "time": TIME, "code": "x", "note": "y"} for n in range(2)]
    rows[1][column] = "Q\0R"
    first, second = kind(tmp_path, rows)
    assert (first["detail"], second["detail"]) == (None, f'{column}: a NUL character in "Q␀R"')


def test_a_nul_in_the_name_of_a_property_refuses_the_file(tmp_path: Path) -> None:
    geojson(tmp_path / "a.geojson", [feature(PLACE, name="P", time=TIME, code="x", **{"Q\0R": 1})])
    assert "a property with a NUL character in its name" in find(tmp_path, block("a.geojson", IN_GEOMETRY))[1][0]


@pytest.mark.parametrize("text", ["mark,note\nA,x\nB\0C,y\n", "mark,note\nA,x\nB,y\0z\n"])
def test_a_nul_in_a_register_is_told_at_its_line(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    problems = Problems()
    assert read_source(tmp_path / "a.csv", "a.csv", REGISTER, problems) == (None, None)
    assert [(each.line, each.what) for each in problems.found] == [(3, "there is a NUL character in this line")]


@pytest.mark.parametrize("key", ["grid", "height"])
def test_a_nul_in_a_job_file_is_told(key: str, tmp_path: Path) -> None:
    """PROJ would take the code before it for the whole."""
    keys = {"grid": "EPSG:2193", "height": "EPSG:5773"}
    keys[key] += r"\u0000"
    written = "\n".join(f'{name} = "{value}"' for name, value in keys.items())
    (tmp_path / "job.toml").write_text(f'[job]\nname = "x"\nfolder = "out"\n[target]\n{written}\n', encoding="utf-8")
    problems = Problems()
    load_job(tmp_path / "job.toml", problems)
    assert any(f"'{key}' in [target]" in each.what and "U+0000" in each.what for each in problems.found)
