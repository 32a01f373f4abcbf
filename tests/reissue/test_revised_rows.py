"""A revision that reaches few points changes their rows in a copy of the previous issue: nothing else may differ.

The other way, every layer written again, is the measure: the same layers, sums and tables come out of both.
"""

import re
import resource
import shutil
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import pyarrow as pa
import pyogrio
import pytest
from altered import change, touch_header
from every import every
from issued import Issue, newest_issue
from simulate import Plan, Simulation, simulate
from simulate_files import write_register
from two_ways import assert_one_issue, counted_copies, everything, written_anew
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app
from pipeline.problems import JobError
from pipeline.read.exports import read_batches
from pipeline.reissue import changed_rows
from pipeline.run import lay_out
from pipeline.verify import verify

#: Thirteen sessions on marks of their own: what one of them ties is a thirteenth of the points.
WIDE = Plan(sessions=13, points=8, ties=1, checks=2, marks=15, seed=3)
LAYERS = ("points", "check_marks", "sessions", "marks", "held_back", "changes")


@pytest.fixture
def copies(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many rows were changed in a copy, run by run."""
    return counted_copies(monkeypatch)


@pytest.fixture(scope="module")
def wide(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wide job and its first issue, to be copied."""
    folder = tmp_path_factory.mktemp("wide")
    run_job(simulate(WIDE).write(folder))
    return folder


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Issue, Issue]:
    """The wide job's second issue, with lines, in every format: changed in a copy of the first, and written again."""
    folder = tmp_path_factory.mktemp("both")
    job = simulate(WIDE)
    job.rows["code"] = np.where(job.rows["kind"] == "point", "KERB", job.rows["code"]).astype("<U20")
    for session in range(WIDE.sessions):
        first, *_, last = np.flatnonzero((job.rows["session"] == session) & (job.rows["kind"] == "point"))
        job.rows["code"][[first, last]] = ["KERB start", "KERB end"]
    job.job["linework"] = {"codes": ["KERB"]}
    job.job["issue"] = {"formats": ["dxf", "csv", "geojson", "landxml"]}
    run_job(job.write(folder / "first"))
    with pytest.MonkeyPatch.context() as patch:
        made = counted_copies(patch)
        quick = First.of(folder / "first", folder / "quick").revised()
        assert made == [8]
        written_anew(patch)
        slow = First.of(folder / "first", folder / "slow").revised()
        assert made == [8]
    return quick, slow


@dataclass(frozen=True)
class First:
    """A copy of a job that has its first issue."""

    job: Simulation
    folder: Path

    @classmethod
    def of(cls, wide: Path, folder: Path) -> "First":
        shutil.copytree(wide, folder, symlinks=True, dirs_exist_ok=True)
        return cls(simulate(WIDE), folder)

    @property
    def path(self) -> Path:
        return self.folder / "job.toml"

    @property
    def newest(self) -> Issue:
        return newest_issue(self.folder / "out")

    def revised(self, metres: float = 0.004) -> Issue:
        """Revise the mark that ties the first session, and issue the job again."""
        revise(self.job, self.folder, metres)
        run_job(self.path)
        return self.newest


def revised(folder: Path, metres: float = 0.004, job: Simulation | None = None) -> Issue:
    """Issue a job, revise the mark that ties its first session, and issue it again."""
    job = job or simulate(WIDE)
    run_job(job.write(folder))
    return First(job, folder).revised(metres)


def revise(job: Simulation, folder: Path, metres: float) -> None:
    job.mistype(str(job.job["session"][0]["ties"][0]["mark"]), "easting", metres)
    write_register(job.register, folder / "register.csv")


def test_both_ways_give_the_same_issue(both: tuple[Issue, Issue]) -> None:
    quick, slow = both
    assert everything(quick.package, "select count(*) from lines") == [(WIDE.sessions,)]
    assert_one_issue(quick, slow)
    assert verify(quick.folder.resolve().parents[1]).findings == ()


def test_both_ways_give_the_same_files_of_the_other_formats(both: tuple[Issue, Issue]) -> None:
    for ending in (".dxf", ".csv", ".geojson", ".xml"):
        ours, theirs = (made.package.with_suffix(ending).read_bytes() for made in both)
        assert ours == theirs, ending


