"""Times of every source on the job's clock: with one that is off, points would take another session's shift.

Expectations: the simulated truth; zones by the standard library, GPS - UTC = 18 s since 2017 (IERS Bulletin C 52).
"""

import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from issued import current_issue, off_truth
from packages_made import change
from running import Row, replace_in, rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job

PLAN = Plan(sessions=2, points=40, noise=False)
MILLIMETRE = 0.001


def local(zone: str, stored: str) -> str:
    """A UTC time of an export as a clock of the zone shows it, without saying so."""
    moment = datetime.fromisoformat(stored.replace("Z", "+00:00"))
    if zone == "GPS":
        return (moment + timedelta(seconds=18)).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3]
    if zone.startswith("+"):
        hours = int(zone[1:3])
        return (moment + timedelta(hours=hours)).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3]
    return moment.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3]


def written(job: Simulation, folder: Path, form: str, zone: str, keep: bool = False) -> Path:
    """Write a job whose export has the zone's times without a zone (or, to ``keep``, UTC with Z) for that time_zone."""
    path = job.write(folder, form)
    (export,) = folder.glob("rover*")
    texts = {f"{moment}Z" for moment in job.rows["time"].astype("datetime64[s]").astype(str)}
    if not keep and form == "gpkg":
        for text in texts:
            change(
                export, "UPDATE points SET Observed = ? WHERE substr(Observed, 1, 19) = ?", local(zone, text), text[:-1]
            )
    elif not keep:
        replace_in(export, {text: local(zone, text) for text in texts})
    written_zone = path.read_text().split('time_zone = "')[1].split('"')[0]
    replace_in(path, {f'time_zone = "{written_zone}"': f'time_zone = "{zone}"'})
    return path


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
@pytest.mark.parametrize("zone", ["GPS", "Pacific/Auckland", "+12:00"])
def test_times_without_a_zone_are_the_jobs(tmp_path: Path, form: str, zone: str) -> None:
    job = simulate(PLAN)
    outcome = run_job(written(job, tmp_path, form, zone))
    assert (outcome.exit_code, outcome.record["rows"]["held_back"]) == (0, 0)
    issue = current_issue(tmp_path / "out")
    assert np.abs(off_truth(issue.points.rows, job.truth)).max() < MILLIMETRE
    assert not [note for note in outcome.record["notes"] if "offset" in note]
    found = sorted(str(row["observed"])[:19] for row in issue.points.rows)
    assert found[0] == str(min(job.rows["time"][job.rows["kind"] == "point"]).astype("datetime64[s]"))


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
def test_times_that_say_utc_where_the_job_says_gps_are_doubted(tmp_path: Path, form: str) -> None:
    """18 s are within the sessions whichever is right: nothing counts as proven until the job file says so."""
    job = simulate(PLAN)
    path = written(job, tmp_path, form, "GPS", keep=True)
    told = [str(doubt) for doubt in check_job(path).warnings]
    outcome = run_job(path)
    assert (outcome.exit_code, outcome.record["verdict"]) == (3, "unchecked")
    issue = current_issue(tmp_path / "out")
    assert np.abs(off_truth(issue.points.rows, job.truth)).max() < MILLIMETRE
    (doubt,) = outcome.record["doubts"]
    assert (doubt["kind"], doubt["sessions"]) == ("time-zone", ["session-01", "session-02"])
    count = len(job.rows["time"])
    assert f"{next(tmp_path.glob('rover*')).name}: {count} times" in doubt["what"] and "18 s away" in doubt["what"]
    assert [line for line in told if "18 s away" in line]
    replace_in(path, {"[job]\n": '[checks]\nconfirmed = ["time-zone"]\n\n[job]\n'})
    assert run_job(path, dry_run=True).exit_code == 0


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
def test_times_that_say_utc_where_the_job_says_a_far_zone_are_told(tmp_path: Path, form: str) -> None:
    """13 hours away they would lie outside every session: the sessions bear the file out."""
    job = simulate(PLAN)
    outcome = run_job(written(job, tmp_path, form, "Pacific/Auckland", keep=True), dry_run=True)
    assert outcome.exit_code == 0
    (note,) = [note for note in outcome.record["notes"] if "their own offset" in note]
    assert "13 h 00 min away" in note and 'time_zone = "Pacific/Auckland"' in note
    assert datetime.fromisoformat(outcome.record["data_to"]).astimezone(UTC).year == 2026


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
def test_nothing_is_told_where_the_zones_agree(tmp_path: Path, form: str) -> None:
    outcome = run_job(written(simulate(PLAN), tmp_path, form, "UTC", keep=True), dry_run=True)
    assert (outcome.exit_code, outcome.record["notes"]) == (0, [])


