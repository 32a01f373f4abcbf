"""Names that lost their leading zeros in a spreadsheet: told by their places; numbers of other points are not."""

from pathlib import Path

import pytest
from running import Row, csv_rows, write_csv
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job

TOLD = "without leading zeros"


def _points(rows: list[Row]) -> list[Row]:
    return [row for row in rows if row["Code"] not in ("CM", "CHK")]


def _two_days(folder: Path, led: str, plain: str, *, apart: bool) -> Path:
    """A job of two days, whose points on the second are those of the first, or others, by the names given."""
    job = simulate(Plan(sessions=2, points=12))
    path = job.write(folder, files=2)
    rows = [csv_rows(folder / f"rover00{day}.csv") for day in (1, 2)]
    for day, form in enumerate((led, plain)):
        for number, row in enumerate(_points(rows[day]), 1):
            row["Point"] = form.format(number)
    for former, row in zip(_points(rows[0]), _points(rows[1]), strict=True) if not apart else ():
        row["Lon"], row["Lat"] = f"{float(former['Lon']) + 3e-5:.9f}", f"{float(former['Lat']) - 2e-5:.9f}"
    for day in (0, 1):
        write_csv(folder / f"rover00{day + 1}.csv", rows[day])
    return path


@pytest.mark.parametrize(
    ("led", "plain", "apart", "told"),
    [
        ("{:04d}", "{}", False, True),
        ("{}", "{:04d}", False, True),
        ("{:04d}", "{}", True, False),
        ("{:04d}", "{:04d}", False, False),
        ("{}", "{}", False, False),
        ("P{:04d}", "P{}", False, False),
    ],
)
def test_zeros_that_one_export_lost_are_told(led: str, plain: str, apart: bool, told: bool, tmp_path: Path) -> None:
    path = _two_days(tmp_path, led, plain, apart=apart)
    found = [text for text in check_job(path).warnings if TOLD in text]
    assert len(found) == told, found
    if told:
        assert "'1' lies as '0001'" in found[0] and "12 points" in found[0]
        assert [text for text in run_job(path).record["notes"] if TOLD in text]