def test_what_describes_the_layers_is_as_if_they_were_written_anew(both: tuple[Issue, Issue]) -> None:
    quick, slow = both
    named = "select name from sqlite_master where type = 'table' and name like 'gpkg%'"
    tables = {row[0] for row in everything(slow.package, named)}
    assert {"gpkg_contents", "gpkg_metadata", "gpkg_extensions", "gpkg_ogr_contents"} <= tables
    for table in sorted(tables - {"gpkg_contents", "gpkg_metadata_reference", "gpkg_metadata"}):
        ours, theirs = (sorted(everything(one.package, f"select * from {table}")) for one in (quick, slow))
        assert ours == theirs, table
    metadata = (
        "select reference_scope, table_name, timestamp, md_scope, metadata from gpkg_metadata_reference"
        " join gpkg_metadata on md_file_id = id order by 1, 2"
    )
    assert everything(quick.package, metadata) == everything(slow.package, metadata)
    contents = "select * from gpkg_contents order by rowid"
    for our, their in every(zip(everything(quick.package, contents), everything(slow.package, contents), strict=True)):
        assert our[:5] == their[:5]
        np.testing.assert_allclose(
            np.array(our[5:9], float), np.array(their[5:9], float), rtol=0, atol=1e-6, equal_nan=True
        )
        assert our[9:] == their[9:]


def test_the_spatial_index_finds_the_points_where_they_are_now(tmp_path: Path, copies: list[int]) -> None:
    """By half a metre, so that an index of the old places would miss them; through another library's own use of it."""
    job = simulate(WIDE)
    job.job["checks"] = {"horizontal": 2.0}
    issue = revised(tmp_path, 0.5, job)
    assert copies == [8]
    moved = everything(issue.package, "select name, new_easting, new_northing, old_easting from changes")
    assert len(moved) == 8
    with fiona.open(issue.package, layer="points") as layer:
        for name, east, north, old_east in moved:
            for at, found in ((east, True), (old_east, False)):
                box = (at - 0.01, north - 0.01, at + 0.01, north + 0.01)
                assert (name in {one["properties"]["name"] for one in layer.filter(bbox=box)}) is found


def test_the_same_revisions_give_the_same_bytes(wide: Path, tmp_path: Path, copies: list[int]) -> None:
    one, other = First.of(wide, tmp_path / "one").revised(), revised(tmp_path / "other" / "deeper")
    assert copies == [8, 8]
    for first, second in every(zip(sorted(one.folder.iterdir()), sorted(other.folder.iterdir()), strict=True)):
        assert first.read_bytes() == second.read_bytes(), first.name


def test_one_revision_after_the_other(wide: Path, tmp_path: Path, copies: list[int]) -> None:
    """The layer of changes is replaced, not added to; the last issue is that of a first run with the last register."""
    kept = First.of(wide, tmp_path / "kept")
    for metres in (0.004, -0.006, 0.003):
        last = kept.revised(metres)
    assert copies == [8, 8, 8]
    assert last.record["issue"] == 4
    assert [row[0] for row in everything(last.package, "select count(*) from changes")] == [8]
    run_job(kept.job.write(tmp_path / "fresh"))
    fresh = newest_issue(tmp_path / "fresh" / "out")
    for name in LAYERS[:-1]:
        order = f'select * from "{name}" order by fid'
        assert everything(last.package, order) == everything(fresh.package, order), name


