"""The command line against the contract: exit codes, what goes to stdout and stderr, and what is left unwritten."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
from click.testing import Result
from issued import current_issue, everything_below
from running import replace_in
from simulate import Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.issue.publish import job_lock

SMALL = Plan(sessions=1, points=4, noise=False)


def tiedown(*arguments: str | Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def process(*arguments: str | Path, folder: Path | None = None) -> "subprocess.CompletedProcess[str]":
    """Run the command in a process of its own, as its users do."""
    command = [sys.executable, "-m", "pipeline.cli.main", *map(str, arguments)]
    root = Path(__file__).resolve().parents[2]
    around = {**os.environ, "PYTHONPATH": str(root)}
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=folder or root, env=around, timeout=120
    )


def failing() -> Simulation:
    job = simulate(SMALL)
    job.knock_base(0, 0.5, east=0.3)
    return job


def untied() -> Simulation:
    job = simulate(SMALL)
    job.job["session"][0]["ties"] = []
    return job


def spoiled() -> Simulation:
    job = simulate(SMALL)
    job.job["session"][0]["ties"][0]["mark"] = "CM9"
    return job


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


def test_a_point_held_back_for_another_reason_is_no_exit_3(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.rows["solution"][3] = "float"
    assert tiedown("run", job.write(tmp_path)).exit_code == 0


@pytest.mark.parametrize("arguments", [[], ["run"], ["run", "--fast", "job.toml"], ["walk"], ["run", "nothing.toml"]])
def test_wrong_usage_is_exit_2(arguments: list[str], tmp_path: Path) -> None:
    assert tiedown(*arguments).exit_code == 2


def test_a_job_that_another_run_holds_is_exit_4_at_once(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    with job_lock(tmp_path / "out"):
        found = tiedown("run", path)
    assert found.exit_code == 4
    assert "another run" in found.stderr
    assert not (tmp_path / "out" / "issues").exists()
    assert tiedown("run", path).exit_code == 0


def test_a_fault_of_the_program_is_exit_1_and_keeps_its_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("pipeline.fleet.run_job", broken)
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
    assert "CM9" in found.stderr
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


def test_quiet_prints_problems_alone(tmp_path: Path) -> None:
    good, bad = simulate(SMALL).write(tmp_path / "good"), spoiled().write(tmp_path / "bad")
    found = tiedown("run", "--quiet", good, bad)
    assert found.exit_code == 2
    assert found.stdout == ""
    assert "CM9" in found.stderr and "good" not in found.stderr


def test_the_summary_tells_balance_verdict_and_failing_check(tmp_path: Path) -> None:
    found = tiedown("run", failing().write(tmp_path))
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
        geometry=geopandas.points_from_xy(register["easting"], register["northing"], register["height"]),
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
    assert found.stderr == ""
    record = json.loads(found.stdout)
    assert record["rows"]["points"] == 4 and record["verdict"] == "proven"
    off = current_issue(tmp_path / "job" / "out").points.xyz() - [job.truth.of(f"S01-0000{k}") for k in range(1, 5)]
    assert np.abs(off).max() < 1e-4


def plain(value: object) -> object:
    return float(value) if isinstance(value, float) else str(value)


def test_the_commands_codes_reach_the_shell(tmp_path: Path) -> None:
    bad = spoiled().write(tmp_path)
    found = process("run", "job.toml", folder=tmp_path)
    assert (found.returncode, found.stdout) == (2, "")
    assert "CM9" in found.stderr and "job.toml:" in found.stderr and "Traceback" not in found.stderr
    assert not (bad.parent / "out").exists()
