"""What was issued is what is there: every kind of alteration is found and named, and a viewer's touch forgiven."""

import codecs
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from altered import change, held_open, move_geometry, touch_header
from issued import everything_below
from running import replace_in, revised
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app
from pipeline.problems import JobError
from pipeline.verify import Verified, verify

ALTERED = "issue.json: its content is not what was written"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job's folder with two issues: after the first, a mark's height was revised by 6 mm."""
    return revised(simulate(Plan(sessions=2, points=60, noise=False)), tmp_path_factory.mktemp("made"))


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A copy of it that may be spoilt."""
    shutil.copytree(made, tmp_path / "out", symlinks=True)
    return tmp_path / "out"


def package(folder: Path, issue: int) -> Path:
    return folder / "issues" / f"{issue:03d}" / f"simulated-{issue:03d}.gpkg"


def told(folder: Path) -> list[tuple[int, str]]:
    """What is found to differ, with its issue; looking writes nothing."""
    before = everything_below(folder)
    found = verify(folder)
    assert everything_below(folder) == before
    assert found.intact == (not [one for one in found.findings if one.differs])
    return [(one.issue, str(one)) for one in found.findings if one.differs]


def remarks(found: Verified) -> list[str]:
    assert found.intact
    return [str(one) for one in found.findings]


def test_what_was_issued_is_intact_and_looking_leaves_no_trace(folder: Path) -> None:
    assert told(folder) == []
    assert verify(folder).issues == (1, 2)
    assert verify(folder).findings == ()


def test_an_altered_attribute_is_found_with_its_layer_and_column(folder: Path) -> None:
    change(package(folder, 1), "UPDATE points SET height = height + 0.001 WHERE name = 'S01-00007'")
    assert told(folder) == [(1, "simulated-001.gpkg: layer points: height changed")]


def test_text_made_null_is_found_too(folder: Path) -> None:
    """An empty text and none are two contents."""
    change(package(folder, 2), "UPDATE points SET code = NULL WHERE name = 'S01-00007'")
    change(package(folder, 2), "UPDATE check_marks SET passed = 0 WHERE point = 'S01-C1'")
    assert told(folder) == [
        (2, "simulated-002.gpkg: layer points: code changed"),
        (2, "simulated-002.gpkg: layer check_marks: passed changed"),
    ]


def test_an_altered_geometry_is_found_though_the_columns_are_as_issued(folder: Path) -> None:
    move_geometry(package(folder, 2), "points", "S02-00003", 1e-6)
    assert told(folder) == [(2, "simulated-002.gpkg: layer points: geometry changed")]


def test_a_deleted_row_is_found(folder: Path) -> None:
    change(package(folder, 2), "DELETE FROM points WHERE name = 'S02-00003'")
    assert told(folder) == [(2, "simulated-002.gpkg: layer points has 119 rows, issued were 120")]


def test_rows_in_another_order_are_found(folder: Path) -> None:
    """Two rows that change places: the same values, not the same layer."""
    change(package(folder, 1), "UPDATE points SET fid = 1000 WHERE fid = 5")
    assert told(folder) == [
        (1, "simulated-001.gpkg: layer points: base, code, easting, ellipsoid_height, geometry, height, hu95, latitude,"
            " longitude, name, northing, observed, session, sigma_east, sigma_north, sigma_up,"
            " source_row, vu95 changed"),
    ]  # fmt: skip


def test_a_layer_and_a_column_more_or_less_are_found(folder: Path) -> None:
    with sqlite3.connect(package(folder, 1)) as file:
        file.execute("ALTER TABLE held_back ADD COLUMN remark TEXT")
        file.execute("DELETE FROM gpkg_contents WHERE table_name = 'marks'")
    file.close()
    assert told(folder) == [
        (1, "simulated-001.gpkg: layer marks is missing"),
        (1, "simulated-001.gpkg: layer held_back: column remark added"),
    ]


def test_a_viewers_touch_is_forgiven_and_told(folder: Path) -> None:
    """The header's two bytes differ, the content does not; nor does a copy of the metadata beside it."""
    before = package(folder, 1).read_bytes()
    touch_header(package(folder, 1))
    after = package(folder, 1).read_bytes()
    assert before != after
    package(folder, 1).with_name("simulated-001.gpkg.aux.xml").write_text("<PAMDataset/>")
    assert told(folder) == []
    said = remarks(verify(folder))
    assert said[0] == "simulated-001.gpkg: a program that opened it changed its bytes; its content is what was issued"
    assert said[1].startswith("simulated-001.gpkg.aux.xml: left by a program")
    assert len(said) == 2


def test_a_viewer_that_has_it_open_is_forgiven_but_not_what_it_changed(folder: Path) -> None:
    """With the log beside it, what the log says counts: the file itself does not show the change yet."""
    with held_open(package(folder, 2)):
        assert told(folder) == []
        assert {one.file for one in verify(folder).findings} >= {"simulated-002.gpkg-wal", "simulated-002.gpkg-shm"}
    with held_open(package(folder, 2), "UPDATE points SET easting = easting + 1 WHERE name = 'S01-00007'"):
        assert told(folder) == [(2, "simulated-002.gpkg: layer points: easting changed")]


