"""The issue record: what the issue was made from, how it was tied, what its checks say and where every row went."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.adjust import missing_ties
from pipeline.geodesy import crs
from pipeline.geodesy.transform import Operation
from pipeline.issue.record import Record, build_record
from pipeline.job.model import Job
from pipeline.proof.bracket import worst
from pipeline.words import REASONS
from pipeline.work.identity import program_version
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes
from pipeline.work.settle import Settled, shift_at_places

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
    by_session: NDArray[np.int64] = field(init=False)
    by_reason: NDArray[np.int64] = field(default_factory=lambda: np.zeros(len(REASONS), np.int64))

    def __post_init__(self) -> None:
        self.by_session = np.zeros(self.sessions, np.int64)

    def add(self, session: NDArray[np.int32], held: NDArray[np.uint8], points: NDArray[np.bool_]) -> None:
        """Count one batch: (n,) session, ``held`` code and whether it is a drafted point."""
        self.points += int(points.sum())
        self.held_back += int((held > 0).sum())
        self.by_session += np.bincount(session[points], minlength=self.sessions)
        self.by_reason += np.bincount(held, minlength=len(REASONS) + 1)[1:]

    def rows(self, read: int, on_marks: int) -> dict[str, Any]:
        """Return the record's ``rows``.

        Raises `RuntimeError` where they do not add up: a fault of the program, and nothing is issued.
        """
        if read != self.points + on_marks + self.held_back:
            raise RuntimeError(
                f"rows do not add up: {read} read, {self.points} points, {on_marks} on marks, {self.held_back} held back"
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
    prepared: Prepared,
    routes: Routes,
    settled: Settled,
    *,
    issue: int,
    newest: int,
    exports: Sequence[int],
    rows: Mapping[str, Any],
    sessions: Sequence[Mapping[str, Any]],
    checks: Sequence[Mapping[str, Any]],
    sums: Mapping[str, str],
    changes: Mapping[str, Any] | None,
    files: Sequence[Mapping[str, Any]],
) -> Record:
    """Return the record of an issue.

    ``files`` are the names and sums of the files beside it, ``exports`` are the rows of each export, ``newest`` is the time of the newest observation in UTC milliseconds,
    ``sums`` the identity, ``sessions`` and ``checks`` the rows of the layers.
    """
    job = prepared.loaded.job
    inputs = [
        {"path": export.shown, "sha256": export.sha256, "rows": count}
        for export, count in zip(prepared.exports, exports, strict=True)
    ]
    if prepared.register is not None and job.control is not None:
        register = prepared.register
        inputs.append({"path": Path(os.path.relpath(job.control.file, prepared.loaded.path.parent)).as_posix(), "sha256": register.sha256, "rows": register.rows})
    return build_record(
        job=job.job.name,
        issue=issue,
        data_to=datetime.fromtimestamp(newest / 1000, UTC),
        version=program_version(),
        verdict=worst(list(settled.verdicts)),
        rows=rows,
        sessions=sessions,
        checks=checks,
        adjustment=_adjustment(settled),
        operations=[_operation(operation) for operation in routes.recorded()],
        inputs=inputs,
        target=target(job),
        caution=CAUTION,
        changes=changes,
        notes=notes(prepared, routes, settled),
        identity=dict(sums),
        files=list(files),
    )


def _adjustment(settled: Settled) -> dict[str, Any]:
    found = settled.shifts.adjustment
    test = found.chi_square
    return {
        "variance_factor": found.variance_factor,
        "degrees_of_freedom": found.degrees_of_freedom,
        "chi_square": None if test is None else {"low": test.low, "high": test.high, "passed": test.passed},
    }


def _operation(operation: Operation) -> dict[str, Any]:
    return {
        "step": operation.step,
        "name": operation.name,
        "definition": operation.definition,
        "accuracy": operation.accuracy,
        "grids": [{"name": grid.name, "sha256": grid.sha256} for grid in operation.grids],
    }


def target(job: Job) -> dict[str, Any]:
    """Return the record's ``target``: grid and height datum by code and name, and both together as WKT."""
    grid, datum = crs.target_grid(job.target.grid), crs.height_datum(job.target.height)
    return {
        "grid": crs.registered_code(grid) or grid.to_wkt(),
        "grid_name": grid.name,
        "height": job.target.height if datum is None else (crs.registered_code(datum) or datum.to_wkt()),
        "height_name": "ellipsoidal" if datum is None else datum.name,
        "definition": crs.compound_definition(job.target.grid, job.target.height),
        "epoch": job.target.epoch,
    }


def notes(prepared: Prepared, routes: Routes, settled: Settled) -> list[str]:
    """Return in words what a reader of the issue should look at, apart from failing checks."""
    return [*_unlikely_shifts(prepared, routes, settled), *_untied(prepared, settled), *_doubts(prepared, settled)]


def _unlikely_shifts(prepared: Prepared, routes: Routes, settled: Settled) -> list[str]:
    limits = prepared.loaded.job.shift
    local, _ = shift_at_places(settled, routes)
    told = []
    for window, (east, north, up) in zip(prepared.windows, local, strict=True):
        if np.hypot(east, north) > limits.limit_horizontal or abs(up) > limits.limit_vertical:
            told.append(
                f"session {window.session.name}: a shift of {np.hypot(east, north):.1f} m horizontally and {up:+.1f} m in"
                f" height is beyond the limits of {limits.limit_horizontal:g} and {limits.limit_vertical:g} m; a base that"
                " averaged its own position is off by less, so look for a wrong mark, a wrong datum or height system, a"
                " wrong antenna height or feet taken for metres"
            )
    return told


def _untied(prepared: Prepared, settled: Settled) -> list[str]:
    told = []
    for missing in missing_ties(settled.shifts.adjustment.ties):
        names = [prepared.windows[number].session.name for number in missing.sessions]
        lacking = " and ".join(["position"] * missing.position + ["height"] * missing.height)
        some = " or ".join(names[:3]) + (" or others" if len(names) > 3 else "")
        told.append(
            f"untied in {lacking}: {', '.join(names)}; one occupation, in {some}, of a mark that control ties in"
            f" {lacking} would tie {'it' if len(names) == 1 else 'them'}"
        )
    return told


def _doubts(prepared: Prepared, settled: Settled) -> list[str]:
    told = []
    test = settled.shifts.adjustment.chi_square
    if test is not None and not test.passed:
        told.append(
            f"the ties do not agree as well as their uncertainties say: chi-square {test.value:.1f} outside"
            f" {test.low:.1f} to {test.high:.1f}; see the residuals in check_marks"
            if test.value > test.high
            else f"the ties agree better than their uncertainties say (chi-square {test.value:.1f} below {test.low:.1f})"
        )
    for export in prepared.exports:
        if export.points.columns.solution is None:
            told.append(f"{export.shown}: no solution column is mapped, so every row counts as fixed")
    return told
