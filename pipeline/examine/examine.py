"""A job looked at as a whole before anything is computed: what its readings and its operations have wrong, at once."""

from dataclasses import dataclass, replace

from pipeline.examine.base_ids import nothing_but_ids, wrong_ids
from pipeline.examine.datum_steps import register_step, unlike_steps
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import doubts_before
from pipeline.examine.epoch_gaps import epoch_notes
from pipeline.examine.exports import much_held, without_rows
from pipeline.examine.out_of_area import far_from_use
from pipeline.intake.clock_offset import time_offset
from pipeline.intake.first_pass import Gathered, Progress, gather
from pipeline.intake.named_points import report_missing
from pipeline.intake.operations import Routes, choose_routes
from pipeline.intake.prepare import Prepared
from pipeline.intake.sort import Sieve, sieve
from pipeline.intake.unusable import advice_on, distribution
from pipeline.problems import JobError, Problems


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
        problems.add(*prepared.loaded.where("points"), offset, "one slip in clock or date explains them all")
    if len(problems.found) > before:
        for file, what, fix in without_rows(prepared, gathered):
            problems.add(file, 0, what, fix)
        for file, row, what, fix in much_held(prepared, gathered):
            problems.add(file, row, what, fix)
    if offset is None and len(problems.found) > before:
        for sentence in wrong_ids(prepared, gathered):
            problems.add(*prepared.loaded.where("points"), sentence, "one id that is off explains them all at once")
    # Without a place there are no operations to choose; without a register its CRS and height may still lack a grid.
    if gathered.area is None:
        _report_nothing_usable(prepared, gathered, offset, problems)
    else:
        try:
            routes = choose_routes(prepared, gathered.area)
        except JobError as error:
            told = {problem.what for problem in problems.found}  # a CRS that is not one fails every step alike
            for problem in error.problems:
                if problem.what not in told:
                    problems.add(problem.file, problem.line, problem.what, problem.fix)
    problems.raise_if_any()
    told_of = [*far_from_use(prepared, routes), *unlike_steps(prepared, gathered, routes)]
    told_of += register_step(prepared, routes)[1]
    routes = replace(routes, told=(*told_of, *epoch_notes(prepared, gathered, routes)))
    return Examined(prepared, sorting, gathered, routes, doubts_before(prepared, gathered, routes))


def _report_nothing_usable(prepared: Prepared, gathered: Gathered, offset: str | None, problems: Problems) -> None:
    """Say of a job without a usable reading where its rows go; not where that follows from what is told already."""
    if problems.found and (prepared.faulty or not gathered.turned):
        return
    if (far := gathered.unplaced) is not None:
        export = prepared.exports[far.export]
        what = f"{export.points.crs} does not reach the coordinates of {far.count:,} readings"
        what += f" (first {export.shown}:{far.row}: {far.why})"
        fix = "see crs, the order of the axes, and units of these points"
        problems.add(*prepared.loaded.where("points", export.block, "crs"), what, fix)
        return
    if (ids := nothing_but_ids(prepared, gathered)) is not None:
        what = "no reading of the job is one of a session: their base ids are not those of the sessions of their time"
        problems.add(*prepared.loaded.where("points"), what, ids)
        return
    what = "no reading of the job has a time within a session, a position and an accepted solution"
    if gathered.turned:
        what += f". Of {sum(gathered.rows):,} rows are held back: {distribution(gathered, prepared)}"
    fix = advice_on(gathered.turned[0], gathered, prepared) if gathered.turned else "the exports have no rows"
    told = any(problem.what == offset for problem in problems.found)
    problems.add(*prepared.loaded.where("points"), what, "" if told else offset or fix)
