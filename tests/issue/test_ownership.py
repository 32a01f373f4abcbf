"""What lies in a job's folder and is not ours is told, and left as it is; so is a folder that is another job's."""

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from issue_folder import issue

from pipeline.issue.folder.folder_names import MARKER, is_scratch, scratch
from pipeline.issue.folder.marker import Marker, read_marker
from pipeline.issue.folder.ownership import Owner, claim, find_keeper, in_the_way
from pipeline.issue.folder.publish import job_lock, recover
from pipeline.problems import JobError

Lay = Callable[[Path], object]


def file(name: str, text: str = "mine") -> Lay:
    def lay(folder: Path) -> None:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    return lay


def link(name: str, target: str) -> Lay:
    return lambda folder: (folder / name).symlink_to(target)


def place(name: str) -> Lay:
    return lambda folder: (folder / name).mkdir(parents=True)


STRANGERS: dict[str, tuple[Lay, str]] = {
    "a register of control marks": (file("register.csv", "mark,easting,northing\nCM1,1,2\n"), "register.csv"),
    "an empty list": (file("register.csv", ""), "register.csv"),
    "bytes for a list": (file("register.csv", "issue,made_at,verdict,because\n\0\0"), "register.csv"),
    "a folder for a list": (place("register.csv"), "register.csv"),
    "current as a file": (file("current"), "current"),
    "current as a folder": (file("current/plan.txt"), "current"),
    "current as an empty folder": (place("current"), "current"),
    "current as a link elsewhere": (link("current", "/elsewhere"), "current"),
    "current as a link beside": (link("current", "drawings/3"), "current"),
    "issues as a file": (file("issues"), "issues"),
    "somebody's issues": (file("issues/leaking-roof.txt"), "issues"),
    "somebody's numbered issues": (file("issues/001/issue.json", '{"title": "leaking roof"}'), "issues"),
    "a folder that is named like staging": (file(".staging-photos/a.jpg"), ".staging-photos"),
    "a folder named to the letter like staging": (file(".staging-12-0123abcd/a.jpg"), ".staging-12-0123abcd"),
    "a note that is no note": (file(".confirmed"), ".confirmed"),
    "a lock with something in it": (file(".lock"), ".lock"),
    "a folder for a lock": (place(".lock"), ".lock"),
    "issues set aside by somebody": (file("set-aside/a.txt"), "set-aside"),
    "a marker of another program": (file(MARKER, '{"format": 1}'), MARKER),
    "a marker cut short": (file(MARKER, '{"format": 1, "writ'), MARKER),
    "an empty marker": (file(MARKER, ""), MARKER),
    "a marker of a later version": (file(MARKER, '{"written_by": "tiedown", "format": 2}'), "later version"),
}


def tree(folder: Path) -> dict[str, object]:
    """Everything in a folder, with the content of files and the targets of links."""
    return {
        str(path.relative_to(folder)): os.readlink(path)
        if path.is_symlink()
        else path.read_bytes()
        if path.is_file()
        else None
        for path in sorted(folder.rglob("*"))
    }


@pytest.fixture
def owner(tmp_path: Path) -> Owner:
    return Owner("j", job_file(tmp_path / "job.toml"))


def job_file(path: Path, folder: str = "out") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f'[job]\nname = "j"\nfolder = "{folder}"\n', encoding="utf-8")
    return path


@pytest.mark.parametrize("stranger", STRANGERS)
def test_what_is_somebody_elses_is_named_and_left(stranger: str, tmp_path: Path, owner: Owner) -> None:
    lay, named = STRANGERS[stranger]
    folder = tmp_path / "out"
    folder.mkdir()
    lay(folder)
    before = tree(folder)
    clashes = in_the_way(folder, owner)
    assert len(clashes) == 1 and named in clashes[0][0] and clashes[0][1], clashes
    with pytest.raises(JobError):
        claim(folder, owner)
    assert tree(folder) == before


