"""Registers whose last digit is worth more than the uncertainty that is taken for their marks."""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from examined import doubts_before
from simulate import Plan, Simulation, session_marks, simulate

from pipeline import run_job


def surveyed(seed: int = 1, noise: bool = True, checks: int = 3) -> Simulation:
    """Return a day on four marks, whose register states no uncertainty of them."""
    plan = Plan(sessions=1, points=20, ties=1, checks=checks, marks=checks + 1, reach=400.0, seed=seed, noise=noise)
    job = simulate(plan)
    del job.register["hu95"], job.register["vu95"]
    return job


def write_to(job: Simulation, column: str, decimals: int, strip: bool = False) -> None:
    texts = [f"{value:.{decimals}f}" for value in job.register[column]]
    job.register[column] = np.array([text.rstrip("0").rstrip(".") if strip else text for text in texts], object)


def stand_at(job: Simulation, decimals: int) -> None:
    """Lay the marks at heights of so many decimals, truly: readings on them go along."""
    by = np.round(job.register["height"], decimals) - job.register["height"]
    ties, opening, closing = session_marks(job.plan, 0)
    rows = np.flatnonzero(job.rows["kind"] != "point")
    job.rows["height"][rows] += by[[*ties, *opening, *closing]]


def told(path: Path) -> list[str]:
    return [text for text in doubts_before(path) if "rounded to" in text]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("strip", [False, True])
def test_heights_to_the_decimetre_are_doubted(seed: int, strip: bool, tmp_path: Path) -> None:
    """Half of 0.1 m is all of the tolerance, and its rounding six times the 5 mm that are taken for such marks."""
    job = surveyed(seed)
    write_to(job, "height", 1, strip)
    path = job.write(tmp_path)
    (doubt,) = told(path)
    assert "register.csv:2: heights of 4 marks that are used" in doubt
    assert "rounded to 0.1 m" in doubt
    outcome = run_job(path, dry_run=True)
    assert outcome.exit_code == 3
    assert "precision" in [one["kind"] for one in outcome.record["doubts"]]


@pytest.mark.parametrize("columns", [("easting",), ("northing",), ("easting", "northing")])
def test_positions_to_the_decimetre_are_doubted(columns: tuple[str, ...], tmp_path: Path) -> None:
    job = surveyed()
    for column in columns:
        write_to(job, column, 1)
    (doubt,) = told(job.write(tmp_path))
    assert "positions of 4 marks that are used" in doubt


def test_one_mark_with_fewer_digits_than_the_others_is_doubted(tmp_path: Path) -> None:
    """A register that writes its zeros (the third height ends in one) has all digits of what it writes."""
    job = surveyed()
    job.register["height"][1] = np.floor(job.register["height"][1] * 10.0) / 10.0 + 0.045
    write_to(job, "height", 3)
    job.register["height"][1] = job.register["height"][1][:-2]
    job.register["height"][2] = job.register["height"][2][:-1] + "0"
    (doubt,) = told(job.write(tmp_path))
    assert f"register.csv:3: heights of 1 mark that is used ({job.register['mark'][1]}) are rounded to 0.1 m" in doubt


@pytest.mark.parametrize("seed", range(6))
def test_registers_to_the_centimetre_are_let_be(seed: int, tmp_path: Path) -> None:
    job = surveyed(seed)
    for column in ("easting", "northing", "height"):
        write_to(job, column, 2, strip=True)
    assert told(job.write(tmp_path)) == []


def test_what_is_stated_to_be_as_coarse_is_let_be(tmp_path: Path) -> None:
    job = surveyed()
    write_to(job, "height", 1)
    job.register["vu95"] = np.full(len(job.register["mark"]), 0.1)
    assert told(job.write(tmp_path / "by the register")) == []
    del job.register["vu95"]
    job.job["control"]["sigma_vertical"] = 0.05
    assert told(job.write(tmp_path / "by the job")) == []


