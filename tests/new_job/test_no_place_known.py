"""What is asked where no file tells where the job lies: no answer that is listed is to be the wrong one alone."""

import datetime as dt
import re
import struct
from pathlib import Path

import pytest
from folders_made import cells, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.height_datums import height_question
from pipeline.new_job.questions import Question

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip


def _asked(folder: Path) -> dict[str, Question]:
    return {one.question.key: one.question for one in new_job(folder).asked}


def test_an_export_that_is_half_read_has_the_height_datums_of_its_place(tmp_path: Path) -> None:
    """NZVD2016 is New Zealand's official vertical datum (LINZ), where the marks and readings lie."""
    job = job_of()
    lay(tmp_path, job)
    told = {"t": cells(job, "time", lambda at: f"{at:%d mars %Y %H:%M:%S}")}
    write(tmp_path / "rover.csv", job, _HEADS | {"t": "Time"}, told=told)
    asked = _asked(tmp_path)
    assert '"EPSG:7839"' in [one.value for one in asked["target.height"].candidates]
    assert asked["target.height"].blank is None and asked["time_zone"].blank is None


def _plane_alone(folder: Path) -> None:
    rows = [("CM1", 672350.2, 1647959.0, 27.6), ("CM2", 672114.1, 1648302.2, 32.8), ("CM3", 671549.6, 1648069.2, 27.8)]
    at = dt.datetime(2026, 3, 17, 8)
    lines = [
        f"{name},{east:.3f},{north:.3f},{up:.3f},{at + dt.timedelta(minutes=5 * each):%Y-%m-%d %H:%M:%S},FIXED"
        for each, (name, east, north, up) in enumerate(rows * 3)
    ]
    (folder / "day.csv").write_text("\n".join(["Point,Easting,Northing,Ell Elev,Time,Fix", *lines]) + "\n")
    marks = [f"{name},{east:.3f},{north:.3f},{up + 30:.3f}" for name, east, north, up in rows]
    (folder / "control.csv").write_text("\n".join(["Mark,Easting,Northing,Elev", *marks]) + "\n")


def test_without_a_place_a_line_is_there_for_levelled_heights_and_for_a_local_clock(tmp_path: Path) -> None:
    _plane_alone(tmp_path)
    asked = _asked(tmp_path)
    text = next(tmp_path.glob("*.toml")).read_text("utf-8")
    heights = re.findall(r"^# height = (\S+)", text.split("[source]")[0], re.MULTILINE)
    assert heights[0] == '"EPSG:...."' and heights[-1] == '"ellipsoid"'
    # what is in use everywhere is listed, what is national is not
    assert {'"EPSG:5773"', '"EPSG:3855"'} <= set(heights) and '"EPSG:7839"' not in heights
    assert "levelled" in asked["target.height"].asks
    assert re.findall(r"^# time_zone = (\S+)", text, re.MULTILINE) == ['"Continent/City"', '"UTC"', '"GPS"']


@pytest.mark.parametrize(
    ("headings", "geoids", "first"),
    [(["Mark", "NAVD88 height"], [], "EPSG:5703"), ([], ["us_nga_egm08_25.tif", "EGM2008-25.gtx"], "EPSG:3855")],
)
def test_without_a_place_the_datum_that_texts_name_is_first(headings: list[str], geoids: list[str], first: str) -> None:
    """EPSG: NAVD88 height is 5703, EGM2008 height 3855."""
    question = height_question(None, headings, (), geoids)
    assert question.candidates[0].value == f'"{first}"' and question.blank is not None


@pytest.mark.parametrize("place", [None, (172.6, -43.5)])
@pytest.mark.parametrize(("heading", "first"), [("Elevation", "EPSG:7839"), ("NZVD2009", "EPSG:4440")])
def test_the_datum_that_a_geoid_grid_says_is_first_but_for_one_that_a_heading_names(
    place: tuple[float, float] | None, heading: str, first: str
) -> None:
    """EPSG: NZVD2016 height is 7839, NZVD2009 height 4440."""
    question = height_question(place, [heading], (), ["geoid.tif"], ["EPSG:7839"])
    assert question.candidates[0].value == f'"{first}"'
    assert '"EPSG:7839"' in [one.value for one in question.candidates[:2]]


def test_a_geoid_grid_in_the_folder_names_its_datum_where_its_file_name_does_not(tmp_path: Path) -> None:
    """The metadata of a geodetic TIFF grid, as PROJ describes it, has the code of the CRS that it leads to."""
    _plane_alone(tmp_path)
    says = (
        b'<GDALMetadata><Item name="target_crs_epsg_code">7839</Item>'
        b'<Item name="TYPE">VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL</Item></GDALMetadata>\0'
    )
    head = struct.pack("<2sHIH", b"II", 42, 8, 1)
    (tmp_path / "geoid.tif").write_bytes(head + struct.pack("<HHII", 42112, 2, len(says), len(head) + 12) + says)
    assert _asked(tmp_path)["target.height"].candidates[0].value == '"EPSG:7839"'
