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
    assert second.issued and told(second) == ["layer points_FENCE of simulated.gpkg, layer FENCE of simulated.dxf"]
    # it is news once
    replace_in(path.parent / "rover001.csv", {",TREE,": ",SHRUB,"})
    assert told(run_job(path)) == ["layer points_TREE of simulated.gpkg, layer TREE of simulated.dxf"]


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


def headed(path: Path, more: str) -> None:
    """Give the export a column more, or call one that it has otherwise."""
    export = path.parent / "rover001.csv"
    head, *rows = export.read_text(encoding="utf-8").splitlines()
    if "," in more:
        head, rows = head + more, [f"{row},{number},own" for number, row in enumerate(rows)]
    else:
        head, rows = head.removesuffix("Depth,Owner") + more, [row.removesuffix(",own") for row in rows]
    export.write_text("\n".join([head, *rows, ""]), encoding="utf-8")


def test_columns_that_an_export_lacks_or_names_otherwise(path: Path) -> None:
    headed(path, ",Depth,Owner")
    assert told(run_job(path)) == []
    headed(path, "Deep")
    second = run_job(path)
    assert second.issued and told(second) == ["columns Depth, Owner of points"]
    replace_in(path.parent / "rover001.csv", {"Deep": "Depth_2"})
    assert told(run_job(path)) == ["column Deep of points"]


def test_layers_of_a_drawing_alone(path: Path) -> None:
    """Of a job without layers of codes the drawing has them; the texts' go with the symbols'."""
    replace_in(path, {"by_code = true": "by_code = false"})
    run_job(path)
    floating(path)
    assert told(run_job(path)) == ["layer FENCE of simulated.dxf"]


def test_a_layer_that_the_job_calls_otherwise(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[drawing]\ncodes = [{{ code = "TREE", layer = "V-TREE" }}]\n', encoding="utf-8")
    assert told(run_job(path)) == ["layer TREE of simulated.dxf"]
    # a layer is the same whatever the case of its letters
    replace_in(path, {"V-TREE": "v-tree"})
    assert told(run_job(path)) == []


def test_what_becomes_proven_takes_no_layer_away(tmp_path: Path) -> None:
    """At noon nothing closes; the evening's check makes every point proven, on the layers without a word."""
    made = simulate(Plan(sessions=1, points=6, noise=False))
    made.job["issue"] = {"formats": ["dxf"], "hold_back": []}
    del made.job["session"][0]["checks"]  # they are known by their code
    path = made.write(tmp_path)
    export = tmp_path / "rover001.csv"
    whole = export.read_text(encoding="utf-8")
    open_ended = [line for line in whole.splitlines() if not line.startswith("S01-C2,")]
    export.write_text("\n".join([*open_ended, ""]), encoding="utf-8")
    first = run_job(path)
    assert first.record["verdict"] != "proven"
    export.write_text(whole, encoding="utf-8")
    second = run_job(path)
    assert second.record["verdict"] == "proven" and told(second) == []
