"""What worker processes are forked from is killed while it loads, as for want of memory: no job is lost in silence.

In a program of its own, as the tests' own processes are forked from one that must stay.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import unlucky
from every import every

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere each process loads what it needs")

SUPPORT = Path(unlucky.__file__).parent
CREW = """
from unlucky import nothing, work
from pipeline.run.crew import Crew
import json
crew = Crew(work, ["good 1", "good 2", "good 3"], 2, nothing, loads=["killed_server"])
print(json.dumps(sorted((number, str(result)) for number, result in crew.results())))
"""
COMMAND = """
import pipeline.run.fleet, sys
pipeline.run.fleet.LOADED = "killed_server"
from pipeline.cli.start import main
sys.argv = ["tiedown", *sys.argv[1:]]
sys.exit(main())
"""


def ran(folder: Path, script: str, killed: int, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a script in which that process is killed so many times."""
    (folder / "note").write_bytes(b"x" * killed)
    paths = os.pathsep.join([str(SUPPORT), *filter(None, sys.path)])
    environment = os.environ | {"NOTE": str(folder / "note"), "PYTHONPATH": paths}
    command = [sys.executable, "-c", script, *arguments]
    return subprocess.run(command, env=environment, cwd=folder, capture_output=True, text=True, timeout=120)


def test_killed_once_it_is_started_anew_and_nothing_is_lost(tmp_path: Path) -> None:
    done = ran(tmp_path, CREW, 1)
    assert (done.returncode, done.stderr) == (0, "")
    assert [result.partition(",")[0] for _, result in json.loads(done.stdout)] == ["good 1", "good 2", "good 3"]


def test_killed_for_ever_every_piece_says_so(tmp_path: Path) -> None:
    done = ran(tmp_path, CREW, 100)
    assert (done.returncode, done.stderr) == (0, "")
    assert all("could not be started" in result for _, result in every(json.loads(done.stdout), 3))


def test_of_every_job_one_document_tells(tmp_path: Path) -> None:
    jobs = [tmp_path / "weir.toml", tmp_path / "kiln.toml"]
    for job in jobs:
        job.write_text(f'[job]\nname = "{job.stem}"\nfolder = "{job.stem}"\n', encoding="utf-8")
    done = ran(tmp_path, COMMAND, 100, "run", *map(str, jobs), "--json")
    assert done.returncode == 1 and "Traceback" not in done.stderr
    told = json.loads(done.stdout)["jobs"]
    assert [(Path(one["file"]).name, one["outcome"], one["exit_code"]) for one in told] == [
        ("weir.toml", "died", 1),
        ("kiln.toml", "died", 1),
    ]
