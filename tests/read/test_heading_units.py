"""Units of lengths in headings, for a run and for a job file that is drafted: one vocabulary for both.

An international foot is 0.3048 m, a US survey foot 1200/3937 m, a chain 66 feet.
"""

from pathlib import Path

import pytest
from folders_made import job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.headings import bare, feet_of
from pipeline.read.heading_units import metres_in_heading

_INTERNATIONAL, _SURVEY = 0.3048, 1200 / 3937
_SAID = {
    (_SURVEY,): "[US survey feet]|[ussft]|(Survey Feet)|[US survey ft]|[usft]|[ft-US]|(ftUS)|(U.S. survey foot)|"
    "[US ft]| US survey feet|_usft| survey ft|[sft]|"
    " feet (US survey)|[NAVD88, usft]| (US-ft)",
    (_INTERNATIONAL,): "(international feet)|[intft]|[int. ft]|[ift]| int ft|[ft int]|(Intl. foot)|_ift",
    (_INTERNATIONAL, _SURVEY): "[ft]|(feet)| ft|_feet|[foot]| ft (NAVD88)|[ft, NAVD88]",
    (1.0,): "[m]| m|_m|(metres)|[meter]|.m| m (NAVD88)|[Meter]",
    (0.01,): "[cm]| cm",
    (0.001,): "[mm]|(mm)|_mm",
    (66 * _INTERNATIONAL, 66 * _SURVEY): "[chains]| chains",
    (): "|[NAVD88]|(CH)|[local]|(ellipsoidal)",
}  # fmt: skip


@pytest.mark.parametrize(("metres", "behind"), [(m, one) for m, texts in _SAID.items() for one in texts.split("|")])
def test_a_run_and_a_draft_read_a_unit_alike(metres: tuple[float, ...], behind: str) -> None:
    assert metres_in_heading(f"Height{behind}") == pytest.approx(metres)
    foot = "foot" if _INTERNATIONAL in metres else "us-survey-foot" if metres == (_SURVEY,) else ""
    assert feet_of(f"Height{behind}") == foot
    assert bare(f"Height{behind}") == "height"


@pytest.mark.parametrize("word", ["ft", "feet", "foot", "pie", "pies", "pied", "pieds", "piede", "piedi", "Fuss"])
def test_feet_of_which_nothing_is_said_may_be_either(word: str) -> None:
    """The plural of another language is no survey foot."""
    assert metres_in_heading(f"Z [{word}]") == (0.3048, 1200 / 3937)


@pytest.mark.parametrize(
    ("heading", "units", "asked"),
    [
        ("Height [US survey ft]", "us-survey-foot", False),
        ("Height (international feet)", "foot", False),
        ("Height ft", "", True),
        ("Height m", "", False),
    ],
)
def test_a_draft_states_the_foot_that_a_heading_says(heading: str, units: str, asked: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    metre = {"us-survey-foot": _SURVEY, "": 1.0}.get(units, _INTERNATIONAL)
    job.rows["height"] = job.rows["height"] / metre
    write(tmp_path / "rover.csv", job, {"name": "Point", "time": "Time", "latitude": "Lat", "longitude": "Lon",
                                        "height": heading, "code": "Code"})  # fmt: skip
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8")
    assert (f'\nunits = "{units}"' in text) == bool(units)
    assert ("units" in {one.question.key for one in started.asked}) == asked


def test_a_draft_reads_no_file_whose_heights_are_in_a_unit_that_cannot_be_stated(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "time": "Time", "latitude": "Lat", "longitude": "Lon", "code": "Code"}
    write(tmp_path / "rover.csv", job, {**heads, "height": "Height"})
    write(tmp_path / "other.csv", job, {**heads, "height": "Height [mm]"})
    told = {file: f"{what} {why}" for file, what, why in new_job(tmp_path).files}
    assert 'has unit "mm"' in told["other.csv"]
