"""Standard uncertainties of job file and register that cannot be: millimetres taken for metres, or another unit."""

import re
from pathlib import Path

import numpy as np
import pytest
from running import replace_in
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.run.outcome import Outcome

TWO = Plan(sessions=2, points=20, ties=2, checks=2, marks=6)


def run(job: Simulation, tmp_path: Path) -> Outcome:
    return run_job(job.write(tmp_path), dry_run=True)


def test_a_register_in_millimetres_is_in_doubt(tmp_path: Path) -> None:
    """12 mm and 20 mm typed as 12 and 20: shifts hang on the readings alone, and no residual is too large."""
    job = simulate(TWO)
    job.register["hu95"][:], job.register["vu95"][:] = 12.0, 20.0
    outcome = run(job, tmp_path)
    assert outcome.exit_code == 3 and outcome.record["verdict"] == "unchecked"
    plan, up = (doubt["what"] for doubt in outcome.record["doubts"])
    assert "hu95 of 5 occupied marks cannot be right: CM1 (12 m), CM2 (12 m), CM3 (12 m) and 2 more" in plan
    assert "vu95 of 5 occupied marks cannot be right: CM1 (20 m)" in up and "register.csv:2:" in up
    assert set(check_job(tmp_path / "job.toml").warnings) >= {plan, up}


def test_the_doubt_says_the_same_however_the_job_is_reached(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It names the register from the job file's folder, as the record names what was read."""
    job = simulate(TWO)
    job.register["hu95"][:] = 12.0
    (tmp_path / "deep" / "er").mkdir(parents=True)
    (near, far) = (job.write(folder) for folder in (tmp_path / "job", tmp_path / "deep" / "er"))
    monkeypatch.chdir(tmp_path / "deep")
    paths = [near, far, Path("er", "job.toml"), Path("..", "job", "job.toml")]
    told = [doubt["what"] for path in paths for doubt in run_job(path, dry_run=True).record["doubts"]]
    assert len(told) == 4 and len(set(told)) == 1 and told[0].startswith("register.csv:2: hu95 of 5 occupied marks")


def test_only_sessions_that_stand_on_such_a_mark_are_in_doubt(tmp_path: Path) -> None:
    """The first session alone stands on CM1; CM6, whose place nobody needs, is known to two metres and says so."""
    job = simulate(TWO)
    job.register["hu95"][[0, 5]] = 12.0, 5.0
    (doubt,) = run(job, tmp_path).record["doubts"]
    assert doubt["sessions"] == ["session-01"] and "CM6" not in doubt["what"]


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("quality", "centring", 3.0),
        ("quality", "ppm", 1_000.0),
        ("quality", "scale", 50.0),
        ("control", "sigma_horizontal", 5.0),
        ("target", "geoid_sigma", 20.0),
        ("target", "geoid_sigma", 5.0),
    ],
)
def test_an_uncertainty_of_the_job_file_is_in_doubt(table: str, key: str, value: float, tmp_path: Path) -> None:
    job = simulate(TWO)
    job.job.setdefault(table, {})[key] = value
    outcome = run(job, tmp_path)
    (doubt,) = outcome.record["doubts"]
    assert doubt["kind"] == "precision" and outcome.exit_code == 3
    assert f"{table}.{key} = {value:g}" in doubt["what"] and doubt["sessions"] == ["session-01", "session-02"]


@pytest.mark.parametrize("key", ["scale", "scale_vertical"])
def test_a_scale_of_one_block_is_in_doubt_as_that_of_all_is(key: str, tmp_path: Path) -> None:
    path = simulate(TWO).write(tmp_path)
    replace_in(path, {"[[points]]": f"[[points]]\n{key} = 50.0"})
    (doubt,) = run_job(path, dry_run=True).record["doubts"]
    assert doubt["kind"] == "precision" and f"points.{key} = 50" in doubt["what"]


