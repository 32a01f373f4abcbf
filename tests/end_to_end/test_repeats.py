"""A day that measures points of the day before again: compared, told apart by name, and issued as the job asks.

Expectations: the truth that is simulated, and closed forms of covariances with the figures of the job written out.
"""

import csv
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from issued import Issue, current_issue, read_layer
from repeated_days import days, reading
from running import Row, replace_in, run_simulated, run_written
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app
from pipeline.trace import trace

run = CliRunner().invoke

#: Radius of the 95 % circle in sigmas, and the 95 % of one component: FGDC-STD-007.3-1998 prints 2.4477 and 1.9600.
CIRCLE, ONE = 2.4477, 1.9600
#: Standard uncertainties of the job, metres: readings, occupations (east, up), poles, the register.
READ, READ_UP, TIE, TIE_UP, POLE, MARK = 0.008, 0.015, 0.004, 0.007, 0.003, 0.010 / 2.4477
OFF = (0.15, 0.0, 0.02)


def written(folder: Path, **issue: Any) -> Path:
    """Two days of the same eight points; P3 is 15 cm off on the second, whose P8 is another thing, 0.9 km away."""
    work = days()
    work.displace(reading(work, "P3", 2), OFF)
    work.displace(reading(work, "P8", 2), (900.0, 0.0, 0.0))
    work.displace(reading(work, "P2", 2), (0.006, 0.0, 0.0))
    work.job["issue"] = issue
    return work.write(folder)


@pytest.fixture(scope="module")
def every(tmp_path_factory: pytest.TempPathFactory) -> Issue:
    """Every reading issued, in every format; beside P1 a point has the name that its second reading would get."""
    work = days()
    work.displace(reading(work, "P3", 2), OFF)
    work.displace(reading(work, "P8", 2), (900.0, 0.0, 0.0))
    work.rows["name"][reading(work, "P7", 1)] = "P1_2"
    work.job["issue"] = {"formats": ["csv", "geojson", "landxml", "dxf"]}
    return run_written(work.write(tmp_path_factory.mktemp("every")))


def repeats(issue: Issue) -> list[Row]:
    return read_layer(issue.package, "repeats").rows


def test_every_pair_its_difference_and_what_is_expected(every: Issue) -> None:
    rows = repeats(every)
    assert sorted(row["name"] for row in rows) == ["P1", "P2", "P3", "P4", "P5", "P6"]
    assert {(row["session_a"], row["session_b"]) for row in rows} == {("d1", "d2")}
    assert all(row["observed_a"] < row["observed_b"] for row in rows)
    # both days tie on one mark alone, so that its coordinates fall out of the difference, and the two ties do not
    plan, up = np.sqrt(2 * (READ**2 + TIE**2 + 2 * POLE**2)), np.sqrt(2 * (READ_UP**2 + TIE_UP**2))
    for row in rows:
        assert (row["hu95"], row["vu95"]) == pytest.approx((CIRCLE * plan, ONE * up), rel=1e-4)
        off = OFF if row["name"] == "P3" else (0.0, 0.0, 0.0)
        assert row["d_horizontal"] == pytest.approx(np.hypot(*off[:2]), abs=2e-4)
        assert row["d_height"] == pytest.approx(off[2], abs=2e-4)
        assert row["passed"] == (row["name"] != "P3")


def test_names_are_told_apart_alike_in_every_format(every: Issue) -> None:
    names = every.points.column("name")
    assert len(set(names)) == len(names) == 16
    first, second = names[:8], names[8:]
    assert first == ["P1", "P2", "P3", "P4", "P5", "P6", "P1_2", "P8"]
    assert second == ["P1_2b", "P2_2", "P3_2", "P4_2", "P5_2", "P6_2", "P7", "P8_2"]
    (table,), (features,) = every.folder.glob("*-001.csv"), every.folder.glob("*-001.geojson")
    with table.open(newline="", encoding="utf-8") as file:
        assert [row["name"] for row in csv.DictReader(file)] == names
    told = json.loads(features.read_text(encoding="utf-8"))["features"]
    assert [one["properties"]["name"] for one in told] == names
    xml = (every.folder / "network-001.xml").read_text(encoding="utf-8")
    assert re.findall(r'<CgPoint name="(P[^"]*)"', xml) == names
    drawing = (every.folder / "network-001.dxf").read_text(encoding="utf-8")
    assert all(f"\n{name}\n" in drawing for name in names)


