"""What an issue no longer has of the one before, which drawings may link to, is noted; nothing else is."""

from pathlib import Path

import pytest
from first_issue import run_once
from running import Row, replace_in, rewrite_export
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.run.outcome import Outcome

CODES = {"S01-00001": "FENCE", "S01-00002": "FENCE"}
NOTE = "this issue no longer has what drawings may link to under current: "


def recoded(row: Row) -> Row:
    return row | ({"Code": CODES.get(row["Point"], "TREE")} if row["Point"].startswith("S01-0") else {})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A job with an issue that has a drawing, a CSV and layers for two codes."""
    made = simulate(Plan(sessions=1, points=6, noise=False))
    made.job["issue"] = {"formats": ["dxf", "csv"], "by_code": True}
    path = made.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", recoded)
    assert told(run_once(path)) == []
    return path


def told(outcome: Outcome) -> list[str]:
    return [note.removeprefix(NOTE) for note in outcome.record["notes"] if note.startswith(NOTE)]


def floating(path: Path) -> None:
    rewrite_export(path.parent / "rover001.csv", lambda row: row | ({"Sol": "float"} if row["Point"] in CODES else {}))


def test_a_code_of_which_every_point_is_held_back(path: Path) -> None:
    floating(path)
    second = run_job(path)
    assert second.issued and told(second) == ["layer points_FENCE of simulated.gpkg"]
    # it is news once
    replace_in(path.parent / "rover001.csv", {",TREE,": ",SHRUB,"})
    assert told(run_job(path)) == ["layer points_TREE of simulated.gpkg"]


def test_a_format_taken_out(path: Path) -> None:
    replace_in(path, {'["dxf", "csv"]': '["csv", "geojson"]'})
    second = run_job(path)
    assert second.issued and told(second) == ["simulated.dxf"]
    assert not (path.parent / "out" / "current" / "simulated.dxf").exists()


def test_layers_of_codes_no_longer_asked_for(path: Path) -> None:
    replace_in(path, {"by_code = true": "by_code = false"})
    assert told(run_job(path)) == ["layer points_FENCE of simulated.gpkg, layer points_TREE of simulated.gpkg"]


def test_what_is_still_there_is_not_noted(path: Path) -> None:
    """One point of a code is enough for its layer, and what is new takes nothing away."""
    rewrite_export(
        path.parent / "rover001.csv",
        lambda row: (
            row
            | ({"Sol": "float"} if row["Point"] == "S01-00001" else {})
            | ({"Code": "GATE"} if row["Point"] == "S01-00004" else {})
        ),
    )
    replace_in(path, {'["dxf", "csv"]': '["csv", "dxf", "landxml"]'})
    second = run_job(path)
    assert second.issued and told(second) == []
