"""Files that are not read though they look like readings: whether they hold some has to be answered."""

from collections.abc import Callable
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from simulate import Simulation

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "Ell Ht", "time": "Time UTC",
          "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip


def _asked(started: Started) -> list[str]:
    return [one.question.asks for one in started.asked if one.question.key == "files"]


def _with(folder: Path, more: Callable[[Path, Simulation], None]) -> Started:
    """Lay a job with one export that is read, and whatever else lies in its folder."""
    job = job_of()
    lay(folder, job)
    write(folder / "r1.csv", job, _HEADS, time="%Y-%m-%d %H:%M:%S")
    more(folder, job)
    return new_job(folder)


def _unknown(folder: Path, job: Simulation) -> None:
    heads = {"name": "Qq", "latitude": "Ww", "longitude": "Ee", "height": "Rr", "time": "Tt"}
    write(folder / "r2.csv", job, heads)


def _of_day(folder: Path, job: Simulation) -> None:
    write(folder / "r2.csv", job, {**_HEADS, "time": "Time"}, time="%H:%M:%S")


def _heightless(folder: Path, job: Simulation) -> None:
    write(folder / "r2.csv", job, {word: head for word, head in _HEADS.items() if word not in ("height", "base")})


def _gon(folder: Path, job: Simulation) -> None:
    write(folder / "r2.csv", job, {**_HEADS, "latitude": "Lat gon", "longitude": "Lon gon"})


def _torn(folder: Path, job: Simulation) -> None:
    write(folder / "r2.txt", job, {**_HEADS, "name": "Point number one"}, sign=" ", time="%Y-%m-%d %H:%M:%S")


def _grid(folder: Path, job: Simulation) -> None:
    write(folder / "r2.csv", job, {"name": "Qq", "easting": "Ww", "northing": "Rr", "height": "Zz", "time": "Tt"})


@pytest.mark.parametrize("second", [_unknown, _of_day, _heightless, _gon, _torn, _grid])
def test_a_second_export_that_is_not_read_stops_the_job_until_it_is_decided(
    second: Callable[[Path, Simulation], None], tmp_path: Path
) -> None:
    started = _with(tmp_path, second)
    (asks,) = _asked(started)
    assert '"r2.' in asks and "not read" in asks
    path = Path(started.path)
    lines = path.read_text(encoding="utf-8").splitlines()
    first = next(at for at, line in enumerate(lines) if line.startswith("# OPEN: does"))
    last = next(at for at in range(first, len(lines)) if lines[at].startswith("# files ="))
    question, rest = lines[first : last + 1], lines[:first] + lines[last + 1 :]
    path.write_text("\n".join(rest) + "\n", encoding="utf-8")
    answer(path, HEIGHT)
    answered = path.read_text(encoding="utf-8")
    path.write_text(answered.replace("[job]\n", "\n".join(["[job]", *question]) + "\n", 1), encoding="utf-8")
    with pytest.raises(JobError, match="this question is still open: does"):
        run_job(path, dry_run=True)
    path.write_text(answered, encoding="utf-8")  # deleted: it is something else
    assert run_job(path, dry_run=True).record["verdict"] == "proven"


def test_files_of_one_layout_are_asked_about_once(tmp_path: Path) -> None:
    def several(folder: Path, job: Simulation) -> None:
        _unknown(folder, job)
        text = (folder / "r2.csv").read_text(encoding="utf-8")
        for number in range(3, 9):
            head, *rows = text.splitlines()
            (folder / f"r{number}.csv").write_text("\n".join([head, *rows[number:]]) + "\n", encoding="utf-8")

    (asks,) = _asked(_with(tmp_path, several))
    assert asks.startswith('do "r2.csv", "r3.csv", "r4.csv", "r5.csv" and 3 more hold readings')


def _list(name: str, *lines: str) -> Callable[[Path, Simulation], None]:
    return lambda folder, _: (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8") and None


def _drawing(folder: Path, job: Simulation) -> None:
    write(folder / "points.csv", job, {"name": "Point", "easting": "East", "northing": "North", "height": "RL"})


def _marks_unheaded(folder: Path, job: Simulation) -> None:
    rows = (folder / "control.csv").read_text(encoding="utf-8").splitlines()[1:]
    (folder / "other.csv").write_text("\n".join(["Qq,Ww,Rr,Zz", *rows]) + "\n", encoding="utf-8")


@pytest.mark.parametrize(
    "other",
    [
        _drawing,
        _marks_unheaded,
        _list("readme.txt", "Job of 20 March 2026, base on CM1", "Rover: 08:15 to 16:30, pole 2 m", "No incidents."),
        _list("report.txt", "Check of 2026-03-20 08:15", "CM1  1506512.123 5160611.456  0.012", "CM2 ok", "Total 12"),
        _list("levels.csv", "Mark,Level,Seen", "CM1,124.635,2026-03-20 08:15", "CM2,125.1,2026-03-20 09:15",
              "CM3,126.1,2026-03-20 10:15"),
        _list("bases.csv", "Base,Set up at,Taken down,Antenna", "N1,2026-03-20 08:45,2026-03-20 17:00,1.5",
              "N2,2026-03-21 08:45,2026-03-21 17:00,1.5", "N3,2026-03-22 08:45,2026-03-22 17:00,1.5"),
        _list("codes.csv", "Code,Meaning", "TREE,a tree", "KERB,a kerb", "MH,a manhole"),
        _list("photos.csv", "File,Taken", "a.jpg,2026-03-20 08:15:01", "b.jpg,2026-03-20 08:16:01", "c.jpg,"),
    ],
)  # fmt: skip
def test_what_plainly_is_something_else_is_not_asked_about(
    other: Callable[[Path, Simulation], None], tmp_path: Path
) -> None:
    assert _asked(_with(tmp_path, other)) == []
