"""Files and folders whose names hold signs that a library could take for more than a name: used as named."""

import json
import shutil
from pathlib import Path

import pytest
from issued import everything_below
from running import replace_in
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.files.plain_path import is_plain
from pipeline.trace.walk import trace
from pipeline.verify import verify

PLAN = Plan(sessions=1, points=4, noise=False)


def written(folder: Path, form: str, name: str, decoy: bool = True) -> tuple[Simulation, Path]:
    """A job in a folder called ``name`` whose files are called so; beside it what other readings of it would open."""
    job = simulate(PLAN)
    path = job.write(folder / "plain", form)
    shutil.move(folder / "plain", folder / name)
    path = folder / name / path.name
    (export,) = path.parent.glob("rover*")
    export.rename(export.with_name(name + export.name))
    files = "".join(f"[{sign}]" if sign in "*?[" else sign for sign in name) + export.name
    replace_in(
        path, {f'files = ["rover*.{form}"]': f"files = [{json.dumps(files)}]", '"out"': json.dumps(f"{name}out!;?")}
    )
    return job, path


@pytest.mark.parametrize(
    ("form", "name"), [("gpkg", "a%20b!c"), ("geojson", "b;v2#?"), ("csv", "zip!x.zip!y"), ("gpkg", "-[ä] ")]
)
def test_a_job_of_oddly_named_files_in_an_oddly_named_folder(tmp_path: Path, form: str, name: str) -> None:
    _, path = written(tmp_path, form, name)
    before = everything_below(tmp_path)
    outcome = run_job(path)
    assert outcome.exit_code == 0 and outcome.folder is not None
    assert outcome.folder.parent.parent == path.parent / f"{name}out!;?"
    assert (outcome.folder / "simulated-001.gpkg").is_file()
    assert outcome.record["inputs"][0]["path"].startswith(name)
    beside = {key for key in everything_below(tmp_path) if Path(key).parts[1:2] != (f"{name}out!;?",)}
    assert beside == set(before), "something was written elsewhere"
    assert not run_job(path).issued


@pytest.mark.parametrize(
    ("named", "other"),
    [
        ("new!b.geojson", "b.geojson"),
        ("b.geojson;v2.geojson", "b.geojson"),
        ("a!b.gpkg", "b.gpkg"),
        ("%62.gpkg", "b.gpkg"),
    ],
)
def test_no_other_file_of_the_folder_is_opened(tmp_path: Path, named: str, other: str) -> None:
    """The file beside it, which another reading of the name would open, has other points."""
    form = Path(named).suffix[1:]
    job = simulate(PLAN)
    path = job.write(tmp_path, form)
    (export,) = tmp_path.glob("rover*")
    export.rename(tmp_path / named)
    job.rows["latitude"] = job.rows["latitude"] + 0.001
    job.write(tmp_path / "moved", form)
    shutil.move(next((tmp_path / "moved").glob("rover*")), tmp_path / other)
    replace_in(path, {f'"rover*.{form}"': json.dumps(named)})
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["inputs"][0]["path"]) == (0, named)


def test_the_way_of_an_issue_in_an_odd_folder(tmp_path: Path) -> None:
    """Every format, a re-issue with changed rows, trace and verify."""
    job, path = written(tmp_path, "csv", "a!b;c %20'#?")
    replace_in(path, {"[job]": '[issue]\nformats = ["gpkg", "dxf", "csv", "geojson", "landxml"]\n\n[job]'})
    first = run_job(path)
    job.register["northing"] = job.register["northing"].copy()
    job.register["northing"][0] += 0.004
    job.write(tmp_path / "again")
    shutil.copy(tmp_path / "again" / "register.csv", path.parent / "register.csv")
    second = run_job(path)
    assert (first.record["issue"], second.record["issue"], second.issued) == (1, 2, True)
    assert second.record["changes"]["moved"] > 0
    assert second.folder is not None
    folder = second.folder.parent.parent
    assert verify(folder).findings == ()
    assert not trace(path, str(job.rows["name"][2])).agreement.is_fault


def test_plain_paths_are_left_as_they_are() -> None:
    for plain in ("/home/office/jobs/2026-03 solar/a_b.gpkg", "/data/büro/x.geojson", "/a/b=c/d+e@f~g.json"):
        assert is_plain(Path(plain))
    for odd in ("/a/b!c.gpkg", "/a/b;c", "/a/x.zip/b.gpkg", "/vsimem/a.gpkg", "/a/b%20c", "/a//b?c", "/a/b:c"):
        assert not is_plain(Path(odd))
