"""The command line against the contract: exit codes, what goes to stdout and stderr, and what is left unwritten."""

import json
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
from command import SMALL, failing, process, spoiled, tiedown, untied
from issued import current_issue, everything_below
from running import replace_in
from simulate import Plan, Simulation, simulate
from typer.main import get_command
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.main import app
from pipeline.issue.folder.publish import job_lock


@pytest.mark.parametrize(("make", "code"), [(lambda: simulate(SMALL), 0), (failing, 3), (untied, 3), (spoiled, 2)])
def test_run_says_by_its_exit_code_what_became_of_a_job(
    make: Callable[[], Simulation], code: int, tmp_path: Path
) -> None:
    path = make().write(tmp_path)
    found = tiedown("run", path)
    assert found.exit_code == code, found.output
    assert (tmp_path / "out").exists() is (code != 2)
    if code != 2:
        assert "issue 001" in found.stdout and found.stderr == ""
    else:
        assert found.stdout == "" and "CM9" in found.stderr


def _none_tied(job: Simulation) -> None:
    job.job["session"][0]["ties"] = []


def _confirmed_in_vain(job: Simulation) -> None:
    job.job["checks"] = {"confirmed": ["datum"]}


def _switched_unseen(job: Simulation) -> None:
    start = job.job["session"][0]["start"] + timedelta(hours=4)
    vector = {"east": 1.4, "north": -2.2, "up": 7.5}
    job.correct_in_field(0, start, **vector)
    job.job["session"][0]["field_shift"] = {"from": start, **vector}


@pytest.mark.parametrize("change", [_none_tied, _confirmed_in_vain, _switched_unseen])
def test_check_tells_what_a_run_would_note_of_its_sessions(
    change: Callable[[Simulation], None], tmp_path: Path
) -> None:
    """So that nobody has to make an issue to hear of it; but for what is wholly held back, which a run counts."""
    job = simulate(Plan(sessions=2, points=12, noise=False))
    change(job)
    path = job.write(tmp_path)
    warned = check_job(path).warnings
    notes = run_job(path, dry_run=True).record["notes"]
    ours = [note for note in notes if "rows are held back" not in note]
    assert ours and [note for note in ours if note not in warned] == []
    assert len(set(warned)) == len(warned)


def test_a_point_held_back_for_another_reason_is_no_exit_3(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.rows["solution"][3] = "float"
    assert tiedown("run", job.write(tmp_path)).exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Usage"), (["walk"], "walk"), (["run"], "JOB"), (["check"], "JOB"), (["history"], "JOB"),
        (["verify"], "FOLDER"), (["trace", "job.toml"], "POINT"), (["run", "--fast", "job.toml"], "--fast"),
        (["run", "nothing.toml"], "no such job file"), (["run", "."], "a folder, not a job file"),
        (["check", "."], "a folder, not a job file"), (["run", ""], "a folder, not a job file"),
        (["run", "--workers", "0", "job.toml"], "--workers"), (["run", "--workers", "-1", "job.toml"], "--workers"),
        (["run", "--workers", "abc", "job.toml"], "--workers"), (["verify", "pyproject.toml"], "no such folder"),
        (["verify", "nowhere"], "no such folder"), (["history", "nothing.toml"], "no such job file"),
        (["run", "--cluster", "tcp://a:1", "--workers", "2", "job.toml"], "--workers cannot be used with --cluster"),
        (["plan"], "JOB"), (["plan", "nothing.toml"], "no such job file"), (["marks", "job.toml"], "--to"),
        (["marks", "nothing.toml", "--to", "m.csv"], "no such job file"),
        (["marks", "job.toml", "--to", "m.csv", "--within", "0"], "number of metres greater than 0"),
    ],
)  # fmt: skip
def test_wrong_usage_is_exit_2_in_words(arguments: list[str], words: str) -> None:
    found = tiedown(*arguments)
    assert found.exit_code == 2 and isinstance(found.exception, SystemExit)
    assert words in found.output