@pytest.mark.parametrize(
    ("table", "key", "value", "told"),
    [
        ("target", "geoid_sigma", 1.0, False),  # a global model of the nineties
        ("quality", "max_correction_age", 60_000.0, True),
        ("quality", "max_correction_age", 30.0, False),
        ("checks", "radius", 500.0, True),
        ("checks", "radius", 10.0, False),
        ("target", "max_transform_error", 30.0, True),
        ("target", "max_transform_error", 5.0, False),
    ],
)
def test_a_limit_in_another_unit_is_told(table: str, key: str, value: float, told: bool, tmp_path: Path) -> None:
    job = simulate(TWO)
    job.job.setdefault(table, {})[key] = value
    record = run(job, tmp_path).record
    assert record["verdict"] == "proven" and not record["doubts"]
    assert len([note for note in record["notes"] if f"{table}.{key} = {value:g} " in note]) == told


def test_an_uncertainty_for_rows_whose_cells_are_empty(tmp_path: Path) -> None:
    job = simulate(TWO)
    job.job["quality"] = {"sigma_vertical": 15.0}
    every_other = np.arange(len(job.rows["name"])) % 2 == 0
    job.rows["sigma_up"] = np.where(every_other, "", job.rows["sigma_up"].astype(str))
    (doubt,) = run(job, tmp_path).record["doubts"]
    assert "quality.sigma_vertical = 15" in doubt["what"]


@pytest.mark.parametrize("mapped", [True, False])
def test_an_uncertainty_for_exports_without_any(mapped: bool, tmp_path: Path) -> None:
    """8 mm typed as 8: of every point where the export states none, of no point where it does."""
    job = simulate(TWO)
    job.job["quality"] = {"sigma_horizontal": 8.0}
    path = job.write(tmp_path)
    if not mapped:
        text = path.read_text(encoding="utf-8")
        assert text.count('sigma_east = "sE", ') == 1
        path.write_text(text.replace('sigma_east = "sE", ', ""), encoding="utf-8")
    outcome = run_job(path, dry_run=True)
    told = [note for note in outcome.record["notes"] if "quality.sigma_horizontal = 8" in note]
    assert len(outcome.record["doubts"]) == (0 if mapped else 1) and outcome.exit_code == (0 if mapped else 3)
    assert len(told) == 1


def test_the_sigma_of_a_stated_shift(tmp_path: Path) -> None:
    job = simulate(TWO)
    stated = {"east": 0.0, "north": 0.0, "up": 0.0, "sigma_horizontal": 5.0, "sigma_vertical": 0.01}
    job.job["session"][0]["shift"] = stated
    (doubt,) = (doubt for doubt in run(job, tmp_path).record["doubts"] if doubt["kind"] == "precision")
    assert doubt["sessions"] == ["session-01"] and "shift.sigma_horizontal = 5" in doubt["what"]


def test_a_limit_of_readings_that_lets_everything_pass_is_told(tmp_path: Path) -> None:
    job = simulate(TWO)
    job.job["quality"] = {"max_sigma_vertical": 80.0}
    outcome = run(job, tmp_path)
    (note,) = (note for note in outcome.record["notes"] if "pass" in note)
    assert outcome.exit_code == 0 and "quality.max_sigma_vertical = 80 lets every reading pass" in note


def test_limits_of_shifts_that_let_everything_pass_are_in_doubt(tmp_path: Path) -> None:
    """10 m and 20 m typed in millimetres: the base gave out a position 78 m off, and nobody would hear of it."""
    job = simulate(TWO)
    for name, metres in (("longitude", 0.0008), ("height", 40.0)):
        job.rows[name] += metres
    job.job["shift"] = {"limit_horizontal": 10_000.0, "limit_vertical": 20_000.0}
    outcome = run(job, tmp_path)
    (doubt,) = outcome.record["doubts"]
    assert (doubt["kind"], outcome.exit_code) == ("tolerance", 3)
    assert "shift.limit_horizontal = 10000 and shift.limit_vertical = 20000 passes every blunder" in doubt["what"]


