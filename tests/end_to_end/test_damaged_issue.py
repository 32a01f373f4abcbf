"""A newest issue that is damaged, gone or altered: told in words by every command, and set aside without losing it."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from altered import change, touch_header
from simulate import Plan, simulate
from simulate_files import write_register

from pipeline import JobError, check_job, run_job
from pipeline.aside import set_aside
from pipeline.history import Incomplete, history
from pipeline.issue.folder.issues_list import read_issues_list
from pipeline.release import release
from pipeline.run.glance import unchanged_at_a_glance
from pipeline.trace import trace
from pipeline.verify import verify

Damage = Callable[[Path], object]


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a small job with two issues."""
    folder = tmp_path_factory.mktemp("damaged") / "job"
    job = simulate(Plan(sessions=1, points=4, noise=False))
    path = job.write(folder)
    run_job(path)
    job.mistype("CM1", "height", 0.002)
    write_register(job.register, folder / "register.csv")
    assert run_job(path).record["issue"] == 2
    return folder


@pytest.fixture
def job(issued: Path, tmp_path: Path) -> Path:
    shutil.copytree(issued, tmp_path / "job", symlinks=True)
    return tmp_path / "job" / "job.toml"


def _replace(path: Path) -> None:
    path.unlink()
    path.mkdir()


def _say(issue: Path, key: str, value: object) -> None:
    record = json.loads((issue / "issue.json").read_text(encoding="utf-8"))
    (issue / "issue.json").write_text(json.dumps(record | {key: value}), encoding="utf-8")


RECORDS: dict[str, Damage] = {
    "cut short": lambda issue: (issue / "issue.json").write_bytes((issue / "issue.json").read_bytes()[:700]),
    "empty": lambda issue: (issue / "issue.json").write_bytes(b""),
    "binary": lambda issue: (issue / "issue.json").write_bytes(bytes(range(256))),
    "a list": lambda issue: (issue / "issue.json").write_text("[1, 2]"),
    "of wrong types": lambda issue: _say(issue, "rows", "many"),
    "altered": lambda issue: _say(issue, "verdict", "failed"),
    "of another issue": lambda issue: shutil.copy(issue.parent / "001" / "issue.json", issue),
    "gone": lambda issue: (issue / "issue.json").unlink(),
    "a folder": lambda issue: _replace(issue / "issue.json"),
    "gone with all of the issue": shutil.rmtree,
}
FILES: dict[str, Damage] = {
    "GeoPackage gone": lambda issue: (issue / "simulated-002.gpkg").unlink(),
    "GeoPackage cut short": lambda issue: (issue / "simulated-002.gpkg").write_bytes(b"SQLite format 3\0"),
    "GeoPackage a folder": lambda issue: _replace(issue / "simulated-002.gpkg"),
    "GeoPackage altered": lambda issue: change(
        issue / "simulated-002.gpkg", "UPDATE points SET easting = easting + 5 WHERE name = 'S01-00002'"
    ),
    "report gone": lambda issue: (issue / "simulated-002.html").unlink(),
    "report altered": lambda issue: (issue / "simulated-002.html").write_text("<p>all is well</p>"),
}


@pytest.mark.parametrize("damage", RECORDS)
def test_a_damaged_record_is_told_by_every_command_and_set_aside(job: Path, damage: str) -> None:
    """Nothing is written until it is set aside; then the run goes on from the previous issue, under the next number."""
    folder = job.parent / "out"
    RECORDS[damage](folder / "issues" / "002")
    left = sorted(path.name for path in (folder / "issues").rglob("*"))
    for command in (
        run_job,
        lambda path: run_job(path, dry_run=True),
        check_job,
        history,
        lambda path: trace(path, "S01-00002"),
    ):
        with pytest.raises(JobError) as caught:
            command(job)
        (problem,) = caught.value.problems
        assert "issue 002" in problem.what and "tiedown verify" in problem.fix and "aside JOB 2" in problem.fix
    assert [finding.issue for finding in verify(folder).findings if finding.differs and finding.issue] != []
    assert sorted(path.name for path in (folder / "issues").rglob("*")) == left

    done = set_aside(job, 2)
    assert done.stands == 1 and (folder / "current").resolve().name == "001"
    if damage != "gone with all of the issue":
        assert done.kept is not None and (done.kept / "simulated-002.gpkg").is_file()
    assert (read_issues_list(folder)[-1].issue, read_issues_list(folder)[-1].verdict) == (2, "set aside")
    outcome = run_job(job)
    assert outcome.issued and outcome.record["issue"] == 3
    changes = outcome.record["changes"]
    assert changes is not None and changes["since"] == 1 and changes["moved"] == 4
    assert verify(folder).intact and [entry.issue for entry in history(job)] == [1, 3]


