"""What nothing ties is told session by session, with the fewest occupations that would tie it; the rest is issued."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from issued import Issue, off_truth, read_layer
from network_jobs import Network
from numpy.testing import assert_allclose
from running import run_written

TENTH_MM = 1e-4
SOME = [(300, 200), (-6_000, 8_000)]


def islands() -> Network:
    """Two tied sessions and four islands: b1 and b2 joined by a peg; c alone; p in position only; h in height only."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("PO1", 900, 100, holds="position")
    work.mark("HE1", -700, 400, holds="height")
    work.mark("PO2", 800, -300, holds="position")
    work.mark("HE2", -900, 200, holds="height")
    for peg in ("TB", "TP", "TH"):
        work.mark(peg, 300, 500 + 40 * len(work.marks.names), known=False)
    work.session("a1", ties=["CM1"], points=SOME)
    work.session("a2", ties=["PO1", "HE1"], points=SOME)
    work.session("b1", ties=["TB"], points=SOME)
    work.session("b2", over="TB", antenna=1.3, points=SOME)
    work.session("c", points=SOME)
    work.session("p1", ties=["PO2", "TP"], points=SOME)
    work.session("p2", ties=["TP"], points=SOME)
    work.session("h1", ties=["HE2", "TH"], points=SOME)
    work.session("h2", over="TH", antenna=1.1, points=SOME)
    return work


def untied(issue: Issue) -> dict[tuple[str, ...], dict[str, Any]]:
    return {tuple(group["sessions"]): group for group in issue.record["untied"]}


@pytest.fixture(scope="module")
def issue(tmp_path_factory: pytest.TempPathFactory) -> Issue:
    return run_written(islands().write(tmp_path_factory.mktemp("islands")), 3)


def test_every_island_is_told_with_what_it_lacks(issue: Issue) -> None:
    """One entry for each: of n islands, n ties are needed and n are enough."""
    found = untied(issue)
    assert {sessions: group["lacks"] for sessions, group in found.items()} == {
        ("b1", "b2"): ["position", "height"],
        ("c",): ["position", "height"],
        ("p1", "p2"): ["height"],
        ("h1", "h2"): ["position"],
    }
    assert {sessions: set(group["marks"]) for sessions, group in found.items()} == {
        ("b1", "b2"): {"TB"},
        ("c",): set(),
        ("p1", "p2"): {"TP", "PO2"},
        ("h1", "h2"): {"TH", "HE2"},
    }


def test_the_points_of_tied_sessions_are_issued_all_the_same(issue: Issue) -> None:
    assert {row["session"] for row in issue.points.rows} == {"a1", "a2"}
    assert_allclose(off_truth(issue.points.rows, islands().truth), 0, rtol=0, atol=TENTH_MM)


def test_what_is_untied_is_held_back_without_coordinates(issue: Issue) -> None:
    held = [row for row in issue.held_back.rows if row["reason"] == "untied"]
    assert len(held) == len(issue.held_back.rows)
    assert {row["session"] for row in held} == {"b1", "b2", "c", "p1", "p2", "h1", "h2"}
    assert all(row["easting"] is None and row["height"] is None for row in held)
    assert sum(issue.balance()) == len(islands().truth.names)
    verdicts = {row["session"]: row["verdict"] for row in issue.sessions.rows}
    assert {name for name, verdict in verdicts.items() if verdict == "untied"} == {row["session"] for row in held}
    untied = every(row for row in issue.sessions.rows if row["verdict"] == "untied")
    assert all(row["shift_x"] is None for row in untied)
    assert issue.record["verdict"] == "untied"


def test_the_notes_name_each_island_and_what_would_tie_it(issue: Issue) -> None:
    for group in every(issue.record["untied"]):
        (note,) = [note for note in issue.record["notes"] if f": {', '.join(group['sessions'])};" in note]
        assert all(name in note for name in [*group["sessions"], *group["marks"], *group["lacks"]])
        other = {"position", "height"} - set(group["lacks"])
        assert not any(word in note for word in other), note


def test_why_a_row_is_untied_says_in_which_component(issue: Issue) -> None:
    details = {row["session"]: row["detail"] for row in issue.held_back.rows}
    assert "height" in details["p1"] and "position" not in details["p1"]
    assert "position" in details["h2"] and "height" not in details["h2"]
    assert "position" in details["c"] and "height" in details["c"]


