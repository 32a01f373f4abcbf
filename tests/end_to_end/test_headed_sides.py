"""Headings that state the south or the west: positive numbers below them would be read as north and east."""

from pathlib import Path

import pytest
from closed_forms import GRS80, utm
from simulate import ELLIPSOIDAL, Place, Plan, simulate
from simulate_files import EXPORTED

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

#: In the west of France; its grid is used on both sides of Greenwich.
NANTES = Place(-1.5, 47.2, 60.0, GRS80, utm(30, south=False), "EPSG:2154", "EPSG:4965", "ellipsoid", None)


def surveyed(folder: Path, place: Place, heading: str, sign: float, register: bool = False) -> Path:
    """Write a day whose longitudes have another sign, all of them, and stand under a heading of the export's."""
    job = simulate(Plan(sessions=1, points=20, checks=3, marks=4, place=place, seed=3))
    job.rows["longitude"] = job.rows["longitude"] * sign
    if register:
        del job.register["easting"], job.register["northing"], job.register["ellipsoid_height"]
        marks = job.marks
        job.register |= {
            heading: marks.longitude * sign, "latitude": marks.latitude, "ellipsoid_height": marks.ellipsoid_height,
        }  # fmt: skip
        job.job["control"] |= {"crs": place.source, "columns": {"longitude": heading}}
    path = job.write(folder)
    name = EXPORTED["longitude"]
    export = (folder / "rover001.csv", f",{name},", f",{heading},")
    for each, before, after in ((path, f'"{name}"', f'"{heading}"'), export):
        text = each.read_text(encoding="utf-8")
        assert before in text
        each.write_text(text.replace(before, after, 1), encoding="utf-8")
    return path


def problems(path: Path) -> list[str]:
    with pytest.raises(JobError) as caught:
        run_job(path, dry_run=True)
    return [problem.what for problem in caught.value.problems]


def doubted(path: Path) -> list[str]:
    return [text for text in map(str, check_job(path).doubts) if "the heading" in text]


@pytest.mark.parametrize("heading", ["Longitude (W)", "Longitude Ouest", "Lon W"])
def test_positive_numbers_under_west_stop_the_job(heading: str, tmp_path: Path) -> None:
    told = problems(surveyed(tmp_path, NANTES, heading, -1.0, register=True))
    assert [what for what in told if "states degrees west" in what] == [
        f'{of}: the heading "{heading}" states degrees west, but its numbers are positive and would be read as east'
        for of in ("rover001.csv", "the register")
    ]


def test_a_column_that_goes_by_its_number_is_held_against_its_heading_too(tmp_path: Path) -> None:
    path = surveyed(tmp_path, NANTES, "Longitude (W)", -1.0)
    place = list(EXPORTED).index("longitude") + 1
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('longitude = "Longitude (W)"', f"longitude = {place}"), encoding="utf-8")
    assert any("states degrees west" in what for what in problems(path))


def test_an_o_is_in_doubt_where_both_sides_are_in_the_grid(tmp_path: Path) -> None:
    path = surveyed(tmp_path, NANTES, "Longitude (O)", -1.0, register=True)
    assert len(doubted(path)) == 2
    assert run_job(path, dry_run=True).exit_code == 3


@pytest.mark.parametrize("heading", ["Länge (O)", "Longitude (O)", "Longitude (E)"])
def test_an_o_for_the_east_is_none(heading: str, tmp_path: Path) -> None:
    """The grid is New Zealand's: mirrored, the points would lie far outside."""
    path = surveyed(tmp_path, ELLIPSOIDAL, heading, 1.0)
    assert doubted(path) == []
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])


def test_negative_numbers_under_west_are_noted(tmp_path: Path) -> None:
    path = surveyed(tmp_path, NANTES, "Longitude (W)", 1.0, register=True)
    assert doubted(path) == []
    notes = [note for note in check_job(path).warnings if "states degrees west and its numbers are negative" in note]
    assert len(notes) == 2


def test_negative_numbers_under_east_are_noted(tmp_path: Path) -> None:
    path = surveyed(tmp_path, NANTES, "Longitude (E)", 1.0)
    assert any('"Longitude (E)" states degrees east, but' in note for note in check_job(path).warnings)