@pytest.mark.parametrize("damage", FILES)
def test_a_run_with_nothing_changed_notices_what_became_of_the_files(job: Path, damage: str) -> None:
    folder = job.parent / "out"
    FILES[damage](folder / "issues" / "002")
    for command in (run_job, lambda path: run_job(path, dry_run=True), check_job, history):
        with pytest.raises(JobError, match=r"issue 002 is damaged: the file (is gone|is not what was issued|cannot)"):
            command(job)
    set_aside(job, 2)
    assert run_job(job).record["issue"] == 3


def test_files_as_they_were_noted_are_not_read_again(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that was copied has other times: its files are summed once, and known by their signs after that."""
    assert not run_job(job).issued
    for name in ("geopackage.recount.has_issued_bytes", "folder.intact.digest"):
        monkeypatch.setattr(f"pipeline.issue.{name}", lambda *_: pytest.fail("summed again"))
    assert not run_job(job).issued


def test_what_a_viewer_touches_is_no_damage(job: Path) -> None:
    touch_header(job.parent / "out" / "issues" / "002" / "simulated-002.gpkg")
    assert not run_job(job).issued and history(job)
    with pytest.raises(JobError, match="is what was issued"):
        set_aside(job, 2)


def test_a_record_of_a_later_version_is_left_to_that(job: Path) -> None:
    _say(job.parent / "out" / "issues" / "002", "schema", 99)
    for command in (run_job, check_job, history, lambda path: set_aside(path, 2)):
        with pytest.raises(JobError) as caught:
            command(job)
        assert "later version" in caught.value.problems[0].fix


def test_an_older_issue_that_is_damaged_costs_no_run(job: Path) -> None:
    """History names it and shows the others; a number that was set aside is not given again, whatever is deleted."""
    shutil.rmtree(job.parent / "out" / "issues" / "001")
    assert not run_job(job).issued
    with pytest.raises(Incomplete) as caught:
        history(job)
    assert [entry.issue for entry in caught.value.entries] == [2] and "issue 001 is missing" in str(caught.value)
    set_aside(job, 1)
    assert len(history(job)) == 1
    (job.parent / "out" / "issues" / "002" / "issue.json").unlink()
    set_aside(job, 2)
    shutil.rmtree(job.parent / "out" / "set-aside")
    assert not (job.parent / "out" / "current").is_symlink()
    assert run_job(job).record["issue"] == 3


@pytest.mark.parametrize("content", [b"\x00\xff\x80 not a list", b"mark,easting\nCM1,2\n", b'issue,made_at\n2,"', None])
def test_a_damaged_list_is_told_and_written_anew_once_it_was_renamed(job: Path, content: bytes | None) -> None:
    path = job.parent / "out" / "register.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    if content is None:
        _replace(path)
    else:
        path.write_bytes(content)
    for command in (run_job, lambda path: run_job(path, dry_run=True), check_job, history):
        with pytest.raises(JobError) as caught:
            command(job)
        (problem,) = caught.value.problems
        assert "register.csv" in problem.what and "rename it" in problem.fix
    assert any(finding.file == "register.csv" and finding.differs for finding in verify(path.parent).findings)
    path.rename(path.with_name("damaged.csv"))
    assert not run_job(job).issued
    anew = path.read_text(encoding="utf-8").splitlines()
    assert [line[:4] for line in anew] == [line[:4] for line in lines]


def test_a_list_saved_by_a_spreadsheet_goes_on(job: Path) -> None:
    path = job.parent / "out" / "register.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",", ";"), encoding="utf-8-sig")
    assert not run_job(job).issued
    assert [entry.made_at is not None for entry in history(job)] == [True, True]


def _copied(issues: Path) -> None:
    shutil.copytree(issues / "002", issues / "003", symlinks=True)


def _copied_and_numbered(issues: Path) -> None:
    _copied(issues)
    _say(issues / "003", "issue", 3)


def _record_alone(issues: Path) -> None:
    (issues / "003").mkdir()
    shutil.copy(issues / "002" / "issue.json", issues / "003")


STRANGE: dict[str, Damage] = {
    "copied": _copied,
    "copied and numbered by hand": _copied_and_numbered,
    "the record alone": _record_alone,
}


def _state(folder: Path) -> tuple[str, bytes, list[str]]:
    """What drawings and people see: where `current` leads, the issues list, and all names."""
    names = sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))
    return str((folder / "current").readlink()), (folder / "register.csv").read_bytes(), names


@pytest.mark.parametrize("how", STRANGE)
def test_a_folder_that_somebody_put_among_the_issues_is_never_shown_or_listed(job: Path, how: str) -> None:
    """A run that says that nothing was written has written nothing; set aside, all goes on."""
    folder = job.parent / "out"
    assert not run_job(job).issued
    STRANGE[how](folder / "issues")
    before = _state(folder)
    assert unchanged_at_a_glance(job) is None and _state(folder) == before
    for command in (run_job, lambda path: run_job(path, dry_run=True), check_job):
        with pytest.raises(JobError, match="issue 003 is damaged"):
            command(job)
        assert _state(folder) == before
    assert release(job, 2, "the one that was checked").was_current
    assert _state(folder) == before
    assert set_aside(job, 3).stands == 2
    assert not run_job(job).issued and verify(folder).intact and (folder / "current").resolve().name == "002"


def _unfinished(job: Path) -> Path:
    """A third issue as a run leaves it that died once it had appeared: not listed, `current` as before."""
    folder = job.parent / "out"
    seen = (folder / "register.csv").read_bytes()
    job.write_text(f"{job.read_text(encoding='utf-8')}\n[checks]\nvertical = 0.06\n", encoding="utf-8")
    assert run_job(job).record["issue"] == 3
    (folder / "register.csv").write_bytes(seen)
    (folder / "current").unlink()
    (folder / "current").symlink_to("issues/002")
    return folder


def test_a_whole_issue_that_a_dead_run_left_is_listed_and_shown(job: Path) -> None:
    """Also where a viewer has touched it since."""
    folder = _unfinished(job)
    touch_header(folder / "issues" / "003" / "simulated-003.gpkg")
    assert not run_job(job).issued
    assert (folder / "current").resolve().name == "003"
    assert [entry.issue for entry in read_issues_list(folder)] == [1, 2, 3]


@pytest.mark.parametrize("damage", FILES)
def test_an_unfinished_issue_that_is_not_whole_is_never_shown_or_listed(job: Path, damage: str) -> None:
    """A power cut took what was written last, or a copy was interrupted; also where the job has changed by now."""
    folder = _unfinished(job)
    place = folder / "issues" / "003"
    for name in ("simulated-003.gpkg", "simulated-003.html"):
        (place / name).rename(place / name.replace("003", "002"))
    FILES[damage](place)
    for path in (*place.glob("*-002.*"),):
        path.rename(place / path.name.replace("002", "003"))
    before = _state(folder)
    for more in ("", "[shift]\nlimit_vertical = 30\n"):
        job.write_text(job.read_text(encoding="utf-8") + more, encoding="utf-8")
        assert unchanged_at_a_glance(job) is None
        with pytest.raises(JobError, match="issue 003 is damaged"):
            run_job(job)
        assert _state(folder) == before
    set_aside(job, 3)
    assert run_job(job).record["issue"] == 4 and (folder / "current").resolve().name == "004"


def test_current_is_not_made_again_for_an_altered_issue(job: Path) -> None:
    """Somebody deleted the link, and somebody altered what it led to: the run is refused, and nothing is shown."""
    folder = job.parent / "out"
    FILES["GeoPackage altered"](folder / "issues" / "002")
    (folder / "current").unlink()
    with pytest.raises(JobError, match="issue 002 is damaged"):
        run_job(job)
    assert not (folder / "current").is_symlink()


def test_a_list_that_is_lost_is_rebuilt_without_what_is_no_issue(job: Path) -> None:
    """Of two issues and a copy between higher numbers, what is whole has its line."""
    folder = job.parent / "out"
    (folder / "register.csv").unlink()
    _say(folder / "issues" / "001", "issue", 7)
    assert not run_job(job).issued
    assert [entry.issue for entry in read_issues_list(folder)] == [2]
