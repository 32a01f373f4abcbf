"""A log of where bases stood is asked after, and not taken for a rover's export without a word."""

import datetime as dt
from pathlib import Path

import pytest
from folders_made import drafted, job_of, lay, write

from pipeline.check import check_job
from pipeline.new_job import new_job
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC"}
_BEGIN = dt.datetime(2026, 3, 19, 20)


def _asked(folder: Path) -> list[str]:
    return [one.question.asks for one in new_job(folder).asked if one.question.key == "files"]


def _made(folder: Path, lines: list[str]) -> None:
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, _HEADS | {"solution": "Solution", "code": "Code"})
    (folder / "stations.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_one_position_again_and_again_is_asked_after(tmp_path: Path) -> None:
    rows = [f"BASE1,-43.7000123,171.8500456,321.2,{_BEGIN + dt.timedelta(minutes=5 * at)}" for at in range(4)]
    _made(tmp_path, ["Station,Latitude,Longitude,Ellipsoidal height,Time (UTC)", *rows])
    (asked,) = _asked(tmp_path)
    assert '4 rows of "BASE1" have exactly the same position' in asked and "stations.csv" in asked
    assert "rover.csv" not in asked


def test_names_of_bases_are_asked_after_and_no_pole_is(tmp_path: Path) -> None:
    _made(tmp_path, ["Base,Start UTC,End UTC,Latitude,Longitude,Ell height,Antenna height",
                     "B1,2026-03-19 20:00:00,2026-03-19 23:00:00,-43.7000123,171.8500456,321.2,1.5",
                     "B2,2026-03-20 00:10:00,2026-03-20 03:00:00,-43.7010123,171.8510456,322.2,1.6"])  # fmt: skip
    started = new_job(tmp_path)
    keys = [one.question.key for one in started.asked]
    assert keys.count("files") == 1 and "pole_height" not in keys
    with pytest.raises(JobError, match=r"still open: is stations\.csv a rover export"):
        check_job(Path(started.path))


def test_rovers_without_solutions_are_not_asked_after(tmp_path: Path) -> None:
    """Readings of one name several times, of which no two are the same; and one export joined to itself."""
    job = job_of()
    lay(tmp_path, job)
    names = [f"P{at % 3}" for at in range(len(job.rows["name"]))]
    write(tmp_path / "rover.csv", job, _HEADS, told={"name": names})
    write(tmp_path / "twice.csv", job, _HEADS | {"code": "Code"})
    page = (tmp_path / "twice.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "twice.csv").write_text("\n".join([*page, *page[1:]]) + "\n", encoding="utf-8")
    assert _asked(tmp_path) == []


@pytest.mark.parametrize("headings", ["Base;Datum;Von;Bis;Breite;Länge;Höhe", "Bázis;Dátum;Tól;Ig;Lat;Lon;EllHt"])
@pytest.mark.parametrize("evening", ["21:30", "0:30"])
def test_a_base_and_hours_from_and_to_are_a_log_in_any_language(headings: str, evening: str, tmp_path: Path) -> None:
    """By values: the name is one of the bases that readings hang on, beside times far apart. It makes no sessions."""
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS | {"solution": "Solution", "code": "Code", "base": "Base"})
    base = str(job.rows["base"][0])
    days = [f"{base};19.03.2026;19:10;{evening};-43,5;172,6;61,0", f"{base};20.03.2026;19:40;23:50;-43,5;172,6;62,0"]
    lines = [headings, *days]
    (tmp_path / "protokoll.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    (asked,) = [one.question.asks for one in started.asked if one.question.key == "files"]
    assert "protokoll.csv" in asked and f'the name of a base, as "{base}"' in asked
    assert len(drafted(started).sessions) == 2


def test_points_that_were_occupied_for_hours_are_no_bases(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    ends = [f"{at + dt.timedelta(minutes=90)}" for at in job.rows["time"].astype("datetime64[s]").tolist()]
    heads = {name: heading for name, heading in _HEADS.items() if name != "time"}
    heads |= {"time": "Start UTC", "time_end": "Stop", "code": "Code", "base": "Base"}
    write(tmp_path / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S", told={"time_end": ends})
    assert _asked(tmp_path) == []
