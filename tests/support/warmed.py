"""Loading this module does a job, once: what the first run of a process loads and compiles, its forks need not.

The job's heights are ellipsoidal: no grid is open that the forks would read from one place in the file.
"""

import tempfile
from pathlib import Path

import pipeline.run.loaded  # noqa: F401 (first: it hides the libraries of data frames from the others)

# isort: split
from simulate import ELLIPSOIDAL, Plan, simulate

from pipeline.check import check_job
from pipeline.cli import (  # noqa: F401
    check_command,
    history_command,
    main,
    office_command,
    run_command,
    trace_command,
    verify_command,
)
from pipeline.run.run_job import run_job

with tempfile.TemporaryDirectory() as _folder:
    _job = simulate(Plan(sessions=1, points=4, noise=False, place=ELLIPSOIDAL)).write(Path(_folder))
    check_job(_job)
    for _ in range(2):
        run_job(_job)
