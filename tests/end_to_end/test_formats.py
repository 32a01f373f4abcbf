"""A job's issue in every format: what stands in the folder and the record, always the same, never by halves."""

import csv
import hashlib
import json
import resource
import subprocess
import sys
from collections import Counter
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
from every import every
from issued import Issue, current_issue, everything_below, read_layer
from numpy.testing import assert_allclose
from running import replace_in, rewrite_export, run_written
from sealed_by_hand import sum_by_hand
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.issue.formats.formats import FORMATS
from pipeline.problems import JobError
from pipeline.verify import verify

ALL = ["gpkg", *FORMATS]


def lay_down(folder: Path, formats: list[str], *, by_code: bool = False, hold_back: list[str] | None = None) -> Path:
    """Two sessions; the checks of the second fail from the middle on, so that some of its points are suspect."""
    job = simulate(Plan(sessions=2, points=12, ties=2, checks=2, marks=4))
    job.knock_base(1, 0.5, east=0.3)
    return write(job, folder, formats, by_code=by_code, hold_back=hold_back)


def write(
    job: Simulation, folder: Path, formats: list[str], *, by_code: bool = False, hold_back: list[str] | None = None
) -> Path:
    job.job["issue"] = {
        "formats": formats, "by_code": by_code, "hold_back": ["suspect"] if hold_back is None else hold_back
    }  # fmt: skip
    return job.write(folder)


def places(path: Path) -> np.ndarray:
    """Easting, northing, height of a drawing's points, in their order."""
    found = [e for e in ezdxf.readfile(path).modelspace().query("INSERT") if "mark" not in e.dxf.layer]
    return np.array([list(e.dxf.insert) for e in found])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Issue:
    return run_written(lay_down(tmp_path_factory.mktemp("formats"), ALL, hold_back=[]), code=3)


def test_the_files_stand_beside_the_geopackage_and_in_the_record(made: Issue) -> None:
    names = {f"simulated-001{form.ending}" for form in FORMATS.values()}
    beside = {"simulated-001.csvt", "simulated-001.prj", "simulated-001.csv-metadata.json"}
    always = {"simulated-001.gpkg", "simulated-001.html"}
    short = {name.replace("-001", "") for name in names | always | beside}
    assert {path.name for path in made.folder.iterdir()} == names | always | beside | short | {"issue.json"}
    files = {entry["name"]: entry for entry in made.record["files"]}
    assert set(files) == names | always | beside
    for name in names:
        assert files[name]["sha256"] == hashlib.sha256((made.folder / name).read_bytes()).hexdigest()
        assert files[name]["rows"]["points"] == made.record["rows"]["points"] == 24
    assert files["simulated-001.dxf"]["rows"] == {"points": 24, "check_marks": 8, "marks": len(made.record["marks"])}


def test_all_of_them_hold_the_same_coordinates(made: Issue) -> None:
    given = made.points.xyz()
    drawn = places(made.folder / "simulated-001.dxf")
    with (made.folder / "simulated-001.csv").open(newline="", encoding="utf-8") as file:
        table = [[float(row[name]) for name in ("easting", "northing", "height")] for row in csv.DictReader(file)]
    features = json.loads((made.folder / "simulated-001.geojson").read_text(encoding="utf-8"))["features"]
    mapped = [[f["properties"][name] for name in ("easting", "northing", "height")] for f in features]
    for found in (drawn, table, mapped):
        assert_allclose(found, given, rtol=0, atol=0.5001e-4)


def test_a_suspect_point_that_is_released_is_seen_to_be_suspect(made: Issue) -> None:
    suspect = [row["name"] for row in made.points.where(proof="suspect")]
    assert suspect
    drawing = ezdxf.readfile(made.folder / "simulated-001.dxf")
    marked = {
        {a.dxf.tag: a.dxf.text for a in e.attribs}["NAME"]: e.dxf.layer
        for e in drawing.modelspace().query("INSERT")
        if e.dxf.name == "tiedown_suspect"
    }
    assert sorted(marked) == sorted(suspect)
    assert all(layer.endswith("_suspect") for layer in every(marked.values()))
    assert len(drawing.modelspace().query('INSERT[layer=="check_marks_failed"]')) == len(
        made.check_marks.where(passed=0)
    )


def test_a_drawing_says_the_verdict_what_is_held_back_and_what_changed(tmp_path: Path) -> None:
    """Whoever has the drawing alone would take missing points for none; the record is what it is held to."""
    formats = ["dxf", "geojson"]
    first = run_written(lay_down(tmp_path, formats), code=3)
    second = run_written(path := lay_down(tmp_path, formats, hold_back=[]), code=3)
    seen = []
    for issue in (first, second):
        (note,) = ezdxf.readfile(next(issue.folder.glob("*-00?.dxf"))).modelspace().query("MTEXT[layer=='note']")
        seen.append(note.plain_text())
        assert f"\nverdict: {issue.record['verdict']}\n" in seen[-1]
    held = first.record["rows"]["held_back"]
    assert held and f"held back: {held} readings ({held} suspect), in layer held_back of simulated.gpkg" in seen[0]
    assert "held back" not in seen[1] and "since issue" not in seen[0]
    changes = second.record["changes"]
    about = json.loads((second.folder / "simulated-002.geojson").read_text(encoding="utf-8"))["about"]
    assert changes["released"] and f"since issue 001: {changes['released']} released" in about["judged"]
    assert verify(path.parent / "out").intact


