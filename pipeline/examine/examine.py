"""Examines a whole job before anything is computed, and reports all errors in readings and transformations at once."""

from functools import partial

import numpy as np
from msgspec import Struct

from pipeline.examine.base_ids import nothing_but_clock, nothing_but_ids, wrong_ids
from pipeline.examine.clock_doubts import ClockFinding, clock_findings
from pipeline.examine.computed import OnTheMarks, on_the_marks
from pipeline.examine.datum_steps import register_step, unlike_steps
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import doubts_before
from pipeline.examine.epoch_gaps import epoch_notes
from pipeline.examine.exchanged_axes import axis_notes
from pipeline.examine.geoid_over_extent import geoid_over_extent
from pipeline.examine.geoid_step import geoid_notes, named_grid_notes, own_way
from pipeline.examine.headed_sides import may_be_mirrored, report_sides, side_notes
from pipeline.examine.letter_o import letter_o_notes, report_letter_o
from pipeline.examine.much_held import much_held, without_rows
from pipeline.examine.out_of_area import far_from_use, heights_far_from_use
from pipeline.examine.stood_on import Stood, stood_on_marks
from pipeline.examine.uncovered import report_uncovered
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.own_places import own_places
from pipeline.intake.clock_offset import time_offset
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.gather import gather
from pipeline.intake.missing_points import report_missing
from pipeline.intake.operations import Operations, choose_operations
from pipeline.intake.prepare import Prepared
from pipeline.intake.sort import sieve
from pipeline.intake.survey import Survey, survey_of
from pipeline.intake.unusable import advice_on, distribution
from pipeline.problems import JobError, Problems
from pipeline.progress import Progress
from pipeline.words import counted


class Examined(Struct, frozen=True):
    """A job without problems after its first pass.

    Args:
        survey: the job before any shift.
        stood: which readings stand on which marks of the register, None where there is none.
        on_marks: how they lie to these before any shift.
        doubts: what takes the proof away whatever the checks say.
        clocks: what is odd about the clocks of exports.
        remarks: in words, what deserves a look and stops nothing.
    """

    survey: Survey
    stood: Stood | None
    on_marks: OnTheMarks
    doubts: tuple[Doubtful, ...]
    clocks: tuple[ClockFinding, ...]
    remarks: tuple[str, ...]


def examine(prepared: Prepared, problems: Problems, progress: Progress | None = None, keep: bool = False) -> Examined:
    """Read the exports for the first time, look for every tie and check, and choose the operations.

    ``problems`` are those that `prepare` found: with any, everything else is looked at all the same, as far as what
    could be loaded goes, so that one list has them all; ``keep`` holds on to all readings. Raises `JobError` with that
    list.
    """
    sorting = sieve(prepared.windows, prepared.loaded.job.quality)
    try:
        first_pass = gather(prepared, sorting, progress, keep)
    except JobError as error:  # a file that cannot be read to its end
        _choose(prepared, _of_register(prepared), problems)
        raise JobError([*problems.found, *error.problems]) from error
    report_sides(prepared, first_pass, problems)
    report_letter_o(prepared, first_pass, problems)
    before, offset = len(problems.found), time_offset(prepared, first_pass, sorting.index)
    report_missing(prepared, first_pass, problems)
    if missing := problems.found[before:]:
        del problems.found[before:]
        _report_files(prepared, first_pass, offset, problems)  # the names that are missing may follow from these
        problems.found.extend(missing)
        _report_one_slip(prepared, first_pass, offset, problems)
    mirrored = partial(may_be_mirrored, prepared.loaded.job.target.grid, first_pass.area)
    first_pass.hemispheres.report(prepared.exports, mirrored, problems)
    # Without a place there are no operations to choose; without a register its CRS and height may still lack a grid.
    if first_pass.area is None:
        _report_nothing_usable(prepared, first_pass, offset, problems)
    area = first_pass.area if first_pass.area is not None else _of_register(prepared)
    operations = _choose(prepared, area, problems)
    problems.raise_if_any()
    if operations is None:
        raise RuntimeError("a job without operations has no problem that says so")
    survey = survey_of(prepared, sorting, first_pass, operations, offset)
    report_uncovered(survey, problems)
    problems.raise_if_any()
    return _examined(survey)


def _of_register(prepared: Prepared) -> Area | None:
    """Return the extent of the register's marks, where no reading says where the job is; None where none does."""
    control, register = prepared.loaded.job.control, prepared.register
    if control is None or register is None:
        return None
    try:
        longitude, latitude = own_places(control.crs, register.first, register.second, register.third)[:2]
        return Area.from_degrees(longitude, latitude) if np.isfinite(longitude + latitude).any() else None
    except OperationError:  # told of the register where readings say where the job is
        return None