def test_a_mark_shows_the_component_that_is_tied(issue: Issue) -> None:
    """TP has its position from PO2, TH its height from HE2, TB nothing.

    What a height that nobody knows (5 m or so) leans over the kilometre from PO2 to TP is 0.8 mm.
    """
    marks, true = read_layer(issue.package, "marks"), islands().marks
    position, height, nothing = (marks.one(mark=name) for name in ("TP", "TH", "TB"))
    assert_allclose([position["easting"], position["northing"]], true.of("TP")[:2], rtol=0, atol=2e-3)
    assert position["height"] is None and position["vu95"] is None and position["hu95"] > 0
    assert height["height"] == pytest.approx(true.of("TH")[2], rel=0, abs=TENTH_MM)
    assert height["easting"] is None and height["hu95"] is None and height["vu95"] > 0
    assert all(nothing[name] is None for name in ("easting", "northing", "height", "hu95", "vu95"))
    assert [row["status"] for row in (position, height, nothing)] == ["adjusted"] * 3
    assert marks.one(mark="PO1")["holds"] == "position" and marks.one(mark="HE1")["holds"] == "height"


def test_the_occupations_named_tie_everything_and_no_fewer_do(tmp_path: Path) -> None:
    """One more occupation of CM1 per entry, in any of its sessions; leaving out any one leaves its island untied."""
    groups = [("b1", "b2"), ("c",), ("p1", "p2"), ("h1", "h2")]
    chosen = np.random.default_rng(8)

    def run(folder: Path, left_out: int | None) -> Issue:
        work = islands()
        for number, group in every(enumerate(groups)):
            if number != left_out:
                _occupy_too(work, str(chosen.choice(group)))
        return run_written(work.write(folder), 0 if left_out is None else 3)

    whole = run(tmp_path / "all", None)
    assert whole.record["untied"] == [] and len(whole.points.rows) == 18
    assert_allclose(off_truth(whole.points.rows, islands().truth), 0, rtol=0, atol=TENTH_MM)
    for number, group in every(enumerate(groups)):
        some = run(tmp_path / group[0], number)
        assert list(untied(some)) == [group]


def _occupy_too(work: Network, session: str) -> None:
    """Let a point of the session be an occupation of CM1 as well."""
    (number,) = [row for row, one in enumerate(work.job["session"]) if one["name"] == session]
    work.occupy_later(number, "CM1")


def test_a_shift_stated_as_none_ties_what_hangs_on_it(tmp_path: Path) -> None:
    """Network corrections coordinate a peg, and the peg a base."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("T", 200, 100, known=False)
    work.session("net", ties=["T"], points=SOME, shift=(0, 0, 0), stated="none")
    work.session("base", over="T", antenna=1.4, points=SOME)
    issue = run_written(work.write(tmp_path))
    assert len(issue.points.rows) == 4 and issue.record["untied"] == []
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def test_a_whole_job_without_control_is_told_session_by_session(tmp_path: Path) -> None:
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("T", 200, 100, known=False)
    work.session("one", ties=["T"], points=SOME, checks=["CM1"])
    work.session("two", ties=["T"], points=SOME)
    issue = run_written(work.write(tmp_path), 3)
    assert [group["sessions"] for group in issue.record["untied"]] == [["one", "two"]]
    assert not issue.points.rows and len(issue.held_back.rows) == 7


def test_of_a_mark_that_the_register_has_what_it_lacks_is_named(issue: Issue) -> None:
    """TP is no mark of the register; PO2 is, and holds its position alone: it is a height that is wanted."""
    told = {text.split(": ")[0] + ": " + text.split(": ")[1].split(";")[0]: text for text in issue.record["notes"]}
    of_p, of_h = told["untied in height: p1, p2"], told["untied in position: h1, h2"]
    assert "a height of PO2, which the register has but does not hold" in of_p
    assert "register coordinates of TP" in of_p and "register coordinates of PO2" not in of_p
    assert "a position of HE2, which the register has but does not hold" in of_h
    assert "register coordinates of TB," in told["untied in position and height: b1, b2"]
    page = next(issue.folder.glob("*.html"))
    assert "a height of PO2, which the register has but does not hold" in " ".join(
        page.read_text(encoding="utf-8").split()
    )
