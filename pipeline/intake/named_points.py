"""What a job says of the points that its sessions name."""

from msgspec import Struct

from pipeline.intake.prepare import Prepared
from pipeline.words import Role


class Named(Struct, frozen=True):
    """What a session says of one of its points: which mark it stands on, and what it is used for."""

    mark: str
    role: Role


def named_points(prepared: Prepared) -> dict[tuple[int, str], Named]:
    """Return, by session index and point name, what the job file says of the point."""
    found = {}
    for window in prepared.windows:
        for occupation in window.session.checks:
            found[window.index, occupation.point] = Named(occupation.mark, Role.CHECK)
        for occupation in window.session.ties:
            found[window.index, occupation.point] = Named(occupation.mark, Role.TIE)
    return found
