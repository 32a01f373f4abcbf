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


def test_an_open_question_after_a_log_stops_the_job(tmp_path: Path) -> None:
    rows = [f"BASE1,-43.7000123,171.8500456,321.2,{_BEGIN + dt.timedelta(minutes=5 * at)}" for at in range(4)]
    _made(tmp_path, ["Station,Latitude,Longitude,Ellipsoidal height,Time (UTC)", *rows])
    started = new_job(tmp_path)
    with pytest.raises(JobError, match=r"still open: is stations\.csv a rover export"):
        check_job(Path(started.path))


@pytest.mark.parametrize(
    "headings",
    [
        "Base,Start UTC,End UTC,Latitude,Longitude,Ell height,Antenna height",
        "Basis,Von UTC,Bis UTC,Breite,Länge,Ell. Höhe,Antennenhöhe",
        "Base,Début UTC,Fin UTC,Latitude,Longitude,Hauteur ellips.,Hauteur antenne",
    ],
)
def test_a_list_of_sessions_may_say_where_the_bases_stood(headings: str, tmp_path: Path) -> None:
    """Base, start and end are what a list of sessions has: that it gives positions too makes no readings of it."""
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS | {"solution": "Solution", "code": "Code", "base": "Base"})
    times, bases = job.rows["time"].astype("datetime64[s]"), job.rows["base"]
    lines = [headings]
    for base in dict.fromkeys(map(str, bases)):
        mine = times[bases == base]
        span = [f"{at}".replace("T", " ") for at in (mine.min() - 600, mine.max() + 600)]
        lines.append(f"{base},{span[0]},{span[1]},-43.7000123,171.8500456,321.2,1.5")
    (tmp_path / "bases.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    keys = [one.question.key for one in started.asked]
    assert "files" not in keys and "pole_height" not in keys
    assert ("bases.csv", "sessions") in [(file, role) for file, role, _ in drafted(started).files]


def test_occupations_with_start_and_end_are_no_list_of_sessions(tmp_path: Path) -> None:
    """Points that one base saw, each with its start and end: their names, and several at once, say that they are."""
    rows = [f"B1,P{at},2026-03-19 20:0{at}:00,2026-03-19 20:1{at}:00,-43.70001{at},171.85004{at},321.{at}"
            for at in range(5)]  # fmt: skip
    _made(tmp_path, ["Base,Point,Start UTC,End UTC,Latitude,Longitude,Ell height", *rows])
    roles = {file: role for file, role, _ in drafted(new_job(tmp_path)).files}
    assert roles["stations.csv"] == "export"


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
    """By values: the name is one of the bases that readings hang on, beside times far apart. It makes no sessions.

    Where its headings say base, start and end, it is a list of sessions, and nothing is asked.
    """
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS | {"solution": "Solution", "code": "Code", "base": "Base"})
    base = str(job.rows["base"][0])
    days = [f"{base};19.03.2026;19:10;{evening};-43,5;172,6;61,0", f"{base};20.03.2026;19:40;23:50;-43,5;172,6;62,0"]
    lines = [headings, *days]
    (tmp_path / "protokoll.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    asked = [one.question.asks for one in started.asked if one.question.key == "files"]
    assert not asked or ("protokoll.csv" in asked[0] and f'the name of a base, as "{base}"' in asked[0])
    assert len(asked) == headings.startswith("Bázis")
    assert len(drafted(started).sessions) == 2


def test_points_that_were_occupied_for_hours_are_no_bases(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    ends = [f"{at + dt.timedelta(minutes=90)}" for at in job.rows["time"].astype("datetime64[s]").tolist()]
    heads = {name: heading for name, heading in _HEADS.items() if name != "time"}
    heads |= {"time": "Start UTC", "time_end": "Stop", "code": "Code", "base": "Base"}
    write(tmp_path / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S", told={"time_end": ends})
    assert _asked(tmp_path) == []