def test_missing_extra_and_damaged_files_are_found(folder: Path) -> None:
    package(folder, 1).unlink()
    (folder / "issues" / "002" / "marks.dxf").write_text("0")
    (folder / "issues" / "notes").mkdir()
    with package(folder, 2).open("r+b") as file:
        file.truncate(40_000)
    found = told(folder)
    assert (1, "simulated-001.gpkg: is missing") in found
    assert (2, "marks.dxf: is not part of the issue") in found
    assert (0, "issues/notes: is not an issue") in found
    assert [what for _, what in found if what.startswith("simulated-002.gpkg: cannot be read")]
    assert len(found) == 4


def test_a_report_that_was_altered_or_is_missing_is_found(folder: Path) -> None:
    """It has no layers whose content could be compared: a byte is a difference."""
    reports = [folder / "issues" / f"{issue:03d}" / f"simulated-{issue:03d}.html" for issue in (1, 2)]
    reports[0].write_bytes(reports[0].read_bytes().replace(b"proven", b"PROVEN", 1))
    reports[1].unlink()
    assert told(folder) == [
        (1, "simulated-001.html: its bytes are not those that were issued"),
        (2, "simulated-002.html: is missing"),
    ]


def test_records_that_cannot_be_read_or_do_not_add_up_are_found(folder: Path) -> None:
    (folder / "issues" / "001" / "issue.json").write_text("{")
    path = folder / "issues" / "002" / "issue.json"
    replace_in(path, {'"held_back": 0': '"held_back": 3'})
    found = told(folder)
    assert found[0][0] == 1 and found[0][1].startswith("issue.json: cannot be read")
    assert found[1:] == [
        (2, ALTERED),
        (2, "issue.json: it says 3 rows for held_back, the layer that was issued has 0"),
    ]


@pytest.mark.parametrize(
    "again",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: f"{text}\n",
        lambda text: text.rstrip("\n"),
        lambda text: text.replace('": ', '" : ', 1),
        lambda text: json.dumps(json.loads(text)),
        lambda text: json.dumps(dict(reversed(json.loads(text).items())), indent=2),
    ],
)
def test_a_record_that_says_the_same_in_other_bytes_is_told(again: Callable[[str], str], folder: Path) -> None:
    """As an editor or a synchronised folder leaves it: a remark, as of a GeoPackage whose content is the same."""
    path = folder / "issues" / "001" / "issue.json"
    path.write_bytes(again(path.read_text(encoding="utf-8")).encode())
    assert told(folder) == []
    assert remarks(verify(folder)) == ["issue.json: something changed its bytes; its content is what was issued"]


def test_a_record_with_a_byte_order_mark_is_read_and_told(tmp_path: Path) -> None:
    """As an editor saves it under Windows: the runs go on, and verify says what programs that read it may refuse."""
    job = simulate(Plan(sessions=1, points=4, noise=False)).write(tmp_path)
    assert run_job(job).issued
    path = tmp_path / "out" / "issues" / "001" / "issue.json"
    path.write_bytes(codecs.BOM_UTF8 + path.read_bytes())
    (remark,) = remarks(verify(tmp_path / "out"))
    assert remark.startswith("issue.json: ") and "a byte order mark" in remark and told(tmp_path / "out") == []
    assert not run_job(job).issued

    path.write_bytes(path.read_bytes().replace(b'"issue": 1,', b'"issue": 2,'))
    assert told(tmp_path / "out")
    with pytest.raises(JobError, match=r"issue 001"):
        run_job(job)

    path.write_bytes(codecs.BOM_UTF16_LE + "{}".encode("utf-16-le"))
    ((_, what),) = told(tmp_path / "out")
    assert "cannot be read" in what and "no UTF-8" in what
    with pytest.raises(JobError, match="no UTF-8"):
        run_job(job)


def test_an_altered_number_of_a_record_is_found(folder: Path) -> None:
    """Also one that nothing else of the issue repeats."""
    path = folder / "issues" / "001" / "issue.json"
    record = json.loads(path.read_text())
    record["sessions"][0]["shift_x"] += 0.001
    path.write_text(json.dumps(record))
    assert told(folder) == [(1, ALTERED)]


def test_a_record_with_a_path_out_of_its_folder_is_not_followed(folder: Path) -> None:
    path = folder / "issues" / "002" / "issue.json"
    record = json.loads(path.read_text())
    record["files"][0]["name"] = "../001/simulated-001.gpkg"
    path.write_text(json.dumps(record))
    ((issue, what),) = told(folder)
    assert issue == 2 and "cannot be read" in what and "files[0].name is '../001/simulated-001.gpkg'" in what


