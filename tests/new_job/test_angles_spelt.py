"""Degrees, minutes and seconds as programs of many countries write them: read, or told with what to do instead."""

from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from told_of import told_of

from pipeline.new_job import new_job
from pipeline.run.run_job import run_job

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "solution": "Sol", "code": "Code",
          "time": "Time UTC"}  # fmt: skip


def _spelt(value: float, sides: str | tuple[str, str], comma: bool) -> str:
    seconds = round(abs(value) * 3600, 6)
    minutes = int(seconds // 60)
    text = f"{minutes // 60}°{minutes % 60:02d}'{seconds - 60 * minutes:09.6f}\"{sides[value < 0]}"
    return text.replace(".", ",") if comma else text


def _made(folder: Path, longitude: str | tuple[str, str], *, commas: bool = False, heights: bool = False) -> None:
    job = job_of()
    lay(folder, job)
    told = {
        word: [_spelt(value, sides, commas) for value in job.rows[word].tolist()]
        for word, sides in (("latitude", "NS"), ("longitude", longitude))
    }
    if heights:
        told["height"] = [f"{value:.5f}".replace(".", ",") for value in job.rows["height"].tolist()]
    write(folder / "rover.csv", job, _HEADS, told=told, sign=";", time="%Y-%m-%d %H:%M:%S")


@pytest.mark.parametrize("heights", [False, True])
def test_decimal_commas_of_seconds_are_read_whatever_other_numbers_have(heights: bool, tmp_path: Path) -> None:
    _made(tmp_path, "EW", commas=True, heights=heights)
    started = new_job(tmp_path)
    answer(Path(started.path), HEIGHT)
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


@pytest.mark.parametrize("sides", ["OW", "EO"])
def test_the_letter_o_is_said_to_be_two_sides(sides: str, tmp_path: Path) -> None:
    """It is the east in German and the west in French; the site is east."""
    _made(tmp_path, sides if sides[0] == "O" else sides[::-1])
    said = told_of(tmp_path)
    assert "the letter O, which means east in some languages and west in others: export E or W" in said
    assert "angles =" not in said and "[[points]]" not in said


def test_a_register_with_the_letter_o_is_told_so(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    rows = "".join(f"M{at};43°42'0{at}.5\"S;171°51'0{at}.25\"O;320.0\n" for at in range(1, 5))
    (tmp_path / "control.csv").write_text(f"mark;latitude;longitude;ellipsoid_height\n{rows}", encoding="utf-8")
    (why,) = [why for name, _, why in new_job(tmp_path).files if name == "control.csv"]
    assert "the letter O" in why and "[[points]]" not in why


def test_a_spelling_that_is_not_read_is_not_sent_to_a_key_that_does_not_help(tmp_path: Path) -> None:
    _made(tmp_path, ("Est", "West"))
    said = told_of(tmp_path)
    assert "in a spelling that is not read" in said and 'state angles = "dms"' not in said


@pytest.mark.parametrize("heads", ["Lat D,Lat M,Lat S,Lon D,Lon M,Lon S", "LatD,LatM,LatS,LonD,LonM,LonS"])
def test_minutes_in_a_column_of_their_own_are_of_the_angle(heads: str, tmp_path: Path) -> None:
    rows = [f"P{at},48,11,5{at}.91091,9,51,54.97177,566.301,2026-03-14T09:0{at}:00Z" for at in range(5)]
    text = "\n".join([f"Point,{heads},Ellipsoid height,Time", *rows])
    (tmp_path / "rover.csv").write_text(text, encoding="utf-8")
    page = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    first, *_, longitude, _, _ = heads.split(",")
    assert f'latitude = "{first}"' in page and f'longitude = "{longitude}"' in page and 'angles = "dms"' in page


@pytest.mark.parametrize(
    "heads",
    ["D;M;S;H;D;M;S;H", "deg;min;sec;side;deg2;min2;sec2;side2",
     "Breite;;;;Länge;;;"],
)  # fmt: skip
def test_parts_of_angles_are_told_by_their_values_whatever_they_are_called(heads: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    rows = "".join(f"M{at};43;42;0{at}.51234;S;171;51;0{at}.25123;E;320.0\n" for at in range(1, 5))
    (tmp_path / "control.csv").write_text(f"mark;{heads};height\n{rows}", encoding="utf-8")
    started = new_job(tmp_path)
    assert "each angle in one column" in started.lacking or "the whole angle in one" in started.lacking
    assert "gon" not in started.lacking
