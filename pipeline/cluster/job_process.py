"""The process beside a worker of a cluster: it runs one job after another, each in a process that may die or hang.

A worker's own process may have no child that Python makes, and its threads share what PROJ and GDAL keep. This one
ends, and the job with it, as soon as the worker has ended, however that happened.
"""

import os
import pickle
import sys
from multiprocessing import active_children
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import BinaryIO

from pipeline.issue.folder.lock_holder import locks_reach
from pipeline.progress import Progress
from pipeline.run.crew import Crew
from pipeline.run.fleet import LOADED, Result, load, run_one

#: A job file, the folder that its path counts from, the seconds that the job is given, and whether nothing is written.
Order = tuple[Path, str, float | None, bool]


def serve() -> None:
    """Run what is ordered on standard input, and answer each on standard output, until nobody orders any more."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints is no answer
    orders: SimpleQueue[Order] = SimpleQueue()
    Thread(target=_listen, args=(sys.stdin.buffer, orders), daemon=True).start()
    job, start, timeout, dry_run = orders.get()
    crew = Crew(_work, [(job, start, dry_run)], 1, _prepare, timeout, loads=[LOADED])
    for _, result in crew.results():
        pickle.dump(pickle.dumps(result), answers)
        answers.flush()
        job, start, crew.timeout, dry_run = orders.get()
        crew.more((job, start, dry_run))


def _listen(source: BinaryIO, orders: "SimpleQueue[Order]") -> None:
    """Take orders; where there is nobody any more to give them, end this process and the one that runs the job."""
    try:
        while True:
            orders.put(pickle.load(source))
    except (EOFError, OSError, pickle.UnpicklingError):
        for child in active_children():
            child.kill()  # at once: another worker may be about to run its job
        os._exit(0)


def _prepare() -> None:
    load()
    locks_reach()


def _work(piece: tuple[Path, str, bool], progress: Progress | None) -> Result:
    """Run a job as where it was named: what is said of it has the names that it has there."""
    job, start, dry_run = piece
    path = Path(os.path.abspath(Path(start, job)))
    try:
        os.chdir(start)
        job = job if os.path.realpath(job) == os.path.realpath(path) else path
    except OSError:  # that folder is not on this machine; the job's own is
        job = path
    return run_one(job, progress, dry_run)