def test_marks_that_lie_at_whole_decimetres_are_let_be(tmp_path: Path) -> None:
    """Computed readings agree with them to the rounding of the files, which marks that were rounded would not."""
    job = surveyed(noise=False)
    stand_at(job, 1)
    write_to(job, "height", 1)
    assert told(job.write(tmp_path)) == []


@pytest.mark.parametrize("seed", range(4))
def test_measured_marks_that_lie_at_whole_metres_are_let_be(seed: int, tmp_path: Path) -> None:
    """Readings that scatter by 15 mm agree twenty times better than marks rounded to a metre (0.29 m) could."""
    job = surveyed(seed)
    stand_at(job, 0)
    write_to(job, "height", 0)
    assert told(job.write(tmp_path)) == []


def test_two_marks_alone_say_nothing_of_their_heights(tmp_path: Path) -> None:
    """Of two heights to the centimetre, without the zeros at their end, both end in one once in a hundred jobs."""
    job = surveyed(checks=1)
    write_to(job, "height", 1)
    assert told(job.write(tmp_path)) == []


@pytest.mark.parametrize("in_register", [True, False])
def test_an_uncertainty_that_covers_the_rounding_is_enough(in_register: bool, tmp_path: Path) -> None:
    """Evenly spread over 0.1 m, the error of rounding has a standard uncertainty of 0.029 m: 0.041 m covers it."""
    job = surveyed()
    for column in ("easting", "northing", "height"):
        write_to(job, column, 1)
    if in_register:
        job.register["hu95"] = job.register["vu95"] = np.full(len(job.register["mark"]), 0.10)
    else:
        job.job["control"] |= {"sigma_horizontal": 0.041, "sigma_vertical": 0.041}
    assert told(job.write(tmp_path)) == []


def padded_to(job: Simulation, column: str, step: float, decimals: int = 3) -> None:
    """Round a column to a step and write more decimals of it than that, as a spreadsheet or a database does."""
    job.register[column] = np.round(np.asarray(job.register[column], float) / step) * step
    write_to(job, column, decimals)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("decimals", [2, 3, 4])
def test_heights_to_the_decimetre_with_zeros_behind_are_doubted(seed: int, decimals: int, tmp_path: Path) -> None:
    """Of honest heights to the centimetre four in four end in a zero once in 10 000 registers, else never."""
    job = surveyed(seed)
    padded_to(job, "height", 0.1, decimals)
    path = job.write(tmp_path)
    (doubt,) = told(path)
    assert "register.csv:2: heights of 4 marks that are used" in doubt
    assert "rounded to 0.1 m with zeros added, an error of up to 0.050 m" in doubt
    assert run_job(path, dry_run=True).exit_code == 3


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("step", "columns"), [(0.1, ("easting",)), (0.05, ("easting", "northing")), (0.1, ("northing",))]
)
def test_positions_on_a_step_of_one_or_five_are_doubted(
    step: float, columns: tuple[str, ...], seed: int, tmp_path: Path
) -> None:
    job = surveyed(seed)
    for column in columns:
        padded_to(job, column, step)
    (doubt,) = told(job.write(tmp_path))
    assert "positions of 4 marks that are used" in doubt
    assert f"rounded to {step} m with zeros added" in doubt


@pytest.mark.parametrize("seed", range(4))
def test_a_mark_with_all_its_digits_among_some_with_zeros_is_left_out(seed: int, tmp_path: Path) -> None:
    job = surveyed(seed)
    fine = job.register["height"][2]
    padded_to(job, "height", 0.1)
    job.register["height"][2] = f"{np.floor(fine * 10.0) / 10.0 + 0.037:.3f}"
    (doubt,) = told(job.write(tmp_path))
    assert "heights of 3 marks that are used" in doubt


def test_both_coordinates_of_two_marks_say_enough(tmp_path: Path) -> None:
    """Four numbers to the millimetre that all end in two zeros: once in a hundred million registers."""
    job = surveyed(checks=1)
    for column in ("easting", "northing"):
        padded_to(job, column, 0.1)
    (doubt,) = told(job.write(tmp_path))
    assert "positions of 2 marks that are used" in doubt


