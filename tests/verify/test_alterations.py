"""`verify` finds every alteration of what an issue says, wherever it is made, and says what it is."""

import csv
import os
import random
import shutil
import warnings
from pathlib import Path

import pytest
from altered import touch_header
from altered_packages import ALTERATIONS, alter
from every import every
from running import replace_in, revised
from sealed_by_hand import seal
from simulate import Plan, simulate

from pipeline.issue.geopackage.recount import has_issued_content
from pipeline.issue.record import read_record
from pipeline.verify import verify

#: Bytes of an SQLite header that a program may write that only opens a file (SQLite's file format, section 1.3): the
#: versions of writing and reading, the counter of changes, and the last change's number and version.
MAY_BE_TOUCHED = {18, 19, *range(24, 28), *range(92, 100)}
FORMATS = ["gpkg", "dxf", "csv", "geojson", "landxml"]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job's folder with two issues of every format."""
    job = simulate(Plan(sessions=1, points=12, noise=False))
    job.job["issue"] = {"formats": FORMATS}
    folder = revised(job, tmp_path_factory.mktemp("made"))
    assert verify(folder).findings == ()
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "out", symlinks=True)
    return tmp_path / "out"


def package(folder: Path) -> Path:
    return folder / "issues" / "002" / "simulated-002.gpkg"


def told(folder: Path) -> list[str]:
    return [str(one) for one in verify(folder).findings if one.differs]


@pytest.mark.parametrize("name", ALTERATIONS)
def test_an_alteration_beside_the_rows_is_found_and_named(folder: Path, name: str) -> None:
    sql, said = ALTERATIONS[name]
    alter(package(folder), sql)
    found = told(folder)
    assert [what for what in found if said in what], found
    assert all(what.startswith("simulated-002.gpkg: ") for what in every(found))
    assert not has_issued_content(package(folder), read_record(package(folder).with_name("issue.json"))["files"])


def test_a_byte_that_nothing_reads_is_found(folder: Path) -> None:
    """Between the cells of a page: SQLite's file format, section 1.6, where the content area of a page begins."""
    data = bytearray(package(folder).read_bytes())
    size = int.from_bytes(data[16:18], "big")
    for page in range(size, len(data), size):
        cells, content = (int.from_bytes(data[page + at : page + at + 2], "big") for at in (3, 5))
        if data[page] == 13 and content - 2 * cells > 100:  # a page of a table's rows with room in it
            data[page + 8 + 2 * cells + 20] ^= 0xFF
            break
    package(folder).write_bytes(data)
    (what,) = told(folder)
    assert "its pages are not those that were issued, though all that is read from them is" in what


def test_only_what_opening_touches_is_forgiven(folder: Path) -> None:
    """The closed list above and no other byte of the header."""
    data = package(folder).read_bytes()
    for at in (0, 16, 17, 18, 19, 20, 23, 24, 27, 28, 31, 40, 56, 60, 68, 72, 91, 92, 95, 96, 99):
        package(folder).write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
        assert (told(folder) == []) == (at in MAY_BE_TOUCHED), at
    package(folder).write_bytes(data)
    touch_header(package(folder))
    assert told(folder) == []
    alter(package(folder), "CREATE TABLE other_styles (id INTEGER)")
    assert told(folder) == ["simulated-002.gpkg: table other_styles was not issued"]


def test_an_issue_of_an_earlier_schema_is_compared_as_far_as_it_goes(folder: Path) -> None:
    """Of a record that says nothing of the database its layers are compared, and that no more could be is said."""
    from pipeline.issue.record import read_any_version

    path = package(folder).with_name("issue.json")
    record = read_any_version(path) | {"schema": 2}
    for entry in record["files"]:
        entry.pop("database", None)
    seal(path, record)
    assert verify(folder).findings == ()
    alter(package(folder), "CREATE TABLE notes AS SELECT 1 AS note")
    remarks = [str(one) for one in verify(folder).findings]
    assert told(folder) == [] and [what for what in remarks if "an early version wrote it" in what]


