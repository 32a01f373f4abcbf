"""A check that failed is the same reading at another time: where a clock is put right, nobody is asked for it for ever.

What was observed is the simulator's; the register has a mistype that is put right, so that all agrees at last.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from first_issue import run_once
from running import Row, rewrite_export
from second_issues import doubts
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline import run_job
from pipeline.run.run_job import Outcome

PLAN = Plan(sessions=2, points=10, ties=1, checks=3, marks=5, noise=False)
#: The last check of the first session, and how far its mark is mistyped.
CHECK, OFF = "S01-C3", 0.3
LATER = np.timedelta64(40, "s")
Change = Callable[[Simulation], None]


def mistyped(model: str = "geocentric") -> Simulation:
    job = simulate(PLAN)
    job.job["shift"] = {"model": model}
    job.mistype(mark_of(job), "height", OFF)
    return job


def mark_of(job: Simulation) -> str:
    return next(one["mark"] for one in job.job["session"][0]["checks"] if one["point"] == CHECK)


def put_right(job: Simulation) -> None:
    job.mistype(mark_of(job), "height", -OFF)


def later(job: Simulation, rows: np.ndarray, by: np.timedelta64 = LATER) -> None:
    job.rows["time"] = np.where(rows, job.rows["time"] + by, job.rows["time"])


def row(job: Simulation) -> None:
    later(job, job.rows["name"] == CHECK)


def session(job: Simulation) -> None:
    """The marks of the session were on another controller than its points."""
    later(job, (job.rows["session"] == 0) & (job.rows["kind"] != "point"))


def each_otherwise(job: Simulation) -> None:
    """As by a clock that drifts."""
    job.rows["time"] = job.rows["time"] + np.arange(len(job.rows["time"])) % 7 * np.timedelta64(3, "s")


def failing(outcome: Outcome) -> list[str | None]:
    return [one["point"] for one in outcome.record["checks"] if one["passed"] is False]


@pytest.mark.parametrize("model", ["geocentric", "grid"])
@pytest.mark.parametrize("change", [row, session, each_otherwise])
def test_it_fails_until_the_register_is_put_right_and_nothing_more_is_asked(
    change: Change, model: str, tmp_path: Path
) -> None:
    job = mistyped(model)
    first = run_once(job.write(tmp_path))
    assert first.exit_code == 3 and CHECK in failing(first)
    change(job)
    second = run_job(job.write(tmp_path))
    assert (second.issued, second.exit_code, failing(second), doubts(second)) == (True, 3, failing(first), [])
    put_right(job)
    third = run_job(job.write(tmp_path))
    assert (third.exit_code, failing(third), doubts(third)) == (0, [], [])


@pytest.mark.parametrize("change", [row, session, each_otherwise])
def test_both_at_once(change: Change, tmp_path: Path) -> None:
    job = mistyped()
    assert run_once(job.write(tmp_path)).exit_code == 3
    change(job)
    put_right(job)
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second)) == (0, [])


def one_export(path: Path, change: Callable[[Row], Row]) -> None:
    """Change the file of the first of two rovers."""
    first, _ = sorted(path.parent.glob("rover*.csv"))
    rewrite_export(first, change)


def seconds_on(row: Row) -> Row:
    time = np.datetime64(row["Observed"].rstrip("Z"), "ms") + LATER
    return row | {"Observed": f"{time}Z"}


def two_rovers(folder: Path, job: Simulation) -> Path:
    """The daily files of two days, as the simulator's rows are in order."""
    return job.write(folder, files=2)


@pytest.mark.parametrize("digits", [None, 2])
def test_the_clock_of_one_export_alone(digits: int | None, tmp_path: Path) -> None:
    """Also where the file comes with heights to the centimetre, so that the positions are not the same any more."""
    job = mistyped()
    assert run_once(two_rovers(tmp_path, job)).exit_code == 3
    put_right(job)
    path = two_rovers(tmp_path, job)
    heights = (lambda row: {"EllHt": f"{float(row['EllHt']):.{digits}f}"}) if digits else (lambda row: {})
    one_export(path, lambda row: seconds_on(row) | heights(row))
    second = run_job(path)
    assert (second.exit_code, doubts(second)) == (0, [])


def on_site(job: Simulation, folder: Path) -> Path:
    """Let the job be issued in a site's system that is fitted to the register as it stands, turned by 30 degrees."""
    job.job["target"]["site"] = {"marks": "site_marks.csv", "height": "step"}
    marks, turn = job.marks, np.radians(30.0)
    east, north = marks.easting - marks.easting.mean(), marks.northing - marks.northing.mean()
    # the mark that is mistyped in the register is mistyped here as well, so that the fit is another once it is right
    wrong = 0.02 * (job.register["height"] - marks.height > OFF / 2)
    own = [np.cos(turn) * east - np.sin(turn) * north + wrong, np.sin(turn) * east + np.cos(turn) * north, marks.height]
    rows = [f"{name},{x:.4f},{y:.4f},{z:.4f}" for name, x, y, z in zip(marks.names, *own, strict=True)]
    path = job.write(folder)
    (folder / "site_marks.csv").write_text("\n".join(["mark,easting,northing,height", *rows, ""]), encoding="utf-8")
    return path


