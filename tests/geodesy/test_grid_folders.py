"""Which folders are searched for grids, however PROJ_DATA names them."""

import os
from collections.abc import Iterator
from pathlib import Path

import pyproj
import pytest

from pipeline.geodesy.grids import at_hand, find_grid, folders, missing


@pytest.fixture
def grids(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder with one grid in it, to be named; PROJ's search path is put back."""
    before = pyproj.datadir.get_data_dir()
    folder = tmp_path / "grids of ñ (2026)"
    folder.mkdir()
    (folder / "one.gtx").write_bytes(b"")
    for name in ("PROJ_DATA", "PROJ_LIB"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    yield folder
    pyproj.datadir.set_data_dir(before)


@pytest.mark.parametrize(
    "variables",
    [
        {"PROJ_DATA": "{0}"},
        {"PROJ_DATA": "{0}/"},
        {"PROJ_DATA": "{1}/nowhere{2}{0}"},
        {"PROJ_DATA": "{2}{0}{2}"},
        {"PROJ_DATA": "grids of ñ (2026)"},
        {"PROJ_DATA": "../{3}/grids of ñ (2026)"},
        {"PROJ_DATA": "~/grids of ñ (2026)"},
        {"PROJ_DATA": "{1}/\udcff{2}{0}"},
        {"PROJ_LIB": "{0}"},
        {"PROJ_DATA": "", "PROJ_LIB": "{0}"},
        {"PROJ_DATA": "{0}", "PROJ_LIB": "{1}/nowhere"},
    ],
)
def test_a_folder_is_found_however_it_is_named(
    variables: dict[str, str], grids: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, text in variables.items():
        monkeypatch.setenv(name, text.format(grids, tmp_path, os.pathsep, tmp_path.name))
    assert find_grid("one.gtx") == grids / "one.gtx"
    assert folders().count(grids) == 1
    monkeypatch.chdir("/")
    assert find_grid("one.gtx") == grids / "one.gtx"  # also from another working folder


def test_the_database_stays_pyprojs_own(grids: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A proj.db beside the grids, as another installation's folder has one, is not taken for it."""
    (grids / "proj.db").write_bytes(b"another PROJ's")
    monkeypatch.setenv("PROJ_DATA", str(grids))
    assert find_grid("one.gtx") is not None
    assert pyproj.datadir.get_data_dir().split(os.pathsep)[-1] == str(grids)
    assert pyproj.CRS("EPSG:2193").name == "NZGD2000 / New Zealand Transverse Mercator 2000"


def test_a_folder_that_cannot_be_searched_is_told_beside_a_missing_grid(
    grids: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "two.tif").write_bytes(b"")
    named = [str(tmp_path / "gone"), str(tmp_path / "two.tif"), str(grids)]
    monkeypatch.setenv("PROJ_DATA", os.pathsep.join(named))
    fix = missing("field datum to computation", ["three.tif"], "an operation").fix
    assert f"{named[0]} of PROJ_DATA is not there" in fix
    assert f"{named[1]} of PROJ_DATA is a file; name its folder" in fix
    assert f"{named[2]} of PROJ_DATA" not in fix


def test_a_link_to_nothing_among_the_grids_is_no_grid(grids: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (grids / "gone.tif").symlink_to(grids / "nothing.tif")
    monkeypatch.setenv("PROJ_DATA", str(grids))
    assert "one.gtx" in [name for name, *_ in at_hand()]
    assert "gone.tif" not in [name for name, *_ in at_hand()]