@pytest.mark.parametrize("name", ["simulated-002.gpkg", "simulated-002.html", "simulated-002.dxf", "issue.json"])
def test_a_link_or_a_pipe_in_place_of_a_file_is_found(folder: Path, name: str, tmp_path: Path) -> None:
    """A link to the very file too: what it leads to may be another one tomorrow."""
    path = folder / "issues" / "002" / name
    shutil.move(path, tmp_path / name)
    path.symlink_to(tmp_path / name)
    assert f"{name}: a link stands in its place" in told(folder)
    path.unlink()
    os.mkfifo(path)
    assert f"{name}: something that is no file stands in its place" in told(folder)
    path.unlink()
    path.mkdir()
    assert f"{name}: a folder stands in its place" in told(folder)


def test_a_link_in_place_of_an_issue_and_of_a_log_is_found(folder: Path, tmp_path: Path) -> None:
    shutil.move(folder / "issues" / "001", tmp_path / "001")
    (folder / "issues" / "001").symlink_to(tmp_path / "001")
    (folder / "issues" / "002" / "simulated-002.gpkg-shm").symlink_to("/dev/zero")
    assert told(folder) == [
        "issues/001: a link stands in its place",
        "simulated-002.gpkg-shm: is not part of the issue",
    ]


def test_the_lines_of_the_list_of_issues_are_held_against_the_records(folder: Path) -> None:
    list_of_issues, text = folder / "register.csv", (folder / "register.csv").read_text()
    first, second = text.splitlines(keepends=True)[1:]
    replace_in(list_of_issues, {"first issue": "no reason"})
    assert told(folder) == ['register.csv: it says "no reason" as the reason, the record says "first issue"']
    list_of_issues.write_text(text.replace("CM1", "CM2"))
    ((what),) = told(folder)
    assert what.startswith('register.csv: it says "') and "CM1" in what and "CM2" in what
    list_of_issues.write_text(text.replace(first, ""))
    assert told(folder) == ["register.csv: it has no line there; the next run adds it"]
    list_of_issues.write_text(text.replace(second, ""))  # as after a kill: a remark
    assert told(folder) == []
    list_of_issues.write_text(text.replace("T", " at ", 1))
    assert told(folder) == ["register.csv: its line there is not in the form in which a run writes it"]
    list_of_issues.write_text(text.replace(",proven,", ",failed,"))
    assert len(told(folder)) == 2


@pytest.mark.parametrize("sign", [";", "\t"])
def test_a_list_with_another_sign_for_its_commas_is_told_as_such_and_one_saved_so_is_read(
    folder: Path, sign: str
) -> None:
    """A reason may have the sign itself: a spreadsheet sets it in quotes, who replaces all commas does not."""
    path, text = folder / "register.csv", (folder / "register.csv").read_text()
    rows = list(csv.reader(text.splitlines()))
    assert any(";" in row[-1] for row in rows)
    with path.open("w", newline="") as file:
        csv.writer(file, delimiter=sign).writerows([*row, "my note"] if row[0] == "002" else row for row in rows)
    assert told(folder) == []
    path.write_text(text.replace(",", sign))
    form = "its line there is not in the form in which a run writes it"
    wrong = [f"register.csv: {form}: another sign stands for each of its commas"]
    assert told(folder) == (wrong if sign == ";" else [])


def test_no_flipped_byte_or_cut_of_any_file_passes_or_ends_the_look_otherwise(made: Path, tmp_path: Path) -> None:
    """A bounded number; `tests/resilience/alterations.py` does many more."""
    from alterations_made import flips

    warnings.simplefilter("error", RuntimeWarning)
    shutil.copytree(made, tmp_path / "out", symlinks=True)
    shutil.rmtree(tmp_path / "out" / "issues" / "002")
    (tmp_path / "out" / "current").unlink()
    replace_in(tmp_path / "out" / "register.csv", {"002,": "note,"})
    for path, at, passed in flips(tmp_path / "out", random.Random(7), 120):
        assert passed == (path.suffix == ".gpkg" and at in MAY_BE_TOUCHED), (path.name, at)
