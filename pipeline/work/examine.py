"""A job looked at as a whole before anything is computed: what its readings and its operations have wrong, at once."""

from dataclasses import dataclass

from pipeline.doubts import Doubtful
from pipeline.problems import JobError, Problems
from pipeline.work.base_ids import nothing_but_ids, wrong_ids
from pipeline.work.doubts import doubts_before
from pipeline.work.gather import Gathered, Progress, gather
from pipeline.work.named import report_missing
from pipeline.work.offset import time_offset
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes, choose_routes
from pipeline.work.sift import Sieve, sieve


@dataclass(frozen=True)
class Examined:
    """A job without problems after its first pass."""

    prepared: Prepared
    sieve: Sieve
    gathered: Gathered
    routes: Routes
    doubts: tuple[Doubtful, ...]


def examine(prepared: Prepared, problems: Problems, progress: Progress | None = None) -> Examined:
    """Read the exports for the first time, look for every tie and check, and choose the operations.

    ``problems`` are those that `prepare` found: with any, everything else is looked at all the same, as far as what
    could be loaded goes, so that one list has them all. Raises `JobError` with that list.
    """
    sorting = sieve(prepared.windows, prepared.loaded.job.quality)
    try:
        gathered = gather(prepared, sorting, progress)
    except JobError as error:  # a file that cannot be read to its end
        raise JobError([*problems.found, *error.problems]) from error
    before, offset = len(problems.found), time_offset(prepared, gathered)
    report_missing(prepared, gathered, problems)
    if offset is not None and len(problems.found) > before:
        problems.add(*prepared.loaded.where("points"), offset, "one clock that is off explains them all at once")
    ids = nothing_but_ids(prepared, gathered)
    if offset is None and len(problems.found) > before:
        for sentence in wrong_ids(prepared, gathered):
            problems.add(*prepared.loaded.where("points"), sentence, "one id that is off explains them all at once")
    # Without a place there are no operations to choose; without a register its CRS and height may still lack a grid.
    if gathered.area is not None or not problems.found:
        try:
            routes = choose_routes(prepared, gathered.area, offset, ids)
        except JobError as error:
            told = {problem.what for problem in problems.found}  # a CRS that is not one fails every step alike
            for problem in error.problems:
                if problem.what not in told:
                    problems.add(problem.file, problem.line, problem.what, problem.fix)
    problems.raise_if_any()
    return Examined(prepared, sorting, gathered, routes, doubts_before(prepared, gathered, routes))