def test_one_row_in_a_site_that_is_fitted_anew(tmp_path: Path) -> None:
    job = mistyped()
    first = run_job(on_site(job, tmp_path))
    assert first.exit_code == 3 and CHECK in failing(first)
    row(job)
    put_right(job)
    second = run_job(on_site(job, tmp_path))
    assert first.record["target"]["site"]["definition"] != second.record["target"]["site"]["definition"]  # type: ignore[index]
    assert (second.exit_code, doubts(second)) == (0, [])


def test_what_was_gone_may_come_back_at_another_time(tmp_path: Path) -> None:
    job = mistyped()
    assert run_once(job.write(tmp_path)).exit_code == 3
    rows, checks = dict(job.rows), list(job.job["session"][0]["checks"])
    job.keep(job.rows["name"] != CHECK)
    job.job["session"][0]["checks"] = [one for one in checks if one["point"] != CHECK]
    second = run_job(job.write(tmp_path))
    assert second.exit_code == 3 and len(doubts(second)) == 1
    job.rows, job.job["session"][0]["checks"] = rows, checks
    row(job)
    put_right(job)
    third = run_job(job.write(tmp_path))
    assert (third.exit_code, doubts(third)) == (0, [])


def test_one_that_no_list_had_is_the_same_at_another_time_too(tmp_path: Path) -> None:
    """Held back as a forgotten check, it is in no row of checks; it gets its time right, and into the list."""
    job = mistyped()
    first, mark = job.job["session"][0], mark_of(job)
    name = f"{mark}-PM"
    job.rows["code"] = np.where(job.rows["kind"] != "point", "CTL", job.rows["code"])
    job.job.setdefault("checks", {})["codes"] = []
    job.rows["name"] = np.where(job.rows["name"] == CHECK, name, job.rows["name"].astype("U16"))
    listed = [one | {"point": name} if one["point"] == CHECK else one for one in first["checks"]]
    first["checks"] = [one for one in listed if one["point"] != name]
    asked = run_job(job.write(tmp_path))
    assert asked.exit_code == 3 and [what for what in doubts(asked) if name in what]
    later(job, job.rows["name"] == name)
    job.mistype(mark, "height", -OFF)
    first["checks"] = listed
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second)) == (0, [])


def occupied_anew(job: Simulation) -> None:
    """The mark once more, 6 mm from the first time, under the same name in the row's place."""
    again = job.rows["name"] == CHECK
    lon, lat = job.rows["longitude"][again], job.rows["latitude"][again]
    job.displace(again, turn_enu(lon, lat, np.array([[0.004, -0.004, 0.002]])))
    row(job)


def test_a_mark_that_was_occupied_anew_answers_with_the_row_of_before_beside_it(tmp_path: Path) -> None:
    job = mistyped()
    assert run_once(job.write(tmp_path)).exit_code == 3
    before = {column: values[job.rows["name"] == CHECK] for column, values in job.rows.items()}
    occupied_anew(job)
    put_right(job)
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert second.exit_code == 3 and failing(second) == []
    assert "failed in issue 001" in what and "put its own row back into the export beside that one" in what
    job.rows = {column: np.concatenate([values, before[column]]) for column, values in job.rows.items()}
    job.keep(np.argsort(job.rows["time"], kind="stable"))
    third = run_job(job.write(tmp_path))
    assert (third.exit_code, failing(third), doubts(third)) == (0, [], [])
    assert [one["point"] for one in third.record["checks"]].count(CHECK) == 2


def test_where_the_reading_itself_was_wrong_somebody_confirms_what_was_occupied_anew(tmp_path: Path) -> None:
    job = simulate(PLAN)
    wrong = job.rows["name"] == CHECK
    rows = {column: values.copy() for column, values in job.rows.items()}
    job.displace(wrong, turn_enu(rows["longitude"][wrong], rows["latitude"][wrong], np.array([[0.0, 0.0, OFF]])))
    assert run_job(job.write(tmp_path)).exit_code == 3
    job.rows = rows
    occupied_anew(job)
    for _ in range(2):
        again = run_job(job.write(tmp_path))
        assert again.exit_code == 3 and len(doubts(again)) == 1
        job.rows["code"] = np.where(job.rows["name"] == "S01-00001", "GATE", job.rows["code"])
    job.job.setdefault("checks", {})["confirmed"] = ["unanswered-check"]
    last = run_job(job.write(tmp_path))
    assert (last.exit_code, doubts(last)) == (0, [])