@pytest.mark.parametrize("column", ["easting", "height"])
def test_one_coordinate_of_two_marks_with_zeros_says_nothing(column: str, tmp_path: Path) -> None:
    """A mark set out from an origin, or a bench mark at 100.000, is honest."""
    job = surveyed(checks=1)
    padded_to(job, column, 0.1)
    assert told(job.write(tmp_path)) == []


def test_one_number_that_many_marks_have_is_one(tmp_path: Path) -> None:
    """Marks on a slab of one level."""
    job = surveyed()
    heights = np.asarray(job.register["height"], float)
    level = np.full(4, np.round(heights[0], 1))
    ties, opening, closing = session_marks(job.plan, 0)
    rows = np.flatnonzero(job.rows["kind"] != "point")
    job.rows["height"][rows] += (level - heights)[[*ties, *opening, *closing]]
    job.register["height"] = level
    write_to(job, "height", 3)
    assert told(job.write(tmp_path)) == []


@pytest.mark.parametrize("decimals", [0, 1])
def test_measured_marks_at_whole_metres_with_zeros_behind_are_let_be(decimals: int, tmp_path: Path) -> None:
    """Computed readings agree to the rounding of the files, whatever the zeros."""
    job = surveyed(noise=False)
    stand_at(job, decimals)
    padded_to(job, "height", 10.0**-decimals)
    assert told(job.write(tmp_path)) == []


def test_zeros_that_what_is_stated_covers_are_let_be(tmp_path: Path) -> None:
    job = surveyed()
    for column in ("easting", "northing", "height"):
        padded_to(job, column, 0.1)
    job.register["hu95"] = job.register["vu95"] = np.full(len(job.register["mark"]), 0.10)
    assert told(job.write(tmp_path)) == []


@pytest.mark.parametrize("decimals", [2, 3])
@pytest.mark.parametrize("seed", range(10))
def test_honest_registers_with_their_zeros_are_let_be(seed: int, decimals: int, tmp_path: Path) -> None:
    job = surveyed(seed, checks=1 + seed % 4)
    for column in ("easting", "northing", "height"):
        write_to(job, column, decimals)
    assert told(job.write(tmp_path)) == []


def test_positions_to_five_centimetres_without_zeros_are_doubted_too(tmp_path: Path) -> None:
    """Six numbers of six end in 0 or 5 once in 15 000 registers."""
    job = surveyed(checks=7)
    for column in ("easting", "northing"):
        padded_to(job, column, 0.05, 2)
        write_to_stripped = [text.rstrip("0").rstrip(".") for text in job.register[column]]
        job.register[column] = np.array(write_to_stripped, object)
    (doubt,) = told(job.write(tmp_path))
    assert "rounded to 0.05 m, an error" in doubt


@pytest.mark.parametrize("strip", [False, True])
@pytest.mark.parametrize("step", [50.0, 10.0])
def test_marks_set_out_at_round_numbers_are_not_said_to_be_rounded(step: float, strip: bool, tmp_path: Path) -> None:
    """Two of them are exchanged in the register: that is what is wrong with it, not how many digits it has."""
    job = surveyed()
    ties, opening, closing = session_marks(job.plan, 0)
    marks = np.array([*ties, *opening, *closing])
    away = {}
    for column in ("easting", "northing"):
        truth = np.asarray(job.register[column], float)
        at = np.round(truth / step) * step
        away[column] = (at - truth)[marks]
        at[[1, 2]] = at[[2, 1]]
        job.register[column] = at
        write_to(job, column, 3, strip)
    moved = job.rows["kind"] != "point"
    here = job.rows["longitude"][moved], job.rows["latitude"][moved]
    job.displace(moved, turn_enu(*here, np.column_stack([away["easting"], away["northing"], np.zeros(len(marks))])))
    path = job.write(tmp_path)
    assert told(path) == []
    assert run_job(path, dry_run=True).exit_code == 3