@pytest.mark.parametrize(("form", "files"), [("csv", 3), ("gpkg", 1)])
def test_a_revised_issue_says_what_a_first_one_of_the_same_job_would(
    form: str, files: int, tmp_path: Path, copies: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With readings held back before, between and after points, in several files and in batches of a few rows."""
    monkeypatch.setattr(read_batches, "__defaults__", (7, *(read_batches.__defaults__ or ())[1:]))
    job = simulate(WIDE)
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["solution"][points[[0, 9, 10, -1]]] = "flt"
    job.rows["sigma_east"][points[[20, 40]]] = 9.0
    path = job.write(tmp_path / "kept", form, files)
    run_job(path)
    revise(job, path.parent, 0.004)
    run_job(path)
    shutil.copytree(path.parent, tmp_path / "fresh", ignore=shutil.ignore_patterns("out"))
    run_job(tmp_path / "fresh" / path.name)
    last, fresh = (newest_issue(tmp_path / place / "out") for place in ("kept", "fresh"))
    assert last.record["changes"]["moved"] == copies[0] > 0
    for name in LAYERS[:-1]:
        order = f'select * from "{name}" order by fid'
        assert everything(last.package, order) == everything(fresh.package, order), name
    assert last.record["rows"]["by_reason"] == {"not_fixed": 4, "poor_quality": 2}
    of_its_own = {"issue", "changes", "release", "files", "sum", "notes"}
    for key in last.record.keys() - of_its_own:
        assert last.record[key] == fresh.record[key], key
    sums = [{one["name"]: one for one in issue.record["files"][0]["layers"]} for issue in (last, fresh)]
    assert {name: sums[0][name] for name in sums[1]} == sums[1]


def test_points_that_are_held_from_now_on_are_written_anew(wide: Path, tmp_path: Path, copies: list[int]) -> None:
    """A revision by more than the tolerance makes its session's checks fail."""
    issue = First.of(wide, tmp_path).revised(0.5)
    assert copies == []
    assert issue.record["changes"]["held"] == 8


def test_a_proof_word_that_changes_is_changed_in_the_copy(tmp_path: Path, copies: list[int]) -> None:
    """With suspect points released, a failing check changes no row but in its word, and in what moved."""
    job = simulate(WIDE)
    job.job["issue"] = {"hold_back": []}
    issue = revised(tmp_path, 0.5, job)
    assert copies == [8]
    words = dict(everything(issue.package, "select name, proof from points"))
    first = str(job.job["session"][0]["name"])
    of_first = {row[0] for row in everything(issue.package, f"select name from points where session = '{first}'")}
    assert {words[name] for name in of_first} == {"suspect"}
    assert {word for name, word in words.items() if name not in of_first} == {"bracketed"}


def test_a_revision_that_reaches_many_points_is_written_anew(tmp_path: Path, copies: list[int]) -> None:
    revised(tmp_path, job=simulate(Plan(sessions=3, points=8, ties=1, checks=2, marks=5)))
    assert copies == []


@pytest.mark.parametrize("how", ["the job file", "a raw file", "a session's times"])
def test_other_changes_are_written_anew_or_come_out_the_same(
    how: str, wide: Path, tmp_path: Path, copies: list[int]
) -> None:
    job = First.of(wide, tmp_path / "kept").job
    if how == "the job file":
        job.job["quality"]["centring"] = 0.004
    elif how == "a raw file":
        job.rows["code"][job.rows["kind"] == "point"] = "NEW"
    else:
        job.job["session"][0]["end"] += timedelta(minutes=1)
    run_job(job.write(tmp_path / "kept"))
    assert copies == ([0] if how == "a session's times" else [])
    run_job(job.write(tmp_path / "fresh"))
    last, fresh = (newest_issue(tmp_path / place / "out") for place in ("kept", "fresh"))
    for name in LAYERS[:-1]:
        order = f'select * from "{name}" order by fid'
        assert everything(last.package, order) == everything(fresh.package, order), name


def test_a_package_that_a_viewer_touched_is_not_copied(wide: Path, tmp_path: Path, copies: list[int]) -> None:
    first = First.of(wide, tmp_path)
    touch_header(first.newest.package)
    revise(first.job, tmp_path, 0.004)
    assert run_job(first.path).exit_code == 0
    assert copies == []
    assert newest_issue(tmp_path / "out").record["changes"]["moved"] == 8


def test_a_copy_that_does_not_read_back_is_never_issued(
    wide: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A row that is not what was given ends the run; the previous issue stands."""
    first = First.of(wide, tmp_path)
    monkeypatch.setattr(changed_rows.ChangedRows, "fids", lambda self: np.concatenate(self.changed) + 2)
    with pytest.raises(Exception, match="does not hold what was written"):
        first.revised()
    assert newest_issue(tmp_path / "out").record["issue"] == 1


def two_layers(job: Simulation, folder: Path) -> Path:
    """Write a job whose readings stand in two layers of one GeoPackage, each with a [[points]] block of its own."""
    path = job.write(folder, form="gpkg")
    _, rows = pyogrio.read_arrow(folder / "rover001.gpkg", layer="points")
    halves = np.arange(rows.num_rows) % 2
    how = {"driver": "GPKG", "geometry_name": rows.schema.names[-1], "geometry_type": "Point Z"}
    for number, layer in enumerate(("A", "B")):
        half = rows.filter(pa.array(halves == number))
        crs = job.job["source"]["crs"]
        pyogrio.write_arrow(half, folder / "both.gpkg", layer=layer, crs=crs, append=number > 0, **how)
    (folder / "rover001.gpkg").unlink()
    tables = re.split(r"(?m)^(?=\[)", path.read_text(encoding="utf-8"))
    (at,) = [number for number, table in enumerate(tables) if table.startswith("[[points]]")]
    block = re.sub(r"rover[^.]*\.gpkg", "both.gpkg", tables[at])
    assert "layer" not in block and "both.gpkg" in block
    tables[at] = "".join(block.replace("[[points]]\n", f'[[points]]\nlayer = "{layer}"\n') for layer in ("A", "B"))
    path.write_text("".join(tables), encoding="utf-8")
    return path


def test_rows_of_two_layers_of_one_file_are_not_taken_for_one_another(tmp_path: Path, copies: list[int]) -> None:
    """Both count their rows from 1."""
    job = simulate(WIDE)
    path = two_layers(job, tmp_path / "kept")
    run_job(path)
    revise(job, tmp_path / "kept", 0.004)
    run_job(path)
    last = newest_issue(tmp_path / "kept" / "out")
    assert [last.record["changes"]["moved"]] == copies == [8]
    run_job(two_layers(job, tmp_path / "fresh"))
    fresh = newest_issue(tmp_path / "fresh" / "out")
    order = "select * from points order by fid"
    assert everything(last.package, order) == everything(fresh.package, order)


def test_points_of_a_session_that_is_gone_have_no_coordinates(wide: Path, tmp_path: Path) -> None:
    job = First.of(wide, tmp_path / "kept").job
    gone = job.job["session"].pop(0)
    run_job(job.write(tmp_path / "kept"))
    run_job(job.write(tmp_path / "fresh"))
    last, fresh = (newest_issue(tmp_path / place / "out") for place in ("kept", "fresh"))
    order = "select * from held_back order by fid"
    assert everything(last.package, order) == everything(fresh.package, order)
    assert {row[0] for row in everything(last.package, "select easting from held_back")} == {None}, gone


@pytest.mark.parametrize("how", ["edited", "deleted"])
def test_an_issue_that_is_altered_while_it_is_copied_ends_the_run(
    how: str, wide: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the look at its bytes and the copy."""
    first = First.of(wide, tmp_path)
    package, way = first.newest.package, lay_out.copy_with_rows

    def late(*given: Any) -> None:
        if how == "deleted":
            package.unlink()
        else:
            change(package, "update points set code = 'EDITED' where fid = 1")
        way(*given)

    monkeypatch.setattr(lay_out, "copy_with_rows", late)
    with pytest.raises(JobError, match="run the job again"):
        first.revised()
    assert not list((tmp_path / "out").glob(".staging*"))
    monkeypatch.undo()
    assert run_job(first.path).record["issue"] == 2
    assert everything(newest_issue(tmp_path / "out").package, "select code from points where fid = 1") != [("EDITED",)]


@pytest.mark.parametrize("beyond", [-1, 0, 1, 4, 6])
def test_a_disk_that_fills_while_a_copy_is_changed(beyond: int, wide: Path, tmp_path: Path) -> None:
    """No file may grow beyond so many pages more than the previous issue has; said as such, nothing is left over."""
    first = First.of(wide, tmp_path)
    size = first.newest.package.stat().st_size + 4096 * beyond
    revise(first.job, tmp_path, 0.004)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        found = CliRunner().invoke(app, ["run", str(first.path)])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert found.exit_code == 2 and "check the disk" in found.stderr, found.output
    assert first.newest.record["issue"] == 1
    assert not list((tmp_path / "out").glob(".staging*"))
    assert run_job(first.path).record["issue"] == 2
