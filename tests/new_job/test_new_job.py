"""What `tiedown new` says, refuses, leaves alone and decides."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from folders_made import CLEAR, drafted, job_of, lay, make, write
from simulate_files import write_csv

from pipeline.cli.new_command import start_job
from pipeline.job.load import load_job
from pipeline.new_job import new_job
from pipeline.new_job.columns import mapped
from pipeline.new_job.common_shift import agreement
from pipeline.new_job.look_at_files import looks
from pipeline.new_job.start import job_name
from pipeline.new_job.time_notation import time_notation
from pipeline.problems import JobError, Problems


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("made") / "north yard"
    make("italian", made)
    (made / "notes.pdf").write_bytes(b"%PDF")
    (made / "broken.csv").write_bytes("P\0t;Zeit;Lat;Lon\n1;2;3;4\n".encode("utf-16-le"))
    (made / "heights.txt").write_text("a;b\n1;2\n", encoding="utf-8")
    return made


def copied(folder: Path, to: Path) -> Path:
    return Path(shutil.copytree(folder, to / folder.name))


def test_the_summary_names_every_file_and_question_and_exits_with_3(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    here = copied(folder, tmp_path)
    assert start_job(here, None, as_json=False) == 3
    said = capsys.readouterr().out
    job = here / "north-yard.toml"
    assert said.startswith(f"{job}: job file written, 1 open question")
    for file, role in (("rilievo.csv", "export"), ("control.csv", "register"), ("notes.pdf", "neither"),
                       ("heights.txt", "neither"), ("broken.csv", "neither"),
                       ("egm96_canterbury.gtx", "grid")):  # fmt: skip
        assert f"  {file}: {role}" in said
    lines = job.read_text(encoding="utf-8").splitlines()
    (at,) = [number for number, line in enumerate(lines, start=1) if line.startswith("# OPEN: which height datum")]
    assert f"OPEN: {job}:{at}: target.height" in said
    # what is open is refused until it is answered, and nothing else is wrong
    problems = Problems()
    assert load_job(job, problems) is None
    assert [problem.what for problem in problems.found] == ["'height' in [target] is missing"]


def test_the_job_file_goes_with_its_folder_to_another_machine(folder: Path, tmp_path: Path) -> None:
    """It names no path of this one; README says which file an editor takes as the JSON Schema."""
    here = copied(folder, tmp_path)
    start_job(here, None, as_json=True)
    written = (here / "north-yard.toml").read_text(encoding="utf-8")
    root = Path(__file__).resolve().parents[2]
    assert not any(text in written for text in ("#:schema", "file:", str(here), str(tmp_path), str(root)))
    (schema,) = re.findall(r"by `(.*\.schema\.json)`", (root / "README.md").read_text(encoding="utf-8"))
    assert "properties" in json.loads((root / schema).read_text(encoding="utf-8"))


def test_json_says_the_same(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    here = copied(folder, tmp_path)
    assert start_job(here, None, as_json=True) == 3
    found = json.loads(capsys.readouterr().out)
    (asked,) = found["open"]
    assert (found["exit_code"], asked["key"], asked["also"]) == (3, "target.height", ["control.height"])
    assert '"EPSG:5773"' in [each["value"] for each in asked["candidates"]]
    assert {"file": "rilievo.csv", "taken_for": "export"}.items() <= found["files"][5].items()


def test_a_job_file_that_is_there_is_never_touched(folder: Path, tmp_path: Path) -> None:
    here = copied(folder, tmp_path)
    job = here / "north-yard.toml"
    job.write_text("mine", encoding="utf-8")
    with pytest.raises(JobError) as refused:
        new_job(here)
    assert "never overwritten" in str(refused.value) and job.read_text(encoding="utf-8") == "mine"
    other = tmp_path / "jobs"
    other.mkdir()
    started = new_job(here, other / "yard-2.toml")
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert raw["job"]["name"] == "yard-2"
    assert raw["points"][0]["files"] == ["../north yard/rilievo.csv"]
    assert sorted(path.name for path in other.iterdir()) == ["yard-2.toml"]


def test_a_job_without_a_question_exits_with_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from simulate import ELLIPSOIDAL, Plan, simulate

    job = simulate(Plan(points=5, place=ELLIPSOIDAL))
    job.write(tmp_path / "work")
    (tmp_path / "work" / "job.toml").unlink(missing_ok=True)
    assert start_job(tmp_path / "work", None, as_json=False) == 0
    assert "nothing is open" in capsys.readouterr().out


@pytest.mark.parametrize("what", ["nothing", "a file", "an empty folder", "no export"])
def test_where_there_is_nothing_to_start_from_nothing_is_written(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "work"
    if what == "a file":
        place.write_text("x", encoding="utf-8")
    elif what != "nothing":
        place.mkdir()
    if what == "no export":
        lay(place, job_of())
    assert start_job(place, None, as_json=False) == 2
    assert "problem" in capsys.readouterr().err
    assert not list(tmp_path.rglob("*.toml"))


def test_issues_of_an_earlier_job_in_the_folder_are_no_exports(folder: Path, tmp_path: Path) -> None:
    here = copied(folder, tmp_path)
    issue = here / "out" / "issues" / "001"
    issue.mkdir(parents=True)
    (here / "out" / ".tiedown.json").write_text("{}", encoding="utf-8")
    shutil.copy(here / "rilievo.csv", issue / "old-001.csv")
    assert "old-001" not in str(new_job(here).files)


def test_a_stray_base_id_and_a_wrong_clock_make_no_session_but_are_told(tmp_path: Path) -> None:
    job = job_of(CLEAR)
    rows = job.rows
    rows["base"] = rows["base"].astype(object)
    rows["base"][[6, 7]] = "BASE-99"
    lay(tmp_path, job)
    many = {name: np.tile(values, 20) for name, values in rows.items() if name not in ("session", "kind")}
    many["time"] = rows["time"].repeat(20).reshape(-1, 20).T.ravel() + np.repeat(np.arange(20), len(rows["time"]))
    many["name"] = np.array([f"{name}-{number}" if number >= len(rows["name"]) else name
                             for number, name in enumerate(many["name"])])  # fmt: skip
    many["base"][len(rows["name"]) :] = np.tile(job.rows["base"], 20)[len(rows["name"]) :]
    many["base"][many["base"] == "BASE-99"] = "BASE-01"
    many["base"][[6, 7]] = "BASE-99"
    write_csv({name: many[name] for name in many}, tmp_path / "rover.csv")
    started = new_job(tmp_path)
    assert [session.base for session in drafted(started).sessions] == ["BASE-01", "BASE-02"]
    assert any("2 readings with the base id BASE-99" in note for note in started.notes)


@pytest.mark.parametrize(
    ("texts", "formats", "decides"),
    [
        (["2026-03-02T07:30:00Z"], ("",), None),
        (["02/03/2026 07:30:00", "13/03/2026 07:30:00"], ("%d/%m/%Y %H:%M:%S",), "13/03/2026 07:30:00"),
        (["02/03/2026 07:30:00", "03/13/2026 07:30:00"], ("%m/%d/%Y %H:%M:%S",), "03/13/2026 07:30:00"),
        (["02.03.2026 07:30"], ("%d.%m.%Y %H:%M", "%m.%d.%Y %H:%M"), None),
        (["02 Mar 2026 07:30:00"], ("%d %b %Y %H:%M:%S",), None),
        (["2026/03/02 07:30:00"], ("%Y/%m/%d %H:%M:%S",), None),
        (["20260302 073000"], ("",), None),
        (["3/2/2026 7:30:00 PM", "3/14/2026 7:30:00 AM"], ("%m/%d/%Y %I:%M:%S %p",), "3/14/2026 7:30:00 AM"),
        (["26-03-12 07:00:00"], ("%d-%m-%y %H:%M:%S", "%y-%m-%d %H:%M:%S"), None),
        (["05/03/06 07:00"], ("%d/%m/%y %H:%M", "%m/%d/%y %H:%M", "%y/%m/%d %H:%M"), None),
        (["13.03.26 07:00", "13.03.33 07:00"], ("%d.%m.%y %H:%M",), "13.03.33 07:00"),
        (["26-03-12 07:00:00", "26-03-32 07:00:00"], ("%d-%m-%y %H:%M:%S",), "26-03-32 07:00:00"),
        (["99-12-31 07:00:00"], ("%y-%m-%d %H:%M:%S",), None),
        (["P1", "P2"], None, None),
        (["2026-03-02"], None, None),
        (["1.234"], None, None),
    ],
)
def test_a_format_of_times_is_told_by_the_rows_that_decide_it(
    texts: list[str], formats: tuple[str, ...] | None, decides: str | None
) -> None:
    found = time_notation(texts)
    assert (found.formats if found else None) == formats
    assert (found.decides[1] if found and found.decides else None) == decides


def test_a_row_far_down_a_file_decides_day_and_month(tmp_path: Path) -> None:
    job = job_of(CLEAR.replace(day=4))
    lay(tmp_path, job)
    heads = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time", "code": "Code"}
    write(tmp_path / "a.csv", job, heads, time="%d/%m/%Y %H:%M:%S")
    path = tmp_path / "a.csv"
    text = path.read_text(encoding="utf-8")
    filler = "".join(f"F{number},-43.7,171.85,320.0,04/03/2026 20:00:00,\n" for number in range(6000))
    path.write_text(text + filler + "L,-43.7,171.85,320.0,25/03/2026 20:00:00,\n", encoding="utf-8")
    started = new_job(tmp_path)
    assert "time_format" not in [one.question.key for one in started.asked]
    assert '"25/03/2026 20:00:00"' in Path(started.path).read_text(encoding="utf-8")


def test_readings_are_paired_with_marks_by_the_shift_that_most_have_in_common() -> None:
    """A closed form: marks moved by one vector, among them a reading that stands on none."""
    marks = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 200.0], [500.0, 500.0]])
    readings = np.vstack([marks[[2, 0, 1]] - [1.2, -0.7], [[499.0, 490.0]], [[np.nan, 1.0]]])
    found = agreement(readings, marks, within=30.0)
    assert found is not None and found.distinct == 3
    assert list(zip(found.readings.tolist(), found.marks.tolist(), strict=True)) == [(0, 2), (1, 0), (2, 1)]
    np.testing.assert_allclose(found.shift, [1.2, -0.7], rtol=0, atol=1e-9)
    assert agreement(readings + 1000.0, marks, within=30.0) is None


@pytest.mark.parametrize(
    ("text", "name"),
    [("North Yard 2", "north-yard-2"), ("Aufmaß Süd", "aufmass-sud"), ("___", "job"), ("2026-03-02", "2026-03-02")],
)
def test_a_folders_name_becomes_a_jobs(text: str, name: str) -> None:
    assert job_name(text) == name


def test_x_and_y_are_told_apart_by_the_marks(tmp_path: Path) -> None:
    """X to the north, as in Poland, against a register that says easting and northing."""
    make("polish", tmp_path)
    raw = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))
    assert (raw["points"][0]["columns"]["easting"], raw["points"][0]["columns"]["northing"]) == ("Y", "X")


def test_headings_with_accents_units_and_blanks_are_known(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(
        "N° de point;Horodatage;LATITUDE (°);longitude [deg];Altitude ellipsoïdale (m);Précision H;État\n"
        "1;2026-03-02T07:30:00Z;-43.7;171.8;310.0;0.01;Fixe\n",
        encoding="utf-8",
    )
    (look,) = looks(path, "a.csv")
    found = mapped(look)
    assert found.columns["height"] == "Altitude ellipsoïdale (m)" and found.height == "ellipsoid"
    assert found.columns["solution"] == "État" and found.kind == "degrees"
    assert [name for name, _ in found.left] == ["Précision H"]
