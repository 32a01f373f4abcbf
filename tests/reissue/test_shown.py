"""Drafters get what was issued under every name, also where a folder was copied with its links followed."""

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.office.job_files import find_job_files
from pipeline.office.state import state
from pipeline.problems import JobError
from pipeline.release import release
from pipeline.run.glance import unchanged_at_a_glance


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two issues; the second was made since a mark was raised by 6 mm."""
    folder, job = tmp_path_factory.mktemp("shown"), simulate(Plan(sessions=1, points=6, noise=False))
    path = job.write(folder)
    run_job(path)
    job.mistype("CM1", "height", 0.006)
    job.write(folder)
    run_job(path)
    return path


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Path:
    """The same in a folder of its own, links as they were."""
    shutil.copytree(made.parent, tmp_path / "job", symlinks=True)
    path = tmp_path / "job" / made.name
    run_job(path)
    return path


@pytest.fixture
def copied(made: Path, tmp_path: Path) -> Path:
    """The same copied with links followed, as programs that keep folders on several machines do."""
    shutil.copytree(made.parent, tmp_path / "copied")
    return tmp_path / "copied" / made.name


def place_of(path: Path, number: int = 2) -> Path:
    return path.parent / "out" / "issues" / f"{number:03d}"


def current(path: Path) -> Path:
    return path.parent / "out" / "current"


def numbered(place: Path, number: int, ending: str) -> Path:
    (found,) = place.glob(f"*-{number:03d}.{ending}")
    return found


def plain(place: Path, ending: str) -> Path:
    """Return the name without the number."""
    (found,) = [path for path in place.glob(f"*.{ending}") if not path.stem[-3:].isdigit()]
    return found


def raise_a_point(package: Path) -> None:
    """Raise one point by a metre, as somebody does who has it open."""
    with closing(sqlite3.connect(package)) as file:
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        file.execute("UPDATE points SET height = height + 1 WHERE fid = 3")
        file.commit()


def office(path: Path) -> str:
    """Return in the office's words what a job needs."""
    (job,) = find_job_files([path]).jobs
    return "; ".join(what for _, what in state(job, datetime(2026, 1, 1, tzinfo=UTC)).needs)


def whole(path: Path) -> bool:
    """Say whether every name that drawings link to has the bytes that were issued."""
    names = (plain, lambda place, ending: numbered(place, 2, ending))
    return all(
        name(current(path), ending).read_bytes() == numbered(place_of(path), 2, ending).read_bytes()
        for name in names
        for ending in ("gpkg", "html")
    )


EDITS: dict[str, Callable[[Path], None]] = {
    "a height in the copy": lambda path: raise_a_point(plain(current(path), "gpkg")),
    "a height in the numbered file of the copy": lambda path: raise_a_point(numbered(current(path), 2, "gpkg")),
    "a report written to": lambda path: plain(current(path), "html").write_bytes(b"<p>all is well</p>"),
    "a file of the issue before": lambda path: shutil.copyfile(
        numbered(place_of(path, 1), 1, "gpkg"), plain(current(path), "gpkg")
    ),
}


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_what_somebody_changed_in_a_copy_is_refused_by_name(edit: Callable[[Path], None], copied: Path) -> None:
    edit(copied)
    assert "which it should be a copy of" in office(copied)
    for dry_run in (True, False):
        with pytest.raises(JobError, match=r"current/.* which it should be a copy of"):
            run_job(copied, dry_run=dry_run)
    shutil.rmtree(current(copied))
    assert not run_job(copied).issued and whole(copied) and not office(copied)


def test_a_release_does_not_write_over_what_somebody_changed(copied: Path) -> None:
    raise_a_point(plain(current(copied), "gpkg"))
    before = plain(current(copied), "gpkg").read_bytes()
    with pytest.raises(JobError, match=r"current/.* which it should be a copy of"):
        release(copied, 1, "drawn from the first")
    assert plain(current(copied), "gpkg").read_bytes() == before


def test_a_link_in_a_copy_that_leads_nowhere_is_laid_again(copied: Path) -> None:
    """As where the copy is of another issue than the link was made in."""
    name = plain(current(copied), "html")
    name.unlink()
    name.symlink_to(f"{name.stem}-001.html")
    assert office(copied)
    run_job(copied)
    assert whole(copied) and office(copied) == ""


