"""Exports whose last digit is worth more than the precision that they state; what is written finely is left alone."""

from pathlib import Path

import numpy as np
import pytest
from running import rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job


def rounded(degrees: int, metres: int, rows: slice = slice(None), seed: int = 1) -> Simulation:
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=2, marks=3, reach=400.0, seed=seed))
    for name, decimals in (("longitude", degrees), ("latitude", degrees), ("height", metres)):
        job.rows[name] = job.rows[name].copy()
        job.rows[name][rows] = np.round(job.rows[name][rows], decimals)
    return job


def told(path: Path) -> list[str]:
    return [text for text in map(str, check_job(path).doubts) if "written to" in text]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("degrees", "metres"), [(6, 4), (9, 1), (6, 1), (5, 0)])
def test_rounding_that_moves_points_is_doubted(degrees: int, metres: int, seed: int, tmp_path: Path) -> None:
    """A millionth of a degree is 0.11 m of a meridian: half of it, and of 0.1 m, is over what is stated and allowed."""
    path = rounded(degrees, metres, seed=seed).write(tmp_path)
    assert [("longitudes and latitudes" in doubt) for doubt in told(path)] == [True] * (degrees < 7)
    outcome = run_job(path, dry_run=True)
    assert ("precision" in [doubt["kind"] for doubt in outcome.record["doubts"]]) == (degrees < 7)
    assert outcome.exit_code == (3 if degrees < 7 or outcome.record["verdict"] == "failed" else 0)
    assert any("its heights are written to" in note for note in outcome.record["notes"]) == (metres < 2)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("degrees", "metres"), [(7, 2), (8, 3), (9, 4)])
def test_what_is_written_to_centimetres_is_let_be(degrees: int, metres: int, seed: int, tmp_path: Path) -> None:
    """A spreadsheet drops zeros at the end, as the simulator does: a tenth of all numbers has a digit less."""
    path = rounded(degrees, metres, seed=seed).write(tmp_path)
    assert told(path) == []
    assert run_job(path, dry_run=True).exit_code == 0


@pytest.mark.parametrize("seed", range(3))
def test_still_water_to_the_centimetre_is_let_be(seed: int, tmp_path: Path) -> None:
    """Half of its heights end in a zero, as the water stands at a whole decimetre."""
    job = rounded(8, 2)
    level = round(float(np.median(job.rows["height"])), 1)
    noise = np.random.default_rng(seed).normal(0.0, 0.008, len(job.rows["height"]))
    job.rows["height"] = np.round(level + noise, 2)
    assert told(job.write(tmp_path)) == []


@pytest.mark.parametrize("rows", [slice(20, None), slice(3, None)])
def test_rows_on_round_coordinates_beside_others_are_let_be(rows: slice, tmp_path: Path) -> None:
    """A grid of whole metres that was computed, beside marks that have all their digits."""
    assert told(rounded(4, 1, rows).write(tmp_path)) == []


def test_an_export_of_few_rows_says_nothing_of_its_digits(tmp_path: Path) -> None:
    """One in ten numbers ends in a zero."""
    path = rounded(9, 4).write(tmp_path, files=2)
    export = tmp_path / "rover002.csv"
    rewrite_export(export, lambda row: row | {"Lon": f"{float(row['Lon']):.6f}", "Lat": f"{float(row['Lat']):.6f}"})
    head, *lines = export.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for number, line in enumerate(lines) if line.startswith("S01-C") or number < 3]
    export.write_text("".join([head, *kept]), encoding="utf-8")
    assert told(path) == []


def test_of_two_exports_the_rounded_one_is_named(tmp_path: Path) -> None:
    path = rounded(9, 4).write(tmp_path, files=2)
    cut = {"Lon": 6, "Lat": 6}
    rewrite_export(
        tmp_path / "rover002.csv", lambda row: row | {name: f"{float(row[name]):.{n}f}" for name, n in cut.items()}
    )
    (doubt,) = told(path)
    assert doubt.startswith("rover002.csv: ")


def test_what_states_that_it_is_as_coarse_is_let_be(tmp_path: Path) -> None:
    """Mapping to decimetres, with tolerances and uncertainties that say so."""
    job = rounded(6, 1)
    for name in ("sigma_east", "sigma_north", "sigma_up"):
        job.rows[name] = np.full(len(job.rows[name]), 0.15)
    job.job["checks"] = {"horizontal": 0.5, "vertical": 0.5}
    job.job["quality"] = {}
    assert told(job.write(tmp_path)) == []


def test_heights_of_a_job_of_positions_do_not_matter(tmp_path: Path) -> None:
    job = rounded(9, 0)
    job.register["holds"] = np.full(len(job.register["mark"]), "position", object)
    assert told(job.write(tmp_path)) == []