def test_a_mark_that_is_held_fixed_is_no_slip(tmp_path: Path) -> None:
    """The register takes no uncertainty of nothing, so that a tenth of a millimetre stands for it (common practice)."""
    job = simulate(TWO)
    job.register["hu95"][:], job.register["vu95"][:] = 1e-4, 1e-4
    outcome = run(job, tmp_path)
    assert outcome.exit_code == 0 and not outcome.record["doubts"]


@pytest.mark.parametrize(("times", "told"), [(1000.0, True), (100.0, False)])
def test_millimetres_in_an_export_are_told_with_what_to_do(times: float, told: bool, tmp_path: Path) -> None:
    """8 mm in plan and 15 in height; a hundred times as much is what solutions that are not fixed state."""
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=2, noise=False))
    for limit in ("max_sigma_horizontal", "max_sigma_vertical"):
        job.job["quality"].pop(limit, None)
    for sigma in ("sigma_east", "sigma_north", "sigma_up"):
        job.rows[sigma] = job.rows[sigma] * times
    path = job.write(tmp_path)
    (doubt,) = run_job(path, dry_run=True).record["doubts"]
    assert doubt["kind"] == "precision" and ("would be usual in millimetres" in doubt["what"]) is told
    if told:
        (export,) = tmp_path.glob("rover*.csv")
        heading, rows = export.read_text(encoding="utf-8").split("\n", 1)
        headed, mapped = re.subn(r"\bs([ENU])\b", r"s\1 [mm]", heading)[0], path.read_text(encoding="utf-8")
        export.write_text(f"{headed}\n{rows}", encoding="utf-8")
        path.write_text(re.sub(r'"s([ENU])"', r'"s\1 [mm]"', mapped), encoding="utf-8")
        assert run_job(path, dry_run=True).record["doubts"] == []


