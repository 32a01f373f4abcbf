"""Degrees, minutes and seconds in columns of their own: drafted, and proven as with decimal degrees."""

from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from pyproj import Transformer

from pipeline.files.angle_notations import parts_fix
from pipeline.new_job import new_job
from pipeline.run.run_job import run_job

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "solution": "Sol", "code": "Code",
          "time": "Time UTC"}  # fmt: skip


def _parts(degrees: float, *, letters: str = "") -> list[str]:
    whole, minutes = divmod(round(abs(degrees) * 3600, 6), 3600)
    minutes, seconds = divmod(minutes, 60)
    sign = "-" if degrees < 0 and not letters else ""
    return [f"{sign}{whole:.0f}", f"{minutes:.0f}", f"{seconds:.6f}", *letters[degrees < 0 :][:1]]


@pytest.mark.parametrize(
    ("heading", "letters"),
    [
        ("mark;Lat deg;Lat min;Lat sec;Lon deg;Lon min;Lon sec;height", False),
        ("mark;LatD;LatM;LatS;N/S;LonD;LonM;LonS;E/W;height", True),
        ("mark;B Grad;B Min;B Sek;N/S;L Grad;L Min;L Sek;E/W;height", True),
        ("Punkt;Breite Grad;Breite Min;Breite Sek;Länge Grad;Länge Min;Länge Sek;height", False),
    ],
)
def test_a_register_with_angles_in_parts_is_drafted_and_read(heading: str, letters: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    register = job.register
    to_degrees = Transformer.from_crs("EPSG:2193", "EPSG:4167", always_xy=True)
    rows = [heading]
    for name, east, north, up in zip(
        *(register[word] for word in ("mark", "easting", "northing", "height")), strict=True
    ):
        longitude, latitude = to_degrees.transform(east, north)
        first, second = _parts(latitude, letters="NS" * letters), _parts(longitude, letters="EW" * letters)
        rows.append(";".join([str(name), *first, *second, f"{up:.4f}"]))
    (tmp_path / "control.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    page = Path(started.path).read_text(encoding="utf-8")
    assert 'angles = "dms"' in page[page.index("[control]") :]
    answer(Path(started.path), HEIGHT | {"grid": '"EPSG:2193"', "crs": '"EPSG:4959"'})
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


def test_how_the_parts_become_one_column() -> None:
    """36 degrees 50 minutes 12.345 seconds are 36 + 50 / 60 + 12.345 / 3600 degrees."""
    told = parts_fix("Lat Deg", ("Lat Min", "Lat Sec"))
    assert '"Lat Deg" + "Lat Min" / 60 + "Lat Sec" / 3600 with 9 decimals' in told
    assert '"Lat D" + "Lat M" / 60 with' in parts_fix("Lat D", ("Lat M",))


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("Lat deg;Lat min;Lat sec", "Lon deg;Lon min;Lon sec"),
        ("LatD;LatM;LatS;N/S", "LonD;LonM;LonS;E/W"),
        ("B Grad;B Min;B Sek;N/S", "L Grad;L Min;L Sek;E/W"),
        ("Breite Grad;Breite Min;Breite Sek", "Länge Grad;Länge Min;Länge Sek"),
    ],
)
def test_an_export_with_angles_in_parts_is_drafted_and_read(latitude: str, longitude: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    rows = job.rows
    sided = latitude.count(";") > 2
    page = [f"Point;Code;Sol;Time UTC;{latitude};{longitude};EllHt"]
    times = rows["time"].astype("datetime64[ms]").astype(str).tolist()
    for at, time in enumerate(times):
        first = _parts(float(rows["latitude"][at]), letters="NS" * sided)
        second = _parts(float(rows["longitude"][at]), letters="EW" * sided)
        named = [str(rows[word][at]) for word in ("name", "code", "solution")]
        page.append(";".join([*named, f"{time}Z", *first, *second, f"{rows['height'][at]:.4f}"]))
    (tmp_path / "rover.csv").write_text("\n".join(page) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8")
    assert 'angles = "dms"' in text[: text.index("[control]")]
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path, dry_run=True).record
    assert (record["verdict"], record["rows"]["held_back"]) == ("proven", 0)
