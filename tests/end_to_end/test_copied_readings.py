"""Readings that were never measured: another's position under another name and time, to the last digit."""

from pathlib import Path

import numpy as np
import pytest
from every import every
from issued import Issue
from running import published_record, run_simulated
from simulate import Plan, Simulation, simulate

from pipeline.solve.copied_checks import chance_of_one_writing

POSITION = ("longitude", "latitude", "height")


def day(degrees: int = 9, metres: int = 4, seed: int = 1, checks: int = 3) -> Simulation:
    """A tie, points between checks on marks of their own, written with so many decimals."""
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=checks, marks=1 + checks, reach=400.0, seed=seed))
    for name, decimals in zip(POSITION, (degrees, degrees, metres), strict=True):
        job.rows[name] = np.round(job.rows[name], decimals)
    return job


def at(job: Simulation, name: str) -> int:
    return int(np.flatnonzero(job.rows["name"] == name)[0])


def copy(job: Simulation, one: int, *others: int) -> None:
    for name in POSITION:
        job.rows[name][list(others)] = job.rows[name][one]


def on_one_mark(job: Simulation) -> None:
    """Let the closing check stand where the opening one did, centimetres off as that is measured again."""
    one, other = at(job, "S01-C1"), at(job, "S01-C3")
    for name, decimals, off in zip(POSITION, (9, 9, 4), (6e-8, -5e-8, 0.0083), strict=True):
        job.rows[name][other] = round(float(job.rows[name][one]) + off, decimals)
    checks = job.job["session"][0]["checks"]
    checks[-1]["mark"] = checks[0]["mark"]


def copied_checks(issue: Issue) -> list[str]:
    return [note for note in issue.record["notes"] if "exactly the same coordinates" in note]


def copied(issue: Issue) -> list[str]:
    return [note for note in issue.record["notes"] if "to the last digit" in note]


def test_a_closing_check_that_is_the_opening_one_proves_nothing(tmp_path: Path) -> None:
    job = day()
    on_one_mark(job)
    copy(job, at(job, "S01-C1"), at(job, "S01-C3"))
    record = published_record(job.write(tmp_path), code=3)
    assert record["verdict"] == "unchecked"
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "unanswered-check" and "S01-C3 on" in doubt["what"]
    assert f"(rover001.csv:{at(job, 'S01-C1') + 2})" in doubt["what"]


def test_two_readings_that_agree_to_the_millimetre_leave_what_others_prove(tmp_path: Path) -> None:
    """Written to the millimetre, every few hundredth honest pair is alike: it counts as one, and no more."""
    job = day(8, 3)
    on_one_mark(job)
    copy(job, at(job, "S01-C1"), at(job, "S01-C3"))
    issue = run_simulated(job, tmp_path / "one")
    (note,) = copied_checks(issue)
    assert (issue.record["verdict"], issue.record["doubts"]) == ("unclosed", [])
    assert "once in 400," in note and "S01-C3 on" in note  # 1.1 and 1.1 mm in 7.1 mm, 1 mm in 10.6 mm
    passed = {check["point"]: check["passed"] for check in every(issue.record["checks"])}
    assert passed == {"S01-T1": True, "S01-C1": True, "S01-C2": True, "S01-C3": True}
    job.job["checks"] = {**job.job.get("checks", {}), "confirmed": ["unanswered-check"]}
    confirmed = run_simulated(job, tmp_path / "other")
    assert confirmed.record["verdict"] == "proven"
    assert not [note for note in confirmed.record["notes"] if "no longer" in note]


def test_two_pairs_alike_to_the_millimetre_are_no_chance(tmp_path: Path) -> None:
    """Of three pairs that were read, two: (3 / 300)² / 2 at the most."""
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=4, marks=5, reach=400.0))
    for name, decimals in zip(POSITION, (8, 8, 3), strict=True):
        job.rows[name] = np.round(job.rows[name], decimals)
    told = job.job["session"][0]["checks"]
    for opening, closing in ((0, 2), (1, 3)):
        told[closing]["mark"] = told[opening]["mark"]
        copy(job, at(job, f"S01-C{opening + 1}"), at(job, f"S01-C{closing + 1}"))
    record = published_record(job.write(tmp_path), code=3)
    assert [doubt["kind"] for doubt in record["doubts"]] == ["unanswered-check"] * 2


