"""Which column names the points, which table is the register, and marks that were occupied twice under one name."""

import tomllib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyogrio
import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from issued import current_issue
from simulate import Simulation
from simulate_files import write_register

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.questions import Question
from pipeline.new_job.start import Started

_REST = {"latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC", "solution": "Solution"}
_UTC = "%Y-%m-%d %H:%M:%S"
#: East and north, metres, by which the base is knocked: less than what tells which mark a reading stands on.
KNOCK = (0.25, -0.2)


def on_marks(job: Simulation) -> dict[str, str]:
    """Return the readings on marks with their marks."""
    return {one["point"]: one["mark"] for each in job.job["session"] for key in ("ties", "checks") for one in each[key]}


def named_by_marks(job: Simulation, behind: bool = True) -> None:
    """Name readings on marks after them, with a number behind where one name is not to come twice."""
    on = on_marks(job)
    job.rows["code"] = np.full(len(job.rows["name"]), "DP")
    job.rows["name"] = np.array([
        (f"{on[name]}-{at}" if behind else on[name]) if name in on else f"p{at}"
        for at, name in enumerate(job.rows["name"].tolist())
    ])  # fmt: skip


def counted(job: Simulation) -> list[str]:
    return [str(number) for number in range(1, len(job.rows["name"]) + 1)]


def laid(
    folder: Path, heads: dict[str, str], behind: bool = True, knocked: bool = False, **told: Sequence[str]
) -> Simulation:
    """Write the simulated job with these columns of names before the others."""
    job = job_of()
    if knocked:
        job.knock_base(1, 0.5, *KNOCK)
    named_by_marks(job, behind)
    lay(folder, job)
    columns = {"counter": counted(job), **told}
    write(folder / "a.csv", job, heads | _REST, time=_UTC, told=columns)
    return job


def parsed(started: Started) -> dict[str, list[dict[str, dict[str, str]]]]:
    found: dict[str, list[dict[str, dict[str, str]]]] = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    return found


def listed(started: Started) -> set[str]:
    """Return the points that ties and checks name."""
    sessions = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["session"]
    return {one["point"] for each in sessions for key in ("ties", "checks") for one in each.get(key, [])}


def asked(started: Started) -> dict[str, Question]:
    return {one.question.key: one.question for one in started.asked}


COUNTERS = [("No.", "Station"), ("Id", "Bezeichnung"), ("FID", "Label"), ("OBJECTID", "nom_point"), ("Nr", "Pkt_Bez"),
            ("Punkt", "Beschreibung")]  # fmt: skip


@pytest.mark.parametrize(("counter", "names"), COUNTERS)
def test_a_counter_is_no_name_beside_a_column_that_names_marks(counter: str, names: str, tmp_path: Path) -> None:
    job = laid(tmp_path, {"counter": counter, "name": names}, knocked=True)
    started = new_job(tmp_path)
    assert parsed(started)["points"][0]["columns"]["name"] == names  # type: ignore[index]
    assert listed(started) == {name for name in job.rows["name"].tolist() if "-" in name}
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    # the second base was knocked by 0.32 m: its closing checks fail
    assert outcome.exit_code == 3 and [each["verdict"] for each in outcome.record["sessions"]] == ["proven", "failed"]


def test_marks_named_in_remarks_alone_find_the_occupations_of_numbered_points(tmp_path: Path) -> None:
    """The numbers stay the names: remarks of one word come again and again."""
    job = job_of()
    on = on_marks(job)
    remarks = [on.get(name, "kerb") for name in job.rows["name"].tolist()]
    numbers = [str(at + 1) for at, remark in enumerate(remarks) if remark != "kerb"]
    laid(tmp_path, {"counter": "Point", "remark": "Remark"}, knocked=True, remark=remarks)
    started = new_job(tmp_path)
    assert parsed(started)["points"][0]["columns"]["name"] == "Point"  # type: ignore[index]
    assert listed(started) == set(numbers)
    answer(Path(started.path), HEIGHT)
    assert run_job(started.path).record["verdict"] == "failed"


def test_a_column_filled_on_marks_alone_is_that_of_the_marks(tmp_path: Path) -> None:
    job = job_of()
    on = on_marks(job)
    marks = [on.get(name, "") for name in job.rows["name"].tolist()]
    laid(tmp_path, {"counter": "Point", "on": "Set up on"}, on=marks)
    columns = parsed(new_job(tmp_path))["points"][0]["columns"]
    assert (columns["name"], columns["mark"]) == ("Point", "Set up on")


