"""The command starts quickly: its help needs nothing but the command-line library."""

import subprocess
import sys
from pathlib import Path

from office_jobs import add_issue, job_file
from simulate import Plan, simulate

from pipeline import run_job

HEAVY = (
    "numpy",
    "pyarrow",
    "pyproj",
    "pydantic",
    "scipy",
    "pandas",
    "geopandas",
    "shapely",
    "fiona",
    "pyogrio",
    "jinja2",
    "rich",
    "openpyxl",
    "distributed",
    "dask",
)


def test_help_loads_none_of_the_heavy_libraries() -> None:
    code = f"""
import sys
from pipeline.cli.main import app
try:
    app(["--help"])
except SystemExit as end:
    assert not end.code
loaded = [name for name in {HEAVY!r} if name in sys.modules]
assert not loaded, loaded
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
    assert "run" in found.stdout and "check" in found.stdout


def test_a_process_that_runs_jobs_loads_nothing_that_few_of_them_use() -> None:
    unused = (
        "ezdxf",
        "openpyxl",
        "jinja2",
        "pandas",
        "shapely",
        "unittest",  # by numpy's tests, which scipy takes along by name
        "numpy.f2py.f2py2e",
        "pipeline.issue.formats.formats",
        "pipeline.blunders.hypotheses",
    )
    code = f"""
import sys
import pipeline.run.loaded, pipeline.check
assert {{"pipeline.run.run_job", "scipy.special", "fiona"}} <= set(sys.modules)
loaded = [name for name in {unused!r} if name in sys.modules]
assert not loaded, loaded
import numpy
numpy.testing.assert_equal(numpy.polynomial.Polynomial([1, 2])(3), 7)  # what is put off is there when used
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr


def test_a_small_job_loads_none_of_what_many_marks_or_unusual_files_need(tmp_path: Path) -> None:
    unusual = (  # what reads headings that are not usual, and records of before
        "pipeline.read.height_headings",
        "pipeline.read.slant_headings",
        "pipeline.issue.earlier_doubts",
    )
    path = simulate(Plan(sessions=1, points=3, ties=1, checks=1)).write(tmp_path)
    code = f"""
import sys
from pipeline.run.lean import without_unused
without_unused()
from pipeline import run_job
assert run_job({str(path)!r}).issued
libraries = ("scipy", "shapely", "pandas", "multiprocessing")
loaded = [name for name in sys.modules if name.partition(".")[0] in libraries or name in {unusual!r}]
assert not loaded, loaded
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr


def test_an_unchanged_job_loads_no_library_that_reads_computes_or_writes(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=3)).write(tmp_path)
    assert run_job(path).issued
    code = f"""
import sys
from pipeline.cli.start import main
sys.argv = ["tiedown", "run", {str(path)!r}]
try:
    main()
except SystemExit as end:
    assert not end.code
loaded = [name for name in {(*HEAVY, "typer", "multiprocessing")!r} if name in sys.modules]
assert not loaded, loaded
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
    assert "nothing changed since issue 001" in found.stdout


def test_one_that_has_to_be_looked_at_loads_nothing_that_writes_adjusts_or_reports(tmp_path: Path) -> None:
    """And importing the library alone loads none of the heavy ones."""
    path = simulate(Plan(sessions=1, points=3)).write(tmp_path)
    assert run_job(path).issued
    unused = ("fiona", "pyogrio", "adbc_driver_sqlite", "jinja2", "ezdxf", "openpyxl", "scipy.linalg", "scipy.sparse")
    code = f"""
import sys, pipeline
assert not [name for name in {HEAVY!r} if name in sys.modules]
from pipeline import run_job
assert not run_job({str(path)!r}).issued
loaded = [name for name in {unused!r} if name in sys.modules]
assert not loaded, loaded
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr


def test_the_program_ends_without_freeing_what_it_loaded() -> None:
    """What others want done at the end is done, and the exit code is the command's; nothing is freed bit by bit."""
    code = """
import atexit, sys
import pipeline.cli.start as start

class Freed:
    def __del__(self):
        print("freed")

def named_later():
    atexit.register(print, "done at the end")
    sys.exit(7)

sys.kept = Freed()
start.main = named_later
start.program()
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (found.returncode, found.stdout, found.stderr) == (7, "done at the end\n", "")


def test_who_calls_the_command_and_goes_on_ends_in_a_way_of_its_own() -> None:
    code = """
import sys
from pipeline.cli.start import main

sys.argv = ["tiedown", "--help"]
try:
    main()
except SystemExit as end:
    assert not end.code
sys.exit(5)
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 5, found.stderr


def test_the_page_over_many_jobs_computes_nothing(tmp_path: Path) -> None:
    add_issue(job_file(tmp_path / "jobs"))
    code = f"""
import sys
from pipeline.cli.start import main
sys.argv = ["tiedown", "office", {str(tmp_path)!r}, "--to", {str(tmp_path / "page.html")!r}]
try:
    main()
except SystemExit as end:
    assert not end.code
allowed = ("pydantic", "jinja2")  # the first is the command-line library's
loaded = [name for name in {HEAVY!r} if name in sys.modules and name not in allowed]
assert not loaded, loaded
"""
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
    assert "1 job, none needs attention" in found.stdout
