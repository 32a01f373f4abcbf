"""Readings dated after the machine's clock are told on the day, and shape nothing: the record has no word of it."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.main import app

YET = "which is yet to come by the clock of this machine"


def dated(folder: Path, days: float) -> Path:
    """Write a job whose day in the field begins so many days from now."""
    start = datetime.now(UTC).replace(microsecond=0) + timedelta(days=days)
    return simulate(Plan(sessions=1, points=6, noise=False, start=start)).write(folder)


def test_a_year_that_is_yet_to_come_is_told_as_long_as_it_is(tmp_path: Path) -> None:
    path = dated(tmp_path, 366.0)
    assert any(YET in warning for warning in check_job(path).warnings)
    for _ in range(2):  # issued, then nothing changed
        found = CliRunner().invoke(app, ["run", str(path)])
        assert found.exit_code == 0 and " ".join(found.stdout.split()).count(YET) == 1
    record = run_job(path).record
    assert record["verdict"] == "proven" and not any(YET in note for note in record["notes"])
    found = CliRunner().invoke(app, ["run", "--json", str(path)])
    assert YET not in found.stdout and YET in found.stderr


@pytest.mark.parametrize("days", [-400.0, -0.5, 1.0])
def test_a_day_that_is_past_or_off_by_a_zone_is_not(days: float, tmp_path: Path) -> None:
    path = dated(tmp_path, days)
    assert not any(YET in warning for warning in check_job(path).warnings)
    assert YET not in " ".join(CliRunner().invoke(app, ["run", str(path)]).stdout.split())
