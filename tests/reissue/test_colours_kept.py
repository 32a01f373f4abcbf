"""A code's colour in a drawing stays its own in all issues, read by a library that has no part in writing them."""

from pathlib import Path

import ezdxf
from running import Row, replace_in, rewrite_export
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.run.outcome import Outcome

CODES = ["FENCE", "TREE", "GATE", "KERB", "WALL", "a, b; c (d)"]


def colours(outcome: Outcome) -> dict[str, int]:
    """Return the colours of the layers of codes' symbols."""
    assert outcome.folder is not None
    (path,) = outcome.folder.glob("*-[0-9]*.dxf")
    layers = ezdxf.readfile(path).layers
    return {layer.dxf.name: layer.dxf.color for layer in layers if layer.description.startswith(("code ", "no code"))}


def test_a_code_that_goes_and_comes_back(tmp_path: Path) -> None:
    """The first code to come goes, a new one comes, the first comes back: nothing else changes its colour."""
    made = simulate(Plan(sessions=1, points=len(CODES), noise=False))
    made.job["issue"] = {"formats": ["dxf"]}
    path, export = made.write(tmp_path), tmp_path / "rover001.csv"

    def coded(row: Row) -> Row:
        at = int(row["Point"][-5:]) - 1 if row["Point"].startswith("S01-0") else None
        return row | ({} if at is None else {"Code": CODES[at]})

    rewrite_export(export, coded)
    whole = export.read_text(encoding="utf-8")
    first = colours(run_job(path))
    assert len(first) == len(set(first.values())) == len(CODES)
    replace_in(export, {",FENCE,": ",HEDGE,"})
    second = colours(run_job(path))
    assert {name: second[name] for name in first if name in second} == {
        name: colour for name, colour in first.items() if name != "FENCE"
    }
    assert second["HEDGE"] not in first.values()
    export.write_text(whole, encoding="utf-8")
    assert colours(run_job(path)) == first
    # a colour of the job's own goes before, and whoever had it chooses again
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[drawing]\ncodes = [{{ code = "TREE", colour = {first["FENCE"]} }}]\n', encoding="utf-8")
    own = colours(run_job(path))
    assert own["TREE"] == first["FENCE"] and len(set(own.values())) == len(CODES)
    assert {name: own[name] for name in ("GATE", "KERB", "WALL")} == {n: first[n] for n in ("GATE", "KERB", "WALL")}