def test_the_chance_that_two_measurements_are_written_alike() -> None:
    """Drawn: normal errors of 2, 2 and 3 mm about places anywhere in a digit, rounded to 2, 2 and 1 mm."""
    rng, digits = np.random.default_rng(4), np.array([0.002, 0.002, 0.001])
    place = rng.uniform(0.0, 1.0, (400_000, 1, 3))
    read = place + rng.normal(0.0, [0.002, 0.002, 0.003], (400_000, 2, 3))
    alike = (np.rint(read[:, 0] / digits) == np.rint(read[:, 1] / digits)).all(axis=1).mean()
    chance = chance_of_one_writing(digits)
    assert alike <= chance and chance == pytest.approx(alike, rel=0.1)


def test_a_check_that_is_the_tie_is_none(tmp_path: Path) -> None:
    """The tie counts, though it was read later."""
    job = day()
    job.job["session"][0]["checks"][0]["mark"] = job.job["session"][0]["ties"][0]["mark"]
    copy(job, at(job, "S01-T1"), at(job, "S01-C1"))
    times = job.rows["time"].copy()
    job.rows["time"][[at(job, "S01-T1"), at(job, "S01-C1")]] = times[[at(job, "S01-C1"), at(job, "S01-T1")]]
    (doubt,) = published_record(job.write(tmp_path), code=3)["doubts"]
    assert doubt["what"].startswith("rover001.csv:") and "S01-C1 on" in doubt["what"]


def test_computed_coordinates_agree_to_the_last_digit_as_well(tmp_path: Path) -> None:
    """A job without noise, as trials of a program have it: its checks agree with their marks to the rounding."""
    job = day()
    truth = simulate(Plan(sessions=1, points=20, ties=1, checks=3, marks=4, reach=400.0, seed=1, noise=False))
    for name in POSITION:
        job.rows[name] = np.round(truth.rows[name], 9 if name != "height" else 4)
    on_one_mark(job)
    copy(job, at(job, "S01-C1"), at(job, "S01-C3"))
    issue = run_simulated(job, tmp_path)
    assert issue.record["verdict"] == "proven" and not copied(issue) and not copied_checks(issue)


@pytest.mark.parametrize("many", [1, 5])
def test_of_readings_of_a_controller_that_stood_still_the_first_counts(many: int, tmp_path: Path) -> None:
    job = day()
    points = np.flatnonzero(job.rows["kind"] == "point")[8 : 9 + many].tolist()
    copy(job, *points)
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {str(job.rows["name"][row]): "duplicate" for row in points[1:] if many > 1}
    (note,) = copied(issue)
    assert f"{many} reading" in note and ("held back" in note) == (many > 1)
    details = {row["detail"] for row in issue.held_back.rows}
    assert details == ({f"the same observation as rover001.csv:{points[0] + 2}"} if many > 1 else set())


def test_points_that_have_one_position_here_and_there_are_told_and_stay(tmp_path: Path) -> None:
    job = day()
    points = np.flatnonzero(job.rows["kind"] == "point")[[3, 9, 14]].tolist()
    copy(job, *points)
    issue = run_simulated(job, tmp_path)
    (note,) = copied(issue)
    assert issue.reasons() == {} and "2 readings have" in note and "rows around" not in note


def test_positions_that_were_moved_by_a_row_leave_one_pair_that_says_where_to_look(tmp_path: Path) -> None:
    """Six points have the position of the one before: the first of them alone shares it with another."""
    job = day()
    points = np.flatnonzero(job.rows["kind"] == "point")[5:12]
    assert (np.diff(points) == 1).all()
    for name in POSITION:
        job.rows[name][points[1:]] = job.rows[name][points[:-1]].copy()
    (note,) = copied(run_simulated(job, tmp_path))
    assert "1 reading has" in note and f"rover001.csv:{points[1] + 2} that of rover001.csv:{points[0] + 2}" in note
    assert "compare the rows around with the controller" in note


def test_a_point_stored_again_at_its_own_time_stays(tmp_path: Path) -> None:
    """The controller copies a point for a check, with its time."""
    job = day()
    one, other = np.flatnonzero(job.rows["kind"] == "point")[8:10].tolist()
    copy(job, one, other)
    job.rows["time"][other] = job.rows["time"][one]
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {} and not copied(issue)