def test_what_has_none_of_our_names_is_in_nobodys_way(tmp_path: Path, owner: Owner) -> None:
    """A folder of exports with the job file in it, or one that is not there yet, or an empty one."""
    for name in ("rover.csv", "issues.csv", "current.gpkg", "notes/register.csv", ".staging"):
        file(name)(tmp_path / "dot")
    for folder in (tmp_path / "dot", tmp_path / "none", tmp_path):
        assert in_the_way(folder, owner) == []
    with job_lock(tmp_path / "dot", owner):
        pass
    assert read_marker(tmp_path / "dot") == Marker("j", "../job.toml")


def test_a_folder_of_an_earlier_version_is_known_by_its_issues_and_gets_the_marker(
    tmp_path: Path, owner: Owner
) -> None:
    """With what such a version leaves beside them; a name that is only like ours stays."""
    folder = tmp_path / "out"
    issue(folder)
    (folder / ".confirmed").write_text('{"issue": 1, "at_hand": "00"}\n')
    (folder / ".staging-12-0123abcd").mkdir()
    file(".staging-photos/a.jpg")(folder)
    assert in_the_way(folder, owner) == []
    with job_lock(folder, owner):
        recover(folder)
    assert read_marker(folder) == Marker("j", "../job.toml")
    assert not (folder / ".staging-12-0123abcd").exists() and (folder / ".staging-photos/a.jpg").exists()


@pytest.mark.parametrize("stranger", [name for name in STRANGERS if "staging" not in name and "numbered" not in name])
def test_in_a_marked_folder_too_nothing_of_somebody_elses_goes(stranger: str, tmp_path: Path, owner: Owner) -> None:
    """A folder or file put in the place of ours later on. An empty list, a lock, notes, issues set aside are ours."""
    folder = tmp_path / "out"
    with job_lock(folder, owner):
        pass
    issue(folder)
    lay, named = STRANGERS[stranger]
    target = folder / named.split("/", maxsplit=1)[0]
    if target.is_dir() and not target.is_symlink():
        shutil.rmtree(target)
    else:
        target.unlink(missing_ok=True)
    lay(folder)
    before = tree(folder)
    clashes = in_the_way(folder, owner)
    ours = ("an empty list", "a note that", "a lock with", "issues set aside", "somebody's issues")
    assert bool(clashes) != stranger.startswith(ours), (stranger, clashes)
    assert tree(folder) == before


def test_a_copy_of_an_issue_is_ours_until_somebody_puts_something_in(tmp_path: Path, owner: Owner) -> None:
    """Where links are not to be had; what a viewer lays beside the GeoPackage does not count."""
    folder = tmp_path / "out"
    with job_lock(folder, owner):
        pass
    made = issue(folder)
    (folder / "current").unlink()
    shutil.copytree(made, folder / "current")
    file("current/j-001.gpkg-wal")(folder)
    assert in_the_way(folder, owner) == []
    file("current/plan.qgz")(folder)
    assert "plan.qgz" in in_the_way(folder, owner)[0][0]


def test_only_names_to_the_letter_are_swept() -> None:
    for name in (scratch(), scratch("register.csv"), scratch(MARKER), ".staging-1.confirmed"):
        assert is_scratch(name), name
    for name in (".staging-", ".staging-1", ".staging-photos", ".staging-1-abc", ".staging-1-0123ABCD", "staging-1"):
        assert not is_scratch(name), name


def test_a_run_killed_before_the_marker_is_in_nobodys_way(tmp_path: Path, owner: Owner) -> None:
    """An empty lock and a marker half written are all that it can leave."""
    folder = tmp_path / "out"
    file(".lock", "")(folder)
    file(scratch(MARKER), '{"form')(folder)
    with job_lock(folder, owner):
        recover(folder)
    assert {path.name for path in folder.iterdir()} == {".lock", MARKER}


