"""Which sessions a mean hangs on: those of the readings that agree and that nothing else holds back."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from network_jobs import Network
from repeated_days import days, reading
from simulate_files import write_register

from pipeline import run_job
from pipeline.draft import merged
from pipeline.reissue.means import Formed
from pipeline.tables import TIME

#: Readings: name, session, seconds.
Reading = tuple[str | None, str, int]


def rows(readings: list[Reading], reason: str | None = None) -> pa.RecordBatch:
    """Return rows of ``points``, or of ``held_back`` with a reason."""
    names, sessions, seconds = zip(*readings, strict=True) if readings else ((), (), ())
    columns = {
        "name": pa.array(names, pa.string()),
        "session": pa.array(sessions, pa.string()),
        "observed": pa.array([1000 * second for second in seconds], TIME),
    }
    if reason is not None:
        columns["reason"] = pa.array([reason] * len(readings), pa.string())
    return pa.record_batch(columns)


def formed(pairs: list[tuple[Reading, Reading, bool]], points: list[Reading], **held: list[Reading]) -> Formed:
    """Return what is known of an issue with some pairs, points, and rows held back by reason."""
    first, second, passed = zip(*pairs, strict=True)
    columns = {"name": pa.array([one[0] for one in first], pa.string()), "passed": pa.array(passed)}
    for end, readings in (("a", first), ("b", second)):
        columns[f"session_{end}"] = pa.array([one[1] for one in readings])
        columns[f"observed_{end}"] = pa.array([1000 * one[2] for one in readings], TIME)
    found = Formed(pa.table(columns))
    for reason, readings in held.items():
        found.add(rows(readings, reason), held=True)
    found.add(rows(points), held=False)
    return found


def hangs_on(found: Formed, points: list[Reading]) -> list[set[str]]:
    at, sessions = found.sessions(pa.Table.from_batches([rows(points)]))
    return [
        {name for where, name in zip(at, sessions.to_pylist(), strict=True) if where == n} for n in range(len(points))
    ]


A, B, C = ("P1", "d1", 1), ("P1", "d2", 2), ("P1", "d3", 3)


def test_every_reading_of_a_chain_counts_and_no_point_beside_it() -> None:
    other = ("P2", "d3", 9)
    found = formed([(A, B, True), (B, C, True)], [C, other], duplicate=[A, B])
    assert hangs_on(found, [other, C]) == [set(), {"d1", "d2", "d3"}]


def test_what_does_not_agree_is_in_no_mean() -> None:
    """The first reading lies elsewhere, and is a point of its own."""
    found = formed([(A, B, False), (A, C, False), (B, C, True)], [A, C], duplicate=[B])
    assert hangs_on(found, [A, C]) == [set(), {"d2", "d3"}]


@pytest.mark.parametrize("reason", ["suspect", "unclosed", "unchecked"])
def test_what_is_held_back_for_itself_is_in_no_mean(reason: str) -> None:
    """Also where it was exported twice, and its copy is held back as that."""
    found = formed([(A, B, True), (A, C, True), (B, C, True)], [C], duplicate=[A, B], **{reason: [A]})
    assert hangs_on(found, [C]) == [{"d2", "d3"}]


def test_a_copy_that_was_no_fixed_solution_takes_no_reading_out() -> None:
    found = formed([(A, C, True)], [C], duplicate=[A], not_fixed=[A])
    assert hangs_on(found, [C]) == [{"d1", "d3"}]


def test_two_rovers_at_one_time_are_told_apart_by_the_names() -> None:
    """On days 1 and 2 both read at the same seconds; on day 3 one of them alone."""
    one, two, last = ("Q1", "d1", 1), ("Q1", "d2", 2), ("Q1", "d3", 8)
    found = formed([(A, B, True), (one, last, True)], [B, two, last], duplicate=[A, one])
    assert hangs_on(found, [B, two, last]) == [{"d1", "d2"}, set(), {"d1", "d3"}]


@pytest.mark.parametrize("name", ["P1_2", "Q7", None])
def test_a_mean_may_have_another_name_than_its_readings(name: str | None) -> None:
    """As it is told apart from another thing of the name, or read at one place under two names, or under none."""
    found = formed([(A, B, True)], [(name, "d2", 2)], duplicate=[A])
    assert hangs_on(found, [(name, "d2", 2)]) == [{"d1", "d2"}]


def test_a_copy_of_a_reading_stands_for_no_point_whose_name_was_told_apart() -> None:
    """All was exported twice; the copy of the point's own reading is held back under the name of the export."""
    found = formed([(A, B, True)], [("P1_2", "d2", 2)], duplicate=[A, A, B])
    assert hangs_on(found, [("P1_2", "d2", 2)]) == [{"d1", "d2"}]


def work_of() -> Network:
    """Points read on two days, 12 mm apart, of which the second day alone closes."""
    work = days(closing=("CM3",), tied={2: "CM4"})
    for number in range(1, 9):
        work.displace(reading(work, f"P{number}", 1), np.array([0.012 * (-1) ** number, 0.0, 0.0]))
    work.job["issue"] = {"repeats": "mean", "hold_back": []}
    return work


def test_no_wording_says_what_a_mean_was_formed_from(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The details of held rows are for people: whatever they say, eight means hang on the first day's tie."""
    monkeypatch.setattr(merged, "_where", lambda *_: "the last one")
    work = work_of()
    path = work.write(tmp_path)
    assert run_job(path).record["repeats"]["means"] == 8
    work.register["easting"] = work.register["easting"] + np.where(work.register["mark"] == "CM1", 0.4, 0.0)
    write_register(work.register, path.parent / "register.csv")
    second = run_job(path)
    release = second.record["release"]
    assert release is not None and second.current == 1
    assert {stake["session"]: stake["moved"] for stake in release["at_stake"]}["d1"] == 8
