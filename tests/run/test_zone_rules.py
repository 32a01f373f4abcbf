"""A database of time zones that is updated: times read by other rules are looked at anew, whatever stayed the same."""

import shutil
import zoneinfo
from collections.abc import Iterator
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import JobError, run_job
from pipeline.job.time_zones import zone_rules

ZONE, OTHER = "Africa/Abidjan", "Africa/Nairobi"


@pytest.fixture
def zones(tmp_path: Path) -> Iterator[Path]:
    """A database of two zones, of UTC and three hours east of it."""
    folder = tmp_path / "zones"
    (folder / "Africa").mkdir(parents=True)
    for name in (ZONE, OTHER):
        was = next(path for place in zoneinfo.TZPATH if (path := Path(place, name)).is_file())
        shutil.copy(was, folder / name)
    before = zoneinfo.TZPATH
    zoneinfo.reset_tzpath([folder])
    yield folder
    zoneinfo.reset_tzpath(before)
    zoneinfo.ZoneInfo.clear_cache()


def test_an_updated_zone_is_looked_at(zones: Path, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=6, checks=2)).write(tmp_path)
    rows = tmp_path / "rover001.csv"
    rows.write_text(rows.read_text(encoding="utf-8").replace("Z,", ","), encoding="utf-8")
    job = path.read_text(encoding="utf-8")
    bare = "\n".join(line for line in job.splitlines() if not line.startswith("time_zone"))
    path.write_text(bare.replace("[source]", f'[source]\ntime_zone = "{ZONE}"', 1), encoding="utf-8")
    assert run_job(path).issued
    assert not run_job(path).issued
    shutil.copy(zones / OTHER, zones / ZONE)
    zoneinfo.ZoneInfo.clear_cache()
    with pytest.raises(JobError, match="outside its sessions"):
        run_job(path)


def test_what_has_no_rules_has_no_sum() -> None:
    assert [zone_rules(zone) for zone in ("UTC", "GPS", "+05:30")][1:] == ["", ""]
    assert zone_rules("Africa/Nairobi") not in ("", zone_rules("Africa/Abidjan"))


def test_rules_are_found_without_a_database_of_the_machine() -> None:
    before = zoneinfo.TZPATH
    zoneinfo.reset_tzpath([])
    try:
        assert len(zone_rules("Africa/Nairobi")) == 64
    finally:
        zoneinfo.reset_tzpath(before)
