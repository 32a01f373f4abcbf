"""A job's command, or the caller's, is called once for each change, whatever becomes of runs and commands."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from command import SMALL, command, surroundings
from running import replace_in
from simulate import simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app
from pipeline.cli.run_command import Batch, run_jobs
from pipeline.issue.folder.last_notification import NAME, note_path
from pipeline.job.command_named import Command
from pipeline.notify import called
from pipeline.notify.job_change import JobChange
from pipeline.notify.telling import tell
from pipeline.problems import JobError, Problem
from pipeline.release import release
from pipeline.verify import verify

pytestmark = pytest.mark.skipif(os.name != "posix", reason="commands are shell scripts")

#: Notes each call with what it was told, and ends as a file beside it says.
TELL = """#!/bin/sh
echo "$TIEDOWN_EVENTS" >> calls
cat > said.json
echo "heard $TIEDOWN_SUBJECT, PROJ_DATA=$PROJ_DATA, PROJ_NETWORK=$PROJ_NETWORK"
exit "$(cat code 2>/dev/null || echo 0)"
"""


def lay(folder: Path, *, named: bool = True) -> Path:
    path = simulate(SMALL).write(folder)
    (folder / "tell.sh").write_text(TELL, encoding="utf-8")
    (folder / "tell.sh").chmod(0o755)
    if named:
        name_command(path)
    return path


def name_command(path: Path, extra: str = "") -> None:
    path.write_text(f'{path.read_text(encoding="utf-8")}\n[notify]\ncommand = ["./tell.sh"]\n{extra}', encoding="utf-8")
    path.chmod(0o644)


def calls(folder: Path) -> list[str]:
    path = folder / "calls"
    return path.read_text(encoding="utf-8").split() if path.exists() else []


def run(*paths: Path, workers: int = 1, timeout: float | None = None, **ways: Any) -> int:
    return run_jobs(Batch(paths, **{"quiet": True, **ways}), workers=workers, timeout=timeout)


def edit(path: Path) -> None:
    """Give the job a reason for another issue."""
    path.write_text(path.read_text(encoding="utf-8") + "\n[particulars]\ncrew = 'b'\n", encoding="utf-8")


def test_it_is_called_once_for_each_change_and_never_else(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PROJ_NETWORK", "the user's own")
    path = lay(tmp_path)
    assert CliRunner().invoke(app, ["check", str(path)]).exit_code == 0
    assert run(path, dry_run=True) == 0 and run_job(path, told=False).issued and not calls(tmp_path)
    # that run is as one that was killed when its issue had appeared
    assert run(path) == 0 and run(path) == 0 and calls(tmp_path) == ["first"]
    log = (tmp_path / "out" / "runs.log").read_text(encoding="utf-8")
    assert "heard simulated: issue 001, verdict PROVEN, " in log and "PROJ_NETWORK=the user's own" in log
    os.rename(tmp_path / "register.csv", tmp_path / "away.csv")
    assert run(path) == 2 and run(path) == 2
    os.rename(tmp_path / "away.csv", tmp_path / "register.csv")
    assert run(path) == 0 and run(path) == 0 and calls(tmp_path) == ["first", "refused", "recovered"]
    said = json.loads((tmp_path / "said.json").read_text(encoding="utf-8"))
    assert said["before"]["stand"] == "refused" and said["issue"] == 1 and Path(said["report"]).is_file()
    edit(path)
    capfd.readouterr()
    assert run(path, as_json=True) == 0
    assert json.loads(capfd.readouterr().out)["issue"] == 2
    release(path, 1, "the client has it")
    assert run(path) == 0 and calls(tmp_path)[3:] == ["issue", "released"]
    assert verify(tmp_path / "out").findings == ()


def test_a_refusal_says_what_stands_although_nobody_was_told_of_it(tmp_path: Path) -> None:
    """The command was named when the job had issues already: the folder says what they are."""
    path = lay(tmp_path, named=False)
    assert run(path) == 0
    edit(path)
    assert run(path) == 0
    name_command(path)
    (tmp_path / "register.csv").rename(tmp_path / "away.csv")
    assert run(path) == 2 and calls(tmp_path) == ["refused"]
    said = json.loads((tmp_path / "said.json").read_text(encoding="utf-8"))
    assert said["subject"] == "simulated: refused; issue 002 stands" and said["job"] == "simulated"
    assert [said[key] for key in ("stand", "issue", "verdict", "pending", "current")] == [
        "refused", 2, "proven", False, 2,
    ]  # fmt: skip
    assert said["folder"] == str(tmp_path / "out") and Path(said["report"]).name == "simulated-002.html"
    assert Path(said["report"]).is_file() and said["before"] is None
    # a job file that cannot be read is near its folder, and says as much
    (tmp_path / "calls").unlink()
    own = Command((str(tmp_path / "tell.sh"),), tmp_path, 20.0)
    text = path.read_text(encoding="utf-8")
    path.write_text("[broken", encoding="utf-8")
    (tmp_path / "out" / NAME).unlink()
    assert run_jobs(Batch((path,), quiet=True, notify=own), workers=1, timeout=None) == 2
    said = json.loads((tmp_path / "said.json").read_text(encoding="utf-8"))
    assert said["issue"] == 2 and said["folder"] == str(tmp_path / "out")
    # once it runs again, that is all there is to tell
    path.write_text(text, encoding="utf-8")
    (tmp_path / "away.csv").rename(tmp_path / "register.csv")
    assert run(path) == 0 and calls(tmp_path) == ["refused", "recovered"]


def test_naming_a_command_is_no_change_and_makes_no_issue(tmp_path: Path) -> None:
    path = lay(tmp_path, named=False)
    assert run_job(path).issued
    name_command(path)
    assert not run_job(path).issued and run(path) == 0
    replace_in(path, {'["./tell.sh"]': '["./tell.sh", "more"]'})
    assert run(path) == 0 and not run_job(path).issued and not calls(tmp_path)


def test_one_that_fails_is_told_of_and_called_again(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """It changes neither outcome nor exit code."""
    path = lay(tmp_path)
    (tmp_path / "code").write_text("5", encoding="utf-8")
    assert run(path) == 0
    said = capfd.readouterr().err
    assert "the command for first ended with code 5" in said and "the next run calls it again" in said
    assert run(path) == 0
    (tmp_path / "code").unlink()
    assert run(path) == 0 and run(path) == 0 and calls(tmp_path) == ["first"] * 3
    log = (tmp_path / "out" / "runs.log").read_text(encoding="utf-8")
    assert log.count("ended with code 5") == 2 and log.count("ended with code 0") == 1


def test_a_caller_has_its_own_command_for_what_cannot_be_read_too(tmp_path: Path) -> None:
    """A job file that is no TOML names none; its folder is not known either, so the note stands beside it."""
    path = lay(tmp_path)
    own = tmp_path / "own"
    own.mkdir()
    told = TELL.replace("calls", str(own / "calls")).replace("said.json", str(own / "said.json"))
    (own / "tell.sh").write_text(told, encoding="utf-8")
    (own / "tell.sh").chmod(0o755)
    text = path.read_text(encoding="utf-8")
    for content, code in (("[broken", 2), ("[broken", 2), (text, 0), (text, 0), ("[broken", 2), (text, 0)):
        path.write_text(content, encoding="utf-8")
        found = CliRunner().invoke(app, ["run", "--quiet", "--notify", str(own / "tell.sh"), str(path)])
        assert found.exit_code == code, found.output
    assert calls(own) == ["refused", "first,recovered", "refused", "recovered"] and not calls(tmp_path)
    assert not note_path(path).exists() and (tmp_path / "out" / NAME).is_file()
    assert CliRunner().invoke(app, ["run", "--notify", "'open", str(path)]).exit_code == 2
    assert CliRunner().invoke(app, ["run", "--notify", " ", str(path)]).exit_code == 2


def test_a_job_file_that_others_may_write_gives_no_command(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = lay(tmp_path)
    path.chmod(0o666)
    assert run(path) == 0 and not calls(tmp_path)
    assert "was not called: anyone may write to the job file" in capfd.readouterr().err
    path.chmod(0o644)
    assert run(path) == 0 and calls(tmp_path) == ["first"]


def test_of_several_jobs_each_has_its_own_also_one_that_hangs(tmp_path: Path) -> None:
    """In worker processes: one issued, one that takes too long for its time, one that names the folder of the first."""
    good, slow, same = (lay(tmp_path / name) for name in ("good", "slow", "same"))
    assert run(slow) == 0
    replace_in(same, {"out": "../good/out"})
    hang = tmp_path / "slow" / "hang.py"
    hang.write_text("import time; time.sleep(60)", encoding="utf-8")
    replace_in(slow, {'command = ["./tell.sh"]': f'command = ["{sys.executable}", "hang.py"]\ntimeout = 0.5'})
    edit(slow)
    assert run(good, slow, same, workers=2, timeout=60) == 2
    assert calls(tmp_path / "good") == ["first"] and calls(tmp_path / "same") == ["refused"]
    assert "ran longer than 0.5 s" in (tmp_path / "slow" / "out" / "runs.log").read_text(encoding="utf-8")
    assert json.loads((tmp_path / "slow" / "out" / NAME).read_text(encoding="utf-8"))["issue"] == 1


def test_one_that_hangs_for_every_job_does_not_hold_up_the_night(tmp_path: Path) -> None:
    """A server of mail that is down: after three calls no more, and each job is told by the next run."""
    missing, late = tmp_path / "none.toml", list[tuple[str, ...]]()
    slow = Command(("sh", "-c", "echo called >> calls; sleep 30"), tmp_path, 0.2)
    change = JobChange(missing, JobError([Problem("x", 0, "a", "b")]), 2)
    told = [tell(change, slow, dict(os.environ), late) for _ in range(5)]
    assert len(calls(tmp_path)) == 3 and len(late) == 3
    assert [one is not None and "took too long three times" in one.how for one in told] == [False] * 3 + [True] * 2
    quick = Command(("true",), tmp_path, 5.0)
    assert [tell(change, quick, dict(os.environ), late) is not None for _ in range(2)] == [True, False]


def test_a_wish_to_end_is_answered_when_a_command_being_started_is_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else what answers it would end all commands but that one."""
    start, known = subprocess.Popen, list[int]()

    def started(*words: Any, **how: Any) -> Any:
        process = start(*words, **how)
        os.kill(os.getpid(), signal.SIGTERM)
        return process

    monkeypatch.setattr(called.subprocess, "Popen", started)
    before = signal.signal(signal.SIGTERM, lambda *_: known.append(len(called._running)))
    try:
        assert called.call(["true"], tmp_path, os.environ, b"", 10.0).well
    finally:
        signal.signal(signal.SIGTERM, before)
    assert known == [1]


def test_a_run_that_is_ended_while_it_tells_takes_the_command_along(tmp_path: Path) -> None:
    """And the next run tells."""
    path = lay(tmp_path)
    (tmp_path / "tell.sh").write_text("#!/bin/sh\necho $$ > pid\nsleep 60\n", encoding="utf-8")
    process = subprocess.Popen(command("run", path), env=surroundings(), stdout=-3, stderr=-3)
    for _ in range(600):
        if (tmp_path / "pid").exists() and (tmp_path / "pid").read_text(encoding="utf-8"):
            break
        time.sleep(0.05)
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == -signal.SIGTERM
    number = int((tmp_path / "pid").read_text(encoding="utf-8"))
    for _ in range(100):
        try:
            if "Z" in Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rpartition(")")[2]:
                break
            os.kill(number, 0)
        except (FileNotFoundError, ProcessLookupError):
            break
        time.sleep(0.02)
    else:
        raise AssertionError("the command goes on")
    (tmp_path / "tell.sh").write_text(TELL, encoding="utf-8")
    assert run(path) == 0 and calls(tmp_path) == ["first"]
