"""Names that lost their leading zeros in a spreadsheet: told by their places; numbers of other points are not."""

from pathlib import Path

import numpy as np
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


def _forgotten(folder: Path, mark: str, point: str, *, off: float) -> dict[str, int]:
    """Return how many readings are held back of a day on numbered marks with a check in no list, ``off`` by metres."""
    job = simulate(Plan(sessions=1, points=60, ties=1, checks=4, marks=5, seed=5))
    job.register["mark"] = np.array([mark.format(int(one[2:])) for one in job.register["mark"]], object)
    (session,) = job.job["session"]
    first, *others = session["checks"]
    for one in (*session["ties"], *others):
        one["mark"] = mark.format(int(one["mark"][2:]))
    session["checks"] = others
    names, numbered = job.rows["name"].astype(object), np.flatnonzero(job.rows["kind"] == "point")
    at = list(names).index(first["point"])
    names[at] = point.format(int(first["mark"][2:]))
    names[numbered] = [point.format(100 + number) for number in range(len(numbered))]
    job.rows["name"], job.rows["code"] = names, np.array(["X"] * len(names))
    job.displace(np.arange(len(names)) == at, np.array([off, off, off]))
    return dict(run_job(job.write(folder), dry_run=True).record["rows"]["by_reason"])


@pytest.mark.parametrize(
    ("mark", "point"), [("{}", "{}"), ("{:03d}", "{}"), ("{}", "{:03d}"), ("{:02d}", "{:04d}"), ("{:04d}", "{:02d}")]
)
def test_a_forgotten_check_is_known_with_zeros_and_without(mark: str, point: str, tmp_path: Path) -> None:
    """A spreadsheet dropped those of the register, or those of the export."""
    assert _forgotten(tmp_path, mark, point, off=0.2) == {"suspect": 1}
    assert _forgotten(tmp_path / "on", mark, point, off=0.0) == {}


@pytest.mark.parametrize(("mark", "first"), [("{}", "{:05d}"), ("{:03d}", "{}"), ("{:05d}", "{}"), ("{}", "{:03d}")])
def test_points_that_are_counted_are_named_after_no_mark(mark: str, first: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40, checks=4, marks=5, seed=5))
    job.register["mark"] = np.array([mark.format(int(one[2:])) for one in job.register["mark"]], object)
    for session in job.job["session"]:
        for one in (*session["ties"], *session["checks"]):
            one["mark"] = mark.format(int(one["mark"][2:]))
    names, numbered = job.rows["name"].astype(object), np.flatnonzero(job.rows["kind"] == "point")
    names[numbered] = [first.format(number + 1) for number in range(len(numbered))]
    job.rows["name"] = names
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert (record["verdict"], record["notes"], record["doubts"]) == ("proven", [], [])
