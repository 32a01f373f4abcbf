"""The issue record: what the issue was made from, how it was tied, what its checks say and where every row went."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.adjust import Adjustment
from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import moment
from pipeline.geodesy import crs
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey
from pipeline.intake.target import target
from pipeline.issue.about import About
from pipeline.issue.attention import wholly as wholly_held
from pipeline.issue.record import Record, build_record
from pipeline.job.model import Job
from pipeline.notices.after_run import notes as job_notes
from pipeline.notices.after_run import untied
from pipeline.reissue.fingerprint import program_version
from pipeline.solve.proof import worst
from pipeline.solve.solve import Solved
from pipeline.words import REASONS

CAUTION = (
    "No substitute for a licensed surveyor's judgement: cadastral boundaries, set-out of structures and anything that "
    "people's safety rests on follow the local survey regulations and a licensed practitioner."
)


@dataclass
class Count:
    """Where the rows went, counted while the second pass runs."""

    sessions: int
    points: int = 0
    held_back: int = 0
    by_session: Integers = field(init=False)
    apart: dict[int, tuple[float, float, str]] = field(default_factory=dict)
    by_reason: Integers = field(default_factory=lambda: np.zeros(len(REASONS), np.int64))

    def __post_init__(self) -> None:
        self.by_session = np.zeros(self.sessions, np.int64)

    def add(self, session: NDArray[np.int32], held: NDArray[np.uint8], points: Flags) -> None:
        """Count one batch: (n,) session, ``held`` code and whether it is a drafted point."""
        self.points += int(points.sum())
        self.held_back += int((held > 0).sum())
        self.by_session += np.bincount(session[points], minlength=self.sessions)
        self.by_reason += np.bincount(held, minlength=len(REASONS) + 1)[1:]

    def compare_models(self, session: NDArray[np.int32], apart: Floats, names: Sequence[str | None]) -> None:
        """Note how far (n, 2) the two models of the shift lie apart, horizontally and in height, at drafted points."""
        for number in np.unique(session).tolist():
            here = np.flatnonzero(session == number)
            farthest = here[np.argmax(np.hypot(*apart[here].T))]
            if np.hypot(*apart[farthest]) > np.hypot(*self.apart.get(number, (0.0, 0.0, ""))[:2]):
                self.apart[number] = (float(apart[farthest, 0]), float(apart[farthest, 1]), names[farthest] or "")

    def shift_model(self, survey: Survey) -> dict[str, Any]:
        """Return the record's ``shift_model``: for "grid", per session, how far it differs from the geocentric one."""
        return {
            "model": survey.job.shift.model,
            "farthest": [
                {
                    "session": survey.windows[number].session.name,
                    "point": name,
                    "horizontal": horizontal,
                    "vertical": vertical,
                }
                for number, (horizontal, vertical, name) in sorted(self.apart.items())
            ],
        }

    def rows(self, read: int, on_marks: int) -> dict[str, Any]:
        """Return the record's ``rows``.

        Raises `RuntimeError` where they do not add up: a fault of the program, and nothing is issued.
        """
        if read != self.points + on_marks + self.held_back:
            raise RuntimeError(
                f"rows do not add up: {read} read, points {self.points}, {on_marks} on marks,"
                f" {self.held_back} held back"
            )
        by_reason = {str(reason): int(n) for reason, n in zip(REASONS, self.by_reason, strict=True) if n}
        return {
            "read": read,
            "points": self.points,
            "on_marks": on_marks,
            "held_back": self.held_back,
            "by_reason": by_reason,
        }


