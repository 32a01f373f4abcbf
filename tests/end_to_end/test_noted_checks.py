"""Checks read off the screen in the field: shown where checks are shown, told where they fail, never proof.

What each row must say follows from the register and from what was noted, by sums and differences.
"""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from every import every
from feet import FEET, NAVD88_SURVEY, SURVEY, state_plane
from issued import Issue
from running import record_of, run_written
from simulate import Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline import JobError, check_job, run_job
from pipeline.cli.main import app
from pipeline.issue.attention import attention

#: Two sessions; in each a tie and a check at the opening, twenty points, a check at the close.
DAY = Plan(sessions=2, points=20, ties=1, checks=2, marks=4, noise=False)


def day(*noted: dict[str, Any]) -> Simulation:
    """Return the job with checks noted in its first session; their ``time`` is in hours from its start."""
    job = simulate(DAY)
    start = job.job["session"][0]["start"]
    job.job["session"][0]["noted"] = [{**one, "time": start + timedelta(hours=one["time"])} for one in noted]
    return job


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Issue, Issue]:
    """A day without its closing check in the export, as it is and with three checks from the field book."""
    noted = [
        {"mark": "CM3", "time": 7.9, "d_east": 0.012, "d_north": -0.009, "d_height": 0.021, "note": "at closing"},
        {"mark": "CM2", "time": 0.1, "d_horizontal": 0.014},
        {"mark": "CM4", "time": 4.0, "d_horizontal": 0.052, "d_height": 0.01, "note": "bubble <out>"},
    ]
    issues = []
    for number, of in enumerate(([], noted)):
        job = day(*of)
        job.keep(job.rows["name"] != "S01-C2")
        job.job["session"][0]["checks"] = job.job["session"][0]["checks"][:1]
        job.job["issue"] = {"formats": ["gpkg", "dxf", "geojson", "landxml"]}
        path = job.write(tmp_path_factory.mktemp(f"day{number}"))
        issues.append(run_written(path, 3 if of else 0))
    return path, issues[0], issues[1]


def test_they_are_rows_of_check_marks_with_their_place_in_time(story: tuple[Path, Issue, Issue]) -> None:
    _, _, issue = story
    rows = {row["mark"]: row for row in issue.check_marks.rows if row["role"] == "noted"}
    assert {mark: row["place"] for mark, row in rows.items()} == {"CM2": "opening", "CM3": "closing", "CM4": "between"}
    assert {mark: row["passed"] for mark, row in rows.items()} == {"CM2": 1, "CM3": 1, "CM4": 0}
    closing = rows["CM3"]
    assert closing["easting"] - closing["known_easting"] == pytest.approx(0.012, abs=1e-6)
    assert closing["height"] - closing["known_height"] == pytest.approx(0.021, abs=1e-6)
    assert closing["d_horizontal"] == pytest.approx(0.015)  # hypot(0.012, 0.009)
    assert closing["point"] is None and closing["hu95"] is None and closing["cause"] == "at closing"
    assert rows["CM2"]["easting"] is None and rows["CM2"]["d_height"] is None
    assert [one["mark"] for one in issue.record["checks"] if one["role"] == "noted"] == ["CM2", "CM4", "CM3"]


def test_they_are_no_proof_and_change_no_number(story: tuple[Path, Issue, Issue]) -> None:
    """The noted check on CM3 closes nothing: the session stays as unclosed as without it."""
    _, before, issue = story
    assert before.record["verdict"] == issue.record["verdict"] == "unclosed"
    assert before.points.rows == issue.points.rows
    assert before.record["rows"] == issue.record["rows"]
    for one, other in every(zip(before.record["sessions"], issue.record["sessions"], strict=True)):
        assert one == other
    assert before.record["reach"] == issue.record["reach"]


def test_a_failing_one_is_told(story: tuple[Path, Issue, Issue]) -> None:
    path, _, issue = story
    assert [one.what for one in attention(issue.record)] == ["a check noted on CM4 fails"]
    assert CliRunner().invoke(app, ["verify", str(path.parent / "out")]).exit_code == 0
    told = CliRunner().invoke(app, ["run", str(path)])
    assert told.exit_code == 3
    assert "5 of 5 occupations of control marks pass" in told.output
    assert "3 checks noted in the field, which prove nothing" in told.output
    assert "FAILS: a check noted on CM4 (noted, between, session session-01): horizontally 0.052" in told.output
    assert "noted with it: bubble <out>" in told.output
    page = issue.package.with_suffix(".html").read_text(encoding="utf-8")
    assert "1 check noted in the field fails" in page and "bubble &lt;out&gt;" in page and "noted, closing" in page


