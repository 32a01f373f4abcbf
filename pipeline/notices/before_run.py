"""What can be said before any shift is derived: of the register, of where the bases are, of each export as a whole."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipeline.examine.clocks import clock_notes
from pipeline.examine.exports import file_notes
from pipeline.examine.job_file import job_notes
from pipeline.examine.time_zones import zone_notes
from pipeline.intake.bases import set_up_bases
from pipeline.intake.first_pass import Gathered
from pipeline.intake.named_points import held_checks
from pipeline.intake.operations import Routes
from pipeline.intake.prepare import Prepared
from pipeline.job.zones import reversed_sign
from pipeline.notices.bases import base_notes
from pipeline.notices.names import name_notes
from pipeline.notices.register import register_warnings


def before_notes(
    prepared: Prepared, gathered: Gathered, routes: Routes, last: Mapping[str, Any] | None, shown: str | None = None
) -> list[str]:
    """Return in words what should be looked at in the register, in the exports, of the times and of the bases.

    Args:
        prepared: the job.
        gathered: its exports, read once.
        routes: its operations.
        last: the record of the newest issue there is.
        shown: the register's path for messages; else it counts from the job file, so that an issue says the same
            wherever the job lies.
    """
    told = [*routes.told, *job_notes(prepared)]
    register, control = prepared.register, prepared.loaded.job.control
    if register is not None and control is not None:
        path = shown or Path(os.path.relpath(control.file, prepared.loaded.path.parent)).as_posix()
        warned = register_warnings(prepared, gathered, routes, last)
        told += [f"{path}:{warning.line}: {warning.what}" for warning in warned]
    told += [*_reversed_zones(prepared, shown is None), *held_checks(prepared, gathered)]
    told += [*zone_notes(prepared, gathered), *gathered.notes]
    told += base_notes(prepared, gathered, routes, set_up_bases(prepared, gathered, routes))
    return [*told, *clock_notes(prepared, gathered), *file_notes(prepared, gathered), *name_notes(prepared, gathered)]


def _reversed_zones(prepared: Prepared, recorded: bool) -> list[str]:
    """Return in words what zones such as "Etc/GMT+2" stand for, whose sign is not the one that people expect.

    What is ``recorded`` names the job file without its folder, so that an issue says the same wherever the job lies.
    """
    told = {}
    for number, block in enumerate(prepared.loaded.job.points):
        offset = reversed_sign(block.time_zone or "")
        file, line = prepared.loaded.where("points", number, "time_zone")
        if offset is not None:
            path = Path(file).name if recorded else file
            way = "behind" if offset.startswith("-") else "ahead of"
            told[block.time_zone] = f'{path}:{line}: the time zone "{block.time_zone}" is {way} UTC: it means {offset}'
    return list(told.values())
