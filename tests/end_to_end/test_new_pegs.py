"""A new peg under the base: its coordinates the same evening, the next day tied through it; truth to 0.1 mm."""

import re
from pathlib import Path

import numpy as np
import pytest
from issued import Issue, off_truth, read_layer
from network_jobs import Network
from numpy.testing import assert_allclose
from running import record_of, run_written

from pipeline.cli.issue_summary import summary
from pipeline.issue.record_types import Record

TENTH_MM = 1e-4
FAR = [(300, 200), (-6_000, 8_000), (4_000, 0)]


def network(peg: str = "PEG", at: tuple[float, float] = (400, -300)) -> Network:
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.mark(peg, *at, known=False)
    return work


def evening(peg: str = "PEG", at: tuple[float, float] = (400, -300)) -> Network:
    """The first day: CM1 ties, CM2 checks, and the base stood on a peg of which nobody has coordinates."""
    work = network(peg, at)
    work.session("day-1", over=peg, antenna=1.612, ties=["CM1"], points=FAR, checks=["CM2"], closing=["CM2"])
    return work


def notes(record: Record) -> list[str]:
    return [note for note in record["notes"] if "is not in the register" in note]


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Network, Issue]:
    work = evening()
    return work, run_written(work.write(tmp_path_factory.mktemp("evening")))


def test_the_peg_has_coordinates_the_same_evening(first: tuple[Network, Issue]) -> None:
    work, issue = first
    marks = read_layer(issue.package, "marks")
    (row,) = [row for row in marks.rows if row["mark"] == "PEG"]
    known = work.marks.of("PEG")
    assert_allclose([row["easting"], row["northing"], row["height"]], known, rtol=0, atol=TENTH_MM)
    assert (row["status"], row["holds"], row["occupations"]) == ("adjusted", None, 1)
    assert notes(issue.record) == []
    page = (issue.package.parent / "network-001.html").read_text(encoding="utf-8")
    assert "adjusted, new, under the base of session day-1" in page
    assert "new mark PEG under the base of session day-1: easting" in summary(issue.record, "issued")


def test_its_uncertainty_is_that_of_control_tie_and_set_up(first: tuple[Network, Issue]) -> None:
    """Closed form: one tie, all independent, so that the variances add: register, pole, reading, antenna.

    The register states hu95 0.010 and vu95 0.020; a reading on a mark has 4 and 7 mm, a pole and an antenna are centred
    to 3 mm (quality.centring), the antenna's height is measured as well as that. 2.4477 sigma hold 95 % of a circle.
    """
    _, issue = first
    (row,) = [row for row in read_layer(issue.package, "marks").rows if row["mark"] == "PEG"]
    plan = np.sqrt((0.010 / 2.4477) ** 2 + 0.004**2 + 0.003**2 + 0.003**2)
    up = np.sqrt((0.020 / 1.95996) ** 2 + 0.007**2 + 0.003**2)
    assert_allclose([row["hu95"], row["vu95"]], [2.4477 * plan, 1.95996 * up], rtol=0, atol=5e-5)


def test_next_morning_the_base_stands_on_it_again_and_the_day_hangs_on_it(tmp_path: Path) -> None:
    """Another antenna height, another broadcast position, no tie of its own."""
    work = evening()
    work.session("day-2", over="PEG", antenna=1.504, points=FAR, checks=["CM2"], closing=["CM2"])
    work.session("day-2-pm", over="PEG", antenna=1.377, points=FAR, checks=["CM2"], closing=["CM2"])
    issue = run_written(work.write(tmp_path))
    assert [row["verdict"] for row in issue.sessions.rows] == ["proven"] * 3
    assert len(issue.points.rows) == 9
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    (row,) = [row for row in read_layer(issue.package, "marks").rows if row["mark"] == "PEG"]
    assert row["occupations"] == 3
    assert "new mark" not in summary(issue.record, "issued")


def test_a_name_that_is_nearly_a_marks_is_never_taken_in_silence(tmp_path: Path) -> None:
    """TM1 lies half a kilometre from CM1: a new mark, but the surveyor is asked."""
    record = record_of(evening("TM1").write(tmp_path))
    (told,) = notes(record)
    assert "is TM1 meant to be CM1? If not, it is a new mark (CM1 is 500.0 m away)" in told
    assert any(mark["mark"] == "TM1" and mark["hu95"] is not None for mark in record["marks"])


@pytest.mark.parametrize("name", ["STUMP", "CMI", "CM9"])
def test_beside_a_mark_of_the_register_it_is_probably_that_mark(name: str, tmp_path: Path) -> None:
    """The base stood on CM2 itself, 30 mm off its centre by the simulator, whatever it was called."""
    record = record_of(evening(name, (700.03, -500)).write(tmp_path))
    (told,) = notes(record)
    assert f"the base's mark {name} is not in the register and is 0.030 m from CM2: probably that mark" in told
    assert 'write mark = "CM2" in its setup if so' in told


def test_without_another_tie_its_session_stays_untied(tmp_path: Path) -> None:
    work = network("CMI", (3, 0))
    work.session("day-1", ties=["CM1"], points=FAR, checks=["CM2"], closing=["CM2"])
    work.session("day-2", over="CMI", antenna=1.5, points=FAR, shift=(0.5, -0.5, 2.0))
    record = record_of(work.write(tmp_path), 3)
    assert [one["verdict"] for one in record["sessions"]] == ["proven", "untied"]
    assert record["rows"]["by_reason"] == {"untied": 3}
    assert any("untied in position and height: day-2" in note for note in record["notes"])
    (told,) = notes(record)
    said = re.search(
        r"and, according to the position that the base broadcast, is (.+) m from CM1: it may be that mark", told
    )
    assert said is not None, told
    assert abs(float(said[1]) - np.hypot(3.0 - 0.5, 0.0 + 0.5)) < 0.01  # raw = truth - shift


def test_a_peg_of_the_evening_before_under_another_spelling(tmp_path: Path) -> None:
    """The day would hang on PEG1; by PGE1 alone it stays untied, and the surveyor is told which was meant."""
    work = network("PEG1")
    work.session("day-1", over="PEG1", antenna=1.6, ties=["CM1"], points=FAR, checks=["CM2"], closing=["CM2"])
    work.mark("PGE1", 400, -300, known=False)
    work.session("day-2", over="PGE1", antenna=1.5, points=FAR, shift=(0.5, -0.5, 2.0))
    (told,) = notes(record_of(work.write(tmp_path), 3))
    assert told.startswith("session day-2: the base's mark PGE1 is not in the register and, according to the position")
    assert 'm from PEG1: it may be that mark; write mark = "PEG1"' in told