def test_a_later_one_makes_a_new_issue_in_which_nothing_moved(tmp_path: Path) -> None:
    path = day().write(tmp_path)
    assert run_job(path).exit_code == 0
    day({"mark": "CM4", "time": 4.0, "d_horizontal": 0.01}).write(tmp_path)
    outcome = run_job(path)
    assert outcome.issued and outcome.exit_code == 0 and outcome.record["changes"] is not None
    assert outcome.record["changes"]["moved"] == 0 and outcome.record["verdict"] == "proven"
    assert "session-01" in " ".join(outcome.record["changes"]["because"])
    assert not run_job(path).issued


@pytest.mark.parametrize(
    ("noted", "what"),
    [
        ({"mark": "CM9", "d_height": 0.01}, 'noted check of session session-01 on the mark "CM9", which is not in'),
        ({"mark": "CM3", "time": 30.0, "d_height": 0.01}, "which is outside the session"),
        ({"mark": "CM3", "time": -1.0, "d_height": 0.01}, "which is outside the session"),
        ({"mark": "CM3"}, "has no difference"),
        ({"mark": "CM3", "d_east": 0.01}, "has one of d_east and d_north alone"),
        ({"mark": "CM3", "d_east": 0.01, "d_north": 0.0, "d_horizontal": 0.01}, "d_horizontal beside d_east"),
        ({"mark": "CM3", "d_height": 12.0}, "has a difference of 12 m"),
        ({"mark": "CM3", "d_horizontal": -0.01}, "'d_horizontal' of noted 1"),
        ({"mark": "CM3", "d_height": 0.01, "d_up": 0.01}, "unknown key"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line(noted: dict[str, Any], what: str, tmp_path: Path) -> None:
    path = day({"time": 1.0, **noted}).write(tmp_path)
    with pytest.raises(JobError) as error:
        check_job(path)
    lines = path.read_text(encoding="utf-8").splitlines()
    (problem,) = error.value.problems
    assert what in problem.what and problem.file == str(path)
    assert "noted" in "\n".join(lines[problem.line - 1 : problem.line + 1]), problem


def test_tables_are_read_with_their_lines(tmp_path: Path) -> None:
    path = day({"mark": "CM4", "time": 0.5, "d_height": 0.01}).write(tmp_path)
    text = path.read_text(encoding="utf-8").splitlines()
    at = next(number for number, line in enumerate(text) if line.startswith("noted = "))
    start = text[at].partition("time = ")[2][:25]
    text[at : at + 1] = ["[[session.noted]]", 'mark = "CM4"', f"time = {start}", "d_height = 0.01"] * 2
    text[at + 7] = "d_height = 11.0"
    path.write_text("\n".join(text), encoding="utf-8")
    with pytest.raises(JobError) as error:
        check_job(path)
    (problem,) = error.value.problems
    assert problem.line == at + 5 and "11 m" in problem.what  # lines count from 1: the second table's
    text[at + 7] = "d_height = 0.011"
    path.write_text("\n".join(text), encoding="utf-8")
    assert [one["d_height"] for one in record_of(path)["checks"] if one["role"] == "noted"] == [0.01, 0.011]


def test_they_go_with_a_session_that_is_split(tmp_path: Path) -> None:
    """The base is knocked half way: the lines for the two halves have the checks that were noted in each."""
    job = day(
        {"mark": "CM4", "time": 0.5, "d_height": 0.01}, {"mark": "CM4", "time": 7.9, "d_height": 0.02, "note": "x"}
    )
    job.knock_base(0, part=0.5, east=0.4)
    outcome = run_job(job.write(tmp_path), dry_run=True)
    (split,) = [one["split"] for one in outcome.record["diagnoses"]]
    assert split is not None
    first, second = split.split("\n[[session]]\n")[1:]
    assert "[[session.noted]]" in first and "d_height = 0.01" in first and 'note = "x"' not in first
    assert 'note = "x"' in second and second.index("ties") < second.index("[[session.noted]]")


def test_in_feet_the_differences_stay_metres(tmp_path: Path) -> None:
    """Coordinates count as the grid does: 0.3 m are 0.3 / (1200/3937) US survey feet, by definition."""
    job = state_plane(tmp_path)
    job.job["target"] |= {"grid": FEET, "height": NAVD88_SURVEY}
    start = job.job["session"][0]["start"]
    noted = {"mark": "CM3", "time": start + timedelta(hours=1), "d_east": 0.3, "d_north": 0.0, "d_height": -0.1}
    job.job["session"][0]["noted"] = [noted]
    (row,) = [one for one in record_of(job.write(tmp_path), 3)["checks"] if one["role"] == "noted"]
    assert row["d_east"] == 0.3 and row["d_horizontal"] == 0.3 and row["passed"] is False
    off = [float(row[axis] or 0) - float(row[f"known_{axis}"] or 0) for axis in ("easting", "northing", "height")]
    assert off == pytest.approx([0.3 / SURVEY, 0.0, -0.1 / SURVEY], abs=2e-6)