@pytest.mark.parametrize("command", get_command(app).commands)  # type: ignore[attr-defined]
def test_help_says_what_to_give_once_and_which_exit_codes_there_are(command: str) -> None:
    help = tiedown(command, "--help").stdout
    assert "Exit codes: 0" in help
    assert "...}" not in help and re.findall(r"--\S+ <", help) == []


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_of_a_command_is_cut_however_narrow_the_terminal(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    told = " ".join(CliRunner().invoke(app, ["--help"], terminal_width=width).output.split())
    assert "..." not in told.split("Commands:")[1]
    assert "marks Write the marks around the job for the field: a file that can serve as a register, and" in told


def test_a_job_named_twice_is_run_once_and_its_other_name_refused(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path / "job")
    (tmp_path / "link").symlink_to(tmp_path / "job")
    (tmp_path / "link.toml").symlink_to(path)
    for again in (
        path,
        tmp_path / "job" / ".." / "job" / "job.toml",
        tmp_path / "link.toml",
        tmp_path / "link/job.toml",
    ):
        for word in ("check", "run"):
            found = tiedown(word, path, again)
            assert found.exit_code == 2 and "named twice" in found.stderr, found.output
            assert "no errors" in found.stdout or "issue 001" in found.stdout
    said = json.loads(tiedown("run", "--json", path, path).stdout)["jobs"]
    assert [one["outcome"] for one in said] == ["unchanged", "refused"]
    assert "named twice" in said[1]["problems"][0]["what"]


def test_a_folder_that_has_two_names_costs_the_other_jobs_of_a_batch_nothing(tmp_path: Path) -> None:
    """Each has its own entry, in the order in which they were named."""
    paths = [simulate(SMALL).write(tmp_path / name) for name in ("a", "c")]
    (tmp_path / "b").symlink_to(tmp_path / "a")
    found = tiedown("run", "--json", paths[0], tmp_path / "b" / "job.toml", paths[1])
    said = json.loads(found.stdout)["jobs"]
    assert [one["outcome"] for one in said] == ["issued", "refused", "issued"] and found.exit_code == 2
    assert [one["exit_code"] for one in said] == [0, 2, 0]


def test_a_folder_with_the_issues_of_another_job_is_refused(tmp_path: Path) -> None:
    """A job file copied for the next job, with a new name and the old folder."""
    path = simulate(SMALL).write(tmp_path)
    assert tiedown("run", path).exit_code == 0
    before = everything_below(tmp_path / "out")
    other = path.with_name("next.toml")
    other.write_text(path.read_text(encoding="utf-8").replace('name = "simulated"', 'name = "next"'), encoding="utf-8")
    for command in (["run"], ["run", "--dry-run"], ["check"]):
        found = tiedown(*command, other)
        assert found.exit_code == 2, found.output
        assert f"{other}:3: the folder {tmp_path / 'out'} holds the issues of the job simulated" in found.stderr
    assert everything_below(tmp_path / "out") == before


def test_a_job_that_another_run_holds_is_exit_4_at_once(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    with job_lock(tmp_path / "out"):
        found = tiedown("run", path)
    assert found.exit_code == 4
    assert "already being run" in found.stderr
    assert not (tmp_path / "out" / "issues").exists()
    assert tiedown("run", path).exit_code == 0


def test_a_fault_of_the_program_is_exit_1_and_keeps_its_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("pipeline.run.run_job.run_job", broken)
    found = tiedown("run", simulate(SMALL).write(tmp_path))
    assert found.exit_code == 1
    assert "ZeroDivisionError: planted" in found.stderr


def test_of_several_jobs_the_highest_code_counts_and_none_stops_another(tmp_path: Path) -> None:
    paths = [
        job.write(tmp_path / name)
        for name, job in {"bad": spoiled(), "fails": failing(), "good": simulate(SMALL)}.items()
    ]
    found = tiedown("run", *paths)
    assert found.exit_code == 3
    assert "CM9" in found.stderr
    assert [(path.parent / "out" / "current").exists() for path in paths] == [False, True, True]
    assert tiedown("run", paths[0], paths[2]).exit_code == 2
    with job_lock(paths[2].parent / "out"):
        assert tiedown("run", *paths).exit_code == 4


def test_workers_give_what_one_after_another_gives(tmp_path: Path) -> None:
    paths = [job.write(tmp_path / name) for name, job in {"bad": spoiled(), "good": simulate(SMALL)}.items()]
    found = process("run", "--workers", 2, *paths)
    assert found.returncode == 2, found.stderr
    assert b"CM9" in found.stderr
    alone = simulate(SMALL).write(tmp_path / "alone")
    assert tiedown("run", alone).exit_code == 0
    ours, theirs = (current_issue(path.parent / "out").folder for path in (paths[1], alone))
    for name in ("simulated-001.gpkg", "issue.json"):
        assert (ours / name).read_bytes() == (theirs / name).read_bytes()


def test_json_prints_the_record_and_nothing_else(tmp_path: Path) -> None:
    path = failing().write(tmp_path)
    found = tiedown("run", "--json", path)
    assert found.exit_code == 3
    written = json.loads((tmp_path / "out" / "current" / "issue.json").read_text(encoding="utf-8"))
    assert json.loads(found.stdout) == written
    assert json.loads(tiedown("run", "--json", path).stdout) == written  # also where nothing changed


def test_json_of_several_jobs_is_one_document_with_every_job_in_it(tmp_path: Path) -> None:
    made = {"good": simulate(SMALL), "fails": failing(), "bad": spoiled(), "held": simulate(SMALL)}
    paths = [job.write(tmp_path / name) for name, job in made.items()]
    with job_lock(paths[3].parent / "out"):
        found = tiedown("run", "--json", *paths)
    assert found.exit_code == 4
    good, fails, bad, held = json.loads(found.stdout)["jobs"]
    assert [one["file"] for one in (good, fails, bad, held)] == [str(path) for path in paths]
    assert [one["exit_code"] for one in (good, fails, bad, held)] == [0, 3, 2, 4]
    assert [one["outcome"] for one in (good, fails, bad, held)] == ["issued", "issued", "refused", "held"]
    for one, path in ((good, paths[0]), (fails, paths[1])):
        record = json.loads((path.parent / "out" / "current" / "issue.json").read_text(encoding="utf-8"))
        assert {key: one[key] for key in record} == record
    (problem,) = bad["problems"]
    assert problem["file"] == str(paths[2]) and problem["line"] > 0 and "CM9" in problem["what"] and problem["fix"]
    assert "already being run" in held["problems"][0]["what"]
    again = tiedown("run", "--json", "--workers", "2", *paths[:3])
    outcomes = [(one["outcome"], one["exit_code"]) for one in json.loads(again.stdout)["jobs"]]
    assert (again.exit_code, outcomes) == (3, [("unchanged", 0), ("unchanged", 3), ("refused", 2)])


@pytest.mark.parametrize("word", ["run", "trace", "history", "verify"])
def test_json_is_a_document_also_where_the_job_is_refused(word: str, tmp_path: Path) -> None:
    arguments = [tmp_path / "nothing.toml", *(["X"] if word == "trace" else [])]
    found = tiedown(word, "--json", *arguments)
    assert found.exit_code == 2 and str(arguments[0]) in found.stderr
    said = json.loads(found.stdout)
    assert said["outcome"] == "refused" and said["exit_code"] == 2
    assert said["problems"][0]["what"] and said["problems"][0]["file"] == str(arguments[0])


@pytest.mark.parametrize(
    "arguments",
    [
        ["run", "--json"], ["run", "--json", "--workers", "0", "job.toml"], ["run", "job.toml", "--odd", "--json"],
        ["run", "--json", "--fail-on", "rain", "job.toml"], ["run", "--json", "--timeout", "-1", "job.toml"],
        ["run", "--json", "--cluster", "tcp://a:1", "--workers", "2", "job.toml"], ["trace", "--json", "job.toml"],
        ["marks", "job.toml", "--json"], ["plan", "--json"], ["history", "job.toml", "--json", "--to", "d.gpkg"],
        ["new", "--json"], ["verify", "--json"],
    ],
)  # fmt: skip
def test_wrong_usage_is_a_document_too_where_json_is_asked_for(arguments: list[str]) -> None:
    found, plain = tiedown(*arguments), tiedown(*(one for one in arguments if one != "--json"))
    assert found.exit_code == plain.exit_code == 2
    assert found.stderr == plain.stderr and not plain.stdout
    said = json.loads(found.stdout)
    assert (said["outcome"], said["exit_code"]) == ("refused", 2)
    (problem,) = said["problems"]
    assert problem["what"] in found.stderr and f"{arguments[0]} --help" in problem["fix"]


def test_a_file_of_that_name_asks_for_no_json() -> None:
    assert not tiedown("run", "--workers", "0", "--", "--json").stdout


def test_the_summary_of_several_jobs_ends_with_a_line_each_and_what_needs_attention_last(tmp_path: Path) -> None:
    made = {"bad": spoiled(), "fails": failing(), "good": simulate(SMALL), "held": simulate(SMALL)}
    paths = {name: job.write(tmp_path / name) for name, job in made.items()}
    with job_lock(paths["held"].parent / "out"):
        found = tiedown("run", *paths.values())
    *_, good, fails, held, bad, total = found.stdout.splitlines()
    for line, name, words in (
        (good, "good", ["good ", "7 rows, 4 points, 3 on marks, 0 held back"]),
        (fails, "fails", ["needs attention", "failed", "7 rows, 0 points, 3 on marks, 4 held back"]),
        (held, "held", ["already running ", "already being run"]),
        (bad, "bad", ["refused", "1 problem, nothing written"]),
    ):
        assert all(word in line for word in [str(paths[name]), *words]), line
    assert total == "4 jobs: 1 good, 1 needs attention, 1 already running, 1 refused"


def test_one_is_told_in_the_singular(tmp_path: Path) -> None:
    found = tiedown("check", simulate(SMALL).write(tmp_path))
    assert "7 rows in 1 file, 1 session" in found.stdout


def test_quiet_prints_problems_alone(tmp_path: Path) -> None:
    good, bad = simulate(SMALL).write(tmp_path / "good"), spoiled().write(tmp_path / "bad")
    found = tiedown("run", "--quiet", good, bad)
    assert found.exit_code == 2
    assert found.stdout == ""
    assert "CM9" in found.stderr and "good" not in found.stderr


def test_the_summary_tells_balance_verdict_and_failing_check(tmp_path: Path) -> None:
    found = tiedown("run", failing(Plan(sessions=1, points=4, noise=False)).write(tmp_path))
    assert "7 rows read = 0 points + 3 on marks + 4 held back" in " ".join(found.stdout.split()), found.stdout
    for word in ("FAILED", "S01-C2", "CM3", "suspect", "EGM96 height", "licensed"):
        assert word in found.stdout


# Nothing written


@pytest.mark.parametrize(("make", "code"), [(lambda: simulate(SMALL), 0), (failing, 3), (spoiled, 2)])
def test_dry_run_writes_nothing_at_all(make: Callable[[], Simulation], code: int, tmp_path: Path) -> None:
    path = make().write(tmp_path)
    before = everything_below(tmp_path)
    found = tiedown("run", "--dry-run", path)
    assert found.exit_code == code, found.output
    assert everything_below(tmp_path) == before
    if code != 2:
        assert tiedown("run", "--dry-run", "--json", path).exit_code == code
        assert everything_below(tmp_path) == before


def test_dry_run_beside_an_issue_writes_nothing_and_counts_like_a_run(tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = job.write(tmp_path)
    assert tiedown("run", path).exit_code == 0
    job.rows["solution"][3] = "float"
    job.write(tmp_path)
    before = everything_below(tmp_path)
    dry = json.loads(tiedown("run", "--dry-run", "--json", path).stdout)
    assert everything_below(tmp_path) == before
    wet = json.loads(tiedown("run", "--json", path).stdout)
    assert dry["rows"] == wet["rows"] and dry["issue"] == wet["issue"] == 2
    assert dry["checks"] == wet["checks"] and dry["sessions"] == wet["sessions"]


def test_check_writes_nothing_and_reports_what_a_run_would_refuse(tmp_path: Path) -> None:
    good, bad = simulate(SMALL).write(tmp_path / "good"), spoiled().write(tmp_path / "bad")
    replace_in(bad.parent / "rover001.csv", {",EllHt,": ",Height,"})
    before = everything_below(tmp_path)
    assert tiedown("check", good).exit_code == 0
    found = tiedown("check", good, bad)
    assert found.exit_code == 2
    assert "CM9" in found.stderr and "EllHt" in found.stderr
    assert everything_below(tmp_path) == before


def with_metadata(path: Path, layer: str) -> None:
    """Write a GeoPackage again with metadata of its own, as many programs do."""
    meta, table = pyogrio.read_arrow(path, layer=layer)
    fresh = path.with_name("fresh.gpkg")
    pyogrio.write_arrow(
        table, fresh, layer=layer, driver="GPKG", geometry_name=meta["geometry_name"], geometry_type="Point Z",
        crs=meta["crs"], dataset_metadata={"author": "nobody"}, layer_metadata={"day": "Monday"},
    )  # fmt: skip
    fresh.replace(path)
    for beside in path.parent.glob("*.aux.xml"):
        beside.unlink()


def as_geopackage(job: Simulation, folder: Path) -> None:
    """Lay the register down as a GeoPackage with points and attributes."""
    register = job.register
    frame = geopandas.GeoDataFrame(
        {name: list(values) for name, values in register.items()},
        geometry=geopandas.points_from_xy(register["easting"], register["northing"], register["ellipsoid_height"]),
        crs="EPSG:2193",
    )
    pyogrio.write_dataframe(frame, folder / "register.gpkg", layer="marks", driver="GPKG")
    with_metadata(folder / "register.gpkg", "marks")


def test_raw_files_are_left_as_they_are_and_nothing_is_laid_beside_them(tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = job.write(tmp_path, "gpkg")
    with_metadata(tmp_path / "rover001.gpkg", "points")
    as_geopackage(job, tmp_path)
    replace_in(path, {"register.csv": "register.gpkg"})
    before = everything_below(tmp_path)
    assert tiedown("check", path).exit_code == 0
    assert tiedown("run", "--dry-run", path).exit_code == 0
    assert everything_below(tmp_path) == before
    assert tiedown("run", path).exit_code == 0
    after = everything_below(tmp_path)
    assert {name: data for name, data in after.items() if not name.startswith("out")} == before


# In a process of its own: libraries are hidden there that tests load, and paths count from another folder


@pytest.mark.parametrize("form", ["geojson", "gpkg"])
def test_the_command_reads_vector_files_as_export_and_register(form: str, tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = job.write(tmp_path / "job", form)
    if form == "gpkg":
        as_geopackage(job, tmp_path / "job")
    if form == "geojson":
        features = [
            {"type": "Feature", "geometry": None, "properties": dict(zip(job.register, map(plain, row), strict=True))}
            for row in zip(*job.register.values(), strict=True)
        ]
        collection = {"type": "FeatureCollection", "features": features}
        (tmp_path / "job" / "register.geojson").write_text(json.dumps(collection))
    replace_in(path, {"register.csv": f"register.{form}"})
    found = process("run", "--json", "job/job.toml", folder=tmp_path)
    assert found.returncode == 0, found.stderr
    assert found.stderr == b""
    record = json.loads(found.stdout)
    assert record["rows"]["points"] == 4 and record["verdict"] == "proven"
    off = current_issue(tmp_path / "job" / "out").points.xyz() - [job.truth.of(f"S01-0000{k}") for k in range(1, 5)]
    assert np.abs(off).max() < 1e-4


def plain(value: object) -> object:
    return float(value) if isinstance(value, float) else str(value)


def test_the_commands_codes_reach_the_shell(tmp_path: Path) -> None:
    bad = spoiled().write(tmp_path)
    found = process("run", "job.toml", folder=tmp_path)
    assert (found.returncode, found.stdout) == (2, b"")
    assert b"CM9" in found.stderr and b"job.toml:" in found.stderr and b"Traceback" not in found.stderr
    assert not (bad.parent / "out").exists()
