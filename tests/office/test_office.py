"""`tiedown office`: what stands on the page over many jobs, and that making it touches none of them."""

import errno
import json
import os
import re
import time
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path
from urllib.parse import unquote

import pytest
from issued import everything_below
from office_jobs import FAILING, MADE, NOW, PENDING, add_issue, held, job_file, log
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.cli.office_command import moment
from pipeline.issue.folder.folder_names import LOCK
from pipeline.issue.folder.publish import recover
from pipeline.office.job_files import find_job_files
from pipeline.office.page import Written, office
from pipeline.office.words import WORDS
from pipeline.problems import JobError
from pipeline.run.retention import retain
from pipeline.run.run_log import HEAD

YESTERDAY = NOW - timedelta(days=1)


def made(top: Path, *named: Path, to: str = "page.html") -> tuple[Written, str]:
    """Make the page over what lies in a folder, and return what was found and the page."""
    written = office(named or [top / "jobs"], top / to, YESTERDAY, NOW)
    return written, (top / to).read_text(encoding="utf-8")


def only(top: Path, path: Path) -> tuple[str, list[str], str]:
    """Return the word of a job, what it needs, and the page over it alone."""
    written, page = made(top, path)
    (state,) = written.states
    return WORDS[state.word], [what for _, what in state.needs], page


@pytest.fixture
def whole_office(tmp_path: Path) -> Path:
    """A good job, one that fails, one that waits, one never issued, one that is no TOML; in that order by name."""
    jobs = tmp_path / "jobs"
    add_issue(job_file(jobs / "a-good"), local_clock="Pacific/Auckland")
    add_issue(job_file(jobs / "b-failing"), NOW - timedelta(hours=3), **FAILING)
    waiting = job_file(jobs / "c-waiting")
    add_issue(waiting)
    add_issue(waiting, NOW - timedelta(hours=2), "CM2 in the register", **FAILING, **PENDING)
    job_file(jobs / "d-never", "never")
    (job_file(jobs / "e-broken")).write_text('[job]\nname = "\n')
    return tmp_path


def test_jobs_stand_in_the_order_of_their_need_and_say_what_it_is(whole_office: Path) -> None:
    written, page = made(whole_office)
    words = [(one.path.parent.name, WORDS[one.word]) for one in written.states]
    assert words == [
        ("e-broken", "cannot be read"),
        ("c-waiting", "pending"),
        ("b-failing", "needs attention"),
        ("d-never", "never issued"),
        ("a-good", "good"),
    ]
    text = unescape(re.sub("<[^>]+>", " ", page))
    for said in (
        "issue 002 waits to be released; current stays at issue 001",
        "in session one, on which CM2-30 fails, 3 points of issue 001: 3 held back",
        'tiedown release JOB 2 --because "..."',
        "issue 001: CM2-30 on CM2 fails",
        "2026-04-02 04:00 UTC: issue 002 made, verdict failed: CM2 in the register",
        "10 points, 2 of 3 occupations pass, 0 held back",
        "5 jobs",
        "need attention: 1 cannot be read, 1 pending, 1 by what was issued, 1 never issued. The other 1 is good.",
    ):
        assert said in text, said
    assert re.search(r"4\s+need attention", text)
    assert "2026-03-03 06:00 UTC" in text and "2026-03-03 19:00 Pacific/Auckland" in text, "NZDT is UTC+13"
    assert "How old is this page?" in text and "2026-04-02 06:00 UTC" in text
    assert "<script" not in page.lower() and "http" not in page.replace("http-equiv", "")


