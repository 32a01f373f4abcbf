"""What is laid beside the files of a job that stays as it is: a run says it, and so does a glance, until it is gone."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import check_job, run_job
from pipeline.run.glance import unchanged_at_a_glance
from pipeline.run.outcome import Outcome
from pipeline.sealed import sealed_off


def raised(text: str, by: float) -> str:
    """A register's rows, each mark so much higher."""
    heading, *rows = text.splitlines()
    parted = [row.split(",") for row in rows]
    higher = ([*cells[:3], f"{float(cells[3]) + by:.4f}", *cells[4:]] for cells in parted)
    return "\n".join([heading, *map(",".join, higher)])


def a_register(folder: Path) -> Path:
    path = folder / "marks-new.csv"
    path.write_text(raised((folder / "register.csv").read_text(encoding="utf-8"), 0.05), encoding="utf-8")
    return path


def another_day(folder: Path, to: Path) -> Path:
    to.parent.mkdir(exist_ok=True)
    rows = (folder / "raw" / "rover001.csv").read_text(encoding="utf-8")
    to.write_text(rows.replace("2026-03-", "2026-04-"), encoding="utf-8")
    return to


def an_export(folder: Path) -> Path:
    return another_day(folder, folder / "raw" / "other.csv")


def a_day_s_folder(folder: Path) -> Path:
    return another_day(folder, folder / "raw" / "day4" / "rover001.csv").parent


def capitals(folder: Path) -> Path:
    return another_day(folder, folder / "raw" / "rover009.CSV")


LAID: dict[str, tuple[Callable[[Path], Path], str]] = {
    "a register": (a_register, "marks-new.csv beside register.csv has"),
    "an export by another name": (an_export, "other.csv beside raw/rover001.csv has the same columns"),
    "an export in the folder of a day": (a_day_s_folder, "day4/rover001.csv beside raw/rover001.csv has the same"),
    "an export that differs by capitals": (capitals, "does not match rover009.CSV"),
}


def glanced(path: Path) -> Outcome | None:
    with sealed_off():
        return unchanged_at_a_glance(path)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job with its exports in a folder of their own, issued, and found unchanged at a glance."""
    path = simulate(Plan(sessions=1, points=12, checks=2, marks=5)).write(tmp_path)
    (tmp_path / "raw").mkdir()
    (tmp_path / "rover001.csv").rename(tmp_path / "raw" / "rover001.csv")
    text = path.read_text(encoding="utf-8")
    pattern = next(line for line in text.splitlines() if line.startswith("files = "))
    path.write_text(text.replace(pattern, 'files = ["raw/rover*.csv"]'), encoding="utf-8")
    assert run_job(path).issued
    assert glanced(path) is not None
    return path


@pytest.mark.parametrize("what", LAID)
def test_what_is_laid_beside_is_told_until_it_is_gone(what: str, job: Path) -> None:
    lay, said = LAID[what]
    laid = lay(job.parent)
    assert glanced(job) is None
    outcome = run_job(job)
    assert (outcome.issued, outcome.exit_code) == (False, 0)
    assert any(said in note for note in outcome.notes)
    assert set(outcome.notes) <= {warning.replace(str(job), job.name) for warning in check_job(job).warnings}
    seen = glanced(job)
    assert seen is not None and seen.notes == outcome.notes
    assert any(said in line for line in seen.new_notes())
    shutil.rmtree(laid) if laid.is_dir() else laid.unlink()
    assert glanced(job) is None
    assert run_job(job).notes == ()
    assert glanced(job) is not None


def test_what_was_noted_with_the_issue_is_not_told_as_new(job: Path) -> None:
    a_register(job.parent)
    shutil.rmtree(job.parent / "out")
    assert any("marks-new.csv" in note for note in run_job(job).record["notes"])
    job.write_text(f"# looked at\n{job.read_text(encoding='utf-8')}", encoding="utf-8")  # the lines move
    assert glanced(job) is None
    again = run_job(job)
    assert (again.issued, again.notes) == (False, ())


@pytest.mark.parametrize(
    ("name", "beside"),
    [("raw/photo.jpg", None), ("notes.log", None), ("raw/old/rover001.csv", True), ("raw/deep/er/rover001.csv", True),
     ("raw/of-another/rover001.csv", "job.toml"), ("raw/.hidden.csv", True)],
)  # fmt: skip
def test_what_nobody_would_read_is_not_told(name: str, beside: bool | str | None, job: Path) -> None:
    path = job.parent / name
    path.parent.mkdir(parents=True, exist_ok=True)
    if beside is None:
        path.write_bytes(b"x")
    else:
        another_day(job.parent, path)
    if isinstance(beside, str):
        (path.parent / beside).write_text('[job]\nname = "b"\n', encoding="utf-8")
    assert glanced(job) is not None
    assert run_job(job).notes == ()


def test_a_day_is_missed_among_folders_of_days(job: Path) -> None:
    folder = job.parent
    for number in (1, 2):
        (folder / "raw" / f"d{number}").mkdir()
    (folder / "raw" / "rover001.csv").rename(folder / "raw" / "d1" / "rover001.csv")
    rows = (folder / "raw" / "d1" / "rover001.csv").read_text(encoding="utf-8").splitlines()
    (folder / "raw" / "d2" / "rover002.csv").write_text("\n".join(rows[:1] + rows[-2:]), encoding="utf-8")
    (folder / "raw" / "d1" / "rover001.csv").write_text("\n".join(rows[:-2]), encoding="utf-8")
    text = job.read_text(encoding="utf-8")
    job.write_text(text.replace("raw/rover*.csv", 'raw/d1/*", "raw/d2/*'), encoding="utf-8")
    run_job(job)
    assert glanced(job) is not None
    (folder / "raw" / "d3").mkdir()
    day = "\n".join(rows).replace("2026-03-", "2026-04-")
    (folder / "raw" / "d3" / "rover003.csv").write_text(day, encoding="utf-8")
    assert glanced(job) is None
    (note,) = run_job(job).notes
    assert "../d3/rover003.csv beside raw/d1/rover001.csv" in note


def test_an_older_issue_that_is_gone_is_told(job: Path) -> None:
    text = (job.parent / "register.csv").read_text(encoding="utf-8")
    (job.parent / "register.csv").write_text(raised(text, 0.011), encoding="utf-8")
    assert run_job(job).record["issue"] == 2
    shutil.rmtree(job.parent / "out" / "issues" / "001")
    for told in (run_job(job), glanced(job), run_job(job, dry_run=True)):
        assert told is not None and not told.issued
        assert any("issue 001 is missing, but register.csv lists it" in note for note in told.notes)
