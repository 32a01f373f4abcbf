"""Builds the issue record: inputs, ties, checks and the outcome of every row."""

from collections.abc import Sequence
from typing import cast

from msgspec import Struct

from pipeline.adjust import Adjustment
from pipeline.blunders.sentences import recorded
from pipeline.clock import iso
from pipeline.draft.layer_rows import as_records
from pipeline.examine.assumed_frames import assumed
from pipeline.geodesy.transform import Operation
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.issue.record import finished
from pipeline.issue.record_types import (
    SCHEMA,
    Changes,
    DoubtNoted,
    FileIssued,
    Input,
    OperationUsed,
    Record,
    Release,
    Statistics,
)
from pipeline.issue.row_types import CheckRow, MarkRow, SessionRow
from pipeline.issue.session_types import Session
from pipeline.job.local_clock import local_clock
from pipeline.notices.after_run import untied
from pipeline.notices.bases import base_facts
from pipeline.notices.codes import codes_noted
from pipeline.reissue.fingerprint import program_version
from pipeline.run.about import CAUTION
from pipeline.run.layers import Laid
from pipeline.run.origin import set_up_stated, with_origin
from pipeline.run.precision_record import precisions
from pipeline.run.ready import Ready
from pipeline.run.record_notes import record_notes
from pipeline.run.repeats import repeats
from pipeline.solve.proof import worst
from pipeline.solve.solve import Solved
from pipeline.solve.stretches import courses
from pipeline.solve.taken_out import recorded as recorded_shifts


class Issuing(Struct, frozen=True, kw_only=True):
    """The issue that a record is of.

    Args:
        number: its number.
        last: the record of the previous issue.
        changes: what changed since that; None for the first, and where nothing is issued.
        release: whether it is released; None where nothing is issued.
        altered: in words every file of the previous issue that is not what was issued, or is no longer there.
    """

    number: int
    last: Record | None
    changes: Changes | None = None
    release: Release | None = None
    altered: Sequence[str] = ()


def account(job: Ready, laid: Laid, issue: Issuing) -> Record:
    """Return the record of an issue whose layers are laid out, but for its files, which `with_files` adds.

    ``job`` is all that is known but its points, ``laid`` what the second pass gave.
    """
    survey, solved = job.survey, job.solved
    precise = precisions(survey, solved, laid)
    record: Record = {
        "schema": SCHEMA,
        "job": survey.job.job.name,
        "issue": issue.number,
        "data_to": iso(survey.data_to),
        "version": program_version(),
        "verdict": worst(list(solved.verdicts)),
        "rows": laid.rows,
        "sessions": _sessions(job, laid),
        "checks": as_records(laid.checks, CheckRow),
        "adjustment": _adjustment(survey, solved),
        "operations": _operations(survey),
        "inputs": _inputs(survey),
        "target": survey.target,
        "caution": CAUTION,
        "changes": issue.changes,
        "release": issue.release,
        "files": [],
        "notes": [*record_notes(job, laid, precise, issue.last), *issue.altered],
        "doubts": _doubts(survey, solved, issue.number),
        "wholly_held_back": laid.wholly,
        "diagnoses": recorded(survey, solved, job.diagnoses),
        "marks": as_records(laid.marks, MarkRow),
        "repeats": repeats(job.settled.drafter, laid),
        "precision": precise.recorded,
        "untied": untied(survey, solved),
        "field_shifts": recorded_shifts(survey, solved, issue.number),
        "shift_model": laid.shift_model,
        "identity": job.fingerprint.sums,
        "reach": job.fingerprint.reach,
        "register": with_origin(job.fingerprint.register, survey.register),
        "control": control_used(survey.job),
        "particulars": survey.job.particulars.given if survey.job.particulars else {},
        "local_clock": local_clock(survey.job),
        "accuracy": laid.accuracy,
        "suspect": laid.suspect,
        "codes": codes_noted(survey),
        "linework": laid.linework,
    }
    return finished(record)


def with_files(record: Record, files: list[FileIssued]) -> Record:
    """Return a record with its files, the report among them, which is made of all else that the record says."""
    return {**record, "files": files}