def test_names_that_name_no_mark_are_asked_after_beside_those_that_do(tmp_path: Path) -> None:
    codes = [f"X{number}{'ab'[number % 2]}" for number in range(1, len(job_of().rows["name"]) + 1)]
    laid(tmp_path, {"own": "Point", "name": "Label"}, own=codes)
    asks = asked(new_job(tmp_path))
    assert [one.value for one in asks["name"].candidates] == ['"Label"', '"Point"']


def test_names_stay_names_beside_a_counter_that_nobody_names(tmp_path: Path) -> None:
    laid(tmp_path, {"counter": "No.", "name": "Point"})
    started = new_job(tmp_path)
    assert parsed(started)["points"][0]["columns"]["name"] == "Point"  # type: ignore[index]
    assert not any("counts" in note for note in started.notes)


def test_the_numbers_of_a_registers_rows_are_no_marks(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    register = {"ID": np.arange(1, len(job.register["mark"]) + 1).astype(str), "Label": job.register["mark"]}
    rest = {name: values for name, values in job.register.items() if name != "mark"}
    write_register(register | rest, tmp_path / "control.csv")
    # points that are called by numbers name no mark
    started = new_job(tmp_path)
    assert tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["control"]["columns"]["mark"] == "Label"
    assert not any("says mark" in note for note in started.notes)


@pytest.mark.parametrize("other", ["fewer", "elsewhere"])
def test_two_registers_whose_marks_readings_name_are_asked_after(other: str, tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    kept = np.arange(len(job.register["mark"])) > 0
    first = {name: values[kept] for name, values in job.register.items()}
    last = {name: values[~kept | (np.arange(len(kept)) == 1)].copy() for name, values in job.register.items()}
    if other == "elsewhere":  # all marks in one, one of them elsewhere in the other
        first = dict(job.register)
        last["easting"] = last["easting"] + 0.05
    write_register(first, tmp_path / "control.csv")
    write_register(last, tmp_path / "national.csv")
    started = new_job(tmp_path)
    question = asked(started)["control.file"]
    assert {one.value for one in question.candidates} == {'"control.csv"', '"national.csv"'}
    assert not listed(started), "ties hang on a register that nobody knows"
    if other == "fewer":
        assert f"{job.register['mark'][0]} is in national.csv alone" in question.asks


def test_a_register_that_says_no_more_than_another_is_left_out(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    write_register({name: values[:2] for name, values in job.register.items()}, tmp_path / "few.csv")
    started = new_job(tmp_path)
    assert "control.file" not in asked(started)
    (told,) = [why for name, role, why in started.files if name == "few.csv" and role == "neither"]
    assert "also in control.csv, at the same positions" in told


def _layer(path: Path, name: str, marks: Sequence[str], register: dict[str, np.ndarray], east: float) -> None:
    packed = np.zeros(len(marks), np.dtype([("order", "u1"), ("type", "<u4"), ("xy", "<f8", 2)]))
    packed["order"], packed["type"] = 1, 1
    packed["xy"] = np.column_stack([register["easting"] + east, register["northing"]])
    table = pa.table({"nr": list(marks), "height": register["height"].tolist()})
    table = table.append_column("geom", pa.array([row.tobytes() for row in packed], pa.binary()))
    pyogrio.write_arrow(table, path, layer=name, driver="GPKG", geometry_name="geom", geometry_type="Point",
                        crs="EPSG:2193", append=path.exists())  # fmt: skip


def test_of_two_layers_of_marks_that_is_the_register_whose_marks_are_named(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    (tmp_path / "control.csv").unlink()
    names = [str(mark) for mark in job.register["mark"]]
    _layer(tmp_path / "control.gpkg", "bolts", [f"B{at}" for at, _ in enumerate(names)], job.register, 3.0)
    _layer(tmp_path / "control.gpkg", "control", names, job.register, 0.0)
    control = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["control"]
    assert (control["file"], control["layer"]) == ("control.gpkg", "control")


def test_two_layers_that_nothing_tells_apart_are_asked_after_by_name(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    (tmp_path / "control.csv").unlink()
    names = [str(mark) for mark in job.register["mark"]]
    for layer, east in (("old", 0.1), ("new", 0.0)):
        _layer(tmp_path / "control.gpkg", layer, names, job.register, east)
    started = new_job(tmp_path)
    assert [one.value for one in asked(started)["control.layer"].candidates] == ['"new"', '"old"']
    assert not listed(started)
    assert not any("looks more like a register" in why for _, _, why in started.files)


@pytest.mark.parametrize("knocked", [False, True])
def test_marks_occupied_twice_under_one_name_are_listed_once_and_prove(knocked: bool, tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"}, behind=False, knocked=knocked)
    started = new_job(tmp_path)
    assert listed(started) == set(on_marks(job).values())
    assert not any("no second mark was occupied" in note for note in started.notes)
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    assert outcome.record["sessions"][0]["verdict"] == "proven"
    if knocked:
        assert outcome.exit_code == 3 and outcome.record["sessions"][1]["verdict"] == "failed"
        return
    points = current_issue(tmp_path / "out").points
    number = {name: at for at, name in enumerate(job.rows["name"].tolist())}
    original = job_of()
    truth = np.array([original.truth.of(original.rows["name"][number[row["name"]]]) for row in points.rows])
    assert outcome.exit_code == 0 and np.abs(points.xyz() - truth).max() < 0.001


def test_a_name_of_a_mark_and_of_another_place_is_told(tmp_path: Path) -> None:
    job = job_of()
    named_by_marks(job, behind=True)
    on = [name for name in job.rows["name"].tolist() if "-" in name]
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["name"][points[0]] = on[0]
    lay(tmp_path, job)
    write(tmp_path / "a.csv", job, {"name": "Point"} | _REST, time=_UTC)
    started = new_job(tmp_path)
    assert on[0] not in listed(started)
    assert any(on[0] in note and "others elsewhere" in note for note in started.notes)


def test_a_rover_that_occupied_no_mark_is_named_as_another_one_of_its_headings(tmp_path: Path) -> None:
    """Its names are numbers too, of the surveyor's counting and not of the rows."""
    job = laid(tmp_path, {"counter": "No.", "name": "Station"})
    job.keep(job.rows["kind"] == "point")
    numbers = [f"{500 + at}" for at in range(len(job.rows["name"]))]
    told = {"counter": counted(job), "name": numbers}
    write(tmp_path / "b.csv", job, {"counter": "No.", "name": "Station"} | _REST, time=_UTC, told=told)
    blocks = parsed(new_job(tmp_path))["points"]
    assert {file: block["columns"]["name"] for block in blocks for file in block["files"]} == {
        "a.csv": "Station", "b.csv": "Station"
    }  # fmt: skip


def _design(folder: Path, job: Simulation, *marks: int) -> None:
    """Write places to be staked out, among them some marks of the register as of another year: half a metre off."""
    rows = [f"{job.register['mark'][at]},{job.register['easting'][at] + 0.5},{job.register['northing'][at]},310.0"
            for at in marks]  # fmt: skip
    rows += [f"D{at},{job.register['easting'][0] + 7.5 * at},{job.register['northing'][0]},310.0" for at in range(30)]
    (folder / "design.csv").write_text("\n".join(["Point,Easting,Northing,Height", *rows, ""]), encoding="utf-8")


@pytest.mark.parametrize("of", ["one export", "two exports"])
def test_a_register_is_not_of_the_points_where_readings_of_an_export_are_mostly_on_marks(
    of: str, tmp_path: Path
) -> None:
    job = laid(tmp_path, {"name": "Point"})
    _design(tmp_path, job, 0)
    if of == "two exports":
        job.keep(np.arange(len(job.rows["name"])) == np.flatnonzero(job.rows["kind"] != "point")[-1])
    else:
        job.keep((job.rows["kind"] != "point") | (np.cumsum(job.rows["kind"] == "point") < 3))
    write(tmp_path / ("check.csv" if of == "two exports" else "a.csv"), job, {"name": "Point"} | _REST, time=_UTC)
    started = new_job(tmp_path)
    assert dict((name, role) for name, role, _ in started.files)["control.csv"] == "may be the register"
    assert {one.value for one in asked(started)["control.file"].candidates} == {'"control.csv"', '"design.csv"'}


@pytest.mark.parametrize("headed", ["as a register", "as points"])
def test_a_table_with_all_marks_that_another_has_is_asked_after(headed: str, tmp_path: Path) -> None:
    """All readings are on marks, and most marks are in one table alone."""
    job = laid(tmp_path, {"name": "Point"})
    _design(tmp_path, job, 0, 1)
    job.keep(job.rows["kind"] != "point")
    write(tmp_path / "a.csv", job, {"name": "Point"} | _REST, time=_UTC)
    if headed == "as points":
        (tmp_path / "control.csv").rename(tmp_path / "national.csv")
    started = new_job(tmp_path)
    assert not any("of the points themselves" in why for _, _, why in started.files)
    assert len(asked(started)["control.file"].candidates) == 2


def test_places_to_be_staked_out_are_no_register(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    rows = [f"{name},{1571000 + at},5179000,10.0" for at, name in enumerate(job.rows["name"]) if "-" not in name]
    (tmp_path / "stake.csv").write_text("\n".join(["Point,Easting,Northing,Height", *rows, ""]), encoding="utf-8")
    started = new_job(tmp_path)
    assert "control.file" not in asked(started)


def test_exports_of_one_column_of_names_stay_in_one_block(tmp_path: Path) -> None:
    """The second rover occupied no mark, and its points' numbers are those of its rows."""
    job = laid(tmp_path, {"name": "Point"})
    job.keep(job.rows["kind"] == "point")
    told = {"name": [str(700 + at) for at in range(len(job.rows["name"]))]}
    write(tmp_path / "b.csv", job, {"name": "Point"} | _REST, time=_UTC, told=told)
    started = new_job(tmp_path)
    (block,) = parsed(started)["points"]
    assert block["files"] == ["a.csv", "b.csv"]  # type: ignore[comparison-overlap]
    assert not any("counts the rows" in note for note in started.notes)


def _register_with(folder: Path, job: Simulation, heading: str, told: Sequence[str], names: str = "Mark") -> None:
    rest = {name: values for name, values in job.register.items() if name not in ("mark", "holds")}
    write_register({names: job.register["mark"]} | rest | {heading: np.array(told)}, folder / "control.csv")


@pytest.mark.parametrize(
    ("heading", "told", "beside", "said"),
    [
        ("Code", ["CTRL"] * 9, "Code", ["CTRL"]),
        ("Condition", ["stable", "damaged", "stable", "buried"] * 3, "Ground", ["stable", "soft"]),
        ("Order", ["2", "3", "2", "1"] * 3, "Layer", ["1", "2", "3"]),
        ("Surveyor", ["Smith"] * 9, "Observer", ["Smith"]),
        ("Type", ["PIN", "NAIL", "POST", "BOLT", "ROD", "DISC", "TUBE", "CUT", "PEG"], "Code", ["PIN", "NAIL", "EP"]),
        ("Class", ["7", "9", "4", "12", "31", "40", "53", "61", "77"], "Layer", ["4", "9", "31"]),
    ],
)
def test_what_a_register_says_of_its_marks_is_not_their_names(
    heading: str, told: list[str], beside: str, said: list[str], tmp_path: Path
) -> None:
    """Points have names that name no mark, and another column of theirs says words that the register says too."""
    job = job_of()
    count = len(job.rows["name"])
    own = [f"Q{3 * at}" for at in range(count)]
    words = [said[at % len(said)] for at in range(count)]
    laid(tmp_path, {"own": "Point", "beside": beside}, own=own, beside=words)
    _register_with(tmp_path, job, heading, told[: len(job.register["mark"])])
    started = new_job(tmp_path)
    control = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["control"]
    assert control.get("columns", {}).get("mark", "Mark") == "Mark"
    assert "mark" not in asked(started) and not any(f'"{heading}"' in note for note in started.notes)
    assert "mark" not in parsed(started)["points"][0]["columns"]


def test_a_mark_given_twice_does_not_hide_the_names_of_a_registers_marks(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    register = {name: np.append(values, values[:1]) for name, values in job.register.items() if name != "holds"}
    register["easting"][-1] += 0.02
    names = register.pop("mark")
    write_register(
        {"ID": np.arange(1, len(names) + 1).astype(str), "Label": names} | register, tmp_path / "control.csv"
    )
    control = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["control"]
    assert control["columns"]["mark"] == "Label"


@pytest.mark.parametrize("setups", [1, 2])
def test_where_the_base_stood_is_no_mark_of_numbered_points(setups: int, tmp_path: Path) -> None:
    job = job_of()
    marks, count = job.register["mark"], len(job.rows["name"])
    told = [str(marks[1 + at * setups // count]) for at in range(count)]
    on = on_marks(job)
    codes = ["CTRL" if name in on else "EP" for name in job.rows["name"].tolist()]
    heads = {"counter": "Point", "code": "Code", "setup": "Setup"}
    laid(tmp_path, heads, setup=told, code=codes)
    started = new_job(tmp_path)
    assert "mark" not in parsed(started)["points"][0]["columns"]
    assert not any('"Setup"' in note for note in started.notes)
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    assert outcome.exit_code == 0 and len(current_issue(tmp_path / "out").points.rows) == codes.count("EP")


def _same_marks(job: Simulation, of: str) -> dict[str, np.ndarray]:
    """Return the register's marks as another table gives them."""
    register, place = job.register, job.plan.place
    plan = {name: register[name] for name in ("mark", "easting", "northing")}
    longitude, latitude = place.projection.inverse(register["easting"], register["northing"])
    degrees = {"longitude": np.round(longitude, 10), "latitude": np.round(latitude, 10)}
    return {
        "plan alone": plan,
        "degrees too": plan | degrees | {"height": register["height"]},
        "degrees alone": {"mark": register["mark"]} | degrees,
    }[of]


@pytest.mark.parametrize("called", ["aaa.csv", "zzz.csv"])
@pytest.mark.parametrize("of", ["plan alone", "degrees too", "degrees alone"])
def test_a_table_that_gives_the_same_places_otherwise_leaves_the_register_known(
    of: str, called: str, tmp_path: Path
) -> None:
    job = laid(tmp_path, {"name": "Point"})
    write_register(_same_marks(job, of), tmp_path / called)
    started = new_job(tmp_path)
    control = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["control"]
    assert control["file"] == "control.csv" and "control.file" not in asked(started)


@pytest.mark.parametrize("of", ["plan alone", "degrees too", "degrees alone"])
def test_one_mark_elsewhere_makes_two_registers(of: str, tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    job.register["easting"][1] += 0.05
    write_register(_same_marks(job, of), tmp_path / "other.csv")
    assert "control.file" in asked(new_job(tmp_path))


def test_the_table_with_heights_is_the_register_of_two_with_the_same_places(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    (tmp_path / "control.csv").rename(tmp_path / "list.csv")
    write_register(_same_marks(job, "plan alone"), tmp_path / "control.csv")
    control = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["control"]
    assert control["file"] == "list.csv"


def test_the_grid_that_fits_every_table_that_may_be_the_register_is_offered(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    alone = new_job(tmp_path, to=tmp_path / "alone.toml")
    (line,) = [line for line in Path(alone.path).read_text(encoding="utf-8").splitlines() if line.startswith("grid =")]
    other = dict(job.register)
    other["easting"] = other["easting"] + 0.05
    write_register(other, tmp_path / "national.csv")
    started = new_job(tmp_path)
    assert "control.file" in asked(started)
    assert [one.value for one in asked(started)["target.grid"].candidates] == ['"EPSG:2193"']
    assert '"EPSG:2193"' in line


def test_tables_of_the_same_places_are_one_register_where_readings_name_no_mark(tmp_path: Path) -> None:
    job = laid(tmp_path, {"counter": "Point"})
    (tmp_path / "control.csv").unlink()
    rest = {name: job.register[name] for name in ("easting", "northing", "height")}
    for called, columns in (("marks-plan.csv", ("easting", "northing")), ("marks-whole.csv", tuple(rest))):
        write_register({"mark": job.register["mark"]} | {each: rest[each] for each in columns}, tmp_path / called)
    started = new_job(tmp_path)
    control = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["control"]
    assert control["file"] == "marks-whole.csv"
    (why,) = [why for name, _, why in started.files if name == "marks-plan.csv"]
    assert "marks-whole.csv too, at the same places" in why


def test_results_that_list_marks_and_points_are_no_register_beside_one(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"})
    marks = job.register["mark"].tolist()
    points = [name for name in job.rows["name"].tolist() if "-" not in name]
    points += [f"q{at}" for at in range(5 * len(marks))]
    rows = [f"{name},{1571000 + at},5179000,10.0" for at, name in enumerate([*marks, *points])]
    (tmp_path / "final.csv").write_text("\n".join(["Name,Easting,Northing,Height", *rows, ""]), encoding="utf-8")
    own = job.rows["name"].tolist() + [f"q{at}" for at in range(5 * len(marks))]
    job.keep(np.append(np.arange(len(job.rows["name"])), np.zeros(5 * len(marks), int)))
    write(tmp_path / "a.csv", job, {"name": "Point"} | _REST, time=_UTC, told={"name": own})
    assert "control.file" not in asked(new_job(tmp_path))


def test_an_old_and_a_new_row_of_a_mark_are_one_mark(tmp_path: Path) -> None:
    job = laid(tmp_path, {"name": "Point"}, behind=False)
    lines = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    columns, rows = lines[0].split(","), []
    for line in lines[1:]:
        old = line.split(",")
        for word, off in (("easting", 0.21), ("northing", -0.15)):
            old[columns.index(word)] = f"{float(old[columns.index(word)]) + off:.4f}"
        rows += [f"{','.join(old)},2011-05-12", f"{line},2021-04-23"]
    (tmp_path / "control.csv").write_text("\n".join([f"{lines[0]},dated", *rows]), encoding="utf-8")
    started = new_job(tmp_path)
    assert listed(started) == set(on_marks(job).values())
    assert not any("so no line can name them" in note for note in started.notes)