@pytest.mark.parametrize("minutes", [720, -210])
def test_what_is_proposed_for_times_with_an_offset_is_that_offset_and_helps(minutes: int, tmp_path: Path) -> None:
    zone = timezone(timedelta(minutes=minutes))
    path = written(simulate(PLAN), tmp_path, "csv", "UTC", keep=True)

    def with_offset(row: Row) -> Row:
        observed = next(name for name in row if row[name].startswith("2026-"))
        return row | {observed: datetime.fromisoformat(row[observed]).astimezone(zone).isoformat()}

    rewrite_export(next(tmp_path.glob("rover*.csv")), with_offset)
    (note,) = [note for note in run_job(path, dry_run=True).record["notes"] if "own offset" in note]
    (proposed,) = re.findall(r'If the file is right, write (time_zone = "[^"]+")', note)
    assert proposed == f'time_zone = "{"+12:00" if minutes > 0 else "-03:30"}"'
    replace_in(path, {'time_zone = "UTC"': proposed})
    assert run_job(path, dry_run=True).record["notes"] == []


def called(name: str) -> str:
    """Call a tie or check of any session alike: TIE, C1."""
    return "TIE" if "-T" in name else name.split("-")[1] if "-C" in name else name


@pytest.mark.parametrize(
    ("bases", "names", "doubted"),
    [(True, True, 0), (False, True, 0), (True, False, 0), (False, False, 1)],
    ids=["both tell", "lists tell", "base ids tell", "nothing tells"],
)
def test_where_base_ids_or_listed_ties_tell_the_session_no_other_zone_does(
    bases: bool, names: bool, doubted: int, tmp_path: Path
) -> None:
    """An hour later there is a session of another base: the job file's UTC was never changed, the times say +01:00.

    Without base ids and with points that are called by their marks each time, every reading might be of that one.
    """
    job = simulate(Plan(sessions=2, points=12, ties=1, checks=3, marks=4, noise=False))
    start, lasts = job.job["session"][0]["start"], timedelta(minutes=50)
    for number, session in enumerate(job.job["session"]):
        mine = job.rows["session"] == number
        begins = start + number * timedelta(hours=1)
        job.rows["time"][mine] = np.datetime64(begins.replace(tzinfo=None), "ms") + np.timedelta64(2, "m") * np.arange(
            1, np.count_nonzero(mine) + 1
        )
        session |= {"start": begins, "end": begins + lasts}
        if not bases:
            del session["base"]
    if not bases:
        job.rows["base"][:] = ""
    if not names:
        job.rows["name"] = np.array([called(str(name)) for name in job.rows["name"]])
        for session in job.job["session"]:
            for one in (*session["ties"], *session["checks"]):
                one["point"] = called(one["point"])
    path = job.write(tmp_path)

    def with_offset(row: Row) -> Row:
        observed = next(name for name in row if row[name].startswith("2026-"))
        stored = datetime.fromisoformat(row[observed].replace("Z", "+00:00"))
        return row | {observed: stored.astimezone(timezone(timedelta(hours=1))).isoformat()}

    rewrite_export(next(tmp_path.glob("rover*.csv")), with_offset)
    record = run_job(path, dry_run=True).record
    assert [one["kind"] for one in record["doubts"]] == ["time-zone"] * doubted
    assert len([note for note in record["notes"] if "own offset" in note]) == 1  # as a doubt or not
    assert record["verdict"] == ("unchecked" if doubted else "proven")