def test_a_record_without_sums_of_content_is_held_by_its_bytes(folder: Path) -> None:
    """An issue made before contents and records were summed; that nobody could tell an altered record is told."""
    path = folder / "issues" / "001" / "issue.json"
    record = json.loads(path.read_text())
    del record["files"][0]["layers"], record["sum"]
    record["schema"] = 1
    del record["doubts"]
    path.write_text(json.dumps(record))
    assert told(folder) == []
    assert remarks(verify(folder)) == [
        "issue.json: it has no checksum of its own (an early version wrote it), so an alteration of it would not be"
        " found"
    ]
    touch_header(package(folder, 1))
    assert told(folder) == [(1, "simulated-001.gpkg: its bytes are not those that were issued")]


def test_a_record_whose_sum_was_taken_out_is_found(folder: Path) -> None:
    """Else whoever alters a record would only have to take out its sum."""
    path = folder / "issues" / "001" / "issue.json"
    record = json.loads(path.read_text())
    del record["sum"]
    record["checks"][0]["d_east"] = 0.0
    path.write_text(json.dumps(record))
    ((issue, what),) = told(folder)
    assert issue == 1 and what.startswith("issue.json: cannot be read") and what.endswith("record: sum is missing")
    path.write_text(json.dumps(record | {"schema": 1}))
    assert told(folder) == [(1, "issue.json: its own checksum was removed, so it cannot be verified")]


@pytest.mark.parametrize(
    ("there", "instead"),
    [
        ('"caution": "', '"x": NaN, "caution": "'),
        ('"caution": "', '"x": 1e999, "caution": "'),
        ('"caution": "', '"caution": "\\ud800'),
        ('"caution": "', '"x": ' + "[" * 100_000 + "]" * 100_000 + ', "caution": "'),
        ('"verdict": "', '"verdict": "failed", "verdict": "'),
        ('"files": [', '"files": 5, "elif": ['),
        ('"sessions": [', '"sessions": null, "snoisses": ['),
        ('"rows": {\n    "by_reason"', '"rows": {}, "swor": {\n    "by_reason"'),
    ],
    ids=["NaN", "infinite", "surrogate", "deep", "twice", "files", "sessions", "rows"],
)
def test_a_record_in_another_form_is_a_finding(folder: Path, there: str, instead: str) -> None:
    path = folder / "issues" / "001" / "issue.json"
    text = path.read_text()
    assert there in text
    # the last of them is the record's own where parts of it have the same key
    path.write_text(instead.join(text.rsplit(there, 1)))
    ((issue, what),) = told(folder)
    assert issue == 1 and what.startswith("issue.json: cannot be read: ")
    assert CliRunner().invoke(app, ["verify", str(folder)]).exit_code == 3


def test_what_stands_around_the_issues_is_told(folder: Path) -> None:
    shutil.rmtree(folder / "issues" / "001")
    replace_in(folder / "register.csv", {"002,": "003,"})
    (folder / ".staging-1-0").mkdir()
    (folder / "current").unlink()
    (folder / "current").symlink_to("issues/007")
    assert told(folder) == [
        (1, "issues/001: the issue is gone"),
        (3, "issues/003: the issue is gone"),
        (0, "current: it points to nothing (issues/007)"),
    ]
    (folder / "current").unlink()
    assert told(folder) == [(1, "issues/001: the issue is gone"), (3, "issues/003: the issue is gone")]


def test_a_current_that_leads_to_another_job_is_called_a_link(folder: Path, tmp_path: Path) -> None:
    """As a run calls it, which leaves it where it is."""
    other = tmp_path / "other" / "issues" / "006"
    shutil.copytree(folder / "issues" / "002", other)
    (folder / "current").unlink()
    (folder / "current").symlink_to(other)
    assert told(folder) == [(0, f"current: it is a link to {other}, not to an issue of this folder")]


def test_an_older_current_and_a_copy_for_a_link(folder: Path) -> None:
    (folder / "current").unlink()
    (folder / "current").symlink_to("issues/001")
    assert remarks(verify(folder)) == ["current: it shows issue 001, the newest is 002; the next run puts it right"]
    (folder / "current").unlink()
    shutil.copytree(folder / "issues" / "002", folder / "current")
    assert told(folder) == []
    change(folder / "current" / "simulated-002.gpkg", "DELETE FROM points WHERE name = 'S02-00003'")
    assert told(folder) == [(0, "current/simulated-002.gpkg: layer points has 119 rows, issued were 120")]


def test_a_folder_without_issues_is_the_users_mistake(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="no issue in this folder"):
        verify(tmp_path)


def test_the_command_ends_with_its_codes(folder: Path, tmp_path: Path) -> None:
    """0 intact, 3 differs, 2 nothing to verify."""
    run = CliRunner().invoke
    good = run(app, ["verify", str(folder)])
    assert good.exit_code == 0 and "2 issues: every file is what was issued" in good.output
    package(folder, 1).unlink()
    bad = run(app, ["verify", str(folder)])
    assert bad.exit_code == 3 and "DIFFERS: simulated-001.gpkg: is missing" in bad.output
    found = json.loads(run(app, ["verify", str(folder), "--json"]).output)
    assert found["intact"] is False and found["findings"][0]["issue"] == 1
    assert run(app, ["verify", str(tmp_path)]).exit_code == 2


def test_a_folder_that_is_not_there_is_told_as_that(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="there is no such folder"):
        verify(tmp_path / "elsewhere")
