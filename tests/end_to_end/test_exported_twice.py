"""A day exported twice counts once, whatever the rounding; what only looks alike stays."""

import datetime as dt
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from every import every
from issued import Issue
from running import Row, csv_rows, issued_once, published_record, run_written, write_csv
from simulate import Plan, Simulation, simulate

COLUMNS = '[points.columns]\nname = "n"\ntime = "t"\ncode = "c"\nsolution = "s"\nheight = "h"\n'


def day(points: int = 10) -> Simulation:
    job = simulate(Plan(sessions=1, points=points, reach=500.0))
    for name, digits in (("longitude", 9), ("latitude", 9), ("height", 3)):
        job.rows[name] = np.round(job.rows[name], digits)
    return job


def rounded(row: Row, degrees: int, metres: int) -> Row:
    place = {name: f"{float(row[name]):.{degrees}f}" for name in ("Lat", "Lon")}
    return row | place | {"EllHt": f"{float(row['EllHt']):.{metres}f}"}


CHANGES: dict[str, Callable[[Row], Row]] = {
    "the same digits": lambda row: row,
    "8 decimals and cm": lambda row: rounded(row, 8, 2),
    "7 decimals and dm": lambda row: rounded(row, 7, 1),
    "without names": lambda row: rounded(row, 8, 2) | {"Point": ""},
    "names in small letters": lambda row: row | {"Point": row["Point"].lower()},
    "without bases": lambda row: rounded(row, 8, 2) | {"Base": ""},
}


def counts_once(issue: Issue, once: Issue) -> None:
    """The second export changes nothing but what is held back."""
    assert set(issue.reasons().values()) == {"duplicate"}
    assert (len(issue.points.rows), len(issue.held_back.rows)) == (10, 13)
    for name in ("ties", "checks", "verdict"):
        assert issue.sessions.column(name) == once.sessions.column(name), name
    for name in ("sigma_east", "sigma_up"):
        assert issue.sessions.column(name) == pytest.approx(once.sessions.column(name), rel=1e-6), name


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> Issue:
    return run_written(day().write(tmp_path_factory.mktemp("once")))


@pytest.mark.parametrize("how", CHANGES)
@pytest.mark.parametrize("name", ["rover000.csv", "rover002.csv"])  # read before the other, and after it
def test_another_rounding(how: str, name: str, once: Issue, tmp_path: Path) -> None:
    path = day().write(tmp_path)
    write_csv(tmp_path / name, [CHANGES[how](row) for row in csv_rows(tmp_path / "rover001.csv")])
    issue = run_written(path, code=3)  # one of the files has nothing of its own
    counts_once(issue, once)
    assert any("13 of its 13 rows" in note for note in issue.record["notes"])
    kept = set(issue.points.column("source_file"))
    if how in ("8 decimals and cm", "7 decimals and dm", "without names"):
        assert kept == {"rover001.csv"}
    assert all(row["detail"].startswith("the same observation as rover00") for row in every(issue.held_back.rows))


def test_both_in_one_file(once: Issue, tmp_path: Path) -> None:
    path = day().write(tmp_path)
    rows = csv_rows(tmp_path / "rover001.csv")
    write_csv(tmp_path / "rover001.csv", rows + [rounded(row, 8, 2) for row in rows])
    counts_once(run_written(path), once)


@pytest.mark.parametrize("cut", [1, 3])
@pytest.mark.parametrize("column", ["Lat", "Lon", "EllHt"])
@pytest.mark.parametrize("name", ["rover001.csv", "rover002.csv"])  # in the same file, and in one of its own
def test_one_coordinate_alone_with_fewer_digits(name: str, column: str, cut: int, once: Issue, tmp_path: Path) -> None:
    """Digits are cut off, not rounded: as a column that is too narrow does it."""
    path = day().write(tmp_path)
    rows = csv_rows(tmp_path / "rover001.csv")
    digits = 9 if column != "EllHt" else 3
    again = [row | {column: f"{float(row[column]):.{digits}f}"[: -min(cut, digits - 1)]} for row in rows]
    write_csv(tmp_path / name, [*rows, *again] if name == "rover001.csv" else again)
    counts_once(run_written(path, 0 if name == "rover001.csv" else 3), once)