def test_a_copy_made_whole_has_the_names_that_drawings_link_to(copied: Path) -> None:
    """Issues made where links were not to be had have no such names of their own: they are laid at once."""
    for number in (1, 2):
        for path in place_of(copied, number).iterdir():
            if path.suffix in (".gpkg", ".html") and not path.stem[-3:].isdigit():
                path.unlink()
    package = numbered(current(copied), 2, "gpkg")
    package.write_bytes(package.read_bytes()[:5000])
    run_job(copied)
    assert whole(copied)


@pytest.mark.parametrize("link", [False, True])
def test_another_issues_file_behind_the_plain_name(link: bool, job: Path) -> None:
    """A link holds nothing that could be lost and is put right; a file is for somebody to look at."""
    name, other = plain(place_of(job), "gpkg"), numbered(place_of(job, 1), 1, "gpkg")
    name.unlink()
    if link:
        name.symlink_to(Path("..", "001", other.name))
    else:
        shutil.copyfile(other, name)
    assert unchanged_at_a_glance(job) is None and "current/" in office(job)
    if not link:
        with pytest.raises(JobError, match="which it should be a copy of"):
            run_job(job)
        name.unlink()
    assert not run_job(job).issued and whole(job) and not office(job)


@pytest.mark.parametrize("link", [False, True])
def test_another_issue_under_current_needs_attention_until_a_run_puts_it_right(link: bool, job: Path) -> None:
    """Nobody released it: drafters would draw from superseded coordinates, and no history says why."""
    shown = current(job)
    shown.unlink()
    if link:
        shown.symlink_to("issues/001", target_is_directory=True)
    else:
        shutil.copytree(place_of(job, 1), shown, symlinks=True)
    assert "current shows issue 001 instead of 002" in office(job)
    assert not run_job(job).issued and whole(job) and not office(job)


def test_an_older_issue_that_was_released_by_hand_is_the_one_to_show(job: Path) -> None:
    release(job, 1, "CM1 is checked again")
    assert not office(job)


def test_a_copy_that_came_in_part_is_made_whole(copied: Path) -> None:
    """A report of no bytes, a file cut off, one that is missing: nobody has changed anything."""
    plain(current(copied), "html").write_bytes(b"")
    package = plain(current(copied), "gpkg")
    package.write_bytes(package.read_bytes()[:50_000])
    numbered(current(copied), 2, "gpkg").unlink()
    told = office(copied).split("; ")
    assert len([text for text in told if "the next run" in text]) == 3 and "which it should be a copy of" not in office(
        copied
    )
    assert [text for text in told if "is only part of" in text and package.name in text]
    assert not run_job(copied).issued and whole(copied) and not office(copied)


def test_a_whole_copy_is_read_once_and_then_known_by_its_signs(copied: Path) -> None:
    """Also where a viewer opened it; nothing in it is laid again."""
    with closing(sqlite3.connect(plain(current(copied), "gpkg"))) as file:
        file.execute("PRAGMA journal_mode = WAL")
    before = {path.name: path.stat().st_ino for path in current(copied).iterdir()}
    assert not run_job(copied).issued
    assert {path.name: path.stat().st_ino for path in current(copied).iterdir()} == before
    assert unchanged_at_a_glance(copied) is not None and not office(copied)
    raise_a_point(plain(current(copied), "gpkg"))
    assert unchanged_at_a_glance(copied) is None
    with pytest.raises(JobError, match="which it should be a copy of"):
        run_job(copied)


def test_where_links_are_not_to_be_had_nothing_is_laid_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run that changes nothing lays nothing in the issue, and a glance is enough from the first on."""

    def refused(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "links are not to be had")

    monkeypatch.setattr(os, "symlink", refused)
    path = simulate(Plan(sessions=1, points=6)).write(tmp_path)
    run_job(path)
    before = sorted(one.name for one in place_of(path, 1).iterdir())
    for _ in range(2):
        assert unchanged_at_a_glance(path) is not None and not office(path)
        assert not run_job(path).issued
        assert sorted(one.name for one in place_of(path, 1).iterdir()) == before
    assert not current(path).is_symlink() and plain(current(path), "gpkg").is_file()
