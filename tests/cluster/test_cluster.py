"""Jobs run by the workers of a real scheduler over TCP: as here, also where a worker dies, lags behind or sees less.

One cluster of one worker serves all of it, since what each of them loads takes seconds; the one that is killed is
restarted. Several workers are in `test_hand_out.py`.
"""

import json
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from command import tiedown
from issued import current_issue
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.cluster.job_dispatch import run_on_cluster
from pipeline.problems import JobError, JobHeld
from pipeline.run.mishaps import Died, TimedOut
from pipeline.run.outcome import Outcome

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="signals are sent"),
    pytest.mark.usefixtures("distributed"),
]

PLANTED = Path(__file__).parents[1] / "support" / "planted_worker.py"
SMALL = Plan(sessions=1, points=4, noise=False)


@pytest.fixture(scope="module")
def distributed() -> Any:
    """Loaded here, since it takes a second that every process that collects tests would wait for."""
    return pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def cluster(distributed: Any) -> Iterator[Any]:
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, host="tcp://127.0.0.1", dashboard_address=":0",
        preload=[str(PLANTED)],
    ) as made:  # fmt: skip
        yield made


@pytest.fixture(scope="module")
def client(cluster: Any, distributed: Any) -> Iterator[Any]:
    with distributed.Client(cluster, set_as_default=False) as made:
        yield made


def jobs_in(folder: Path, *names: str) -> list[Path]:
    return [simulate(SMALL).write(folder / name) for name in names]


def nothing_left(folder: Path) -> bool:
    """Say that no trial of the shared folder left anything."""
    return not [path for path in folder.rglob(".tiedown-tried-*")]


