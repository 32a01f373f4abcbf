"""Who runs which job, how often one is tried, and what is told when nobody is left: with a scheduler of the test's."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from every import every
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.cluster import job_dispatch
from pipeline.cluster.folder_signs import WantedFolder, signed_folders
from pipeline.cluster.job_dispatch import _HandOut, run_on_cluster
from pipeline.cluster.scheduler import Lost, Worker
from pipeline.problems import JobError, JobHeld, Problem
from pipeline.run.mishaps import Died

ONE, TWO = Worker("tcp://one:1", "a", 2), Worker("tcp://two:1", "b", 1)
DONE = JobHeld("done")


class Planned:
    """A scheduler whose workers are those of a plan, look by look; a job's result is what ``ends`` says of it."""

    def __init__(self, *looks: list[Worker], ends: Callable[[str], Any] = lambda _: DONE) -> None:
        self.looks, self.ends, self.given, self.closed = list(looks), ends, list[tuple[str, Worker]](), False

    def workers(self) -> list[Worker]:
        return self.looks.pop(0) if len(self.looks) > 1 else self.looks[0]

    def give(self, worker: Worker, key: str, job: str, *more: Any) -> Any:
        told: Callable[[Any], None] = more[-1]
        self.given.append((job, worker))
        if self.ends(job) is not None:
            told(key)
        return key

    def take(self, _: object) -> Any:
        result = self.ends(self.given[-1][0])
        if isinstance(result, Lost):
            raise result
        return result

    def forget(self, _: object) -> None:
        pass

    def close(self) -> None:
        self.closed = True


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job_dispatch, "_LOOK", 0.02)
    monkeypatch.setattr(job_dispatch, "_WITHOUT", 0.1)


def results(scheduler: Any, workers: list[Worker], *jobs: str) -> dict[str, Any]:
    made = _HandOut(scheduler, [Path(job) for job in jobs], workers, None, False)
    found = [(str(job), result) for job, result in made.results()]
    assert len(found) == len(jobs) and scheduler.closed
    return dict(found)


def test_every_thread_gets_one_job_and_the_idlest_worker_the_next() -> None:
    scheduler = Planned([ONE, TWO])
    assert set(results(scheduler, [ONE, TWO], *"abcdef").values()) == {DONE}
    assert [worker for _, worker in scheduler.given[:3]] == [ONE, TWO, ONE]


def test_a_job_whose_worker_is_lost_twice_has_died_and_is_begun_no_third_time() -> None:
    scheduler = Planned([ONE], ends=lambda job: Lost("killed") if job == "a" else DONE)
    found = results(scheduler, [ONE], "a")
    assert isinstance(found["a"], Died) and "twice" in str(found["a"]) and len(scheduler.given) == 2


def test_a_worker_that_is_gone_takes_its_jobs_with_it_and_one_in_its_place_must_be_fit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is another at the same address; what it cannot do is told where no other is left."""
    again = Worker(ONE.address, "anew", 1)

    def old(*_: object) -> None:
        raise JobError([Problem("--cluster", 0, "it has another version of tiedown")])

    monkeypatch.setattr(job_dispatch, "same_program", old)
    found = results(Planned([ONE], [again], ends=lambda _: None), [ONE], "a", "b", "c")
    assert all(isinstance(one, Died) and "another version" in str(one) for one in every(found.values()))


@pytest.mark.parametrize("back", [[ONE], [ONE, Worker(TWO.address, "anew", 1)]], ids=["gone", "restarted"])
def test_a_worker_that_is_lost_while_all_are_looked_at_costs_no_night(
    back: list[Worker], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are asked once more without it; where another is lost meanwhile, that is told."""
    scheduler, asked = Planned(back), list[list[Worker]]()
    scheduler.first_workers = lambda: [ONE, TWO]  # type: ignore[attr-defined]

    def ask(_: object, workers: list[Worker]) -> None:
        asked.append(workers)
        if len(asked) == 1 or lost:
            raise Lost("workers do not answer")

    monkeypatch.setattr(job_dispatch, "Scheduler", lambda _: scheduler)
    monkeypatch.setattr(job_dispatch, "same_program", ask)
    monkeypatch.setattr(job_dispatch, "not_seen", lambda *_: {})
    monkeypatch.setattr(job_dispatch, "try_folders", lambda *_: None)
    lost = False
    ((_, result),) = run_on_cluster([tmp_path / "job.toml"], "tcp://planned:1")
    assert result is DONE and asked[:2] == [[ONE, TWO], [ONE]]
    lost = True
    scheduler.refused = lambda what, fix: JobError([Problem("--cluster", 0, what, fix)])  # type: ignore[attr-defined]
    with pytest.raises(JobError, match="do not answer"):
        run_on_cluster([tmp_path / "job.toml"], "tcp://planned:1")


def test_a_folder_that_cannot_be_written_refuses_its_own_jobs_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sign cannot be laid there: the disk is full, or somebody else's."""
    (tmp_path / "good").mkdir(), (tmp_path / "full").mkdir()
    wanted = [WantedFolder(f"{name}.toml", "0", str(tmp_path / name)) for name in ("good", "full")]
    touch = Path.touch

    def full(path: Path, **more: Any) -> None:
        if path.parent.name == "full":
            raise OSError(28, "No space left on device", str(path))
        touch(path, **more)

    monkeypatch.setattr(Path, "touch", full)
    with signed_folders(wanted) as (there, fails):
        assert [one.job for one in there] == ["good.toml"] and "No space left" in fails["full.toml"]
        assert len(list((tmp_path / "good").iterdir())) == 1
    assert not list((tmp_path / "good").iterdir())


def test_without_dask_it_is_told_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = simulate(Plan(sessions=1, points=4, noise=False)).write(tmp_path)
    monkeypatch.setitem(sys.modules, "distributed", None)
    found = CliRunner().invoke(app, ["run", str(job), "--cluster", "tcp://127.0.0.1:8786"])
    assert found.exit_code == 2 and "pip install 'dask[distributed]'" in found.stderr
    assert not (tmp_path / "out").exists()
