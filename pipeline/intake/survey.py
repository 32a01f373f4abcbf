"""A job after its first pass: everything that is known before any shift is derived, computed once."""

from datetime import datetime

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.clock import moment
from pipeline.control import Register
from pipeline.geodesy.axes import Axes
from pipeline.intake.bases import Bases, set_up_bases
from pipeline.intake.candidates import Candidates, sound_candidates
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.kept_shifts import KeptShift, kept_shifts
from pipeline.intake.operations import Operations
from pipeline.intake.prepare import Prepared
from pipeline.intake.sort import Sieve
from pipeline.intake.target import axes_issued, target
from pipeline.issue.former_names import FormerNames, former_names
from pipeline.issue.record_types import Target
from pipeline.job.model import Job
from pipeline.read.exports import Export
from pipeline.sessions.windows import SessionWindow


class Survey(Struct, frozen=True):
    """What a job names, what its readings are, and how they come into the job's frames.

    Args:
        prepared: the job with its sessions, register and exports.
        sieve: sorts batches of readings by session, and by what holds them back.
        first_pass: what was kept of every reading.
        operations: the PROJ operations.
        candidates: readings that may be occupations of marks and are not held back.
        bases: where the bases stood.
        target: the grid and the height datum, as the record names them.
        clock_offset: in words, by how much all clocks seem to be off; None where they are not.
        kept: what issues before took out as the field's correction, where it was worked out by the register.
        former: the names of layers and columns in issues before.
    """

    prepared: Prepared
    sieve: Sieve
    first_pass: FirstPass
    operations: Operations
    candidates: Candidates
    bases: Bases
    target: Target
    clock_offset: str | None
    kept: tuple[KeptShift, ...] = ()
    former: FormerNames = field(default_factory=FormerNames)

    @property
    def job(self) -> Job:
        """Return the job as its file states it."""
        return self.prepared.loaded.job

    @property
    def axes(self) -> Axes:
        """Return how the grid and the height datum write their numbers."""
        return axes_issued(self.job, on_site=self.operations.site is not None)

    @property
    def windows(self) -> tuple[SessionWindow, ...]:
        """Return the sessions in time."""
        return self.prepared.windows

    @property
    def exports(self) -> tuple[Export, ...]:
        """Return the raw files, in the order in which they are read."""
        return self.prepared.exports

    @property
    def register(self) -> Register | None:
        """Return the register of control marks, None where no session needs one."""
        return self.prepared.register

    def read_at(self, row: int) -> tuple[str, int]:
        """Return the file of a candidate, as it is shown, and its row there."""
        table = self.candidates.table
        return self.exports[table.column("export")[row].as_py()].shown, table.column("source_row")[row].as_py()

    @property
    def measured_twice(self) -> Integers:
        """Return (k,) numbers, ascending, of the readings that may be of a point measured twice.

        A field shift parts raw readings of one point, so that within its session none is too far from another.
        """
        carried = bool(self.prepared.field_windows)
        return self.first_pass.same_names.measured(np.inf if carried else self.job.checks.same_name)

    @property
    def data_to(self) -> datetime:
        """Return the time of the newest observation, the only date that an issue bears."""
        return moment(self.first_pass.newest or 0)

    def where(self, *place: str | int) -> tuple[str, int]:
        """Return the job file and the line of a key."""
        return self.prepared.loaded.where(*place)

    def recorded_at(self, *place: str | int) -> tuple[str, int]:
        """Return the same as an issue says it wherever the job lies: the job file by its name alone."""
        return self.prepared.loaded.recorded_at(*place)

    @property
    def register_file(self) -> str:
        """Return the register's path from the job file's folder, as an issue has it; "" where the job has none."""
        control = self.job.control
        return "" if control is None else self.prepared.loaded.recorded(control.file)


def survey_of(
    prepared: Prepared, sieve: Sieve, first_pass: FirstPass, operations: Operations, clock_offset: str | None
) -> Survey:
    """Put a job and its first pass together, with what follows from them by the operations."""
    candidates = sound_candidates(prepared, first_pass, operations)
    bases = set_up_bases(prepared, first_pass, operations)
    kept = kept_shifts(prepared.loaded.job.job.folder, prepared.field_windows)
    former = former_names(prepared.loaded.job.job.folder)
    goal = target(prepared.loaded.job, operations.site)
    return Survey(
        prepared=prepared,
        sieve=sieve,
        first_pass=first_pass,
        operations=operations,
        candidates=candidates,
        bases=bases,
        target=goal,
        clock_offset=clock_offset,
        kept=kept,
        former=former,
    )
