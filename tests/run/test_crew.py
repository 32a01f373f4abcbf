"""Processes that die, hang or starve cost the piece of work in hand, and never another."""

import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from every import every
from unlucky import dies, no_room, nothing, work

from pipeline.run.crew import Crew
from pipeline.run.mishaps import Died, Fault, OutOfMemory, TimedOut

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are sent")


def results(*pieces: str, workers: int = 2, timeout: float | None = None, **more: Any) -> list[Any]:
    """Return the result of each piece in the order of the pieces; each must have exactly one."""
    found = list(Crew(work, pieces, workers, more.pop("prepare", nothing), timeout, **more).results())
    assert sorted(number for number, _ in found) == list(range(len(pieces)))
    return [result for _, result in sorted(found, key=lambda one: one[0])]


def good(result: Any, piece: str) -> bool:
    return isinstance(result, str) and result.startswith(f"{piece}, by ")


def test_a_killed_process_costs_its_piece_alone_and_every_other_is_done() -> None:
    """SIGKILL, a crash in a library, and an end that is none: each with a word for it, after a second attempt."""
    pieces = [f"good {n}" for n in range(8)]
    pieces[1], pieces[3], pieces[6] = "kill 9", "kill 11", "leave 7"
    found = results(*pieces)
    for piece, result in every(zip(pieces, found, strict=True)):
        assert piece.startswith("good") == good(result, piece)
    killed, crashed, left = found[1], found[3], found[6]
    assert all(type(one) is Died and one.code == 1 for one in (killed, crashed, left))
    assert "SIGKILL), twice" in str(killed) and "SIGSEGV), twice" in str(crashed) and "code 7, twice" in str(left)
    processes = {result.rpartition(" ")[2] for result in found if isinstance(result, str)}
    assert len(processes) <= 4, "processes stay for many pieces"


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="processes are looked at in /proc")
def test_what_died_once_is_tried_again_alone_after_all_others(tmp_path: Path) -> None:
    found = results(f"alone {tmp_path / 'note'}", f"once {tmp_path / 'other'}", "good 1", "wait 0.3")
    assert found[0] == "0 others"
    assert all(good(one, piece) for one, piece in zip(found[1:], [f"once {tmp_path / 'other'}", "good 1", "wait 0.3"],
                                                      strict=True))  # fmt: skip


def test_want_of_memory_is_tried_again_and_then_told() -> None:
    found = results("memory", "good 1")
    assert type(found[0]) is OutOfMemory and found[0].code == 1 and good(found[1], "good 1")


@pytest.mark.parametrize("hung", ["hang", "stop"])
def test_what_hangs_is_ended_when_its_time_is_over_and_blocks_nothing(hung: str) -> None:
    """As many as there are processes; also where a process does not even answer signals."""
    begun = time.monotonic()
    found = results(hung, hung, "good 1", "good 2", "good 3", timeout=0.5)
    assert time.monotonic() - begun < 30
    assert all(type(one) is TimedOut and one.code == 2 and "0.5 s" in str(one) for one in every(found[:2], 2))
    assert all(good(one, f"good {n}") for n, one in enumerate(every(found[2:], 3), 1))


def test_the_time_of_a_piece_is_its_own() -> None:
    """Five of 0.3 s each in one process, with 1 s for each; starting the process is not counted either."""
    assert all(good(one, "wait 0.3") for one in every(results(*["wait 0.3"] * 5, workers=1, timeout=1), 5))


def test_results_come_as_they_are_there() -> None:
    order = [number for number, _ in Crew(work, ["wait 1.5", "good 1", "good 2"], 2, nothing).results()]
    assert order == [1, 2, 0]


@pytest.mark.parametrize(("prepare", "kind"), [(dies, Died), (no_room, OutOfMemory)])
def test_processes_that_cannot_begin_are_not_started_for_ever(prepare: Any, kind: type) -> None:
    found = results("good 1", "good 2", prepare=prepare)
    assert [type(one) for one in found] == [kind, kind]


def test_where_no_process_can_be_started_every_piece_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise BlockingIOError("no more processes")

    monkeypatch.setattr(Crew, "_start", refused)
    found = results("good 1", "good 2")
    assert all(type(one) is Died and "could not be started" in str(one) for one in every(found, 2))


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere each process loads what it needs")
def test_what_all_processes_need_is_loaded_once() -> None:
    """The tests' own processes are forked from one that has loaded a run: none has to do it again."""
    found = results("loaded", "loaded", "loaded", workers=3)
    assert all(good(one, "loaded") for one in every(found, 3))


def test_progress_is_told_across() -> None:
    seen: list[tuple[str, int, int]] = []
    results("progress", workers=1, progress=lambda *told: seen.append(told))
    assert seen == [("reading", done, 3) for done in range(3)]


def test_processes_end_when_nobody_wants_results_any_more() -> None:
    crew = Crew(work, ["good 1", "hang", "hang"], 2, nothing)
    coming = crew.results()
    _, first = next(coming)
    processes = [worker.process for worker in crew._all]
    coming.close()
    assert good(first, "good 1") and processes and not any(process.is_alive() for process in processes)


def test_signals_are_as_they_were_afterwards() -> None:
    before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
    mask, safe = signal.pthread_sigmask(signal.SIG_BLOCK, []), os.environ.get("PYTHONSAFEPATH")
    results("good 1")
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)] == before
    assert signal.pthread_sigmask(signal.SIG_BLOCK, []) == mask and os.environ.get("PYTHONSAFEPATH") == safe


def test_mishaps_come_out_of_another_process_as_they_went_in() -> None:
    import pickle

    fault = Fault.of(ZeroDivisionError("planted"))
    for one in (fault, Died.of(-9, twice=True), Died.of(-64), TimedOut.after(2.5), OutOfMemory.told()):
        again = pickle.loads(pickle.dumps(one))
        assert (type(again), str(again), again.fix, vars(again)) == (type(one), str(one), one.fix, vars(one))
    assert "ZeroDivisionError: planted" in str(fault) and "planted" in fault.traceback