def test_jobs_are_issued_as_here_from_names_that_count_from_here(
    cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Summary, document and exit code are those of a run here; the one that waits is ended, the one refused told."""
    for name in ("one", "two", "here"):
        simulate(SMALL).write(tmp_path / name)
    (tmp_path / "wrong").mkdir()
    (tmp_path / "wrong" / "job.toml").write_text("[job]\nname = 'wrong'\nfolder = 'out'\n")
    monkeypatch.chdir(tmp_path)
    found = tiedown("run", "--cluster", cluster.scheduler_address, "--json", "one/job.toml", "wrong/job.toml",
                    "two/job.toml", "none.toml")  # fmt: skip
    said = json.loads(found.stdout)["jobs"]
    assert found.exit_code == 2 and [one["outcome"] for one in said] == ["issued", "refused", "issued", "refused"]
    assert [one["file"] for one in said] == ["one/job.toml", "wrong/job.toml", "two/job.toml", "none.toml"]
    alone = json.loads(tiedown("run", "--json", "wrong/job.toml", "none.toml").stdout)["jobs"]
    assert [one["problems"] for one in alone] == [said[1]["problems"], said[3]["problems"]]
    assert run_job("here/job.toml").issued
    here, there = current_issue(tmp_path / "here" / "out"), current_issue(tmp_path / "one" / "out")
    assert there.record["rows"] == here.record["rows"] and there.record["sessions"] == here.record["sessions"]
    assert there.record["identity"] == here.record["identity"] and there.record["checks"] == here.record["checks"]
    assert "issued" in (tmp_path / "one" / "out" / "runs.log").read_text()
    again = tiedown("run", "--cluster", cluster.scheduler_address, "one/job.toml", "two/job.toml")
    assert again.exit_code == 0 and again.stdout.count("nothing changed since issue 001") == 2
    assert nothing_left(tmp_path)


def test_a_job_out_of_time_is_ended_and_its_worker_goes_on(cluster: Any, client: Any, tmp_path: Path) -> None:
    (job,) = jobs_in(tmp_path, "slow")
    workers = set(client.scheduler_info()["workers"])
    ((_, late),) = run_on_cluster([job], cluster.scheduler_address, timeout=0.001)
    assert isinstance(late, TimedOut) and late.code == 2
    ((_, good),) = run_on_cluster([job], cluster.scheduler_address, timeout=100)
    assert isinstance(good, Outcome) and good.issued
    assert set(client.scheduler_info()["workers"]) == workers, "a job of a worker is ended, not the worker"


def test_a_job_taken_by_a_worker_and_by_a_run_here_at_once_is_issued_once(cluster: Any, tmp_path: Path) -> None:
    (job,) = jobs_in(tmp_path, "both")
    with ThreadPoolExecutor(1) as other:
        given = other.submit(lambda: list(run_on_cluster([job], cluster.scheduler_address)))
        here: list[Any] = []
        while not given.done() and not any(isinstance(one, Outcome) for one in here):
            try:
                here.append(run_job(job))
            except JobHeld as error:
                here.append(error)
        ((_, there),) = given.result()
    made = [one for one in (there, *here) if isinstance(one, Outcome) and one.issued]
    assert len(made) == 1 and isinstance(there, JobHeld | Outcome), (there, here)
    assert [path.name for path in (tmp_path / "both" / "out" / "issues").iterdir()] == ["001"]


@pytest.mark.skipif(not Path("/proc/self/cwd").exists(), reason="a name that is another file for each process")
def test_what_a_worker_does_not_see_is_told_and_the_other_jobs_are_run(
    cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`/proc/self/cwd` stands for a path that is another folder on another machine."""
    good, elsewhere = jobs_in(tmp_path, "good", "elsewhere")
    monkeypatch.chdir(tmp_path / "elsewhere")
    elsewhere.write_text(elsewhere.read_text().replace('folder = "out"', 'folder = "/proc/self/cwd/deep/out"'))
    (tmp_path / "elsewhere" / "deep").mkdir()
    unseen = Path("/proc/self/cwd/job.toml")
    found = dict(run_on_cluster([good, elsewhere], cluster.scheduler_address))
    assert isinstance(found[good], Outcome) and "a different folder there, or missing" in str(found[elsewhere])
    ((_, refused),) = run_on_cluster([unseen], cluster.scheduler_address)
    assert isinstance(refused, JobError) and "the job file is not visible there" in str(refused)
    assert "shared" in refused.problems[0].fix and nothing_left(tmp_path)


@pytest.mark.parametrize(("there", "words"), [("other", "another version of tiedown"), ("none", "has no tiedown")])
def test_workers_with_another_program_are_told_before_any_job_is_run(
    cluster: Any, client: Any, there: str, words: str, tmp_path: Path
) -> None:
    def change(there: str | None) -> None:
        import sys

        from pipeline.cluster import worker_calls

        name = "pipeline.cluster.worker_calls"
        if there is None:
            sys.modules[name] = sys.modules.pop("kept")
            sys.modules[name].program_sum = sys.modules[name].kept_sum
            return
        sys.modules["kept"], worker_calls.kept_sum = worker_calls, worker_calls.program_sum
        worker_calls.program_sum = lambda: "0" * 64
        if there == "none":
            sys.modules[name] = None

    def back() -> None:
        import sys

        kept = sys.modules.pop("kept")
        kept.program_sum = kept.kept_sum
        sys.modules["pipeline.cluster.worker_calls"] = kept

    (job,) = jobs_in(tmp_path, "job")
    client.run(change, there)
    try:
        found = tiedown("run", job, "--cluster", cluster.scheduler_address, "--json")
    finally:
        client.run(back)
    assert found.exit_code == 2 and words in found.stderr
    assert json.loads(found.stdout)["outcome"] == "refused" and not (tmp_path / "job" / "out").exists()


def test_what_has_not_begun_is_never_begun_when_nobody_wants_results_any_more(
    cluster: Any, client: Any, tmp_path: Path
) -> None:
    jobs = jobs_in(tmp_path, *(f"j{n}" for n in range(6)))
    coming = run_on_cluster(jobs, cluster.scheduler_address)
    next(coming)
    coming.close()
    until = time.monotonic() + 20
    while any(client.processing().values()) and time.monotonic() < until:
        time.sleep(0.05)
    time.sleep(0.3)
    assert 1 <= sum((job.parent / "out").exists() for job in jobs) <= 4


def test_a_killed_worker_costs_its_job_alone_which_is_tried_once_more(cluster: Any, tmp_path: Path) -> None:
    jobs = jobs_in(tmp_path, "dies", "quick-1", "quick-2", "quick-3")
    found = dict(run_on_cluster(jobs, cluster.scheduler_address))
    assert sorted(found) == sorted(jobs)
    died = found.pop(jobs[0])
    assert isinstance(died, Died) and "twice" in str(died) and (died.code, died.outcome) == (1, "died")
    assert [str(found[job]) for job in jobs[1:]] == ["planted"] * 3
    assert len((tmp_path / "dies" / "died").read_text()) == 2


@pytest.mark.parametrize(("address", "words"), [("tcp://127.0.0.1:1", "no Dask scheduler"), ("nowhere", "no Dask")])
def test_a_scheduler_that_is_not_there_is_told_soon(address: str, words: str, tmp_path: Path) -> None:
    (job,) = jobs_in(tmp_path, "job")
    begun = time.monotonic()
    found = tiedown("run", job, "--cluster", address)
    assert found.exit_code == 2 and words in found.stderr and time.monotonic() - begun < 10
    assert not (tmp_path / "job" / "out").exists()


def test_a_scheduler_without_workers_is_told_soon(distributed: Any, tmp_path: Path) -> None:
    (job,) = jobs_in(tmp_path, "job")
    with distributed.LocalCluster(n_workers=0, host="tcp://127.0.0.1", dashboard_address=":0") as empty:
        begun = time.monotonic()
        found = tiedown("run", job, "--cluster", empty.scheduler_address)
        assert time.monotonic() - begun < 15
    assert found.exit_code == 2 and "has no workers" in found.stderr
