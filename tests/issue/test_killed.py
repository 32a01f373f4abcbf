"""A run killed at any moment: the issues are whole, and the next run succeeds without cleaning up by hand."""

from pathlib import Path

import pytest
from warm import Warm

ROOT = Path(__file__).parents[2]
SEARCH = [str(ROOT), str(ROOT / "tests" / "support")]

# A run in a child keeps a copy of the folder just before each of its requests to the file system: that is what it would
# leave if it were killed there. Every copy that differs from the others is then judged and run again.
EVERY_REQUEST = """
import os, sys
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
    assert os.waitpid(child, 0)[1] == 0

def copied(folder, copies):
    copying, asked = False, 0
    def watch(event, arguments):
        nonlocal copying, asked
        if event in REQUESTS and not copying:
            copying, asked = True, asked + 1
            if folder.exists():
                shutil.copytree(folder, copies / str(asked), symlinks=True)
            copying = False
    sys.addaudithook(watch)
    issue(folder)

def state(folder):
    found = []
    for path in sorted(folder.rglob("*")):
        what = os.readlink(path) if path.is_symlink() else path.read_bytes() if path.is_file() else None
        found.append((str(path.relative_to(folder)), what))
    return tuple(found)

def refuse(*_, **__):
    raise OSError(errno.EPERM, "no links here")

root, earlier, links = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "links"
if not links:
    os.symlink = refuse
run, copies = root / "run", root / "copies"
copies.mkdir()
for _ in range(earlier):
    issue(run)
in_child(lambda: copied(run, copies))
numbers = sorted(int(copy.name) for copy in copies.iterdir())
states = {{state(copies / str(number)): number for number in numbers}}
outcomes = set()
for number in states.values():
    folder = copies / str(number)
    # Before any repair: what is seen is whole, and `current` (if it is there) shows one of the issues.
    seen = [number for number, path in issues(folder)]
    outcomes.add(len(seen))
    for issued, path in issues(folder):
        assert (path.parent / f"j-{{issued:03d}}.gpkg").read_text() == "points", number
    current = folder / "current" / "issue.json"
    if links and earlier:
        assert json.loads(current.read_text())["issue"] in seen, number
    issue(folder)
    assert whole(folder) == len(seen) + 1, number
assert whole(run) == earlier + 1
print(numbers[-1], len(states), sorted(outcomes))
"""


@pytest.mark.parametrize("links", ["links", "copies"])
@pytest.mark.parametrize("earlier", [0, 1])
def test_killed_before_every_request_to_the_file_system(tmp_path: Path, earlier: int, links: str) -> None:
    """The first issue and a later one; both outcomes, with and without the new issue, occur among the kills."""
    run = Warm(tmp_path, str(earlier), links, code=EVERY_REQUEST.format(search=SEARCH)).end()
    assert run.returncode == 0, run.stderr.decode()
    requests, states, outcomes = run.stdout.decode().split(maxsplit=2)
    assert int(requests) > 15 and int(states) > 6
    assert outcomes.strip() == str([earlier, earlier + 1])


# A run that also writes and reads back a GeoPackage, killed after seeded shares of the time that a whole one takes.
WITH_GEOPACKAGE = """
import os, random, signal, sys, time
sys.path[:0] = {search!r}
from pathlib import Path
import fiona, pyogrio
from issue_folder import MADE_AT, record
from issue_layers import CRS, DATA_TO, source
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.folder.publish import issues, job_lock, open_issue
from pipeline.issue.geopackage.readback import read_back

folder = Path(sys.argv[1])

def run():
    with job_lock(folder), open_issue(folder) as staged:
        path = staged.path / f"j-{{staged.number:03d}}.gpkg"
        read_back(path, write_geopackage(path, [source(4_000), source(100, "held_back")], Georeference(CRS), DATA_TO))
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
assert {{file.name for file in (folder / "current").iterdir()}} == {{
    f"j-{{before + 1:03d}}.gpkg", "j.gpkg", "issue.json"
}}
"""


def test_killed_while_a_geopackage_is_written(tmp_path: Path) -> None:
    """Twelve seeded moments in a row, each run over what the ones before left; then one that is let through."""
    run = Warm(tmp_path, code=WITH_GEOPACKAGE.format(search=SEARCH)).end()
    assert run.returncode == 0, run.stderr.decode()
