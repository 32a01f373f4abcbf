"""Exports whose last digit is worth more than the precision that they state; what is written finely is left alone."""

from pathlib import Path

import numpy as np
import pytest
from examined import doubts_before
from running import rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import run_job


def rounded(
    degrees: int, metres: int, rows: slice | list[int] = slice(None), seed: int = 1, noise: bool = True
) -> Simulation:
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=2, marks=3, reach=400.0, seed=seed, noise=noise))
    for name, decimals in (("longitude", degrees), ("latitude", degrees), ("height", metres)):
        job.rows[name] = job.rows[name].copy()
        job.rows[name][rows] = np.round(job.rows[name][rows], decimals)
    return job


def told(path: Path) -> list[str]:
    return [text for text in doubts_before(path) if "rounded to" in text]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("degrees", "metres"), [(6, 4), (9, 1), (6, 1), (5, 0)])
def test_rounding_that_moves_points_is_doubted(degrees: int, metres: int, seed: int, tmp_path: Path) -> None:
    """A millionth of a degree is 0.11 m of a meridian: half of it, and of 0.1 m, is over what is stated and allowed."""
    path = rounded(degrees, metres, seed=seed).write(tmp_path)
    expected = ["longitudes and latitudes"] * (degrees < 7) + ["heights"] * (metres < 2)
    assert [doubt.split(" are rounded")[0].split("its ")[1] for doubt in told(path)] == expected
    outcome = run_job(path, dry_run=True)
    assert [doubt["kind"] for doubt in outcome.record["doubts"]] == ["precision"] * len(expected)
    assert outcome.exit_code == 3


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


@pytest.mark.parametrize("rows", [slice(10, 20), [8, 15, 22, 29, 36]], ids=["ten", "five"])
@pytest.mark.parametrize("slope", [0.4, 3.0])
@pytest.mark.parametrize("seed", range(2))
def test_heights_cut_to_metres_on_flat_ground_are_doubted(
    rows: slice | list[int], slope: float, seed: int, tmp_path: Path
) -> None:
    """All that were cut are one number there, or a few, and some others lie beside these by chance."""
    job = rounded(9, 4)
    level = np.floor(np.median(job.rows["height"]))
    heights = level + np.random.default_rng(seed).uniform(-slope, slope, len(job.rows["height"]))
    heights[rows] = np.round(heights[rows])
    job.rows["height"] = heights.round(4)
    assert len(told(job.write(tmp_path))) == 1


@pytest.mark.parametrize("noise", [0.004, 0.008])
@pytest.mark.parametrize("rows", [slice(5, 20), slice(5, 35)])
def test_water_at_a_whole_decimetre_among_other_ground_is_let_be(noise: float, rows: slice, tmp_path: Path) -> None:
    job = rounded(8, 2)
    level = np.median(job.rows["height"]).round(1)
    some = np.arange(len(job.rows["height"]))[rows]
    job.rows["height"][some] = (level + np.random.default_rng(4).normal(0.0, noise, len(some))).round(2)
    assert told(job.write(tmp_path)) == []


def test_a_slab_at_one_height_of_a_whole_metre_among_hills_is_let_be(tmp_path: Path) -> None:
    job = rounded(9, 4)
    heights = job.rows["height"] + np.linspace(-20.0, 20.0, len(job.rows["height"]))
    heights[10:30] = np.round(heights[20])
    job.rows["height"] = heights.round(4)
    assert told(job.write(tmp_path)) == []


#: The tie and the checks are the first two rows and the last one.
SOME = {
    "the second half": slice(20, None),
    "points": slice(3, 42),
    "one in three": slice(1, None, 3),
    "ten": slice(5, 15),
}


@pytest.mark.parametrize("rows", SOME.values(), ids=SOME.keys())
@pytest.mark.parametrize(("degrees", "metres"), [(6, 1), (5, 0), (4, 4), (9, 0)])
def test_some_coarse_rows_among_fine_ones_are_doubted(degrees: int, metres: int, rows: slice, tmp_path: Path) -> None:
    """No row of ten decimals, nor of millimetres, has so many zeros at its end."""
    job = rounded(degrees, metres, rows)
    cut, every = np.arange(43)[rows], len(job.rows["time"])
    doubts = told(job.write(tmp_path))
    for what, there in (("longitudes and latitudes", degrees < 7), ("heights", metres < 2)):
        (doubt,) = [one for one in doubts if f"have {what} rounded to" in one] if there else [""]
        assert not there or doubt.startswith(
            f"rover001.csv:{cut[0] + 2}: {len(cut)} readings of {every} (first one here) have {what} "
        )
    assert len(doubts) == (degrees < 7) + (metres < 2)


