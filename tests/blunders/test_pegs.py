"""Blunders at temporary marks, planted in jobs of known truth: the day that hangs on the peg is told what it was."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from network_jobs import Network
from running import record_of
from simulate_plan import Floats, turn_enu

Plant = Callable[[Network], None]
FOOT = 0.3048


def over_a_peg() -> Network:
    """Day 1 ties CM1 and two pegs, day 2 stands over TM1, day 3 is tied on TM1 and day 4 on TM2; all are checked."""
    work = Network(seed=5)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.mark("CM3", -400, -600)
    work.mark("TM1", 400, -300, known=False)
    work.mark("TM2", 405.5, -301.3, 0.4, known=False)
    work.session("day-1", ties=["CM1", "TM1", "TM2"], points=[(300, 200)], checks=["CM2"], closing=["CM3"])
    work.session("day-2", over="TM1", antenna=1.612, points=[(300, 210)], checks=["CM2"], closing=["CM3"])
    work.session("day-3", ties=["TM1"], points=[(300, 220)], checks=["CM2"], closing=["CM3"])
    work.session("day-4", ties=["TM2"], points=[(300, 230)], checks=["CM2"], closing=["CM3"])
    return work


def stands(work: Network, session: int, **keys: Any) -> None:
    work.job["session"][session]["setup"] = {**work.setup(session), **keys}


def between(work: Network, mark: str, other: str) -> Floats:
    """Metres east, north, up from one mark to another."""
    longitude, latitude, _ = work.marks.geographic(mark)
    axes = np.array([turn_enu(longitude, latitude, unit) for unit in np.eye(3)])
    return np.asarray(axes @ (work.xyz(other) - work.xyz(mark)))


def stood_on_another_peg(work: Network) -> None:
    work.displace(work.row("day-3-TM1-1"), between(work, "TM1", "TM2"))


def stood_over_another_peg(work: Network) -> None:
    stands(work, 1)
    work.job["session"][1]["setup"]["mark"] = "TM2"


def antenna_in_feet(work: Network) -> None:
    # its height was 1.612 ft, and so the antenna was lower than the job has it
    stands(work, 1)
    work.job["session"][1]["setup"]["ellipsoid_height"] -= 1.612 * (1 - FOOT)


def antenna_mistyped(work: Network) -> None:
    stands(work, 1, antenna_height=1.162)


def pole(work: Network) -> None:
    work.displace(work.row("day-3-TM1-1"), (0.0, 0.0, 0.2))


def day_before(work: Network) -> None:
    """The tie that puts the peg where it is: both days after hang on it."""
    work.displace(work.row("day-1-TM1-1"), (0.15, -0.1, 0.0))


CASES: dict[str, tuple[Plant, tuple[str, ...], str]] = {
    "another peg at a tie": (stood_on_another_peg, ("other mark",), "day-3-TM1-1 was on TM2, not on TM1"),
    "base over another peg": (stood_over_another_peg, ("other mark",), "was over TM1, not over TM2"),
    "antenna in feet": (antenna_in_feet, ("antenna or pole height",), "over TM1 was in feet but read as metres"),
    "antenna mistyped": (antenna_mistyped, ("set-up unexplained",), "the set-up over TM1 is off in height by"),
    "pole at a tie": (pole, ("point unexplained",), "day-3-TM1-1, the tie on TM1, is off in height by"),
    "the day before": (day_before, ("point unexplained",), "day-1-TM1-1, the tie on TM1, is off in position by"),
}


@pytest.mark.parametrize("case", CASES)
def test_what_was_wrong_at_the_peg_is_told(case: str, tmp_path: Path) -> None:
    plant, kinds, says = CASES[case]
    work = over_a_peg()
    plant(work)
    record = record_of(work.write(tmp_path), 3)
    assert record["diagnoses"]
    for diagnosis in record["diagnoses"]:
        best = diagnosis["explanations"][0]
        told = [one for one in diagnosis["explanations"] if one["close"]]
        assert any(one["kind"] in kinds and says in one["text"] for one in told), [one["text"] for one in told]
        assert best["misfit_horizontal"] < 0.01 and best["misfit_vertical"] < 0.01


@pytest.mark.parametrize(("session", "tie"), [(2, "day-3-TM1-1"), (0, "day-1-CM1-1")], ids=["after", "before"])
def test_a_base_that_moves_right_after_or_before_a_tie_on_a_peg(session: int, tie: str, tmp_path: Path) -> None:
    """After day 3's only tie, on TM1, nothing but the readings that follow shows it; a tie that is off shows as much.

    Between the ties of day 1 it takes along the pegs, and with them the days that hang on them.
    """
    work = over_a_peg()
    work.displace((work.rows["session"] == session) & ~work.row(tie), (-0.2, 0.1, 0.0))
    record = record_of(work.write(tmp_path), 3)
    assert record["diagnoses"]
    since, until = np.sort(work.rows["time"][work.rows["session"] == session])[:2].astype("datetime64[s]").tolist()
    for diagnosis in record["diagnoses"]:
        told = [one for one in diagnosis["explanations"] if one["close"]]
        (moved,) = [one for one in told if one["kind"] == "base moved"]
        assert f"between {since:%Y-%m-%d %H:%M:%S} and {until:%Y-%m-%d %H:%M:%S} UTC" in moved["text"]
        numbers = [float(number) for number in re.findall(r"[+-]\d\.\d{3}", moved["text"])]
        # along the grid, which is turned against east and north by a degree at most
        np.testing.assert_allclose(numbers, [0.2, -0.1, 0.0], rtol=0, atol=0.004)
        assert moved["misfit_horizontal"] < 0.002 and moved["misfit_vertical"] < 0.002
        if session == 2:
            assert "measured before day-3-CM2-1, measured again" in moved["decide"]
            assert any("day-3-TM1-1, the tie on TM1, is off" in one["text"] for one in told)


def test_a_check_on_a_peg_that_fails_is_told_what_puts_the_peg_there(tmp_path: Path) -> None:
    work = Network(seed=3)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 500, 0)
    work.mark("TM1", 400, -300, known=False)
    work.session("a", ties=["CM1", "TM1"], points=[(10, 10)], checks=["CM2"], closing=["TM1"])
    work.session("b", ties=["TM1"], points=[(20, 10)], checks=["CM2"], closing=["CM1"])
    work.displace(work.row("a-TM1-2"), (0.2, 0.0, 0.0))
    record = record_of(work.write(tmp_path), 3)
    (row,) = [one for one in record["checks"] if one["passed"] is False]
    assert row["mark"] == "TM1" and "TM1 is a temporary mark, positioned by the ties on it (a-TM1-1, b-TM1-1)" in str(
        row["cause"]
    )


def test_every_check_of_a_mark_on_its_neighbour_is_told(tmp_path: Path) -> None:
    """Two marks 0.3 m apart, as a mark and its witness: both checks were taken on the other one."""
    work = Network(seed=4)
    work.mark("CM1", 0, 0)
    work.mark("CM3", 650, -450)
    work.mark("CM4", 650.3, -450)
    work.session("a", ties=["CM1"], points=[(10, 10)], checks=["CM3"], closing=["CM3"])
    for name in ("a-CM3-1", "a-CM3-2"):
        work.displace(work.row(name), between(work, "CM3", "CM4"))
    record = record_of(work.write(tmp_path), 3)
    best = record["diagnoses"][0]["explanations"][0]
    assert best["kind"] == "other mark" and best["text"] == "a-CM3-1, a-CM3-2 were on CM4, not on CM3"


def test_a_datum_is_no_cause_of_what_its_transformation_leaves_open_anyhow(tmp_path: Path) -> None:
    """The way from NZGD49 is good to 1 m (EPSG:1566 is to 4 m), so that it would explain any failure of decimetres."""
    work = over_a_peg()
    day_before(work)
    record = record_of(work.write(tmp_path), 3)
    assert all(one["kind"] != "other datum" for each in every(record["diagnoses"]) for one in each["explanations"])
