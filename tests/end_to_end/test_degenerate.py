"""Jobs with next to nothing in them: they end in an issue or in words, never in a fault in the program."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from degenerate import FORMATS, LONG, anything, revise
from every import every
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from network_jobs import Network
from running import rewrite_export
from typer.testing import CliRunner

from pipeline import JobError, Outcome, check_job, run_job
from pipeline.cli.main import app


def outcome(path: Path) -> Outcome | None:
    """Run a job; None where it is refused in words."""
    try:
        return run_job(path)
    except JobError as refused:
        assert all(problem.what for problem in every(refused.problems))
        return None


def every_way(path: Path, name: str, again_in_all_formats: bool = False) -> Outcome | None:
    """Check, run, run again after a revision of the register, and look at what came of it, by every command.

    The other formats are made from the GeoPackage alone, by the same lines for every issue: a first issue of each job
    has them, and one job's second as well.
    """
    try:
        check_job(path)
    except JobError:
        assert outcome(path) is None  # what `check` refuses, a run refuses
    found = outcome(path)
    if found is not None:
        revise(path)
        with pytest.MonkeyPatch.context() as patch:
            if not again_in_all_formats:
                patch.setattr("pipeline.run.lay_out._further_formats", lambda *_: [])
            outcome(path)
            again = outcome(path)
        assert again is None or again.folder is not None
    for words in (["trace", str(path), name], ["history", str(path)], ["verify", str(path.parent / "out")]):
        done = CliRunner().invoke(app, words)
        assert done.exception is None or isinstance(done.exception, SystemExit), words
        assert done.exit_code in (0, 2, 3), (words, done.output)
    return found


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_a_job_lacks(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    work = anything(lambda some: data.draw(st.sampled_from(some)))
    if not work._taken:
        return  # an export without a row has no file
    every_way(work.write(tmp_path_factory.mktemp("job")), str(work.rows["name"][0]))


def test_two_shifts_too_large_and_the_second_session_tied_by_a_temporary_mark_alone(tmp_path: Path) -> None:
    """One cause explains both, a register that is off by 30 m; the second session has nothing to compare by itself."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("TM1", 300, -200, known=False)
    work.session("one", ties=["CM1", "TM1"], points=[(10, 10)], shift=(30.0, 0.2, 0.1))
    work.session("two", ties=["TM1"], points=[(20, 10)], shift=(30.0, -0.3, 0.4))
    found = every_way(work.write(tmp_path), "one-1")
    assert found is not None and found.exit_code == 3
    diagnoses = {one["session"]: one for one in found.record["diagnoses"]}
    assert set(diagnoses) == {"one", "two"}
    for one in every(diagnoses.values()):
        assert any("CM1" in reading["text"] for reading in one["explanations"])


def edge(change: Callable[[Network], None] = lambda work: None, **session: object) -> Network:
    """A job of one session on one mark, changed before it is written."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 400, 100)
    work.mark("TM1", 300, -200, known=False)
    work.job["issue"] = {"formats": FORMATS, "by_code": True}
    work.session("one", **{"ties": ["CM1"], "points": [(10, 10)], **session})
    change(work)
    return work


def all_at_once(work: Network) -> None:
    work.rows["time"] = np.repeat(work.rows["time"][:1], len(work.rows["time"]))


def nameless(work: Network) -> None:
    work.rows["name"] = np.where(work.rows["mark"] == "", "", work.rows["name"])


def endless(work: Network) -> None:
    work.rows["name"] = np.where(work.rows["mark"] == "", LONG, work.rows["name"])
    work.rows["code"] = np.where(work.rows["mark"] == "", LONG, work.rows["code"])


def left_without_a_reading(work: Network) -> None:
    """Every time is the first session's; the second one has a base of its own, and nothing."""
    work.session("two", ties=["CM1"], over="CM1", antenna=1.6, points=[(20, 20)])
    work.rows["time"] = np.repeat(work.rows["time"][:1], len(work.rows["time"]))


def not_fixed(work: Network) -> None:
    work.rows["solution"] = np.where(work.rows["mark"] == "", "float", "fix")


EDGES = {
    "ties only": edge(points=[]),
    "one point": edge(),
    "points only, no tie": edge(ties=[]),
    "no tie and no mark, its shift stated": edge(ties=[], stated="none"),
    "checks only": edge(ties=[], checks=["CM1", "CM2"], points=[]),
    "checks only, its shift stated": edge(ties=[], checks=["CM1"], points=[], stated="none"),
    "tie and check on one mark": edge(checks=["CM1"]),
    "tied by a temporary mark alone": edge(ties=["TM1"]),
    "a temporary mark beside control": edge(ties=["CM1", "TM1"], checks=["CM2"]),
    "a check on a temporary mark": edge(checks=["TM1"]),
    "every reading at one time": edge(all_at_once, checks=["CM2"]),
    "every reading at one place": edge(points=[(0, 0)] * 3, checks=["CM1"]),
    "points without names": edge(nameless, points=[(1, 1), (2, 2)]),
    "names and codes of ten thousand bytes": edge(endless, points=[(1, 1), (2, 2)]),
    "every point held back": edge(not_fixed),
    "a session without a reading": edge(left_without_a_reading),
    "a base over a mark and nothing else": edge(ties=[], over="CM1", points=[]),
    "a base over a mark and a point": edge(ties=[], over="CM1"),
}


@pytest.mark.parametrize("name", EDGES)
def test_an_edge(name: str, tmp_path: Path) -> None:
    work = EDGES[name]
    if not len(work._taken):
        return
    every_way(work.write(tmp_path), str(work.rows["name"][0]), name == "tie and check on one mark")


@pytest.mark.parametrize("holds", ["height", "position"])
def test_a_mark_that_holds_one_thing_alone(holds: str, tmp_path: Path) -> None:
    """Ties the session in that alone: its points are held back as untied, and the drawing has no point."""
    work = Network()
    work.mark("CM1", 0, 0, holds=holds)
    work.job["issue"] = {"formats": FORMATS, "by_code": True}
    work.session("one", ties=["CM1"], points=[(10, 10)])
    found = every_way(work.write(tmp_path), "one-1")
    assert found is not None and found.exit_code == 3
    assert found.record["rows"]["by_reason"]["untied"] >= 1


def test_no_names_codes_or_bases_at_all(tmp_path: Path) -> None:
    """Columns that are mapped and empty, beside a session whose shift is stated."""
    work = edge(ties=[], stated="none", points=[(1, 1), (2, 2)])
    path = work.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Point": "", "Code": "", "Base": "", "sE": ""})
    found = every_way(path, "anything")
    assert found is not None and found.record["rows"]["points"] == 2


def test_hundreds_of_rows_of_one_name(tmp_path: Path) -> None:
    work = edge(points=[(number, 0) for number in range(200)])
    names = work.rows["name"].astype(object)
    work.rows["name"] = np.where(work.rows["mark"] == "", "SAME", names).astype(str)
    work.rows["time"] = work.rows["time"][:1] + np.arange(len(names)) * np.timedelta64(1, "s")
    found = every_way(work.write(tmp_path), "SAME")
    assert found is not None and found.record["rows"]["points"] == 200
