"""Headings cut to ten letters, and headings in two languages: they say what the known ones do, where these agree."""

import csv
import tomllib
from pathlib import Path

import openpyxl
import pytest
from folders_made import job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.headings import CALLED, is_known, rank
from pipeline.new_job.heights import height_said


@pytest.mark.parametrize(
    ("heading", "word"),
    [
        ("base_stati", "base"), ("BASE_STATI", "base"), ("Basisstati", "base"), ("point_numb", "name"),
        ("feature_co", "code"), ("solution_t", "solution"), ("Breitengra", "latitude"), ("ellip_heig", ""),
        ("Descriptio", "code"), ("base_longi", "base_longitude"), ("vertical_p", "sigma_up"),
    ],
)  # fmt: skip
def test_a_heading_of_ten_letters_says_what_it_is_cut_from(heading: str, word: str) -> None:
    assert is_known(heading)
    assert not word or rank(word, heading) is not None
    assert all(rank(other, heading) is None for other in ("easting", "northing", "longitude", "pdop") if other != word)


@pytest.mark.parametrize(
    "heading",
    ["horizontal", "Horizontal", "instrument", "Instrument", "correction", "coordinate", "base_stat", "base_station_",
     "elevationx", "vermessung", "base stati", "Kontrollen", "Punktlagen", "georeferen", "Bemerkunge"],
)  # fmt: skip
def test_others_of_ten_letters_or_of_another_length_are_cut_from_none(heading: str) -> None:
    bared = heading.replace(" ", "").replace("_", "").casefold()
    assert bared in {each for every in CALLED.values() for each in every} or not is_known(heading)


@pytest.mark.parametrize(
    ("heading", "says"),
    [("ellip_heig", "ellipsoid"), ("ELLIPSOIDA", "ellipsoid"), ("orthometri", "level"), ("geoid_heig", None),
     ("Height / Altura", ""), ("Ellipsoidal height / Altura elipsoidal", "ellipsoid"),
     ("Ellipsoidal height | Grumble", "ellipsoid"), ("Antenna / Height", None), ("Height - pole", None)],
)  # fmt: skip
def test_what_such_headings_say_of_heights(heading: str, says: str | None) -> None:
    assert height_said(heading) == says


@pytest.mark.parametrize(
    ("heading", "word"),
    [
        ("Easting | Este", "easting"), ("Easting [m] / Este [m]", "easting"), ("Northing\nNorte", "northing"),
        ("Latitude - Breite", "latitude"), ("Longitude/Lengdegrad", "longitude"), ("Point / Grumble", "name"),
        ("Code\r\nKodi", "code"), ("Solution / Lösung", "solution"), ("Base / Basis", "base"),
        ("Time / Heure", "time"), ("Latitud / Grumble", "latitude"),
    ],
)  # fmt: skip
def test_a_heading_in_two_languages_says_what_both_do_or_the_known_one(heading: str, word: str) -> None:
    assert rank(word, heading) is not None and is_known(heading)


@pytest.mark.parametrize(
    "heading",
    ["Lat / Lon", "E/N", "Easting / Northing", "Point / Northing", "Base - Grumble / Lat", "Ref - Grumble / Easting",
     "Design - Easting", "Target / Northing", "Antenna / Easting", "X / Y", "Grumble / Mumble", "m/s", "Speed (m/s)",
     "Velocity / East"],
)  # fmt: skip
def test_parts_that_contradict_or_are_of_something_else_say_nothing(heading: str) -> None:
    assert all(rank(word, heading) is None for word in CALLED), [w for w in CALLED if rank(w, heading) is not None]
    assert not is_known(heading)


_CUT = {"name": "point_numb", "latitude": "Breitengra", "longitude": "Laengengra", "height": "ellip_heig",
        "time": "datetime_u", "solution": "solution_t", "base": "base_stati", "code": "feature_co"}  # fmt: skip
_TWO = {"name": "Point / Punto", "latitude": "Latitude / Latitud", "longitude": "Longitude / Longitud",
        "height": "Ellipsoidal height / Altura elipsoidal", "time": "Time / Fecha y hora",
        "solution": "Solution | Solución", "base": "Base - Estación base", "code": "Code / Código"}  # fmt: skip
_LINES = {
    word: heading.replace(" / ", "\n").replace(" | ", "\n").replace(" - ", "\n") for word, heading in _TWO.items()
}


@pytest.mark.parametrize("heads", [_CUT, _TWO])
def test_an_export_of_such_headings_is_mapped(heads: dict[str, str], tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, heads)
    started = new_job(tmp_path)
    (block,) = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["points"]
    assert block["columns"] == heads
    assert {one.question.key for one in started.asked} == {"target.height"}


def test_two_lines_in_a_cell_of_a_spreadsheet_are_two_languages(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _TWO)
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    with (tmp_path / "rover.csv").open(encoding="utf-8", newline="") as file:
        _, *rows = csv.reader(file)
    for row in ([*_LINES.values()], *rows):
        sheet.append(row)
    book.save(tmp_path / "rover.xlsx")
    (tmp_path / "rover.csv").unlink()
    started = new_job(tmp_path)
    (block,) = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["points"]
    assert {word for word in block["columns"]} == set(_LINES)
