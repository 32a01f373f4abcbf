"""Headings of a register that say another unit than its numbers are read in."""

from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError


def _renamed(folder: Path, word: str, heading: str) -> Path:
    """Return the job of a small simulation whose register has another heading over one of its columns."""
    path = simulate(Plan(sessions=1, points=4, noise=False)).write(folder)
    register = folder / "register.csv"
    rows = [line.split(",") for line in register.read_text(encoding="utf-8").splitlines()]
    rows[0][rows[0].index(word)] = f'"{heading}"'
    register.write_text("".join(",".join(cells) + "\n" for cells in rows), encoding="utf-8")
    replace_in(path, {"[control]\n": f"[control]\ncolumns = {{ {word} = '{heading}' }}\n"})
    return path


@pytest.mark.parametrize(
    ("word", "heading", "fix"),
    [
        ("height", "Height (ft)", "in [control] height the height datum"),
        ("height", "Height [US survey feet]", "in [control] height the height datum"),
        ("easting", "Easting, ft", "name the crs"),
        ("hu95", "hu95 [cm]", "in the unit of the rest"),
        ("vu95", "vu95 (mm)", "in the unit of the rest"),
    ],
)
def test_another_unit_than_is_read_is_refused(word: str, heading: str, fix: str, tmp_path: Path) -> None:
    """All of the register's numbers are metres here, which the heading denies: the user knows who is right."""
    with pytest.raises(JobError) as error:
        run_job(_renamed(tmp_path, word, heading))
    (problem,) = error.value.problems
    assert f'"{heading}" ({word}) has a different unit' in problem.what and fix in problem.fix
    assert problem.line and problem.file.endswith(".toml")


@pytest.mark.parametrize(
    ("word", "heading"),
    [("height", "Height (m)"), ("height", "Height above datum"), ("easting", "East [metres]"), ("hu95", "hu95, m")],
)
def test_metres_are_what_is_read(word: str, heading: str, tmp_path: Path) -> None:
    assert run_job(_renamed(tmp_path, word, heading), dry_run=True).record["verdict"] == "proven"