class TestWhoseItIs:
    """A folder is that of the job file which was run last in it, as long as that is there and names it."""

    @pytest.fixture
    def folder(self, tmp_path: Path, owner: Owner) -> Path:
        with job_lock(tmp_path / "out", owner):
            pass
        issue(tmp_path / "out")
        return tmp_path / "out"

    def test_another_job_file_is_refused(self, folder: Path, tmp_path: Path, owner: Owner) -> None:
        for other in (job_file(tmp_path / "b.toml"), job_file(tmp_path / "deep" / "b.toml", "../out")):
            ((what, fix),) = in_the_way(folder, Owner("j", other))
            assert str(owner.file) in what and "a separate folder" in fix
            assert in_the_way(folder, owner) == []

    def test_a_job_file_that_was_moved_renamed_or_edited_goes_on(self, folder: Path, tmp_path: Path) -> None:
        (tmp_path / "job.toml").rename(tmp_path / "renamed.toml")
        renamed = Owner("j", tmp_path / "renamed.toml")
        claim(folder, renamed)
        assert read_marker(folder) == Marker("j", "../renamed.toml")
        job_file(tmp_path / "renamed.toml", "elsewhere")  # it is another job by now
        claim(folder, Owner("j", job_file(tmp_path / "deep" / "b.toml", "../out")))
        with (tmp_path / "deep" / "b.toml").open("a") as edited:
            edited.write("# more\n")
        assert in_the_way(folder, Owner("j", tmp_path / "deep" / "b.toml")) == []

    def test_a_job_file_that_cannot_be_read_now_keeps_its_folder(self, folder: Path, tmp_path: Path) -> None:
        (tmp_path / "job.toml").write_text("[job\n")
        assert in_the_way(folder, Owner("j", job_file(tmp_path / "b.toml")))

    def test_a_copy_of_the_whole_goes_its_own_way(self, folder: Path, tmp_path: Path, owner: Owner) -> None:
        copy = tmp_path / "copy"
        shutil.copytree(folder, copy / "out", symlinks=True)
        shutil.copy(owner.file, copy / "job.toml")
        assert in_the_way(copy / "out", Owner("j", copy / "job.toml")) == []

    def test_the_same_file_by_another_way_is_the_same_job(self, folder: Path, tmp_path: Path) -> None:
        (tmp_path / "way").symlink_to(tmp_path)
        (tmp_path / "link.toml").symlink_to(tmp_path / "job.toml")
        for path in ("way/job.toml", "link.toml"):
            assert in_the_way(folder, Owner("j", tmp_path / path)) == []

    def test_another_name_is_refused_once_there_is_an_issue(self, folder: Path, tmp_path: Path, owner: Owner) -> None:
        ((what, fix),) = in_the_way(folder, Owner("k", owner.file))
        assert "the job j" in what and "keep the name" in fix
        empty = tmp_path / "empty"
        with job_lock(empty, owner):
            pass
        assert in_the_way(empty, Owner("k", owner.file)) == []

    def test_a_folder_within_anothers_issues_is_refused(self, folder: Path, owner: Owner) -> None:
        for inside in ("issues", "issues/001", "current", "set-aside/x"):
            assert "is inside the issues" in in_the_way(folder / inside, owner)[0][0]
        assert in_the_way(folder / "beside", owner) == []


def test_no_export_is_looked_for_among_what_runs_write(tmp_path: Path, owner: Owner) -> None:
    """In a folder that is ours; in any other these names are the user's."""
    path = tmp_path / "register.csv"
    assert not find_keeper(tmp_path)(path)
    (tmp_path / MARKER).write_text(json.dumps({"written_by": "tiedown", "format": 1, "job": "j", "job_file": "x"}))
    is_kept = find_keeper(tmp_path)
    assert is_kept(path) and is_kept(tmp_path / "issues/001/j-001.csv") and is_kept(tmp_path / scratch() / "x.csv")
    assert (
        not is_kept(tmp_path / "rover.csv") and not is_kept(tmp_path / "raw/register.csv") and not is_kept(Path("/x"))
    )
