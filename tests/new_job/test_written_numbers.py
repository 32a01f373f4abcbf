"""Folders whose numbers have degree signs, hemispheres, units, parted thousands or typeset signs: read, or said."""

import re
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, NAMELESS, Answers, cells, job_of, lay, write
from simulate import Simulation
from told_of import told_of

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started
from pipeline.problems import JobError

HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ell Height",
         "time": "Time UTC", "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip
PLANE = {"name": "Point", "easting": "Easting", "northing": "Northing", "height": "Ell Height", "time": "Time UTC",
         "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip
_TIME = "%Y-%m-%d %H:%M:%S"

Told = Mapping[str, Callable[[str], str]]


def _started(folder: Path, job: Simulation, told: Told, **more: str) -> Started:
    lay(folder, job)
    heads = PLANE if "easting" in told else HEADS
    columns = {word: [form(text) for text in cells(job, word, str)] for word, form in told.items()}
    write(folder / "a.csv", job, heads, time=_TIME, told=columns, **more)  # type: ignore[arg-type]
    return new_job(folder)


def _record(started: Started, answers: Answers) -> dict[str, object]:
    """Answer what is asked, as somebody who knows the job does, and try the job."""
    answer(Path(started.path), answers, own={"height"} if "target.grid" in answers else ())
    return dict(run_job(started.path, dry_run=True).record)


def _side(letters: str, before: bool = False, sign: str = "") -> Callable[[str], str]:
    def written(text: str) -> str:
        letter = letters[float(text) < 0]
        return f"{letter} {text.lstrip('-')}{sign}" if before else f"{text.lstrip('-')}{sign}{letter}"

    return written


def _comma(text: str) -> str:
    return text.replace(".", ",")


def _parted(separator: str, decimal: str = ".") -> Callable[[str], str]:
    return lambda text: f"{float(text):,.5f}".replace(".", "\0").replace(",", separator).replace("\0", decimal)


WAYS: dict[str, tuple[Told, str]] = {
    "degree signs": ({"latitude": "{}°".format, "longitude": "{} °".format}, ","),
    "degree signs behind decimal commas": (
        {word: lambda text: f"{_comma(text)}°" for word in ("latitude", "longitude")} | {"height": _comma}, ";"),
    "letters behind": ({"latitude": _side("NS"), "longitude": _side("EW")}, ","),
    "letters before": ({"latitude": _side("NS", True, "°"), "longitude": _side("EW", True, "°")}, ","),
    "heights with their unit": ({"height": "{} m".format}, ","),
    "heights with their unit, decimal commas": (
        {"latitude": _comma, "longitude": _comma, "height": lambda text: f"{_comma(text)} m"}, ";"),
    "typeset signs of minus": ({"latitude": lambda text: text.replace("-", "−")}, ","),
    "en dashes": ({"latitude": lambda text: text.replace("-", "–")}, ","),
    "non-breaking hyphens": ({"latitude": lambda text: text.replace("-", "\u2011")}, ","),
    "full-width figures": (
        {"height": lambda text: text.translate({ord(each): ord(each) + 0xFEE0 for each in "0123456789."})}, ","),
    "commas between thousands": ({word: _parted(",") for word in ("easting", "northing")}, ","),
    "blanks between thousands": ({word: _parted(" ") for word in ("easting", "northing")}, ","),
    "narrow blanks between thousands": (
        {word: _parted("\u202f", ",") for word in ("easting", "northing")} | {"height": _comma}, ";"),
    "apostrophes between thousands": ({word: _parted("’") for word in ("easting", "northing")}, ","),
    "points between thousands": (
        {word: _parted(".", ",") for word in ("easting", "northing")} | {"height": _comma}, ";"),
}  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_numbers_are_read_as_they_are_meant(way: str, tmp_path: Path) -> None:
    """The simulated marks are met, and no reading is held back as unreadable."""
    told, sign = WAYS[way]
    record = _record(
        _started(tmp_path, job_of(), told, sign=sign), {**HEIGHT, **(NAMELESS if "easting" in told else {})}
    )
    assert record["verdict"] == "proven"
    assert "unreadable" not in record["rows"]["by_reason"]  # type: ignore[index]


@pytest.mark.parametrize("way", ["°", "m", "thousands", "minus"])
def test_registers_are_read_as_they_are_meant(way: str, tmp_path: Path) -> None:
    job = job_of()
    started = _started(tmp_path, job, {})
    path = tmp_path / "control.csv"
    lines = ["mark;easting;northing;height"]
    for at, name in enumerate(job.register["mark"]):
        east, north, up = (job.register[word][at] for word in ("easting", "northing", "height"))
        if way == "thousands":
            lines.append(f"{name};{east:,.4f};{north:,.4f};{up:.4f}")
        elif way == "m":
            lines.append(f"{name};{east:.4f} m;{north:.4f} m;{up:.4f} m")
        elif way == "minus":
            lines.append(f"{name};{east:.4f};{north:.4f};{up:.4f}".replace("-", "–"))
        else:
            lat, lon = job.marks.latitude[at], job.marks.longitude[at]
            lines[0] = "mark;latitude;longitude;ellipsoid_height"
            lines.append(f"{name};{-lat:.11f}°S;E {lon:.11f}°;{job.marks.ellipsoid_height[at]:.4f} m")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    Path(started.path).unlink()
    datums = {"source.crs": '"EPSG:4959"', "control.crs": '"EPSG:4959"', "target.grid": '"EPSG:2193"'}
    record = _record(new_job(tmp_path), {**HEIGHT, **(datums if way == "°" else {})})
    assert record["verdict"] == "proven"


def test_a_unit_behind_the_numbers_is_never_left_out(tmp_path: Path) -> None:
    """Feet that no key states are refused by the run; with the foot stated they are read."""
    told = {"height": lambda text: f"{float(text) / 0.3048:.4f} ft"}
    started = _started(tmp_path, job_of(), told)
    (units,) = [one for one in started.asked if one.question.key.endswith("units")]
    assert "the units behind its numbers say feet" in units.question.asks
    assert _record(started, {**HEIGHT, "units": '"foot"'})["verdict"] == "proven"
    path = Path(started.path)
    page = path.read_text(encoding="utf-8")
    assert '\nunits = "foot"' in page
    path.write_text(page.replace('\nunits = "foot"', '\nunits = "metre"'), encoding="utf-8")
    with pytest.raises(JobError, match="has a unit behind it that is not the one it is read in"):
        run_job(str(path), dry_run=True)


@pytest.mark.parametrize("form", ["{:.4f} m {}", "{:.4f}m{}", "{1} {0:.4f}", "{:.4f} {}"])
def test_eastings_with_the_letter_of_their_axis_are_read(form: str, tmp_path: Path) -> None:
    """In exports and in the register."""
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "time": "Time UTC", "easting": "Easting", "northing": "Northing", "height": "EllHt",
             "solution": "Sol", "code": "Code"}  # fmt: skip
    letters = {"easting": "E", "northing": "N"}
    told = {
        word: [form.format(float(text), letter) for text in cells(job, word, str)] for word, letter in letters.items()
    }
    write(tmp_path / "rover.csv", job, heads, told=told)
    lines = ["mark;easting;northing;height"]
    for name, east, north, up in zip(
        *(job.register[word] for word in ("mark", "easting", "northing", "height")), strict=True
    ):
        lines.append(f"{name};{form.format(east, 'E')};{form.format(north, 'N')};{up:.4f}")
    (tmp_path / "control.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    record = _record(new_job(tmp_path), HEIGHT | NAMELESS)
    assert record["verdict"] == "proven" and "unreadable" not in record["rows"]["by_reason"]  # type: ignore[index]


def test_letters_of_the_other_axis_are_told(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "time": "Time UTC", "easting": "Y", "northing": "X", "height": "EllHt"}
    told = {"easting": [f"{text} m E" for text in cells(job, "easting", str)],
            "northing": [f"{text} m N" for text in cells(job, "northing", str)]}  # fmt: skip
    write(tmp_path / "rover.csv", job, heads, told=told)
    assert re.search(r"as (northings|eastings) have: call the column by its axis", told_of(tmp_path))