def test_every_link_leads_to_what_is_there_whatever_its_name(tmp_path: Path) -> None:
    for name in ("50% ü#?&", "a:b", "<b>&amp;\"'", "two\nlines", " blank "):
        add_issue(job_file(tmp_path / "jobs" / name, file=f"{name}.toml"))
    bytes_only = tmp_path / "jobs" / os.fsdecode(b"\xff")
    add_issue(job_file(bytes_only))
    (tmp_path / "shared").mkdir()
    written, page = made(tmp_path, to="shared/page.html")
    assert not written.needing
    links = set(re.findall(r'href="([^"]*)"', page))
    assert len(links) == 3 * 6
    for link in links:
        assert link.startswith("./../jobs/")
        assert os.path.exists(os.path.join(tmp_path, "shared", os.fsdecode(unquote(link, errors="surrogateescape"))))
    assert "<b>&amp;" not in page and "two\\x0alines" in page


def test_hostile_names_and_texts_are_shown_and_do_nothing(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs", "<script>alert(1)</script>")
    add_issue(job_file(tmp_path / "jobs" / "two"), YESTERDAY, "<img src=x onerror=alert(2)>", **FAILING)
    _, page = made(tmp_path)
    assert path.is_file() and "<script" not in page and "<img" not in page
    assert "&lt;script&gt;alert(1)" in page and "&lt;img src=x" in page


def test_nothing_in_a_jobs_folder_is_written_and_no_run_is_waited_for(whole_office: Path) -> None:
    jobs = whole_office / "jobs"
    path = jobs / "a-good" / "job.toml"
    with held(path):
        before = everything_below(jobs)
        word, needs, page = only(whole_office, path)
        assert everything_below(jobs) == before
    assert word == "good" and not needs and f"being run now by process {os.getpid()} on " in page
    assert "being run now" not in only(whole_office, path)[2]


def test_the_same_jobs_give_the_same_page_but_for_the_times_told(whole_office: Path) -> None:
    pages = [made(whole_office)[1] for _ in range(2)]
    assert pages[0] == pages[1]
    later = NOW + timedelta(minutes=7)
    office([whole_office / "jobs"], whole_office / "page.html", YESTERDAY + timedelta(minutes=7), later)
    page = (whole_office / "page.html").read_text(encoding="utf-8")
    assert page != pages[0]
    for old, new in (("2026-04-02 06:07", "2026-04-02 06:00"), ("2026-04-01 06:07", "2026-04-01 06:00"),
                     ("2026-04-02 19:07", "2026-04-02 19:00"), ("2026-04-01 19:07", "2026-04-01 19:00")):  # fmt: skip
        page = page.replace(old, new)
    assert page == pages[0]
    assert {one.name for one in whole_office.iterdir()} == {"jobs", "page.html"}


# What runs left


@pytest.mark.parametrize(("word", "code"), [("refused", 2), ("died", 1), ("timed out", 2), ("fault", 1)])
def test_a_last_run_that_gave_no_issue_is_told_until_one_does(word: str, code: int, tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    at = f"{NOW - timedelta(days=9):%Y-%m-%dT%H:%M:%S}Z"
    bad = [f"{at}  exit code {code}  {word}  no new issue  tiedown 1  job.toml", "  what was wrong",
           "  the same until 2026-04-02T01:00:00Z, 9 runs".ljust(63)]  # fmt: skip
    held_off = "2026-04-02T02:00:00Z  exit code 4  held  no new issue  tiedown 1  job.toml"
    told = ["2026-04-02T01:00:09Z  notify  the command for refused ended with code 5  job.toml", "  what it printed"]
    log(path, *bad, *told, held_off)
    found, needs, page = only(tmp_path, path)
    assert found == word and needs[0].endswith("(9 runs alike): what was wrong")
    assert "what it printed" not in page
    log(path, *bad, held_off, "2026-04-02T05:00:00Z  exit code 0  unchanged  issue 001, proven  tiedown 1  job.toml")
    found, needs, page = only(tmp_path, path)
    assert found == "good" and not needs
    assert "2026-04-02 01:00 UTC: a run " in page and "2026-04-02 05:00 UTC" in page
    assert "unchanged, exit code 0" in page


def test_a_log_of_an_earlier_version_and_one_that_is_none_are_no_trouble(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    log(path, "2026-03-03T06:00:00Z  exit code 3  job.toml", "  made-up: issue 001 written", "not a line of ours")
    word, _, page = only(tmp_path, path)
    assert word == "good" and "exit code 3" in page
    (tmp_path / "jobs" / "out" / "runs.log").write_bytes(b"mine\xff\n")
    assert only(tmp_path, path)[0] == "good"


def test_a_log_that_cannot_be_read_is_no_sign_that_all_is_well(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    log = tmp_path / "jobs" / "out" / "runs.log"
    log.mkdir()
    word, (need,), _ = only(tmp_path, path)
    assert word == "needs attention" and f"how its last run ended is not known: {log} cannot be read" in need


def test_what_was_logged_beside_the_job_file_counts_if_it_was_last(tmp_path: Path) -> None:
    """Its folder was closed to those runs."""
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    log(path, "2026-04-02T03:00:00Z  exit code 0  unchanged  issue 001, proven  tiedown 1  job.toml")
    later = (
        "2026-04-02T04:00:00Z  exit code 2  refused  issue 001, proven  tiedown 1  job.toml\n  no issue can be written"
    )
    path.with_name(f"{path.name}.log").write_bytes(HEAD + f"{later}\n".encode())
    word, (need,), _ = only(tmp_path, path)
    assert word == "refused" and "no issue can be written" in need
    log(path, "2026-04-02T05:00:00Z  exit code 0  unchanged  issue 001, proven  tiedown 1  job.toml")
    assert only(tmp_path, path)[0] == "good"


def test_issues_that_may_not_be_looked_at_cost_the_other_jobs_no_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, other = job_file(tmp_path / "jobs" / "a"), job_file(tmp_path / "jobs" / "b")
    add_issue(path)
    add_issue(other)
    entries, closed = Path.iterdir, path.parent / "out" / "issues"

    def iterdir(folder: Path) -> Iterator[Path]:
        if folder == closed:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(folder))
        return iter(list(entries(folder)))

    monkeypatch.setattr(Path, "iterdir", iterdir)
    written, page = made(tmp_path)
    words = {one.path.parent.name: WORDS[one.word] for one in written.states}
    assert words == {"a": "cannot be run", "b": "good"} and "Permission denied" in page


def test_a_run_that_was_killed_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    with held(path):
        note = (tmp_path / "jobs" / "out" / ".held-by").read_bytes()
    # the process is alive, and holds no lock by the system's list: it is another one by now
    locks = tmp_path / "locks"
    monkeypatch.setattr("pipeline.issue.folder.lock_holder._LOCKS", locks)
    locks.write_text("1: FLOCK  ADVISORY  WRITE 7 08:01:1 0 EOF\n")
    (tmp_path / "jobs" / "out" / ".held-by").write_bytes(note)
    word, needs, _ = only(tmp_path, path)
    assert word == "died" and "did not finish" in needs[0]
    for listed in ("", f"1: FLOCK  ADVISORY  WRITE 7 08:01:{os.stat(tmp_path / 'jobs' / 'out' / LOCK).st_ino} 0 EOF\n"):
        locks.write_text(listed)
        assert only(tmp_path, path)[0] == "good", "a list that never has a lock says nothing; one that has it does"
    (tmp_path / "jobs" / "out" / ".held-by").unlink()
    untold = tmp_path / "jobs" / "out" / ".untold"
    untold.write_text("[1]\n")
    assert only(tmp_path, path)[0] == "good", "the run may be about to strike it out"
    os.utime(untold, (0, 0))
    log(path, "2026-04-02T02:00:00Z  exit code 0  issued  issue 001, proven  tiedown 1  job.toml")
    assert only(tmp_path, path)[0] == "good", "its batch lived to know of it"
    log(path)
    word, needs, _ = only(tmp_path, path)
    assert word == "died" and needs[0].startswith("issue 001 was written by a run that did not finish")


def test_a_run_that_has_been_under_way_for_days_is_not_said_to_have_died(tmp_path: Path) -> None:
    """One of this machine that lives holds the job still; of another machine's nobody here knows after an hour."""
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    note = tmp_path / "jobs" / "out" / ".held-by"
    with held(path):
        said = json.loads(note.read_bytes())
        for host in (said["host"], "office-2"):
            for hours in (0.5, 49):
                note.write_text(json.dumps(said | {"host": host, "since": "2026-03-02T20:00:00Z"}), encoding="utf-8")
                os.utime(note, (time.time() - 3600 * hours,) * 2)
                word, needs, _ = only(tmp_path, path)
                assert word == ("needs attention" if hours > 24 else "good"), (host, hours)
                told = f"by process {said['pid']} on {host}, since 2026-03-02T20:00:00Z"
                assert all(told in need for need in needs)
                if hours > 24:
                    assert ("under way for 2 days" if host == said["host"] else f"only {host} can tell") in needs[0]


def test_what_was_released_by_hand_is_told_with_why(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    add_issue(path, MADE, **FAILING)
    log(path)
    folder = tmp_path / "jobs" / "out"
    (folder / "current").unlink()
    (folder / "current").symlink_to("issues/001")
    with (folder / "register.csv").open("a") as file:
        file.write("002,2026-03-20T03:00:00Z,released,too early\n001,2026-04-02T03:00:00Z,released,CM2 was mistyped\n")
    word, needs, page = only(tmp_path, path)
    assert word == "needs attention", "as a run says of the newest issue"
    assert needs == ["issue 002: CM2-30 on CM2 fails"]
    assert "issue 001 released by hand: CM2 was mistyped" in page and "too early" not in page
    assert "current shows issue 001, and issue 002 is newer" in page


# Damage


def altered(place: Path) -> None:
    (place / "made-up-002.html").write_text("another page")


def unsealed(place: Path) -> None:
    record = place / "issue.json"
    record.write_text(record.read_text().replace('"verdict": "proven"', '"verdict": "failed"'))


def no_older(place: Path) -> None:
    (place.parent / "001" / "issue.json").unlink()


def gone(place: Path) -> None:
    place.rename(place.parent.parent / "elsewhere")


def no_record(place: Path) -> None:
    (place / "issue.json").write_text('{"a":')


def no_package(place: Path) -> None:
    (place / "made-up-002.gpkg").unlink()


@pytest.mark.parametrize("damage", [altered, unsealed, no_older, gone, no_record, no_package])
def test_a_damaged_issue_is_told(damage, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    damage(add_issue(path))
    word, needs, _ = only(tmp_path, path)
    assert word == "damaged" and re.match(r"issue 00[12]", needs[0])


def test_what_issue_keep_removed_is_no_damage_and_told(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    for _ in range(3):
        add_issue(path)
    folder = tmp_path / "jobs" / "out"
    with held(path):
        retain(folder, 1, 3)
        recover(folder)
    assert not list((folder / "issues" / "001").glob("*.gpkg"))
    word, needs, page = only(tmp_path, path)
    assert (word, needs) == ("good", [])
    assert "issue 002: files removed: issue.keep = 1: made-up-002.gpkg" in page
    (folder / "issues" / "002" / "removed.json").unlink()
    assert only(tmp_path, path)[0] == "damaged", "without the note somebody else removed them"


def test_a_geopackage_that_a_viewer_touched_is_a_remark(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    (add_issue(path) / "made-up-001.gpkg").write_bytes(b"gpkg of X")
    word, _, page = only(tmp_path, path)
    assert word == "good" and "was touched since; tiedown verify shows" in page


def test_a_folder_of_another_job_file_is_told_with_the_copy_and_not_with_the_job(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    copy = path.with_name("job copy.toml")
    copy.write_bytes(path.read_bytes())
    assert only(tmp_path, path)[0] == "good"
    word, needs, _ = only(tmp_path, copy)
    assert word == "cannot be run" and "belongs to another job file" in needs[0]


# What is looked at


def test_job_files_are_those_with_a_table_job_and_nothing_is_searched_twice(tmp_path: Path) -> None:
    jobs = tmp_path / "jobs"
    path = job_file(jobs / "north")
    add_issue(path)
    (jobs / "north" / "out" / "issues" / "001" / "copy.toml").write_bytes(path.read_bytes())
    job_file(jobs / ".hidden")
    (jobs / "north" / "up").symlink_to("..")
    (jobs / "self").symlink_to("self")
    (jobs / "pyproject.toml").write_text('[tool.x]\njob = "none"\n')
    (jobs / "bad.toml").write_text("a = = 1\n")
    (jobs / "utf16.toml").write_bytes('[job]\nname = "x"\n'.encode("utf-16"))
    found = find_job_files([jobs, path, jobs / "north", tmp_path / "gone"])
    assert [job.path.name for job in found.jobs] == ["job.toml", "utf16.toml"]
    assert "cannot be read" in found.jobs[1].why and not found.jobs[0].why
    assert [(Path(file).name, why) for file, why in found.skipped] == [
        ("bad.toml", "it has no table [job]"),
        ("up", "it is a link to a folder, which may lead anywhere: name that folder"),
        ("pyproject.toml", "it has no table [job]"),
    ]
    assert found.missing == ((str(tmp_path / "gone"), "there is no such file or folder"),)
    (named,) = find_job_files([jobs / "pyproject.toml"]).jobs
    assert named.why == "this is not a job file: it has no table [job]"


# The command


def tiedown(*arguments: str | Path) -> tuple[int, str]:
    found = CliRunner().invoke(app, ["office", *map(str, arguments)])
    return found.exit_code, found.output


def test_exit_codes_are_for_a_batch(tmp_path: Path) -> None:
    jobs, page = tmp_path / "jobs", tmp_path / "page.html"
    add_issue(job_file(jobs / "good"))
    assert tiedown(jobs, "--to", page) == (0, f"{page}: 1 job, none needs attention\n")
    assert tiedown(jobs, "--to", page, "--quiet") == (0, "")
    code, said = tiedown(jobs, tmp_path / "gone", "--to", page)
    assert code == 3 and "not checked" in said and "Not checked" in page.read_text()
    add_issue(job_file(jobs / "bad"), **FAILING)
    code, said = tiedown(jobs, "--to", page, "--quiet")
    assert code == 3 and "2 jobs, 1 needs attention" in said and "CM2-30 on CM2 fails" in said


def wrong(top: Path) -> Iterator[list[str | Path]]:
    jobs, page = top / "jobs", top / "page.html"
    (top / "empty").mkdir()
    yield [jobs]
    yield ["--to", page]
    yield [top / "gone", "--to", page]
    yield [top / "empty", "--to", page]
    yield [jobs, "--to", top / "page.txt"]
    yield [jobs, "--to", top / "gone" / "page.html"]
    yield [jobs, "--to", jobs / "out" / "issues" / "page.html"]
    yield [jobs, "--to", jobs / "out" / "current" / "made-up.html"]
    (top / "mine.html").write_text("<p>mine")
    yield [jobs, "--to", top / "mine.html"]
    (top / "folder.html").mkdir()
    yield [jobs, "--to", top / "folder.html"]
    for since in ("yesterday", "5", "2999-01-01", "-3h", "nan"):
        yield [jobs, "--to", page, f"--since={since}"]


def test_wrong_usage_writes_nothing(tmp_path: Path) -> None:
    add_issue(job_file(tmp_path / "jobs"))
    for arguments in wrong(tmp_path):
        before = everything_below(tmp_path)
        code, said = tiedown(*arguments)
        assert code == 2 and said and "Traceback" not in said, arguments
        assert everything_below(tmp_path) == before, arguments


def test_since_is_hours_days_a_date_or_a_time() -> None:
    assert moment("24h", NOW) == YESTERDAY == moment("1 d", NOW)
    assert moment("2026-04-01", NOW) == YESTERDAY - timedelta(hours=6)
    assert moment("2026-04-02T18:00+13:00", NOW) == NOW - timedelta(hours=1)


def test_a_page_keeps_its_rights_and_what_a_kill_left_beside_it_goes(tmp_path: Path) -> None:
    path, page = job_file(tmp_path / "jobs"), tmp_path / "page.html"
    add_issue(path)
    left, fresh = (tmp_path / f".staging-1-0123456{n}-page.html" for n in range(2))
    for file in (left, fresh):
        file.touch()
    os.utime(left, (0, 0))
    made(tmp_path)
    page.chmod(0o664)
    made(tmp_path)
    assert page.stat().st_mode & 0o777 == 0o664
    assert fresh.exists() and not left.exists()


def test_a_disk_that_refuses_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = job_file(tmp_path / "jobs")
    add_issue(path)
    made(tmp_path)
    before = everything_below(tmp_path)

    def full(at: Path, _: bytes) -> None:
        raise OSError(28, "No space left on device", str(at))

    monkeypatch.setattr("pipeline.office.page.write_synced", full)
    with pytest.raises(JobError, match="the disk is full"):
        made(tmp_path)
    assert everything_below(tmp_path) == before


def without_its_file(top: Path) -> Path:
    """Return the job file, deleted, of a job with an issue, beside another job."""
    add_issue(job_file(top / "jobs" / "here"))
    path = job_file(top / "jobs" / "gone")
    add_issue(path)
    path.unlink()
    return path


def test_issues_whose_job_file_was_deleted_are_told(tmp_path: Path) -> None:
    path = without_its_file(tmp_path)
    written, page = made(tmp_path)
    assert [(WORDS[one.word], one.path) for one in written.needing] == [("without a job file", path)]
    (told,) = (what for one in written.needing for _, what in one.needs)
    assert "is not there any more, and its issues still are" in told and told in unescape(page)
    assert f'href="./{path.relative_to(tmp_path).as_posix()}"' not in page  # there is nothing to be opened
    assert CliRunner().invoke(app, ["office", str(tmp_path / "jobs"), "--to", str(tmp_path / "p.html")]).exit_code == 3


def test_issues_alone_make_a_page_too(tmp_path: Path) -> None:
    path = without_its_file(tmp_path)
    written, _ = made(tmp_path, path.parent)
    assert [one.path for one in written.needing] == [path]


@pytest.mark.parametrize("content", ["", "x = 1\n"])
def test_a_file_that_is_no_job_file_any_more_is_told_with_its_issues(content: str, tmp_path: Path) -> None:
    path = without_its_file(tmp_path)
    path.write_text(content)
    written, _ = made(tmp_path)
    assert [(WORDS[one.word], one.path) for one in written.needing] == [("without a job file", path)]
    assert "this is no job file any more" in written.needing[0].needs[0][1]


@pytest.mark.parametrize("how", ["renamed", "elsewhere", "another folder", "no TOML"])
def test_issues_that_a_job_file_is_of_are_not_told(how: str, tmp_path: Path) -> None:
    """It may be called otherwise by now, lie where nobody looks, keep its issues in another folder, or be broken."""
    path = without_its_file(tmp_path)
    if how == "renamed":
        job_file(path.parent, file="other.toml")
    elif how == "elsewhere":
        job_file(path.parent)
        assert not made(tmp_path, tmp_path / "jobs" / "here", path.parent / "out")[0].needing
    elif how == "another folder":
        job_file(path.parent)
        path.write_text(path.read_text().replace('"out"', '"new"'))
    else:
        path.write_text('[job]\nname = "\n')
    assert "without a job file" not in [WORDS[one.word] for one in made(tmp_path)[0].states]


def test_a_folder_that_was_marked_and_has_no_issue_is_not_told(tmp_path: Path) -> None:
    path = job_file(tmp_path / "jobs" / "gone")
    add_issue(job_file(tmp_path / "jobs" / "here"))
    with held(path):
        pass
    path.unlink()
    assert not made(tmp_path)[0].needing
