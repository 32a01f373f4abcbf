"""Degrees without a sign, with the hemisphere in a column that no block maps: they are on the wrong side."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from running import Row, rewrite_export
from simulate import ELLIPSOIDAL, Plan, simulate
from simulate_plan import utm

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

GREENWICH = replace(
    ELLIPSOIDAL, longitude=0.002, latitude=52.5, grid="EPSG:25831", source="EPSG:4937",
    projection=utm(31, south=False, ellipsoid=ELLIPSOIDAL.ellipsoid),
)  # fmt: skip


def written(folder: Path, change: Callable[[Row], Row], greenwich: bool = True) -> Path:
    """Write a day, on both sides of Greenwich or in the south, with an export that was changed."""
    path = simulate(Plan(sessions=1, points=20, reach=1_000.0, place=GREENWICH if greenwich else ELLIPSOIDAL)).write(
        folder
    )
    rewrite_export(folder / "rover001.csv", change)
    return path


def side(row: Row) -> str:
    return "W" if float(row["Lon"]) < 0 else "E"


@pytest.mark.parametrize("heading", ["E/W", "EW", "Hemi", "Lon dir", "LonRef"])
def test_longitudes_without_their_sign_are_refused(heading: str, tmp_path: Path) -> None:
    path = written(tmp_path, lambda row: {**row, "Lon": row["Lon"].lstrip("-"), heading: side(row)})
    for look in (lambda: run_job(path, dry_run=True), lambda: check_job(path)):
        with pytest.raises(JobError) as error:
            look()
        assert f"column '{heading}' gives the hemisphere of a longitude" in str(error.value)
        assert "export signed degrees" in str(error.value)


def test_latitudes_without_their_sign_are_refused(tmp_path: Path) -> None:
    path = written(tmp_path, lambda row: {**row, "Lat": row["Lat"].lstrip("-"), "N/S": "S"}, greenwich=False)
    with pytest.raises(JobError) as error:
        run_job(path, dry_run=True)
    assert "gives the hemisphere of a latitude" in str(error.value)


@pytest.mark.parametrize(
    ("change", "greenwich"),
    [
        (lambda row: {**row, "E/W": side(row)}, True),  # signs and letters agree
        (lambda row: {**row, "E/W": "", "N/S": "N"}, True),
        (lambda row: {**row, "Lane": "W"}, True),
        (lambda row: {**row, "E/W": "W"}, False),  # the carriageway: west of Greenwich the grid is not used
        (lambda row: {**row, "E/W": "E" if int(row["Point"][-1]) % 2 else "W"}, False),  # the sides of a road
    ],
)
def test_columns_that_agree_or_say_something_else_are_none(
    change: Callable[[Row], Row], greenwich: bool, tmp_path: Path
) -> None:
    check_job(written(tmp_path, change, greenwich))
