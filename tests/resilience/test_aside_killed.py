"""`tiedown aside` killed before each of its changes to the disk: nothing is lost or dangles, and all of it is told."""

import json
import shutil
import signal
from pathlib import Path

import pytest
from command import SMALL
from simulate import simulate
from simulate_files import write_register
from typer.testing import CliRunner
from warm import Warm

from pipeline import run_job
from pipeline.aside import set_aside
from pipeline.cli.main import app
from pipeline.issue.folder.issues_list import read_issues_list
from pipeline.verify import verify

# Kills itself just before its nth change to what lies in the job's folder; LINKS says whether links are to be had.
AT_CHANGE = """
import errno, os, signal, sys
folder, fatal, asked = os.environ["FOLDER"], int(os.environ["FATAL"]), 0
CHANGES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.symlink", "os.link", "os.truncate")
def watch(event, arguments):
    global asked
    written = event == "open" and arguments[2] is not None and arguments[2] & (os.O_WRONLY | os.O_RDWR)
    if (written or event in CHANGES) and any(
        isinstance(word, str | bytes | os.PathLike) and folder in os.fsdecode(word) for word in arguments
    ):
        asked += 1
        if asked == fatal:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(watch)
if not int(os.environ["LINKS"]):
    def no_link(*words, **others):
        raise OSError(errno.EOPNOTSUPP, "no links")
    os.symlink = no_link
from pipeline.cli.main import app
app(sys.argv[1:])
"""


@pytest.fixture(scope="module", params=[True, False], ids=["links", "copies"])
def damaged(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bool]:
    """The folder of a job with two issues, the second without its report; and whether links are to be had."""
    folder, links = tmp_path_factory.mktemp("aside") / "job", request.param
    job = simulate(SMALL)
    path = job.write(folder)
    run_job(path)
    job.mistype("CM1", "ellipsoid_height", 0.002)
    write_register(job.register, folder / "register.csv")
    assert run_job(path).record["issue"] == 2
    if not links:
        out = folder / "out"
        (out / "current").unlink()
        shutil.copytree(out / "issues" / "002", out / "current", symlinks=False)
    (folder / "out" / "issues" / "002" / "simulated-002.html").unlink()
    return folder, links


def _killed(folder: Path, links: bool, number: int) -> bool:
    """Set issue 2 aside, killed before a change; return whether it was (else it came to its end)."""
    variables = {"FOLDER": str(folder / "out"), "FATAL": str(number), "LINKS": str(int(links))}
    done = Warm("aside", folder / "job.toml", "2", code=AT_CHANGE, variables=variables).end()
    assert done.returncode in (0, -signal.SIGKILL), (done.stdout + done.stderr).decode()
    return done.returncode != 0


def test_whatever_is_killed_between(damaged: tuple[Path, bool], tmp_path: Path) -> None:
    """At any moment a drafter has a whole issue, or the damaged one until it is moved; no number is passed over."""
    issued, links = damaged
    moments = 0
    while True:
        moments += 1
        folder = tmp_path / str(moments)
        shutil.copytree(issued, folder, symlinks=True)
        killed = _killed(folder, links, moments)
        path, out = folder / "job.toml", folder / "out"
        stands = (out / "issues" / "002").exists()
        if links:
            shown = (out / "current").resolve(strict=True).name
            assert shown == "001" or (stands and shown == "002"), (moments, shown)
        told = CliRunner().invoke(app, ["history", str(path)]).output
        assert "issue 001" in told and "issue 002" in told, (moments, told)
        found = verify(out)
        assert "was set aside" in str(found.of(2)) or (stands and not found.intact), (moments, found)
        if stands:
            assert killed and set_aside(path, 2).stands == 1
        else:
            assert "SET ASIDE" in told and "simulated-002.html" in told, (moments, told)
        cut = killed and not stands and (out / "set-aside" / ".being-set-aside").exists()
        outcome = run_job(path)
        assert cut == (
            "issue 002 was set aside by a command that did not finish, kept in set-aside/002-" in outcome.headline
        )
        assert "set aside" not in run_job(path).headline
        assert outcome.issued and outcome.record["issue"] == 3 and verify(out).intact
        (line,) = (line for line in read_issues_list(out) if line.verdict == "set aside")
        assert line.issue == 2 and "simulated-002.html" in line.because
        kept = out / line.because.partition("kept in ")[2].partition(";")[0]
        assert (kept / "simulated-002.gpkg").is_file() and not [*out.glob(".staging-*"), *kept.parent.glob(".*")]
        assert (out / "current" / "issue.json").read_bytes() == (out / "issues" / "003" / "issue.json").read_bytes()
        if not killed:
            break
    assert moments > 5


def test_what_a_command_cut_short_set_aside_is_told_by_the_next_run_that_is_not_refused(
    damaged: tuple[Path, bool], tmp_path: Path
) -> None:
    """Once, with --quiet and with --json too, also where nothing else changed; a run that is refused leaves it."""
    issued, _ = damaged
    folder = tmp_path / "job"
    shutil.copytree(issued, folder, symlinks=True)
    path, out, note = folder / "job.toml", folder / "out", folder / "out" / "set-aside" / ".being-set-aside"
    set_aside(path, 2)
    assert run_job(path).record["issue"] == 3
    kept = min(one.name for one in (out / "set-aside").iterdir())  # "copies": and the copy under `current`
    (entry,) = (line for line in read_issues_list(out) if line.verdict == "set aside")
    why = entry.because.partition("; ")[2]
    said = json.dumps({"issue": 2, "at": entry.made_at.isoformat(), "kept": kept, "because": why})
    told = f"issue 002 was set aside by a command that did not finish, kept in set-aside/{kept}"
    register = (folder / "register.csv").read_bytes()
    for arguments in ((), ("--quiet",), ("--json",), ("--dry-run",)):
        note.write_text(said, encoding="utf-8")
        (folder / "register.csv").write_bytes(b"")
        assert CliRunner().invoke(app, ["run", str(path), *arguments]).exit_code == 2 and note.exists()
        (folder / "register.csv").write_bytes(register)
        first, then = (CliRunner().invoke(app, ["run", str(path), *arguments]) for _ in range(2))
        assert first.exit_code == then.exit_code == 0
        assert told in " ".join((first.stdout + first.stderr).split()), arguments
        kept_note = arguments == ("--dry-run",)
        assert note.exists() == kept_note and (told in " ".join((then.stdout + then.stderr).split())) == kept_note
    assert [line.verdict for line in read_issues_list(out)].count("set aside") == 1
    assert told in (out / "runs.log").read_text(encoding="utf-8")
