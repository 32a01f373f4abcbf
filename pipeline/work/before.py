"""What can be said before any shift is derived: the register of marks, and whether the bases are where the job says."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipeline.work.base_notes import base_notes
from pipeline.work.bases import set_up_bases
from pipeline.work.gather import Gathered
from pipeline.work.prepare import Prepared
from pipeline.work.register_notes import register_warnings
from pipeline.work.routes import Routes


def before_notes(
    prepared: Prepared, gathered: Gathered, routes: Routes, last: Mapping[str, Any] | None, shown: str | None = None
) -> list[str]:
    """Return in words what should be looked at in the register, in the exports and of the bases.

    Args:
        prepared: the job.
        gathered: its exports, read once.
        routes: its operations.
        last: the record of the newest issue there is.
        shown: the register's path for messages; else it counts from the job file, so that an issue says the same
            wherever the job lies.
    """
    told = []
    register, control = prepared.register, prepared.loaded.job.control
    if register is not None and control is not None:
        path = shown or Path(os.path.relpath(control.file, prepared.loaded.path.parent)).as_posix()
        warned = register_warnings(prepared, gathered, routes, last)
        told = [f"{path}:{warning.line}: {warning.what}" for warning in warned]
    told += gathered.notes
    return [*told, *base_notes(prepared, gathered, routes, set_up_bases(prepared, gathered, routes))]
