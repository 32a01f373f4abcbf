"""A row of units below the heading of a register: held against what its numbers are read in."""

from pathlib import Path

import pytest
from folders_made import drafted
from simulate import CANTERBURY, ELLIPSOIDAL, Place, Plan, simulate

from pipeline.check import check_job
from pipeline.new_job import new_job
from pipeline.problems import JobError


def made(folder: Path, row: str, place: Place = CANTERBURY) -> Path:
    """Write a job whose register (mark, easting, northing, height, hu95, vu95) has a row below its heading."""
    path = simulate(Plan(sessions=1, points=8, place=place)).write(folder)
    header, *marks = (folder / "register.csv").read_text(encoding="utf-8").splitlines()
    (folder / "register.csv").write_text("\n".join([header, row, *marks]) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("row", [",m,m,m,m,m", "-,(m),(m),(m),,", ",m,m,metres,m,m"])
def test_the_units_that_are_read_change_nothing(row: str, tmp_path: Path) -> None:
    assert check_job(made(tmp_path, row)).doubts == ()


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (",m,m,ft,m,m", "says 'ft' for height, and its numbers are read in another unit, metre"),
        (",ft,ft,m,m,m", "says 'ft' for easting"),
        (",m,m,m,mm,m", "says 'mm' for hu95"),
        (",m,m,above,m,m", "this row has no mark name, and height 'above' is no number"),
    ],
)
@pytest.mark.parametrize("place", [CANTERBURY, ELLIPSOIDAL])
def test_other_units_are_said(row: str, told: str, place: Place, tmp_path: Path) -> None:
    path = made(tmp_path, row, place)
    with pytest.raises(JobError) as refused:
        check_job(path)
    told = told.replace("height", "ellipsoid_height") if place is ELLIPSOIDAL else told
    problems = [str(problem) for problem in refused.value.problems]
    assert any("register.csv:2: " in problem and told in problem for problem in problems), problems
    assert not any("is not a number" in problem for problem in problems)


def test_a_draft_notes_heights_in_feet(tmp_path: Path) -> None:
    path = made(tmp_path, ",m,m,ft,m,m")
    path.unlink()
    (note,) = (note for note in drafted(new_job(tmp_path)).control_notes if "ft" in note)
    assert 'heights in "height" are in ft, as the row of units below the header says' in note