@pytest.mark.parametrize(("degrees", "metres"), [(7, 2), (6, 1)])
def test_what_agrees_by_chance_stays(degrees: int, metres: int, tmp_path: Path) -> None:
    """Coordinates to the centimetre: of one measured twice within a centimetre many agree."""
    job = day(degrees, metres)
    points = np.flatnonzero(job.rows["kind"] == "point")
    copy(job, *points[8:10].tolist())
    issue = run_simulated(job, tmp_path, code=3 if degrees < 7 else 0)
    assert "duplicate" not in issue.reasons().values() and not copied(issue)


def test_a_receiver_at_rest_that_writes_millimetres_stays(tmp_path: Path) -> None:
    """A hundred readings, a second apart and 3 mm about one place: of their 4,950 pairs some agree to the digit."""
    job = day(8, 3)
    rows, points = job.rows, np.flatnonzero(job.rows["kind"] == "point")
    job.keep(np.append(np.arange(len(rows["name"])), np.repeat(points[8], 100)))
    rows, rng = job.rows, np.random.default_rng(2)
    for name, metres, decimals in zip(POSITION, (1.2e-5 * 0.001, 0.9e-5 * 0.001, 0.003), (8, 8, 3), strict=True):
        rows[name] = rows[name].copy()
        rows[name][-100:] = np.round(rows[name][-100:] + rng.normal(0.0, metres, 100), decimals)
    rows["name"] = rows["name"].astype("<U20")
    rows["name"][-100:] = [f"REST{number}" for number in range(100)]
    rows["time"] = rows["time"].copy()
    rows["time"][-100:] += (np.arange(100) + 1) * np.timedelta64(1000, "ms")
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {} and not copied(issue)


@pytest.mark.parametrize("seed", range(6))
def test_marks_measured_again_are_no_copies(seed: int, tmp_path: Path) -> None:
    job = day(8, 3, seed)
    on_one_mark(job)
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {} and not copied(issue) and not copied_checks(issue)


def test_where_too_few_others_say_whether_it_was_measured_a_copy_is_told(tmp_path: Path) -> None:
    """The one check that is left may differ from the tie by what its mark was revised by.

    The base is knocked by 0.3 m between the two: what was measured from then on is bracketed by none that was measured.
    """
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=2, marks=3, reach=400.0, seed=1))
    checks = job.job["session"][0]["checks"]
    checks[1]["mark"] = checks[0]["mark"]
    job.knock_base(0, 0.5, east=0.3)
    copy(job, at(job, "S01-C1"), at(job, "S01-C2"))
    issue = run_simulated(job, tmp_path)
    assert issue.record["verdict"] == "unclosed"
    assert {row["proof"] for row in issue.points.rows} == {"unclosed"}
    (note,) = copied_checks(issue)
    assert "S01-C2 on" in note and "does not count as proof of its time" in note


def test_one_shot_stored_under_the_codes_of_a_corner_stays(tmp_path: Path) -> None:
    job = day()
    points = np.flatnonzero(job.rows["kind"] == "point")[8:11].tolist()
    copy(job, *points)
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {} and len(copied(issue)) == 1


@pytest.mark.parametrize("checks", [2, 3])
def test_a_mark_revised_makes_no_copies_of_computed_positions(checks: int, tmp_path: Path) -> None:
    """All positions computed, opening and closing alike to the digit; the mark of the tie revised along all axes."""
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=checks, marks=1 + checks, seed=1, noise=False))
    told = job.job["session"][0]["checks"]
    told[-1]["mark"] = told[0]["mark"]
    copy(job, at(job, "S01-C1"), at(job, f"S01-C{checks}"))
    for axis, by in (("easting", 0.004), ("northing", -0.003), ("height", 0.005)):
        job.register[axis][list(job.register["mark"]).index("CM1")] += by
    assert published_record(job.write(tmp_path))["verdict"] == "proven"


def test_very_many_readings_of_few_positions_are_told_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.intake.copies._MOST", 10)
    job = day()
    points = np.flatnonzero(job.rows["kind"] == "point")
    copy(job, *points[4:16].tolist())
    issue = run_simulated(job, tmp_path)
    (note,) = copied(issue)
    assert issue.reasons() == {} and note.startswith("12 readings share positions")
