"""Times with the name of a month: in English they are read as stated, in another language they are refused by it."""

import datetime as dt
from pathlib import Path

import pytest
from every import every
from running import record_of, replace_in, rewrite_export
from simulate import ELLIPSOIDAL, Plan, simulate

from pipeline import check_job
from pipeline.problems import JobError


def written(folder: Path, month: str, time_format: str) -> Path:
    """A day of March whose times have this word for the month."""
    path = simulate(Plan(sessions=1, points=6, checks=2, place=ELLIPSOIDAL)).write(folder)

    def change(row: dict[str, str]) -> dict[str, str]:
        time = dt.datetime.fromisoformat(row["Observed"].replace("Z", "+00:00"))
        return {**row, "Observed": f"{time.day:02d} {month} {time.year} {time:%H:%M:%S}"}

    rewrite_export(folder / "rover001.csv", change)
    if time_format:
        replace_in(path, {"[[points]]\n": f'[[points]]\ntime_format = "{time_format}"\n'})
    return path


@pytest.mark.parametrize("month", ["Mar", "MAR", "march", "mar"])
@pytest.mark.parametrize("directive", ["%b", "%B"])
def test_months_in_english_are_read(month: str, directive: str, tmp_path: Path) -> None:
    record = record_of(written(tmp_path, month, f"%d {directive} %Y %H:%M:%S"))
    assert record["rows"]["points"] == 6
    assert all(str(one["observed"]).startswith(("2026-03-01T", "2026-03-02T")) for one in every(record["checks"]))


@pytest.mark.parametrize("month", ["mars", "März", "Mrz", "marzo", "maart", "maaliskuuta", "marca", "března", "março",
                                   "марта", "Μαρτίου", "Mart", "Maret", "márc.", "ožujka", "kovo"])  # fmt: skip
@pytest.mark.parametrize("directive", ["", "%b", "%B"])
def test_months_in_another_language_are_refused_by_name(month: str, directive: str, tmp_path: Path) -> None:
    path = written(tmp_path, month, directive and f"%d {directive} %Y %H:%M:%S")
    with pytest.raises(JobError) as told:
        check_job(path)
    (problem,) = (one for one in told.value.problems if one.file == "rover001.csv")
    assert problem.line == 2 and f" {month} 2026" in problem.what
    assert "name a month in a language other than English, which is not read: export months as numbers" in problem.fix