def test_the_same_inputs_in_an_empty_folder_give_the_same_bytes(made: Issue, tmp_path: Path) -> None:
    """From another process, with its sets in another order and two jobs at once."""
    paths = [lay_down(tmp_path / name / "deep", ALL, hold_back=[]) for name in ("one", "two")]
    call = [sys.executable, "-m", "pipeline.cli.start", "run", "--workers", "2", "--quiet", *map(str, paths)]
    root = Path(__file__).resolve().parents[2]
    variables = {"PYTHONHASHSEED": "77", "TZ": "Asia/Tokyo", "PATH": "", "PYTHONPATH": str(root)}
    done = subprocess.run(call, check=False, env=variables, cwd=root)
    assert done.returncode == 3
    for path in every(paths):
        other = current_issue(path.parent / "out")
        assert everything_below(other.folder) == everything_below(made.folder)


def test_another_format_makes_another_issue_of_the_same_points(tmp_path: Path) -> None:
    """The reason is the job file; no coordinate moves; the earlier issue stays as it is."""
    first = run_written(lay_down(tmp_path, ["gpkg"]), code=3)
    before = everything_below(first.folder)
    second = run_written(lay_down(tmp_path, ["gpkg", "dxf"]), code=3)
    changes = second.record["changes"]
    assert second.record["issue"] == 2
    assert [reason for reason in changes["because"] if "job file" in reason]
    assert (changes["moved"], changes["added"], changes["withdrawn"]) == (0, 0, 0)
    assert second.points.rows == first.points.rows
    assert (second.folder / "simulated-002.dxf").is_file() and everything_below(first.folder) == before
    assert not run_job(lay_down(tmp_path, ["dxf", "gpkg"])).issued


def test_without_gpkg_in_the_list_the_geopackage_is_written_all_the_same(tmp_path: Path) -> None:
    """The next issue, a trace and a verification read it."""
    issue = run_written(lay_down(tmp_path, ["csv"]), code=3)
    assert {path.suffix for path in issue.folder.iterdir()} == {".gpkg", ".html", ".csv", ".csvt", ".prj", ".json"}
    assert not run_job(lay_down(tmp_path, ["csv", "gpkg"])).issued


def test_a_file_that_was_altered_or_is_gone_is_found(tmp_path: Path) -> None:
    run_written(lay_down(tmp_path, ALL, hold_back=[]), code=3)
    folder = tmp_path / "out"
    assert verify(folder).intact
    paths = [folder / "issues" / "001" / f"simulated-001{form.ending}" for form in FORMATS.values()]
    for path in paths:
        path.write_bytes(path.read_bytes().replace(b"S01-00001", b"S01-00009", 1))
    assert [str(one) for one in verify(folder).findings] == [
        f"{path.name}: its bytes are not those that were issued" for path in paths
    ]
    for path in paths:
        path.unlink()
    assert [str(one) for one in verify(folder).findings] == [f"{path.name}: is missing" for path in paths]


def test_a_record_whose_rows_do_not_go_with_a_file_is_found(tmp_path: Path) -> None:
    run_written(lay_down(tmp_path, ["csv"], hold_back=[]), code=3)
    record = tmp_path / "out" / "issues" / "001" / "issue.json"
    text = json.loads(record.read_text())
    text["files"][1]["rows"]["points"] = 23
    text["sum"] = sum_by_hand(text)
    record.write_text(json.dumps(text))
    assert [str(one) for one in verify(tmp_path / "out").findings] == [
        "issue.json: something changed its bytes; its content is what was issued",  # as its sum, made anew, says
        "issue.json: it says 24 points, and that simulated-001.csv was issued with 23",
    ]


def test_a_full_disk_leaves_the_issue_before(tmp_path: Path) -> None:
    """Files may grow a little beyond the GeoPackage's size here, and the drawing is larger."""
    job = simulate(Plan(sessions=1, points=1500, ties=2, checks=2, marks=4))
    issue = run_written(write(job, tmp_path, ["gpkg"]))
    size = issue.package.stat().st_size
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    write(job, tmp_path, ["dxf"])
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 300_000, before[1]))
    try:
        with pytest.raises(JobError, match=r"cannot be written.*simulated-002\.dxf"):
            run_job(tmp_path / "job.toml")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert [path.name for path in (tmp_path / "out" / "issues").iterdir()] == ["001"]
    assert run_job(tmp_path / "job.toml").record["issue"] == 2


# One layer per code


