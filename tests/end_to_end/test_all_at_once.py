"""Every problem of a job is told at once: one does not hide those that can be judged without it."""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError


def written(folder: Path) -> Path:
    """A job with an unknown mark in a check, an unknown point in a tie, and a mark twice in the register."""
    made = simulate(Plan(sessions=1, points=6, ties=1, checks=2, marks=4, noise=False))
    session, register = made.job["session"][0], made.register
    session["checks"][-1]["mark"] = "NOMARK"
    session["ties"] = [{"point": "NOPE", "mark": session["ties"][0]["mark"]}]
    again = {column: np.concatenate([values, values[-1:]]) for column, values in register.items()}
    number = next(column for column in ("easting", "longitude") if column in register)
    again[number][-1] += 0.006
    made.register = again
    return made.write(folder)


HIDDEN = ('on the mark "NOMARK"', 'on the point "NOPE"', "is listed twice with different coordinates")


def replaced(pattern: str, by: str) -> Callable[[Path], None]:
    def change(path: Path) -> None:
        text, count = re.subn(pattern, by, path.read_text(encoding="utf-8"), count=1, flags=re.MULTILINE)
        assert count == 1
        path.write_text(text, encoding="utf-8")

    return change


def doubled_name(path: Path) -> None:
    """Another session of the same name, on the next day."""
    head, session = path.read_text(encoding="utf-8").split("[[session]]")
    other = re.sub(r"^(ties|checks) = .*\n", "", session, flags=re.MULTILINE).split("\n[")[0]
    start = re.search(r"start = (\S+)", other)
    assert start is not None
    later = re.sub(r"(start|end) = \d{4}", r"\1 = 2031", other)
    path.write_text(f"{head}[[session]]{later}\n[[session]]{session}", encoding="utf-8")


def ends_before_it_starts(path: Path) -> None:
    doubled_name(path)
    text = path.read_text(encoding="utf-8")
    name = re.search(r'name = "(session[^"]*|S[^"]*)"', text)
    assert name is not None
    text = text.replace(name[0], 'name = "other"', 1)
    path.write_text(re.sub(r"end = 2031", "end = 2030", text, count=1), encoding="utf-8")


CASES = [
    (replaced(r"^geoid = .*$", 'geoid = "missing.gtx"'), "missing.gtx is not there"),
    (doubled_name, "there is a session"),
    (ends_before_it_starts, "which is not after its start"),
]


@pytest.mark.parametrize(("change", "says"), CASES, ids=["geoid", "name", "end"])
@pytest.mark.parametrize("ask", [check_job, run_job], ids=["check", "run"])
def test_one_problem_hides_no_other(
    ask: Callable[[Path], object], change: Callable[[Path], None], says: str, tmp_path: Path
) -> None:
    path = written(tmp_path)
    change(path)
    with pytest.raises(JobError) as found:
        ask(path)
    told = [problem.what for problem in found.value.problems]
    assert all(sum(one in what for what in told) == 1 for one in (says, *HIDDEN)), told
    assert len(told) == 4, told  # and nothing that only follows from these
    assert not (tmp_path / "out").exists()


def test_a_missing_register_hides_no_unknown_point(tmp_path: Path) -> None:
    path = written(tmp_path)
    (tmp_path / "register.csv").unlink()
    with pytest.raises(JobError) as found:
        check_job(path)
    told = [problem.what for problem in found.value.problems]
    assert sum("is not there" in what for what in told) == 1 and sum("NOPE" in what for what in told) == 1, told


def test_a_missing_grid_is_told_beside_an_export_that_cannot_be_read(tmp_path: Path) -> None:
    """No reading says where the job is; the register does."""
    path = simulate(Plan(sessions=1, points=6, ties=1, checks=2, marks=4, noise=False)).write(tmp_path)
    replaced(r'^height = "EPSG:\d+"$', 'height = "EPSG:7839"')(path)
    text = path.read_text(encoding="utf-8")
    (tmp_path / "broken.gpkg").write_bytes(b"xx")
    path.write_text(re.sub(r"^files = .*$", 'files = ["broken.gpkg"]', text, flags=re.MULTILINE), encoding="utf-8")
    with pytest.raises(JobError) as found:
        check_job(path)
    told = [problem.what for problem in found.value.problems]
    assert sum("broken.gpkg" in str(problem) for problem in found.value.problems) == 1
    assert [what for what in told if "grid file" in what and "is missing" in what], told


@pytest.mark.parametrize("taken", ["sE", "Observed", "Lon"])
def test_a_missing_column_hides_no_unknown_point(taken: str, tmp_path: Path) -> None:
    """The names of that file can be read all the same: a point that it has is not told, one that it lacks is."""
    path = written(tmp_path)
    export = tmp_path / "rover001.csv"
    header, rows = export.read_text(encoding="utf-8").split("\n", 1)
    assert f",{taken}," in header
    export.write_text(header.replace(f",{taken},", ",Other,") + "\n" + rows, encoding="utf-8")
    with pytest.raises(JobError) as found:
        check_job(path)
    told = [problem.what for problem in found.value.problems]
    assert all(sum(one in what for what in told) == 1 for one in (f'no column "{taken}"', *HIDDEN)), told
    assert len(told) == 4, told


def test_a_file_without_readable_names_says_that_points_could_not_be_looked_for(tmp_path: Path) -> None:
    path = written(tmp_path)
    export = tmp_path / "rover001.csv"
    export.write_text(export.read_text(encoding="utf-8").replace("Point,", "Number,", 1), encoding="utf-8")
    with pytest.raises(JobError) as found:
        check_job(path)
    (of_file,) = [problem for problem in found.value.problems if problem.file == "rover001.csv"]
    assert 'no column "Point"' in of_file.what
    assert "ties and checks could not be looked for in it" in of_file.fix and "NOPE" in of_file.fix
