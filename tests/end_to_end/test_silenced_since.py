"""A confirmation was given for what was told then: what it comes to silence later is noted by the issue it is in."""

import json
from pathlib import Path

import pytest
from running import Row, csv_rows, write_csv
from simulate import CENTRAL_JAVA, Plan, simulate

from pipeline import run_job

#: Undulating ground of a site some hundred metres wide; central Java's geoid lies 25 m above the ellipsoid.
SITE = Plan(sessions=1, points=40, ties=1, checks=2, marks=4, place=CENTRAL_JAVA, reach=150.0, noise=False, seed=5)
SEPARATION, TOWER = 25.0, 250.0


def raised(row: Row, metres: float) -> Row:
    return row | {"EllHt": f"{float(row['EllHt']) + metres:.5f}"}


def notes(path: Path) -> list[str]:
    found = run_job(path)
    assert found.exit_code == 0 and all(doubt["confirmed"] for doubt in found.record["doubts"])
    return [note for note in found.record["notes"] if "also silences" in note]


@pytest.fixture
def tower(tmp_path: Path) -> Path:
    """A job whose first export has a tower; somebody confirmed it before the first issue."""
    path, export = simulate(SITE).write(tmp_path), tmp_path / "rover001.csv"
    rows = csv_rows(export)
    points = [row["Point"] for row in rows if row["Code"] not in ("CM", "CHK")]
    first = [
        raised(row, TOWER) if row["Point"] in points[4:7] else row for row in rows if row["Point"] not in points[20:]
    ]
    write_csv(export, first)
    (tmp_path / "later.txt").write_text(json.dumps([row for row in rows if row["Point"] in points[20:]]), "utf-8")
    with path.open("a", encoding="utf-8") as file:
        file.write('\n[checks]\nconfirmed = ["export-heights"]\n')
    assert not notes(path)
    return path


def later(path: Path) -> list[Row]:
    found: list[Row] = json.loads((path.parent / "later.txt").read_text("utf-8"))
    return found


def test_a_rover_in_heights_above_the_geoid_is_noted_where_a_tower_was_confirmed(tower: Path) -> None:
    write_csv(tower.parent / "rover002.csv", [raised(row, -SEPARATION) for row in later(tower)])
    (note,) = notes(tower)
    assert '"export-heights" in [checks] confirmed also silences what issue 001 did not tell' in note
    assert "heights of two height systems may be mixed" in note


@pytest.mark.parametrize("how", ["points are added", "another of the tower", "the session is renamed"])
def test_the_same_tower_is_noted_once(how: str, tower: Path) -> None:
    export = tower.parent / "rover001.csv"
    rows = csv_rows(export)
    if how == "points are added":
        write_csv(tower.parent / "rover002.csv", later(tower))
    elif how == "another of the tower":
        high = next(row for row in rows if float(row["EllHt"]) > TOWER)
        more = {
            "Point": "TOP",
            "Lat": f"{float(high['Lat']) + 2e-6:.11f}",
            "Observed": rows[-1]["Observed"][:-3] + "01Z",
        }
        write_csv(export, [*rows, raised(high | more, 1.0)])
    else:
        text = tower.read_text(encoding="utf-8")
        tower.write_text(text.replace("session-01", "monday"), encoding="utf-8")
    assert not notes(tower)
