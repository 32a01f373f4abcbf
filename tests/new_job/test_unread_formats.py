"""What is said of a file in a format that is not read: how its content becomes one that is."""

import zipfile
from pathlib import Path

import pytest

from pipeline.new_job import new_job
from pipeline.problems import JobError

_TABLE = "Point,Time,Lat,Lon,Height\nA,2026-03-02 08:00:00,51.3,9.5,210.1\nB,2026-03-02 08:01:00,51.3,9.5,210.2\n"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        (
            "day.ods",
            b"PK\x03\x04",
            "the format .ods is not read: if it has readings or marks, save it as .xlsx or .csv",
        ),
        ("day.xls", b"\xd0\xcf\x11\xe0", "save it as .xlsx or .csv"),
        ("day.kml", b"<kml/>", "if it has readings or marks, export its points as .csv, .geojson or .gpkg"),
        ("day.dxf", b"0\nSECTION\n", "export its points as .csv, .geojson or .gpkg"),
        ("day.zip", b"PK\x05\x06", "unpack it"),
        ("day.pts", _TABLE.encode(), "the format .pts is not read: if it has readings or marks, rename it"),
        ("day.jsonl", b'{"name": "A", "lat": 51.3}\n{"name": "B", "lat": 51.3}\n', "export it as .csv, or as GeoJSON"),
        ("day.ndjson", b"", "export it as .csv, or as GeoJSON"),
        ("day.log", b'{"a": 1, "b": 2, "c": 3}\n{"a": 1, "b": 2, "c": 3}\n', "export it as .csv, or as GeoJSON"),
        ("day", _TABLE.encode(), "the format without an ending is not read: if it has readings or marks, rename it"),
    ],
)
def test_what_to_do_is_said(name: str, content: bytes, says: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(content)
    assert says in _refused(tmp_path)


@pytest.mark.parametrize("content", [bytes(range(256)) * 8, b"", "Gr\xfc\xdfe, aus, Kassel\n".encode("latin-1") * 9])
def test_of_other_files_nothing_is_advised(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "day.bin").write_bytes(content)
    said = _refused(tmp_path)
    assert "the format .bin is not read" in said and "rename it" not in said


def test_a_renamed_table_is_read(tmp_path: Path) -> None:
    (tmp_path / "day.txt").write_text(_TABLE, encoding="utf-8")
    assert [role for name, role, _ in new_job(tmp_path).files if name == "day.txt"] == ["export"]


def test_an_unpacked_one_is_too(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "day.zip", "w") as packed:
        packed.writestr("day.csv", _TABLE)
    assert "unpack it" in _refused(tmp_path)
    with zipfile.ZipFile(tmp_path / "day.zip") as packed:
        packed.extractall(tmp_path)
    assert [role for name, role, _ in new_job(tmp_path).files if name == "day.csv"] == ["export"]


def _refused(folder: Path) -> str:
    with pytest.raises(JobError) as error:
        new_job(folder)
    return str(error.value)


def test_a_folder_of_nothing_but_such_files_says_what_to_do_first(tmp_path: Path) -> None:
    """Files beside one another that a viewer writes do not take the place of what helps."""
    for name in ("a.cpg", "a.dbf", "a.prj", "a.qmd", "a.sbn", "a.shx", "b.pdf", "marks.xls", "rover.shp"):
        (tmp_path / name).write_bytes(b"\0\xff" * 50)
    said = _refused(tmp_path)
    assert "there is no export in this folder" in said
    assert "rover.shp: the format .shp is not read: if it has readings or marks, export its points" in said
    assert "marks.xls: the format .xls is not read: if it has readings or marks, save it as .xlsx or .csv" in said
    assert "and 3 more" in said
