"""Selects per session the PROJ operations from source CRS and base to the working frame (geocentric, metres)."""

from collections.abc import Iterator

from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey

#: A place in the job file: table, number of the block, key.
Place = tuple[str | int, ...]


def operations_of(survey: Survey, session: int) -> Iterator[tuple[Place, Operation]]:
    """Yield the operations that bring a session's readings and base, each with its place in the job file."""
    for block, operation in enumerate(survey.operations.frames.to_working):
        if survey.first_pass.blocks[session, block]:
            yield ("points", block, "crs"), operation
    if survey.operations.base is not None and survey.windows[session].session.setup is not None:
        yield ("source", "crs"), survey.operations.base