def test_what_fails_is_said_and_counted_and_stays_exit_code_0(every: Issue) -> None:
    found = every.record["repeats"]
    assert (found["pairs"], found["failed"], found["issued"]) == (6, 1, "all")
    assert [row["name"] for row in found["failing"]] == ["P3"]
    job = str(every.folder.parents[2] / "job.toml")
    for words in (["run", job], ["run", job, "--quiet"]):
        told = run(app, words)
        assert told.exit_code == 0 and "REPEAT FAILS: P3, session d2 compared with d1: east +0.150" in told.stdout
    page = (every.folder / "network-001.html").read_text(encoding="utf-8")
    assert "1 of 6 pairs of readings of one point does not agree" in page


def test_names_used_for_different_things_are_warned_of(every: Issue) -> None:
    told = run(app, ["check", str(every.folder.parents[2] / "job.toml")])
    for text in (" ".join(told.output.split()), " ".join(every.record["notes"])):
        assert "1 name is used at two places or more: 'P8'" in text
        assert re.search(r"\b(89[4-9]|90[0-6]) m apart", text)  # by a sphere


def test_a_point_is_traced_by_either_name(every: Issue) -> None:
    job = every.folder.parents[2] / "job.toml"
    both, later = trace(job, "P2"), trace(job, "P2_2")
    assert [len(found.readings) for found in (both, later)] == [2, 1]
    for found in (both, later):
        assert not found.gone and found.agreement.differences == ()
        assert all(len(one.found) == 1 for one in found.readings)


def test_the_last_reading_takes_the_place_of_the_others(tmp_path: Path) -> None:
    issue = run_written(written(tmp_path, repeats="last"))
    rows = issue.record["rows"]
    assert (rows["read"], rows["points"], rows["by_reason"]) == (22, 9, {"duplicate": 7})
    assert sorted(issue.points.column("name")) == [*(f"P{n}" for n in range(1, 9)), "P8_2"]
    assert {row["session"] for row in issue.points.rows if row["name"] not in ("P8",)} == {"d2"}
    held = issue.held_back.one(name="P1")
    assert held["session"] == "d1"
    assert re.fullmatch(r"replaced by its last reading P1 \(rover001\.csv:\d+\)", held["detail"])


def test_the_mean_is_weighted_and_says_its_spread(tmp_path: Path) -> None:
    """P2: 6 mm apart, the second day's sigmas half of the first's; P3 does not agree, and both stay."""
    path = written(tmp_path, repeats="mean")
    names = ("P2", "P3", "P8")
    text = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
    at = [number for number, line in enumerate(text) if line.split(",")[0] == "P2"][-1]
    assert ",0.008,0.008,0.015," in text[at], text[at]
    text[at] = text[at].replace(",0.008,0.008,0.015,", ",0.004,0.004,0.0075,")
    (tmp_path / "rover001.csv").write_text("\n".join(text) + "\n", encoding="utf-8")
    issue = run_written(path)
    rows = {name: issue.points.where(name=name) for name in (*names, "P3_2", "P8_2")}
    assert all(len(found) == 1 for found in rows.values()) and len(issue.points.rows) == 10
    one, other = (sigma**2 + TIE**2 + POLE**2 + MARK**2 for sigma in (READ, READ / 2))
    share = (1 / one) / (1 / one + 1 / other), (1 / other) / (1 / one + 1 / other)
    (pair,) = [row for row in repeats(issue) if row["name"] == "P2"]
    plain = run_written(written(tmp_path / "all")).points.one(name="P2")
    assert rows["P2"][0]["easting"] - plain["easting"] == pytest.approx(share[1] * pair["d_east"], abs=2e-5)
    own = (share[0] * READ) ** 2 + (share[1] * READ / 2) ** 2 + (share[0] ** 2 + share[1] ** 2) * (TIE**2 + POLE**2)
    assert rows["P2"][0]["hu95"] == pytest.approx(CIRCLE * np.sqrt(own + MARK**2), rel=2e-4)
    held = issue.held_back.one(name="P2")
    assert held["reason"] == "duplicate"
    assert held["detail"].startswith(f"in the mean of 2 readings, {max(share) * pair['d_horizontal']:.3f} m in plan")
    assert issue.record["repeats"]["means"] == 6
    assert issue.record["repeats"]["spread_horizontal"] == pytest.approx(max(share) * 0.006, abs=1e-5)
    told = trace(path, "P2")
    assert told.agreement.differences == () and "the mean with earlier readings" in (told.readings[1].detail or "")