def codes_of(issue: Issue) -> dict[str, str]:
    """The code of every layer that has one, by the record."""
    (entry,) = [entry for entry in issue.record["files"] if entry["name"].endswith(".gpkg")]
    return {layer["name"]: layer["code"] for layer in entry["layers"] if "code" in layer}


AWKWARD = ["Zaun/1", "Zaun\\1", "zaun_1", "=cmd", "", "Bäume, alt", 'say "tree"', "x" * 200, "x" * 201, "two\nlines"]


def test_by_code_every_code_is_a_layer_as_well(tmp_path: Path) -> None:
    """Codes that differ in case or in what a layer's name cannot have stay apart; the rows are those of points."""
    path = lay_down(tmp_path, ["gpkg", "dxf"], by_code=True, hold_back=[])
    number = iter(range(10**6))

    def recode(row: dict[str, str]) -> dict[str, str]:
        return row if row["Code"] in ("CM", "CHK") else row | {"Code": AWKWARD[next(number) % len(AWKWARD)]}

    rewrite_export(tmp_path / "rover001.csv", recode)
    issue = run_written(path, code=3)
    layers = codes_of(issue)
    assert len(layers) == len({name.casefold() for name in layers}) == len(AWKWARD)
    together = []
    for name, code in every(layers.items()):
        found = read_layer(issue.package, name)
        assert (found.columns, found.kind, found.z, found.code) == (issue.points.columns, "POINT", 1, ("EPSG", 2193))
        assert {row["code"] or "" for row in found.rows} == {code}
        assert found.rows == [row for row in issue.points.rows if (row["code"] or "") == code]
        assert "EGM96 height" in found.description
        assert found.places == [tuple(row[key] for key in ("easting", "northing", "height")) for row in found.rows]
        together += found.rows
    assert len(together) == len(issue.points.rows)
    assert set(layers) <= {name for name, _ in pyogrio.list_layers(issue.package)}
    assert verify(tmp_path / "out").intact
    assert layers["points_no_code"] == "" and "points_Bäume_alt" in layers


def test_by_code_on_and_off_are_two_issues_of_the_same_points(tmp_path: Path) -> None:
    first = run_written(lay_down(tmp_path, ["gpkg"]), code=3)
    second = run_written(lay_down(tmp_path, ["gpkg"], by_code=True), code=3)
    assert second.record["changes"]["moved"] == 0 and second.points.rows == first.points.rows
    third = run_written(lay_down(tmp_path, ["gpkg"]), code=3)
    assert third.record["issue"] == 3 and not codes_of(third)


def test_an_altered_layer_of_a_code_is_found(tmp_path: Path) -> None:
    issue = run_written(lay_down(tmp_path, ["gpkg"], by_code=True), code=3)
    name = next(iter(codes_of(issue)))
    subprocess.run([sys.executable, "-c", f"""
import sqlite3
with sqlite3.connect({str(issue.package)!r}) as file:
    for function in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
        file.create_function(function, 1, lambda _: 0)
    file.execute('UPDATE "{name}" SET height = height + 1 WHERE fid = 1')
"""], check=True)  # fmt: skip
    assert [str(one) for one in verify(tmp_path / "out").findings if one.differs] == [
        f"simulated-001.gpkg: layer {name}: height changed"
    ]


def test_many_codes(tmp_path: Path) -> None:
    """Rows add up over the codes, each in its layer, in the order of points."""
    job = simulate(Plan(sessions=1, points=250, ties=2, checks=2, marks=4))
    path = write(job, tmp_path, ["gpkg"], by_code=True)
    number = iter(range(10**6))
    rewrite_export(
        tmp_path / "rover001.csv",
        lambda row: row if row["Code"] in ("CM", "CHK") else row | {"Code": f"C{next(number) % 25}"},
    )
    issue = run_written(path)
    counted = Counter(row["code"] for row in issue.points.rows)
    layers = codes_of(issue)
    assert {code: len(read_layer(issue.package, name).rows) for name, code in layers.items()} == counted
    assert len(layers) == 25


def test_more_codes_than_can_be_layers_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The names mapped as codes, mostly: told with the line of the job file, and nothing is issued."""
    monkeypatch.setattr("pipeline.draft.codes.MOST_CODES", 200)
    job = simulate(Plan(sessions=1, points=600, ties=2, checks=2, marks=4))
    path = write(job, tmp_path, ["gpkg"], by_code=True)
    number = iter(range(10**6))
    rewrite_export(
        tmp_path / "rover001.csv",
        lambda row: row if row["Code"] in ("CM", "CHK") else row | {"Code": f"C{next(number)}"},
    )
    with pytest.raises(JobError, match=r"job\.toml:\d+: .*more than 200 codes.*by_code = false"):
        run_job(path)
    with pytest.raises(JobError, match="more than 200 codes"):
        run_job(path, dry_run=True)
    assert not list((tmp_path / "out").glob("issues/*"))
    replace_in(path, {"by_code = true": "by_code = false"})
    assert run_job(path).issued