@pytest.mark.parametrize(
    ("times", "every", "solution", "limit", "told"),
    [
        (40.0, 6, False, False, True),
        (40.0, 6, True, False, True),
        (40.0, 6, True, True, False),
        (20.0, 6, True, False, False),
        (40.0, 6, False, True, False),
        (8.0, 6, False, False, False),
        (40.0, 1, False, False, False),
        (25.0, 40, True, False, True),
        (25.0, 40, True, True, False),
        (14.0, 40, True, False, True),
        (9.0, 40, True, False, False),
    ],
    ids=[
        "some",
        "by a column of solutions fixed",
        "fixed, and a limit judges them",
        "fixed under trees",
        "a limit judges them",
        "under trees",
        "all alike",
        "one that is fixed",
        "a limit judges it",
        "one in height",
        "one under a tree",
    ],
)
def test_readings_far_less_precise_than_most_are_told(
    times: float, every: int, solution: bool, limit: bool, told: bool, tmp_path: Path
) -> None:
    """8 mm in plan is usual of fixed solutions, and three decimetres of floats that converge (common practice)."""
    job = simulate(Plan(sessions=1, points=60, ties=1, checks=2, noise=False))
    for key in ("max_sigma_horizontal", "max_sigma_vertical"):
        job.job["quality"].pop(key, None)
        if limit:
            job.job["quality"][key] = 0.9
    for name, usual in (("sigma_east", 0.008), ("sigma_north", 0.008), ("sigma_up", 0.012)):
        some = np.arange(len(job.rows["name"])) % every == every - 1
        job.rows[name] = np.where(some, usual * times, usual)
    path = job.write(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert text.count(', solution = "Sol"') == 1
    if not solution:
        path.write_text(text.replace(', solution = "Sol"', ""), encoding="utf-8")
    outcome = run_job(path, dry_run=True)
    notes = [note for note in outcome.record["notes"] if "over ten times that of" in note]
    assert (outcome.exit_code, outcome.record["doubts"], len(notes)) == (0, [], int(told))
    count = len(job.rows["name"]) // every
    assert all(f"{count} of {len(job.rows['name'])} accepted readings state" in note for note in notes)


@pytest.mark.parametrize(("rows", "of"), [(1, 60), (4, 60), (10, 190), (30, 190), (60, 190), (45, 60)])
@pytest.mark.parametrize("sigma", [0.2, 0.3, 0.45])
def test_a_stretch_of_readings_called_fixed_that_state_decimetres_is_told(
    rows: int, of: int, sigma: float, tmp_path: Path
) -> None:
    """A solution that has lost its fix for a while says so by its uncertainty, however long that lasts."""
    told_of_a_stretch(tmp_path, rows, of, sigma)


def told_of_a_stretch(folder: Path, rows: int, of: int, sigma: float, up: float = 1.4) -> None:
    job = simulate(Plan(sessions=1, points=of, ties=1, checks=2, noise=False))
    for key in ("max_sigma_horizontal", "max_sigma_vertical"):
        job.job["quality"].pop(key, None)
    for name, usual in (("sigma_east", 0.010), ("sigma_north", 0.010), ("sigma_up", 0.016)):
        job.rows[name] = np.full(len(job.rows["name"]), usual)
        job.rows[name][10 : 10 + rows] = sigma * (up if name == "sigma_up" else 1.0)
    outcome = run_job(job.write(folder), dry_run=True)
    (note,) = (note for note in outcome.record["notes"] if "over ten times that of" in note)
    assert note.startswith("rover001.csv:12: ") and f": {rows} of {len(job.rows['name'])} accepted readings" in note


def test_one_that_states_less_is_told_where_it_lasts(tmp_path: Path) -> None:
    told_of_a_stretch(tmp_path, 10, 60, 0.16, up=1.0)


@pytest.mark.parametrize("sigma", [0.05, 0.09, 0.13])
def test_a_stretch_under_trees_is_let_be(sigma: float, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=60, ties=1, checks=2, noise=False))
    for key in ("max_sigma_horizontal", "max_sigma_vertical"):
        job.job["quality"].pop(key, None)
    for name, usual in (("sigma_east", 0.010), ("sigma_north", 0.010), ("sigma_up", 0.016)):
        job.rows[name] = np.full(len(job.rows["name"]), usual)
        job.rows[name][20:40] = sigma * (1.4 if name == "sigma_up" else 1.0)
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert not [note for note in outcome.record["notes"] if "over ten times that of" in note]


@pytest.mark.parametrize(
    ("plan", "up", "told"),
    [
        ((0.012, 0.018), (0.007, 0.010), True),
        ((0.007, 0.010), (0.012, 0.018), False),
        ((0.010, 0.010), (0.006, 0.006), False),
        ((0.010, 0.011), (0.009, 0.010), False),
        ((0.01, 0.02), (0.01, 0.02), False),
    ],
    ids=["exchanged", "as they are", "placeholders", "alike", "to the centimetre"],
)
def test_exchanged_columns_of_sigmas_are_told(
    plan: tuple[float, float], up: tuple[float, float], told: bool, tmp_path: Path
) -> None:
    """Heights by satellite are less certain than positions: common practice, no source."""
    job = simulate(Plan(sessions=1, points=60, ties=1, checks=2, noise=False))
    by_turns = np.arange(len(job.rows["name"])) % 2
    for name, stated in (("sigma_east", plan), ("sigma_north", plan), ("sigma_up", up)):
        job.rows[name] = np.array(stated)[by_turns]
    outcome = run(job, tmp_path)
    notes = [note for note in outcome.record["notes"] if "heights to be more certain than positions" in note]
    assert (outcome.exit_code, len(notes)) == (0, int(told))
    assert all('Check whether the columns "sE" and "sU" are exchanged' in note for note in notes)