def test_all_again_after_a_mean_gives_the_first_numbers(tmp_path: Path) -> None:
    path = written(tmp_path, repeats="all")
    first = run_written(path)
    replace_in(path, {'repeats = "all"': 'repeats = "mean"'})
    assert len(run_written(path).points.rows) == 10
    replace_in(path, {'repeats = "mean"': 'repeats = "all"'})
    again = run_written(path)
    assert again.folder != first.folder and again.points.rows == first.points.rows


def test_an_earlier_day_that_comes_later_renames_and_moves_nothing(tmp_path: Path) -> None:
    """Monday's export arrives after Tuesday's: Tuesday's points get numbers, and none counts as new or as gone."""
    work = days()
    whole = {name: values.copy() for name, values in work.rows.items()}
    path = work.write(tmp_path)
    work._rows = {name: values[whole["session"] == 1] for name, values in whole.items()}
    only = tmp_path / "rover001.csv"
    every = only.read_text(encoding="utf-8").splitlines()
    only.write_text("\n".join([every[0], *(line for line in every[1:] if "2026-03-01" not in line)]) + "\n")
    sessions = path.read_text(encoding="utf-8")
    head, monday, tuesday = re.split(r"(?m)^(?=\[\[session\]\])", sessions)
    path.write_text(head + tuesday, encoding="utf-8")
    assert run_job(path).exit_code == 0
    path.write_text(head + monday + tuesday, encoding="utf-8")
    only.write_text("\n".join(every) + "\n", encoding="utf-8")
    run_job(path)
    changes = current_issue(tmp_path / "out").record["changes"]
    assert (changes["added"], changes["withdrawn"], changes["moved"]) == (8, 0, 0)


def test_places_are_compared_where_the_job_says_how_near(tmp_path: Path) -> None:
    """Within one session nothing of the shift is in the difference; ordinary points, 10 m apart, are not paired."""
    work = days(1)
    work.displace(work.row("P5"), (-9.95, -30.0, 0.0))  # P5 stands where P4 does, but for some centimetres
    work.job["checks"] = {"same_place": 0.1}
    issue = run_written(work.write(tmp_path))
    (row,) = repeats(issue)
    assert (row["name"], row["session_a"], row["session_b"]) == ("P4", "d1", "d1")
    assert 0.03 < row["d_horizontal"] <= 0.1
    assert row["hu95"] == pytest.approx(CIRCLE * np.sqrt(2 * (READ**2 + POLE**2)), rel=1e-4)


def within_a_session(folder: Path, up: float, east: float = 0.0, **issue: Any) -> Issue:
    """One day; a point is measured again an hour later, from another pole."""
    work = simulate(Plan(sessions=1, points=20, noise=False))
    first, again = (int(np.flatnonzero(work.rows["name"] == name)[0]) for name in ("S01-00003", "S01-00015"))
    for column in ("longitude", "latitude", "height"):
        work.rows[column][again] = work.rows[column][first]
    work.rows["name"][again] = "S01-00003"
    work.rows["height"][again] += up
    work.rows["longitude"][again] += east / (111_320.0 * np.cos(np.radians(work.rows["latitude"][again])))
    work.job["issue"] = issue
    return run_simulated(work, folder)


@pytest.mark.parametrize(("up", "passed"), [(0.004, 1), (0.300, 0)])
def test_a_point_measured_again_in_its_session_is_compared(up: float, passed: int, tmp_path: Path) -> None:
    """What the two have in common, their session's shift, is no part of what is expected of their difference."""
    issue = within_a_session(tmp_path, up)
    (pair,) = repeats(issue)
    assert (pair["session_a"], pair["session_b"], pair["passed"]) == ("session-01", "session-01", passed)
    assert pair["d_height"] == pytest.approx(up, abs=2e-4)
    assert len(issue.points.rows) == 20 and issue.record["repeats"]["failed"] == 1 - passed