def _choose(prepared: Prepared, area: Area | None, problems: Problems) -> Operations | None:
    """Choose the operations over an extent; None where they lack something, or cannot be chosen at all.

    Without a file of the target that the job names nobody can say what else it lacks.
    """
    if area is None or "target" in prepared.loaded.faulty:
        return None
    try:
        return choose_operations(prepared, area)
    except JobError as error:
        told = {problem.what for problem in problems.found}  # a CRS that is not one fails every step alike
        for problem in error.problems:
            if problem.what not in told:
                problems.add(problem.file, problem.line, problem.what, problem.fix)
    return None


def _examined(survey: Survey) -> Examined:
    """Return what is in doubt, odd or worth a look in a job without problems."""
    far, unlike = (*far_from_use(survey), *heights_far_from_use(survey)), unlike_steps(survey)
    doubted, noted = register_step(survey)
    own = own_way(survey)
    unlike_geoids, apart = geoid_over_extent(survey, own)
    stood, clocks = stood_on_marks(survey), tuple(clock_findings(survey))
    unproven = () if doubted or noted else geoid_notes(survey)  # what is said of its accuracy says that already
    on_marks = on_the_marks(survey, stood)
    doubts = doubts_before(survey, stood, on_marks, (*doubted, *unlike_geoids), own, clocks)
    remarks = (*far, *unlike, *apart, *noted, *named_grid_notes(survey), *unproven, *epoch_notes(survey),
               *side_notes(survey), *axis_notes(survey), *letter_o_notes(survey))  # fmt: skip
    return Examined(survey, stood, on_marks, doubts, clocks, remarks)


def _report_one_slip(prepared: Prepared, first_pass: FirstPass, offset: str | None, problems: Problems) -> None:
    """Say where one slip may be why ties and checks are missing: base ids, clock or date."""
    if not nothing_but_clock(prepared, first_pass, offset):
        for sentence in wrong_ids(prepared, first_pass, offset):
            problems.add(*prepared.loaded.where("points"), sentence, "one id that is off explains them all at once")
    if offset is not None:
        fix = "one slip in clock or date, of the exports or of the sessions, explains them all"
        problems.add(*prepared.loaded.where("points"), offset, fix)


def _report_files(prepared: Prepared, first_pass: FirstPass, offset: str | None, problems: Problems) -> None:
    """Say which files have no rows, or hardly any that could be used."""
    for file, what, fix in without_rows(prepared, first_pass):
        problems.add(file, 0, what, fix)
    for file, row, what, fix in much_held(prepared, first_pass, offset):
        problems.add(file, row, what, fix)


def _report_nothing_usable(prepared: Prepared, first_pass: FirstPass, offset: str | None, problems: Problems) -> None:
    """Say of a job without a usable reading where its rows go; not where that follows from what is told already."""
    if problems.found and (prepared.faulty or not first_pass.unusable):
        return
    if (far := first_pass.unplaced) is not None:
        export = prepared.exports[far.export]
        what = f"{export.points.crs} does not cover the coordinates of {counted(far.count, 'reading')}"
        what += f" (first {export.shown}:{far.row}: {far.why})"
        fix = "check crs, the order of the axes, and units of these points"
        problems.add(*prepared.loaded.where("points", export.block, "crs"), what, fix)
        return
    if (ids := nothing_but_ids(prepared, first_pass, offset)) is not None:
        what = "no reading of the job is in a session: their base ids are not those of the sessions at their time"
        problems.add(*prepared.loaded.where("points"), what, ids)
        return
    if len(impossible := first_pass.implausible.numbers):
        what = f"all {counted(len(impossible), 'reading')} that could be used cannot be where they state"
        what += f": the first one {first_pass.implausible.details[0]}"
        fix = "check the limits of [quality] and the position of the base; all lengths are metres"
        problems.add(*prepared.loaded.where("quality"), what, fix)
        return
    what = "no reading of the job has a time within a session, a position and an accepted solution"
    if first_pass.unusable:
        what += f". Of {counted(sum(first_pass.rows), 'row')} are held back: {distribution(first_pass, prepared)}"
    fix = advice_on(first_pass.unusable[0], first_pass, prepared) if first_pass.unusable else "the exports have no rows"
    told = any(problem.what == offset for problem in problems.found)
    problems.add(*prepared.loaded.where("points"), what, "" if told else offset or fix)
