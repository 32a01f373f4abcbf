"""Tells from the heading of a height column, if all its words are known, what its heights refer to."""

from pipeline.read.height_headings import Kind, said_of

_SAYS = {Kind.ELLIPSOIDAL: "ellipsoid", Kind.LEVEL: "level", Kind.HEIGHT: ""}


def height_said(heading: str) -> str | None:
    """Return what a heading says of heights: "ellipsoid", "level" (above a height datum), ""; None for no height.

    What stands in brackets counts: "Height (ellipsoidal)", "Z [NAVD88, ft]".
    """
    said = said_of(heading)
    return _SAYS.get(said.kind) if said.whole else None


def is_separation(heading: str) -> bool:
    """Tell whether a heading may be of separations of a geoid: "Geoid separation", "Undulation", "N"."""
    return said_of(heading).kind in (Kind.SEPARATION, Kind.OF_GEOID)