def test_the_mean_within_a_session_joins_what_agrees(tmp_path: Path) -> None:
    assert len(within_a_session(tmp_path / "agree", 0.004, repeats="mean").points.rows) == 19
    assert len(within_a_session(tmp_path / "differ", 0.300, repeats="mean").points.rows) == 20


def test_one_name_for_several_things_of_a_session_names_no_point(tmp_path: Path) -> None:
    """The two posts of a gate, 3 m apart: farther than `checks.same_name`."""
    issue = within_a_session(tmp_path, 0.0, east=3.0, repeats="last")
    assert not repeats(issue) and len(issue.points.rows) == 20


@pytest.mark.parametrize(
    ("checks", "doubted"),
    [
        ({}, False),
        ({"same_place": 200.0}, True),  # millimetres typed
        ({"same_name": 2000.0}, True),  # P8 of either day is another thing, 0.9 km away
        ({"same_place": 0.2, "same_name": 5.0}, False),
    ],
)
@pytest.mark.parametrize(("which", "gone"), [("last", 7), ("mean", 6)])
def test_no_other_point_is_taken_for_a_repetition(
    checks: dict[str, float], doubted: bool, which: str, gone: int, tmp_path: Path
) -> None:
    """P1 to P7 of the first day give way, P3 of which is 15 cm off to no mean; others stand 10 m apart and more."""
    work = days()
    work.displace(reading(work, "P3", 2), OFF)
    work.displace(reading(work, "P8", 2), (900.0, 0.0, 0.0))
    work.job["issue"] = {"repeats": which}
    work.job["checks"] = checks
    record = run_job(work.write(tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {"duplicate": gone}
    assert ([one["kind"] for one in record["doubts"]] == ["tolerance"]) == doubted
    assert (record["verdict"] == "unchecked") == doubted
    assert not doubted or "lengths are metres" in record["doubts"][0]["what"]


def test_points_under_different_names_stay_unless_they_agree(tmp_path: Path) -> None:
    """The top of a kerb beside its foot, 0.12 m apart in plan and height: neither stands for the other."""
    work = days(days=1)
    foot, top = reading(work, "P1", 1), reading(work, "P2", 1)
    for column in ("longitude", "latitude", "height"):
        work.rows[column][top] = work.rows[column][foot]
    work.displace(top, (0.12, 0.0, 0.12))
    work.job["checks"], work.job["issue"] = {"same_place": 0.5}, {"repeats": "last"}
    issue = run_written(work.write(tmp_path))
    assert {"P1", "P2"} <= set(issue.points.column("name")) and issue.record["repeats"]["failed"] == 1


def test_things_that_share_a_name_within_a_session_all_stay(tmp_path: Path) -> None:
    """The two posts of a gate, 1.2 m apart: told as a pair that fails, and neither stands for the other."""
    issue = within_a_session(tmp_path, 0.0, east=1.2, repeats="last")
    assert len(issue.points.rows) == 20 and issue.record["repeats"]["failed"] == 1


def test_a_point_measured_again_beyond_a_field_shift_is_compared(tmp_path: Path) -> None:
    """The second reading carries 40 m of a field shift: raw it is far from the first."""
    work = simulate(Plan(sessions=1, points=20, noise=False))
    first, again = (int(np.flatnonzero(work.rows["name"] == name)[0]) for name in ("S01-00003", "S01-00015"))
    for column in ("longitude", "latitude", "height"):
        work.rows[column][again] = work.rows[column][first]
    work.rows["name"][again] = "S01-00003"
    late = work.rows["time"] >= work.rows["time"][again]
    work.rows["height"][late] += 40.0
    work.rows["longitude"][late] += 40.0 / (111_320.0 * np.cos(np.radians(work.rows["latitude"][late])))
    since = work.rows["time"][again].astype("datetime64[us]").item().replace(tzinfo=dt.UTC)
    work.job["session"][0]["field_shift"] = {"from": since, "east": 40.0, "north": 0.0, "up": 40.0}
    issue = run_simulated(work, tmp_path, code=3)
    (pair,) = repeats(issue)
    assert abs(pair["d_east"]) < 0.2 and abs(pair["d_height"]) < 0.2
