"""Units, datum, clock and heights that lines above a header state: taken up by a draft, held against a job by a run."""

import re
from pathlib import Path

import pytest
from pyproj import Transformer

from pipeline.check import check_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started
from pipeline.problems import JobError

FOOT = 0.3048  # by definition
_GRID = "EPSG:2193"
#: Near sea level and flat, where heights in feet look like heights in metres.
_MARKS = {"K1": (1570250.0, 5180300.0, 1.22), "K2": (1570400.0, 5180450.0, 1.19), "K3": (1570300.0, 5180600.0, 1.50)}


def _lay(folder: Path, above: str, *, metre: float = FOOT, height: str = "Ell height", time: str = "Time") -> Started:
    where = Transformer.from_crs(_GRID, "EPSG:4167", always_xy=True)
    marks = [f"{name},{east},{north},{up}" for name, (east, north, up) in _MARKS.items()]
    (folder / "control.csv").write_text("\n".join(["Mark,Easting,Northing,Ell height", *marks]), encoding="utf-8")
    rows = []
    for number, name in enumerate([*_MARKS, "101", "102", *_MARKS]):
        east, north, up = _MARKS.get(name, (1570290.0, 5180400.0 + number, 1.3))
        east, north, up = east + 0.001 * number, north - 0.002 * number, up + 0.003 * (number % 3)
        lon, lat = where.transform(east + 1.3, north - 0.7)
        stamp = f"2026-03-12 01:{10 + number}:00" + ("Z" if time == "Time" else "")
        rows.append(
            f"{name},{'CTRL' if name in _MARKS else 'KERB'},{lat:.9f},{lon:.9f},{(up + 2.0) / metre:.3f},{stamp}"
        )
    head = f"Point,Code,Latitude,Longitude,{height},{time}"
    (folder / "rover.csv").write_text("\n".join([f"{above}{head}", *rows]), encoding="utf-8")
    return new_job(folder)


def _text(started: Started) -> str:
    return Path(started.path).read_text(encoding="utf-8")


def test_feet_above_the_header_become_the_unit(tmp_path: Path) -> None:
    started = _lay(tmp_path, "Job,Road 5\nLinear units,International feet\n\n")
    assert re.search(r'^units = "foot"  # .*line 2', _text(started), re.MULTILINE)


def test_feet_of_no_kind_above_the_header_are_asked_after(tmp_path: Path) -> None:
    started = _lay(tmp_path, "# Distance units: feet\n")
    assert [one.question.key for one in started.asked if one.question.key == "units"] == ["units"]


def test_a_heading_in_metres_is_nearer_than_a_line_above_it(tmp_path: Path) -> None:
    assert "units =" not in _text(_lay(tmp_path, "Units: feet\n", metre=1.0, height="Ell height [m]"))


def test_a_datum_above_the_header_is_not_denied(tmp_path: Path) -> None:
    started = _lay(tmp_path, "Datum,WGS84\n", metre=1.0)
    asked = next(one.question for one in started.asked if one.question.key == "crs" and "datum" in one.question.asks)
    assert '"Datum: WGS84" in line 1' in asked.asks
    assert asked.candidates[0].value == '"EPSG:4979"'
    assert "without a datum" not in _text(started)


def test_the_datum_of_the_grid_above_the_header_needs_no_question(tmp_path: Path) -> None:
    started = _lay(tmp_path, "Datum,NZGD2000\n", metre=1.0)
    assert not any(one.question.key == "crs" for one in started.asked)
    assert re.search(r'^crs = "EPSG:4959"  # .*line 1', _text(started), re.MULTILINE)


@pytest.mark.parametrize(("line", "zone"), [("Time zone: UTC+13:00", "+13:00"), ("Time system;GPS", "GPS")])
def test_a_clock_above_the_header_is_that_of_the_times(line: str, zone: str, tmp_path: Path) -> None:
    text = _text(_lay(tmp_path, f"{line}\n", metre=1.0, time="Observed"))
    assert re.search(rf'^time_zone = "{re.escape(zone)}"  # .*above the header', text, re.MULTILINE)


def _run(started: Started, units: str) -> Path:
    job, text = Path(started.path), _text(started)
    text = re.sub(r"^units = .*\n", "", text, flags=re.MULTILINE)
    job.write_text(text.replace('files = ["rover.csv"]\n', f'files = ["rover.csv"]\n{units}'), encoding="utf-8")
    return job


def test_a_job_without_units_is_refused_beside_feet_above_the_header(tmp_path: Path) -> None:
    job = _run(_lay(tmp_path, "Job,Road 5\nLinear units,International feet\n\n"), "")
    with pytest.raises(JobError) as told:
        check_job(job)
    (problem,) = told.value.problems
    assert (problem.file, problem.line) == ("rover.csv", 2)
    assert 'units = "foot"' in problem.fix


@pytest.mark.parametrize(("units", "doubted"), [("metre", True), ("foot", False)])
def test_another_unit_in_the_job_than_above_the_header_is_in_doubt(units: str, doubted: bool, tmp_path: Path) -> None:
    started = _lay(tmp_path, "Job,Road 5\nLinear units,International feet\n\n", metre=FOOT if units == "foot" else 1.0)
    found = check_job(_run(started, f'units = "{units}"\n'))
    assert any("International feet" in str(doubt) for doubt in found.doubts) is doubted


@pytest.mark.parametrize(
    ("line", "says"),
    [("Układ: PL-2000 strefa 7", "EPSG:2178"), ("System: UTM huso 30", "EPSG:25830"), ("Grid: local", "")],
)
def test_a_grid_stated_above_is_told_with_its_code_where_no_file_has_degrees(
    line: str, says: str, tmp_path: Path
) -> None:
    """Of eastings and northings alone no place is known, so no grid in use there either."""
    marks = [("CP1", 7500216.206, 5785050.271), ("CP2", 7499515.784, 5785389.464), ("CP3", 7500299.892, 5784884.24)]
    register = "".join(f"{name};{east};{north};12{at}.04\n" for at, (name, east, north) in enumerate(marks))
    (tmp_path / "control.csv").write_text(f"Mark;Easting;Northing;Ell Height\n{register}", encoding="utf-8")
    rows = "".join(
        f"{name};{east + 0.5:.3f};{north - 0.4:.3f};12{at}.54;2026-03-17T07:3{at}:00Z\n"
        for at, (name, east, north) in enumerate(marks)
    )
    head = "Point;Easting;Northing;Ell Height;Time UTC"
    (tmp_path / "day.csv").write_text(f"{line}\n\n{head}\n{rows}", encoding="utf-8")
    written = re.sub(r"\n# +(?=\S)", " ", Path(new_job(tmp_path).path).read_text(encoding="utf-8"))
    (asks,) = [one for one in written.splitlines() if "the same answer as target.grid, unless" in one]
    assert f'the file states "{line}" in line 1' in asks and "EPSG" in asks if says else "EPSG" not in asks
    assert says in asks