def account(
    survey: Survey,
    solved: Solved,
    *,
    issue: int,
    rows: Mapping[str, Any],
    wholly: Sequence[Mapping[str, Any]],
    sessions: Sequence[Mapping[str, Any]],
    checks: Sequence[Mapping[str, Any]],
    marks: Sequence[Mapping[str, Any]],
    shift_model: Mapping[str, Any],
    diagnoses: Sequence[Mapping[str, Any]],
    drifts: Sequence[str],
    sums: Mapping[str, str],
    reach: Mapping[str, Any],
    register: Sequence[Mapping[str, str]],
    notes: Sequence[str],
    changes: Mapping[str, Any] | None,
    files: Sequence[Mapping[str, Any]],
) -> Record:
    """Return the record of an issue.

    Args:
        survey: the job before any shift.
        solved: its shifts and what the marks say.
        issue: number of the issue.
        rows: where the rows went, from `Count.rows`.
        wholly: files, sessions and days of which no point is issued, from `WhollyHeld.record`.
        sessions, checks, marks: the rows of those layers.
        shift_model: from `Count.shift_model`.
        diagnoses, drifts: what failing occupations and trends may mean.
        sums: the identity.
        reach, register: from `reissue`.
        notes: what a reader should look at.
        changes: what changed since the issue before; None for the first.
        files: names and sums of the files beside the record.
    """
    job = survey.job
    inputs = [
        {"path": export.shown, "sha256": export.sha256, "rows": count}
        for export, count in zip(survey.exports, survey.first_pass.rows, strict=True)
    ]
    if survey.register is not None and job.control is not None:
        of_marks = survey.register
        path = Path(os.path.relpath(job.control.file, survey.prepared.loaded.path.parent)).as_posix()
        inputs.append({"path": path, "sha256": of_marks.sha256, "rows": of_marks.rows})
    if job.sessions is not None:
        path = Path(os.path.relpath(job.sessions.file, survey.prepared.loaded.path.parent)).as_posix()
        inputs.append({"path": path, "sha256": survey.prepared.sessions_sum, "rows": len(survey.windows)})
    return build_record(
        job=job.job.name,
        issue=issue,
        data_to=moment(survey.first_pass.newest or 0),
        version=program_version(),
        verdict=worst(list(solved.verdicts)),
        rows=rows,
        sessions=sessions,
        checks=checks,
        adjustment=_adjustment(survey, solved),
        operations=[_operation(operation) for operation in survey.operations.recorded()],
        inputs=inputs,
        target=target(job),
        caution=CAUTION,
        changes=changes,
        notes=[
            *map(str, solved.doubts),
            *(wholly_held(one) for one in wholly if one["rows"]),  # of a file without rows `notes` tell it
            *job_notes(survey, solved),
            *drifts,
            *notes,
        ],
        doubts=[doubt.recorded([window.session.name for window in survey.windows]) for doubt in solved.doubts],
        wholly_held_back=list(wholly),
        diagnoses=list(diagnoses),
        marks=marks,
        untied=untied(survey, solved),
        shift_model=shift_model,
        identity=dict(sums),
        reach=dict(reach),
        register=list(register),
        files=list(files),
    )


def _adjustment(survey: Survey, solved: Solved) -> dict[str, Any]:
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


def _statistics(found: Adjustment, row: int) -> dict[str, Any]:
    """Return residual, redundancy, standardised residual and detectable error of one observation, east, north, up."""
    values = {
        "residual": found.residuals,
        "redundancy": found.redundancy,
        "standardised": found.standardised,
        "detectable": found.detectable,
    }
    return {
        f"{name}_{axis}": float(of[row, column])
        for name, of in values.items()
        for column, axis in enumerate(("east", "north", "up"))
    }


def _operation(operation: Operation) -> dict[str, Any]:
    return {
        "step": operation.step,
        "name": operation.name,
        "definition": operation.definition,
        "accuracy": operation.accuracy,
        "grids": [{"name": grid.name, "sha256": grid.sha256} for grid in operation.grids],
    }


def about(job: Job, number: int, data_to: datetime) -> About:
    """Return what the files of an issue say of themselves; ``data_to`` is the time of the newest observation."""
    grid = crs.target_grid(job.target.grid)
    datum, goal = crs.geographic_of(grid), target(job)
    return About(
        job=job.job.name,
        issue=number,
        data_to=data_to,
        grid=crs.registered_code(grid),
        grid_name=grid.name,
        height_name=goal["height_name"],
        datum=crs.registered_code(datum),
        datum_name=datum.name,
        definition=goal["definition"],
        caution=CAUTION,
    )