def _sessions(job: Ready, laid: Laid) -> list[Session]:
    """Return the sessions as in their layer, each with its course, its set-up, and what points carry of its base."""
    rows, in_time = as_records(laid.sessions, SessionRow), courses(job.survey, job.solved)
    set_ups = [set_up_stated(window.session.setup) for window in job.survey.windows]
    told = zip(rows, in_time, base_facts(job.survey), set_ups, strict=True)
    return [{**row, **course, "base_log": fact, "setup": setup} for row, course, fact, setup in told]


def _doubts(survey: Survey, solved: Solved, number: int) -> list[DoubtNoted]:
    names = [window.session.name for window in survey.windows]
    return [doubt.recorded(names, number) for doubt in solved.doubts]


def _inputs(survey: Survey) -> list[Input]:
    """Return the files that were read: exports, register, a site's marks, codes, sessions."""
    job, recorded = survey.job, survey.prepared.loaded.recorded
    inputs: list[Input] = [
        {"path": export.file, "sha256": export.sha256, "rows": count}
        for export, count in zip(survey.exports, survey.first_pass.rows, strict=True)
    ]
    if survey.register is not None and job.control is not None:
        of_marks = survey.register
        path = recorded(job.control.file)
        inputs.append({"path": path, "sha256": of_marks.sha256, "rows": of_marks.rows})
    if job.target.site is not None and survey.prepared.site is not None:
        of_site = survey.prepared.site
        inputs.append({"path": recorded(job.target.site.marks), "sha256": of_site.sha256, "rows": of_site.rows})
    if job.codes is not None and survey.prepared.codes is not None:
        of_codes = survey.prepared.codes
        path = recorded(job.codes.file)
        inputs.append({"path": path, "sha256": of_codes.sha256, "rows": len(of_codes.codes)})
    if job.sessions is not None:
        path = recorded(job.sessions.file)
        inputs.append({"path": path, "sha256": survey.prepared.sessions_sum, "rows": len(survey.windows)})
    return inputs


def _adjustment(survey: Survey, solved: Solved) -> record_types.Adjustment:
    """Return how well the observations agree, with the statistics of those that are no ties of rovers."""
    found = solved.shifts.adjustment
    test = found.chi_square
    first = len(solved.tied.occupied) - len(solved.tied.setups)
    over = [solved.tied.marks.names[mark] for mark in solved.tied.occupied[first:]]
    return {
        "variance_factor": found.variance_factor,
        "degrees_of_freedom": found.degrees_of_freedom,
        "chi_square": None if test is None else {"low": test.low, "high": test.high, "passed": test.passed},
        "square_sum": None if test is None else test.value,
        "critical_value": found.critical,
        "set_ups": [
            {"session": survey.windows[session].session.name, "mark": mark, **_statistics(found, first + number)}
            for number, (session, mark) in enumerate(zip(solved.tied.setups, over, strict=True))
        ],
        "control": [
            {"mark": solved.tied.marks.names[mark], **_statistics(found, first + len(over) + number)}
            for number, mark in enumerate(solved.shifts.control)
        ],
    }


def _statistics(found: Adjustment, row: int) -> Statistics:
    """Return residual, redundancy, standardised residual and detectable error of one observation, east, north, up."""
    values = {
        "residual": found.residuals,
        "redundancy": found.redundancy,
        "standardised": found.standardised,
        "detectable": found.detectable,
    }
    told = {
        f"{name}_{axis}": float(of[row, column])
        for name, of in values.items()
        for column, axis in enumerate(("east", "north", "up"))
    }
    return cast(Statistics, told)


def _operations(survey: Survey) -> list[OperationUsed]:
    assumes = assumed(survey)
    return [
        _operation(one) | ({"assumes": assumes[one.name]} if one.name in assumes else {})
        for one in survey.operations.recorded()
    ]


def _operation(operation: Operation) -> OperationUsed:
    return {
        "step": operation.step,
        "name": operation.name,
        "definition": operation.definition,
        "accuracy": operation.accuracy,
        "grids": [{"name": grid.name, "sha256": grid.sha256} for grid in operation.grids],
    }