@pytest.mark.parametrize("form", ["gpkg", "geojson"])
def test_coarse_rows_of_files_of_numbers_are_doubted(form: str, tmp_path: Path) -> None:
    doubts = told(rounded(6, 1, slice(10, 30)).write(tmp_path, form=form))
    assert [" 20 readings of 43 (first one here) have " in doubt for doubt in doubts] == [True, True]


@pytest.mark.parametrize("axis", ["longitude", "latitude"])
def test_coarse_rows_of_one_column_alone_are_doubted(axis: str, tmp_path: Path) -> None:
    job = rounded(9, 4)
    job.rows[axis][10:30] = np.round(job.rows[axis][10:30], 5)
    (doubt,) = told(job.write(tmp_path))
    assert f" 20 readings of 43 (first one here) have {axis}s rounded to" in doubt


def test_two_rows_typed_to_whole_metres_are_doubted(tmp_path: Path) -> None:
    """Both coordinates of both would have to end in two zeros, written to the centimetre: one in a hundred million."""
    (doubt,) = told(rounded(5, 4, [12, 30]).write(tmp_path))
    assert doubt.startswith("rover001.csv:14: 2 readings of 43 (first one here) have ")


def test_the_session_that_has_coarse_rows_is_named(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40, ties=1, checks=2, marks=3, reach=400.0))
    second = job.rows["session"] == 1
    for name in ("longitude", "latitude"):
        job.rows[name] = np.where(second, np.round(job.rows[name], 6), job.rows[name])
    outcome = run_job(job.write(tmp_path), dry_run=True)
    (doubt,) = outcome.record["doubts"]
    assert doubt["sessions"] == [outcome.record["sessions"][1]["session"]]


@pytest.mark.parametrize("seed", range(10))
def test_rows_of_two_honest_numbers_of_digits_are_let_be(seed: int, tmp_path: Path) -> None:
    """Centimetres beside tenths of millimetres: with the zeros dropped, some look like decimetres."""
    assert told(rounded(7, 2, slice(10, 30), seed).write(tmp_path)) == []


def test_coarse_copies_that_count_for_nothing_are_let_be(tmp_path: Path) -> None:
    """The same readings again, cut to a metre: each is held back as a repeat of the one with all its digits."""
    path = rounded(9, 4).write(tmp_path)
    export = tmp_path / "rover001.csv"
    head, *lines = export.read_text(encoding="utf-8").splitlines(keepends=True)
    rewrite_export(export, lambda row: row | {n: f"{float(row[n]):.6f}" for n in ("Lon", "Lat")})
    again = export.read_text(encoding="utf-8").splitlines(keepends=True)[1:]
    export.write_text("".join([head, *lines, *again]), encoding="utf-8")
    assert told(path) == []


def test_coordinates_that_were_computed_are_let_be(tmp_path: Path) -> None:
    """A trial without a measurement: what it has on two marks agrees with the register to the rounding of a file."""
    job = rounded(10, 4, noise=False)
    points = job.rows["kind"] == "point"
    for name, decimals in (("longitude", 5), ("latitude", 5), ("height", 0)):
        job.rows[name][points] = np.round(job.rows[name][points], decimals)
    assert told(job.write(tmp_path)) == []


def test_of_a_computed_job_sessions_with_a_tie_alone_are_let_be_too(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=20, ties=1, checks=2, marks=3, reach=400.0, noise=False))
    job.keep((job.rows["session"] == 0) | (job.rows["kind"] != "check"))
    job.job["session"][1].pop("checks", None)
    points = job.rows["kind"] == "point"
    job.rows["height"][points] = np.round(job.rows["height"][points])
    assert told(job.write(tmp_path)) == []


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


def test_heights_that_the_tolerance_allows_for_are_let_be(tmp_path: Path) -> None:
    job = rounded(9, 1)
    job.job["checks"] = {"vertical": 0.25}
    assert told(job.write(tmp_path)) == []
