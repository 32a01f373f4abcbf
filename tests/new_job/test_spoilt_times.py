"""Times in two columns of which a few cells are none: exports all the same, whose odd rows a run holds back."""

import re
from pathlib import Path

import pytest
from folders_made import drafted, job_of, lay, write
from told_of import told_of

from pipeline.new_job import new_job
from pipeline.new_job.questions import Known

_HEADS = {"name": "Point", "date": "Date", "time": "Time", "latitude": "Lat", "longitude": "Lon", "height": "EllHt",
          "solution": "Sol", "base": "Base"}  # fmt: skip
_ONE = {"name": "Point", "time": "Time", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "base": "Base"}


def made(folder: Path, day: str = "%Y-%m-%d", clock: str = "%H:%M:%S") -> list[str]:
    """Write a folder, and return the lines of its export."""
    job = job_of()
    lay(folder, job)
    at = job.rows["time"].astype("datetime64[us]").tolist()
    told = {"date": [one.strftime(day) for one in at], "time": [one.strftime(clock) for one in at]}
    write(folder / "rover.csv", job, _HEADS, told=told)
    return (folder / "rover.csv").read_text(encoding="utf-8").splitlines()


def lay_down(folder: Path, lines: list[str]) -> None:
    (folder / "rover.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.mark.parametrize("way", ["heading again", "no time", "no date", "units", "figures alone"])
def test_a_few_odd_cells_leave_an_export_an_export(way: str, tmp_path: Path) -> None:
    lines = made(tmp_path, *(("%Y%m%d", "%H%M%S") if way == "figures alone" else ()))
    cells = lines[9].split(",")
    odd = {"no time": [cells[0], cells[1], "n/a", *cells[3:]], "no date": [cells[0], "?", *cells[2:]]}
    lines[9] = ",".join(odd.get(way, cells))
    if way in ("heading again", "figures alone"):
        lines.append(lines[0])
    elif way == "units":
        lines.insert(1, ",,UTC,deg,deg,m,,")
    lay_down(tmp_path, lines)
    draft = drafted(new_job(tmp_path))
    (block,) = draft.blocks
    assert {word: block.columns[word] for word in ("date", "time")} == {"date": "Date", "time": "Time"}
    assert len(draft.sessions) == 2 and all(one.ties for one in draft.sessions)
    if way == "units":
        zone = draft.source["time_zone"]
        assert isinstance(zone, Known) and zone.value == '"UTC"'


def test_columns_of_which_many_cells_are_no_time_are_no_times(tmp_path: Path) -> None:
    lines = made(tmp_path)
    for at in range(1, len(lines), 2):
        cells = lines[at].split(",")
        lines[at] = ",".join([*cells[:2], "n/a", *cells[3:]])
    lay_down(tmp_path, lines)
    assert re.search("but more than a few cells of the two columns are empty or not times", told_of(tmp_path))


@pytest.mark.parametrize(("unit", "zone"), [("UTC", "UTC"), ("[GPS]", "GPS"), ("UTC+2", "+02:00")])
def test_a_row_of_units_says_the_clock(unit: str, zone: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _ONE, time="%Y-%m-%d %H:%M:%S")
    lines = (tmp_path / "rover.csv").read_text(encoding="utf-8").splitlines()
    lay_down(tmp_path, [lines[0], f",{unit},deg,deg,m,", *lines[1:]])
    state = drafted(new_job(tmp_path)).source["time_zone"]
    assert isinstance(state, Known) and state.value == f'"{zone}"'
    assert "row of units" in state.why


def test_a_row_of_units_without_a_clock_is_no_sample_of_times(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _ONE, time="%Y-%m-%d %H:%M:%S")
    lines = (tmp_path / "rover.csv").read_text(encoding="utf-8").splitlines()
    lay_down(tmp_path, [lines[0], ",hms,deg,deg,m,", *lines[1:]])
    (asked,) = (one.question for one in new_job(tmp_path).asked if one.question.key == "time_zone")
    assert 'as "2026-03-19 ' in asked.asks


def test_days_of_the_year_are_called_so(tmp_path: Path) -> None:
    lines = made(tmp_path, "%Y,%j")
    lay_down(tmp_path, [lines[0].replace("Date", "Year,DOY"), *(line.replace('"', "") for line in lines[1:])])
    wanted = r'"DOY" holds days of the year, beside the year in "Year", which are not read apart'
    assert re.search(wanted, told_of(tmp_path))


@pytest.mark.parametrize(
    "form",
    ["%Y-%jT%H:%M:%SZ", "%Y%jT%H%M%SZ", "%Y:%j:%H:%M:%S", "%Y-%j %H:%M:%S", "%G-W%V-%uT%H:%M:%SZ", "%GW%V%uT%H%M%S"],
)
def test_days_of_the_year_and_of_weeks_are_read(form: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _ONE, time=form)
    draft = drafted(new_job(tmp_path))
    state = draft.blocks[0].states["time_format"]
    assert isinstance(state, Known) and state.value == f'"{form.replace("Z", "%z")}"'
    assert [one.start.date().isoformat() for one in draft.sessions] == ["2026-03-19", "2026-03-20"]


@pytest.mark.parametrize("day", ["%Y-%j", "%Y%j", "%G-W%V-%u"])
def test_dates_by_the_day_of_the_year_beside_times_of_day_are_read(day: str, tmp_path: Path) -> None:
    made(tmp_path, day)
    state = drafted(new_job(tmp_path)).blocks[0].states["time_format"]
    assert isinstance(state, Known) and state.value == f'"{day} %H:%M:%S"'


def test_numbers_of_projects_are_no_dates(tmp_path: Path) -> None:
    lines = made(tmp_path)
    lay_down(tmp_path, [f"Project,{lines[0]}", *(f"2026-015,{line}" for line in lines[1:])])
    (block,) = drafted(new_job(tmp_path)).blocks
    assert block.columns["date"] == "Date"


@pytest.mark.parametrize(("heading", "form"), [("YYDOY", "%y%j"), ("YYYYDDD", "%Y%j")])
def test_years_with_the_day_of_the_year_beside_seconds_of_the_day_are_called_so(
    heading: str, form: str, tmp_path: Path
) -> None:
    lines = made(tmp_path, f"{form},%S")
    lay_down(tmp_path, [lines[0].replace("Date", f"{heading},SOD"), *(line.replace('"', "") for line in lines[1:])])
    why = rf'"{heading}" holds "(20)?26\d\d\d", a year and the day of the year, beside the seconds of the day in "SOD"'
    assert re.search(why, told_of(tmp_path))
