"""By which PROJ operations the readings and the base of a session come into the working frame."""

from collections.abc import Iterator

from pipeline.geodesy.operations import Operation
from pipeline.intake.first_pass import Gathered
from pipeline.intake.operations import Routes
from pipeline.intake.prepare import Prepared

#: A place in the job file: table, number of the block, key.
Place = tuple[str | int, ...]


def ways_of(prepared: Prepared, gathered: Gathered, routes: Routes, session: int) -> Iterator[tuple[Place, Operation]]:
    """Yield the operations that bring a session's readings and base, each with its place in the job file."""
    for block, operation in enumerate(routes.frames.to_working):
        if gathered.blocks[session, block]:
            yield ("points", block, "crs"), operation
    if routes.base is not None and prepared.windows[session].session.setup is not None:
        yield ("source", "crs"), routes.base
