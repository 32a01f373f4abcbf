"""Tells from the heading of a height column, if all its words are known, what its heights refer to."""

from pipeline.files.old_and_new import without_state
from pipeline.new_job.headings import said_as
from pipeline.read.height_headings import HeightKind, read_height_heading

_SAYS = {HeightKind.ELLIPSOIDAL: "ellipsoid", HeightKind.LEVEL: "level", HeightKind.HEIGHT: ""}


def height_said(heading: str) -> str | None:
    """Return what a heading says of heights: "ellipsoid", "level" (above a height datum), ""; None for no height.

    What stands in brackets counts: "Height (ellipsoidal)", "Z [NAVD88, ft]"; an old or new state says nothing. One that
    is cut, or of which one language alone is known, says what that does.
    """
    said = read_height_heading(heading)
    if said.whole:
        return _SAYS.get(said.kind)
    parts = [part for part in said_as(heading) if part != heading] or list(filter(None, [without_state(heading)]))
    others = [read_height_heading(part) for part in parts]
    kinds = {_SAYS.get(each.kind) if each.whole else None for each in others}
    return kinds.pop() if len(kinds) == 1 else None


def is_separation(heading: str) -> bool:
    """Tell whether a heading may be of separations of a geoid: "Geoid separation", "Undulation", "N"."""
    return read_height_heading(heading).kind in (HeightKind.SEPARATION, HeightKind.OF_GEOID)
