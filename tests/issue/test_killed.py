"""A run killed at any moment: the issues are whole, and the next run succeeds without cleaning up by hand."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SEARCH = [str(ROOT), str(ROOT / "tests" / "support")]

# Each run is a child that kills itself just before its nth request to the file system, n from 1 until one gets through.
EVERY_REQUEST = """
import os, signal, sys
sys.path[:0] = {search!r}
import errno, json, shutil
from pathlib import Path
from issue_folder import issue, whole
from pipeline.issue.folder.publish import issues

REQUESTS = {{"open", "os.mkdir", "os.rename", "os.symlink", "os.remove", "os.rmdir", "os.scandir", "os.listdir",
             "shutil.copytree", "shutil.copyfile", "shutil.copystat", "shutil.rmtree", "os.utime", "os.chmod"}}

def in_child(task):
    child = os.fork()
    if child == 0:
        status = 1
        try:
            task()
            status = 0
        finally:
            os._exit(status)
    return os.waitpid(child, 0)[1]

def killed_at(fatal, folder):
    asked = 0
    def watch(event, arguments):
        nonlocal asked
        if event in REQUESTS:
            asked += 1
            if asked == fatal:
                os.kill(os.getpid(), signal.SIGKILL)
    sys.addaudithook(watch)
    issue(folder)

def refuse(*_, **__):
    raise OSError(errno.EPERM, "no links here")

root, earlier, links = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "links"
if not links:
    os.symlink = refuse
fatal, outcomes = 0, set()
while True:
    fatal += 1
    folder = root / str(fatal)
    for _ in range(earlier):
        assert in_child(lambda: issue(folder)) == 0
    status = in_child(lambda: killed_at(fatal, folder))
    assert status in (0, signal.SIGKILL), status
    # Before any repair: what is seen is whole, and `current` (if it is there) shows one of the issues.
    seen = [number for number, path in issues(folder)]
    outcomes.add(len(seen))
    for number, path in issues(folder):
        assert (path.parent / f"j-{{number:03d}}.gpkg").read_text() == "points", fatal
    current = folder / "current" / "issue.json"
    if links and earlier:
        assert json.loads(current.read_text())["issue"] in seen, fatal
    assert in_child(lambda: issue(folder)) == 0, f"the run after a kill at request {{fatal}}"
    assert whole(folder) == len(seen) + 1, fatal
    shutil.rmtree(folder)
    if status == 0:
        break
print(fatal, sorted(outcomes))
"""


@pytest.mark.parametrize("links", ["links", "copies"])
@pytest.mark.parametrize("earlier", [0, 1])
def test_killed_before_every_request_to_the_file_system(tmp_path: Path, earlier: int, links: str) -> None:
    """The first issue and a later one; both outcomes, with and without the new issue, occur among the kills."""
    command = [sys.executable, "-c", EVERY_REQUEST.format(search=SEARCH), str(tmp_path), str(earlier), links]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    requests, outcomes = run.stdout.split(maxsplit=1)
    assert int(requests) > 15
    assert outcomes.strip() == str([earlier, earlier + 1])


# A run that also writes and reads back a GeoPackage, killed after seeded shares of the time that a whole one takes.
WITH_GEOPACKAGE = """
import os, random, signal, sys, time
sys.path[:0] = {search!r}
from pathlib import Path
import fiona, pyogrio
from issue_folder import MADE_AT, record
from issue_layers import CRS, DATA_TO, source
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.folder.publish import issues, job_lock, open_issue
from pipeline.issue.geopackage.readback import read_back

folder = Path(sys.argv[1])

def run():
    with job_lock(folder), open_issue(folder) as staged:
        path = staged.path / f"j-{{staged.number:03d}}.gpkg"
        read_back(path, write_geopackage(path, [source(10_000), source(100, "held_back")], crs=CRS, data_to=DATA_TO))
        (staged.path / "issue.json").write_text(record(staged.number))
        staged.publish("proven", "because", MADE_AT)

def start():
    child = os.fork()
    if child == 0:
        status = 1
        try:
            run()
            status = 0
        finally:
            os._exit(status)
    return child

began = time.monotonic()
assert os.waitpid(start(), 0)[1] == 0
whole = time.monotonic() - began
first = (folder / "current" / "j-001.gpkg").read_bytes()
moments = random.Random(20260302)
killed = 0
for _ in range(12):
    child = start()
    time.sleep(moments.random() * whole)
    os.kill(child, signal.SIGKILL)
    killed += os.waitpid(child, 0)[1] == signal.SIGKILL
    for number, path in issues(folder):
        assert (path.parent / f"j-{{number:03d}}.gpkg").read_bytes() == first
    assert (folder / "current" / "issue.json").is_file()
assert killed > 3, killed
before = len(issues(folder))
assert os.waitpid(start(), 0)[1] == 0
assert len(issues(folder)) == before + 1
assert {{path.name for path in folder.iterdir()}} == {{".lock", "issues", "current", "register.csv"}}
assert {{file.name for file in (folder / "current").iterdir()}} == {{f"j-{{before + 1:03d}}.gpkg", "issue.json"}}
"""


def test_killed_while_a_geopackage_is_written(tmp_path: Path) -> None:
    """Twelve seeded moments in a row, each run over what the ones before left; then one that is let through."""
    command = [sys.executable, "-c", WITH_GEOPACKAGE.format(search=SEARCH), str(tmp_path)]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