# Of rows that repeat one another the finer is kept: the eastings are all coarser, so their file has nothing of its own.
@pytest.mark.parametrize(("crs", "code"), [("geographic", 0), ("projected", 3)])
def test_another_format_and_crs(crs: str, code: int, once: Issue, tmp_path: Path) -> None:
    # New Zealand's projection in closed form (LINZ: NZTM2000), shared with the simulator
    job = day()
    path = job.write(tmp_path)
    rows = csv_rows(tmp_path / "rover001.csv")
    projection = job.plan.place.projection
    text = path.read_text(encoding="utf-8")
    if crs == "projected":
        east, north = projection.forward(job.rows["longitude"], job.rows["latitude"])
        write_csv(tmp_path / "grid.csv", [
            {"h": row["EllHt"], "E": f"{e:.3f}", "N": f"{n:.3f}", "t": row["Observed"], "s": row["Sol"],
             "c": row["Code"], "n": row["Point"]}
            for row, e, n in zip(rows, east, north, strict=True)
        ])  # fmt: skip
        text += f'\n[[points]]\nfiles = ["grid.csv"]\ncrs = "EPSG:2193"\n{COLUMNS}easting = "E"\nnorthing = "N"\n'
    else:
        features = [
            {"type": "Feature", "geometry": {"type": "Point", "coordinates": [float(row["Lon"]), float(row["Lat"])]},
             "properties": {"n": row["Point"], "t": row["Observed"], "c": row["Code"], "s": row["Sol"],
                            "h": round(float(row["EllHt"]), 2)}}
            for row in rows
        ]  # fmt: skip
        (tmp_path / "day.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
        text += f'\n[[points]]\nfiles = ["day.geojson"]\n{COLUMNS}'
    path.write_text(text, encoding="utf-8")
    counts_once(run_written(path, code), once)


def test_a_refused_solution_is_not_let_in_by_an_export_that_does_not_say_so(tmp_path: Path) -> None:
    job = day()
    job.rows["solution"][5] = "float"
    path = job.write(tmp_path)
    write_csv(
        tmp_path / "a.csv",
        [{key: row[key] for key in row if key != "Sol"} for row in csv_rows(tmp_path / "rover001.csv")],
    )
    text = path.read_text(encoding="utf-8").splitlines()
    (columns,) = [line for line in text if line.startswith("columns = ")]
    block = ["[[points]]", 'files = ["a.csv"]', columns.replace('solution = "Sol", ', "")]
    path.write_text("\n".join([*text, "", *block, ""]), encoding="utf-8")
    issue = run_written(path, code=3)
    assert str(job.rows["name"][5]) not in issue.points.column("name")


@pytest.mark.parametrize("name", ["", "TRACK"])
def test_a_slow_track_of_ten_readings_a_second_stays_whole(name: str, tmp_path: Path) -> None:
    job = day(200)
    rows, drafted = job.rows, np.flatnonzero(job.rows["kind"] == "point")
    start = rows["time"][drafted[0]].astype("datetime64[s]")
    rows["time"][drafted] = start + (np.arange(200) // 10).astype("timedelta64[s]")
    rows["name"][drafted] = name
    for column in ("longitude", "latitude", "height"):
        rows[column][drafted] = rows[column][drafted[0]]
    rows["latitude"][drafted] = np.round(rows["latitude"][drafted] + np.arange(200) * 0.001 / 111_320, 9)  # 1 cm/s
    path = job.write(tmp_path)
    issue = run_written(path)
    assert issue.record["rows"]["points"] == 200
    shutil.rmtree(tmp_path / "out")
    write_csv(tmp_path / "rover002.csv", [rounded(row, 8, 2) for row in csv_rows(tmp_path / "rover001.csv")])
    assert run_written(path, code=3).record["rows"]["by_reason"] == {"duplicate": 203}


def test_what_nobody_can_decide_is_told_and_stays(tmp_path: Path) -> None:
    path = day().write(tmp_path)
    points = [row for row in csv_rows(tmp_path / "rover001.csv") if row["Code"] not in ("CM", "CHK")]
    moved = [  # by 2.2 m to the north, and each by a metre more: two rovers with the same numbers, say
        row | {"Lat": f"{float(row['Lat']) + 2e-5 + number * 1e-5:.9f}"} for number, row in enumerate(points[:5])
    ]
    write_csv(tmp_path / "rover002.csv", moved + [row | {"Point": f"Q{row['Point']}"} for row in points[5:]])
    record = published_record(path)
    assert record["rows"]["points"] == 20
    assert [note for note in record["notes"] if "5 pairs" in note and "same name and time" in note]
    assert [note for note in record["notes"] if "5 pairs" in note and "different names" in note]


def later(row: Row, seconds: float) -> Row:
    time = dt.datetime.fromisoformat(row["Observed"]) + dt.timedelta(seconds=seconds)
    return row | {"Observed": time.isoformat()}


@pytest.mark.parametrize("seconds", [18.0, -18.0, 1800.0])
@pytest.mark.parametrize("name", ["rover000.csv", "rover002.csv"])
def test_a_day_by_another_clock(name: str, seconds: float, once: Issue, tmp_path: Path) -> None:
    """GPS time beside UTC, say: to the last digit nothing is measured twice."""
    path = day().write(tmp_path)
    write_csv(tmp_path / name, [later(row, seconds) for row in csv_rows(tmp_path / "rover001.csv")])
    issue = run_written(path, code=3)
    counts_once(issue, once)
    (told,) = [note for note in issue.record["notes"] if "identical coordinates" in note]
    assert "13 pairs" in told and ("30 min apart" if abs(seconds) > 60 else "18 s apart") in told
    assert ("check the time zones" if abs(seconds) > 60 else "GPS time and UTC are 18 s apart") in told


@pytest.mark.parametrize("hours", [2.0, -2.0])
@pytest.mark.parametrize("left_out", [0, 3])
@pytest.mark.parametrize("name", ["rover000.csv", "rover002.csv"])
@pytest.mark.parametrize("model", ["geocentric", "grid"])
def test_a_copy_by_another_clock_stretches_no_session(
    name: str, left_out: int, hours: float, model: str, tmp_path: Path
) -> None:
    """Its rows lie before the first check or after the last one, and are no points: the day is as proven as alone."""
    job = day()
    job.job["shift"] = {"model": model}
    path = job.write(tmp_path / "job")
    without = issued_once(path)
    assert without.sessions.column("verdict") == ["proven"]
    rows = csv_rows(path.with_name("rover001.csv"))
    write_csv(path.with_name(name), [later(row, 3600.0 * hours) for row in rows[left_out:]])
    issue = run_written(path, code=0 if left_out else 3)  # for a file that copies another row by row
    if left_out or name == "rover002.csv":  # of two copies of one length the first is kept
        for key in ("sessions", "data_to", "checks", "verdict", "shift_model"):
            assert issue.record[key] == without.record[key]
    assert issue.record["verdict"] == "proven" and set(issue.points.column("proof")) == {"bracketed"}
    assert issue.record["release"]["pending"] is False
    assert [check["place"] for check in issue.record["checks"]] == [
        check["place"] for check in without.record["checks"]
    ]


def test_a_copy_of_another_block_by_another_clock_asks_nothing_of_its_frame(tmp_path: Path) -> None:
    """A session that has no other reading of that block is in no doubt for what the block leaves open."""
    path = day().write(tmp_path)
    rows = [later(row, 7200.0) for row in csv_rows(tmp_path / "rover001.csv")]
    write_csv(tmp_path / "copy.csv", rows[2:])
    text = path.read_text(encoding="utf-8")
    block = text[text.index("[[points]]") :].replace("rover*.csv", "copy.csv")
    path.write_text(f'{text}\n{block}crs = "EPSG:4979"\n', encoding="utf-8")
    record = published_record(path)
    assert record["verdict"] == "proven" and not record["doubts"]


@pytest.mark.parametrize("name", ["marks.csv", "rover002.csv"])  # read before the other, and after it
def test_marks_exported_once_more_by_another_clock_close_nothing(name: str, tmp_path: Path) -> None:
    """The opening occupations again, in a list of their own, as if they had been made at the end of the day."""
    job = day()
    (closing,) = [str(check["point"]) for check in job.job["session"][0]["checks"][-1:]]
    job.job["session"][0]["checks"].pop()
    job.rows = {column: values[job.rows["name"] != closing] for column, values in job.rows.items()}
    path = job.write(tmp_path)
    without = issued_once(path)
    assert without.sessions.column("verdict") == ["unclosed"]
    marks = [later(row, 6 * 3600.0) for row in csv_rows(tmp_path / "rover001.csv") if row["Code"] in ("CM", "CHK")]
    assert len(marks) == 2
    write_csv(tmp_path / name, marks)
    if name == "marks.csv":
        text = path.read_text(encoding="utf-8")
        (files,) = [line for line in text.splitlines() if line.startswith("files = ")]
        path.write_text(text.replace(files, f'files = ["{name}", "rover001.csv"]'), encoding="utf-8")
    issue = run_written(path)
    assert any("identical coordinates" in note for note in issue.record["notes"])
    assert issue.sessions.column("verdict") == ["unclosed"]
    assert set(issue.reasons().values()) == {"duplicate"} and len(issue.held_back.rows) == 2
    assert {row["source_file"] for row in issue.held_back.rows} == {name}


def test_marks_occupied_again_are_left_in_peace(tmp_path: Path) -> None:
    """Noise parts two occupations of one mark under one name, though both are written to the millimetre."""
    job = simulate(Plan(sessions=1, points=10, ties=2, checks=2))
    path = job.write(tmp_path)
    rows = csv_rows(tmp_path / "rover001.csv")
    marks = [row for row in rows if row["Code"] in ("CM", "CHK")]
    again = [later(row, 300.0) | {"Lat": f"{float(row['Lat']) + 4e-8:.9f}"} for row in marks]  # 4 mm north
    write_csv(tmp_path / "rover001.csv", [*rows, *again])
    assert published_record(path)["rows"]["by_reason"] == {}
