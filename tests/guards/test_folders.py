"""The folders of the tests: one for a room of `pipeline/`, or one of those that are named here with what they hold."""

from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
ROOMS = {path.stem for path in (TESTS.parent / "pipeline").iterdir() if path.suffix == ".py" or path.is_dir()}

#: Folders that are no room's.
OTHERS = {
    "benchmarks": "times, by hand",
    "end_to_end": "whole jobs against simulated truth",
    "formats": "of the room issue: formats beside the GeoPackage",
    "guards": "the rules of DEVELOPERS.md",
    "odd_files": "exports as programs write them, and what they say",
    "precision": "how well noise is found, by hand",
    "published": "published values with their sources",
    "report": "of the room issue: its pages",
    "resilience": "kills, faults and mutations",
    "support": "what tests share",
}


def test_each_folder_of_tests_is_a_room_or_one_of_the_named_others() -> None:
    folders = {path.name for path in TESTS.iterdir() if path.is_dir() and any(_files(path))}
    assert sorted(folders - ROOMS - set(OTHERS)) == []
    assert sorted(set(OTHERS) - folders) == []
    assert sorted(set(OTHERS) & ROOMS) == []


def test_each_room_that_is_a_folder_has_tests_in_one_of_its_name() -> None:
    rooms = {path.parent.name for path in (TESTS.parent / "pipeline").glob("*/__init__.py")}
    assert sorted(room for room in rooms if not any((TESTS / room).glob("test_*.py"))) == []


def _files(folder: Path) -> list[Path]:
    """Files that are no leavings of a Python that ran there."""
    return [path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
