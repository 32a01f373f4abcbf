"""One coordinate for a control mark: where it is published elsewhere than drawn, every output says which and why.

The expected numbers are the register's own; what is drawn is read from the GeoPackage by SQLite.
"""

import csv
import json
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from every import every
from issued import Issue, read_layer
from running import run_written
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.issue.drawn_coordinates import drawn_message
from pipeline.words import MARKS_DRAWN, Holds

NAN = float("nan")
LANDXML = "{http://www.landxml.org/schema/LandXML-1.2}"
#: What each mark of the job holds, by the register.
HOLDS = {"CM1": "3d", "CM2": "3d", "CM3": "position", "CM4": "height", "CM5": "3d", "CM6": "3d"}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four ties: two weighted marks, one without a height, one whose position was taken off a map; checks on more."""
    made = simulate(Plan(sessions=1, points=12, ties=4, checks=2, marks=6, seed=3))
    made.register["holds"] = np.array(list(HOLDS.values()), object)
    made.mistype("CM1", "height", 0.004)
    made.mistype("CM4", "easting", 2.0)
    made.register["height"] = np.where(np.array(list(HOLDS)) == "CM3", NAN, made.register["height"])
    made.job["issue"] = {"formats": ["dxf", "csv", "geojson", "landxml"]}
    return made.write(tmp_path_factory.mktemp("control"))


@pytest.fixture(scope="module")
def made(job: Path) -> Issue:
    return run_written(job)


def register(job: Path) -> dict[str, dict[str, str]]:
    with (job.parent / "register.csv").open(newline="", encoding="utf-8") as file:
        return {row["mark"]: row for row in csv.DictReader(file)}


def test_both_coordinates_stand_in_the_layer(job: Path, made: Issue) -> None:
    """The published ones are the register's to a hundredth of a millimetre, null where it says nothing."""
    rows, given = {row["mark"]: row for row in read_layer(made.package, "marks").rows}, register(job)
    assert set(rows) == {"CM1", "CM2", "CM3", "CM4"}
    for mark, row in every(rows.items()):
        for axis in ("easting", "northing", "height"):
            text = given[mark][axis]
            if text in ("", "nan"):
                assert row[f"published_{axis}"] is None
            else:
                assert row[f"published_{axis}"] == pytest.approx(float(text), rel=0, abs=1e-5)
        said = row["drawn"]
        apart = [axis for axis in ("easting", "northing", "height") if row[f"published_{axis}"] is not None
                 and abs(row[f"published_{axis}"] - row[axis]) > 1.01e-4]  # fmt: skip
        assert (said is not None) == bool(apart), mark
        assert said is None or said.startswith("drawn at its adjusted position")
    assert "lets the ties move it" in rows["CM1"]["drawn"] and "not fixed" not in rows["CM1"]["drawn"]
    assert "its position is not fixed by the register" in rows["CM4"]["drawn"]
    assert rows["CM3"]["published_height"] is None and "height" not in (rows["CM3"]["drawn"] or "")


def said_by(made: Issue, ending: str) -> str:
    return next(made.folder.glob(f"*-001{ending}")).read_text(encoding="utf-8")


def test_every_format_says_the_same(made: Issue) -> None:
    """GeoPackage, drawing, LandXML, GeoJSON, what stands beside the CSV, and the report: one sentence."""
    drawn = {row["mark"]: row["drawn"] for row in read_layer(made.package, "marks").rows if row["drawn"]}
    assert {"CM1", "CM4"} <= drawn.keys()
    lines = [f"{mark}: {told}" for mark, told in drawn.items()]
    assert json.loads(said_by(made, ".geojson"))["about"]["control"] == lines
    notes = json.loads(said_by(made, ".csv-metadata.json"))["notes"]
    assert [text for note in notes[:-1] if (text := note["dc:description"]).startswith("CM")] == lines
    drawing = ezdxf.readfile(next(made.folder.glob("*-001.dxf")))
    texts = [" ".join(e.plain_text().split()) for e in drawing.modelspace().query('MTEXT[layer=="check_marks_list"]')]
    root = ElementTree.fromstring(said_by(made, ".xml"))
    told = {one.get("name"): one.get("desc") or "" for one in root.iter(f"{LANDXML}CgPoint")}
    page = said_by(made, ".html")
    for mark, sentence in every(drawn.items()):
        assert f"{mark}: {sentence}" in texts[0]
        assert told[mark].endswith(sentence) and sentence in page
    assert MARKS_DRAWN in page
    assert {row["mark"]: row["drawn"] for row in made.record["marks"]} == {
        row["mark"]: row["drawn"] for row in read_layer(made.package, "marks").rows
    }


def test_the_control_sheet_says_where_the_issue_draws_what_it_hands_out(job: Path, made: Issue, tmp_path: Path) -> None:
    said = CliRunner().invoke(app, ["marks", str(job), "--to", str(tmp_path / "m.csv")])
    assert said.exit_code == 0, said.output
    page = (tmp_path / "m.html").read_text(encoding="utf-8")
    row = read_layer(made.package, "marks").one(mark="CM1")
    assert "Published coordinates are given here. Issue 001 uses the adjusted positions" in page
    assert f"CM1 {row['easting']:.4f}, {row['northing']:.4f}, {row['height']:.4f}" in page


@pytest.mark.parametrize(
    ("drawn", "published", "holds", "words"),
    [
        ((1.0, 2.0, 3.0), (1.0, 2.0, 3.0), Holds.FULL, None),
        ((1.0, 2.0, 3.0), (1.00004, 2.0, 3.0), Holds.FULL, None),
        # by rounding alone: the texts differ in the last digit, the numbers by a hundredth of a millimetre
        ((1.000046, 2.0, 3.0), (1.000054, 2.0, 3.0), Holds.FULL, None),
        ((1.0, 2.0, 3.0), (NAN, NAN, NAN), None, None),
        ((1.0, 2.0, NAN), (1.0, 2.0, 3.0), Holds.POSITION, None),
        ((1.0, 2.0, 3.0), (NAN, NAN, 3.001), Holds.HEIGHT, "published: height 3.0010; its stated uncertainty"),
        ((1.0, 2.0, 3.0), (4.0, 2.0, 3.0), Holds.HEIGHT, "height 3.0000; its position is not fixed"),
        ((1.0, 2.0, 3.0), (1.0, 2.0, 9.0), Holds.POSITION, "; its height is not fixed by the register"),
        ((1.0, 2.0, 3.0), (1.001, 2.0, 9.0), Holds.POSITION, "move it, and its height is not fixed by the register"),
        ((1.0, 2.0, 3.0), (5.0, 2.0, 9.0), None, "; its position and height are not fixed by the register"),
    ],
)
def test_what_is_said_of_one_mark(
    drawn: tuple[float, ...], published: tuple[float, ...], holds: Holds | None, words: str | None
) -> None:
    found = drawn_message(drawn, published, holds)
    assert found is None if words is None else words in (found or "")
