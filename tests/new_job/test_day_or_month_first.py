"""Day first or month first: the likelier is offered first by the place, and sessions take the same answer."""

from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from simulate import Simulation

from pipeline import check_job, run_job
from pipeline.new_job import new_job
from pipeline.new_job.look import FileLook
from pipeline.new_job.month_first import month_first
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "solution": "Solution", "base": "Base", "code": "Code", "time": "Time UTC"}  # fmt: skip
_SPANISH = {"name": "Punto", "northing": "Norte", "easting": "Este", "height": "Altura elipsoidal", "base": "Base",
            "solution": "Tipo", "code": "Código", "time": "Hora UTC"}  # fmt: skip


def _one_day() -> Simulation:
    """Return one session on 10 March: over several days the readings would say the order."""
    return job_of(sessions=1, start=_DAY)


_DAY = job_of().plan.start.replace(day=10, month=3, hour=1)


@pytest.mark.parametrize("order", ["%d/%m/%Y", "%m/%d/%Y"])
@pytest.mark.parametrize("clock", ["%H:%M:%S", "%I:%M:%S %p"])
def test_either_answer_with_the_same_for_the_sessions_comes_to_the_issue(
    order: str, clock: str, tmp_path: Path
) -> None:
    job = _one_day()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS, time=f"{order} {clock}")
    started = new_job(tmp_path)
    text = Path(started.path).read_text("utf-8")
    assert text.count("# OPEN: the same answer as time_format") == 2 and "\nstart = " not in text
    answer(Path(started.path), HEIGHT | {"time_format": f'"{order} {clock}"'})
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


@pytest.mark.parametrize("heads", [_HEADS, _SPANISH], ids=["place", "language"])
def test_am_and_pm_do_not_put_the_month_first(heads: dict[str, str], tmp_path: Path) -> None:
    """The site is in New Zealand; without degrees only the headings say where the export is from."""
    job = _one_day()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, heads, time="%d/%m/%Y %I:%M:%S %p")
    (asked,) = (one.question for one in new_job(tmp_path).asked if one.question.key == "time_format")
    assert [each.why for each in asked.candidates] == ["the day first", "the month first"]


def test_sessions_that_are_left_open_are_told_by_check(tmp_path: Path) -> None:
    job = _one_day()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS, time="%d/%m/%Y %H:%M:%S")
    path = Path(new_job(tmp_path).path)
    text = path.read_text("utf-8").replace('# time_format = "%d', 'time_format = "%d')
    path.write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as refused:
        check_job(path)
    assert any("the same answer as time_format" in problem.what for problem in refused.value.problems)


@pytest.mark.parametrize(
    ("place", "month"),
    [((-87.6, 41.9), True), ((-66.1, 18.4), True), ((144.8, 13.5), True), ((-99.1, 19.4), False),
     ((151.2, -33.9), False), ((77.2, 28.6), False), ((-0.1, 51.5), False), ((-97.1, 49.9), None)],
)  # fmt: skip
def test_the_country_of_the_place_says_it(place: tuple[float, float], month: bool | None) -> None:
    """Chicago, San Juan, Guam; Mexico City, Sydney, Delhi and London by Unicode CLDR; Winnipeg is near two."""
    assert month_first(FileLook(Path("x.csv"), "x.csv", {}), place) is month
