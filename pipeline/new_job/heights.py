"""Tells from the heading of a height column, if all its words are known, what its heights refer to."""

from pipeline.read.height_headings import HeightKind, read_height_heading

_SAYS = {HeightKind.ELLIPSOIDAL: "ellipsoid", HeightKind.LEVEL: "level", HeightKind.HEIGHT: ""}


def height_said(heading: str) -> str | None:
    """Return what a heading says of heights: "ellipsoid", "level" (above a height datum), ""; None for no height.

    What stands in brackets counts: "Height (ellipsoidal)", "Z [NAVD88, ft]".
    """
    said = read_height_heading(heading)
    return _SAYS.get(said.kind) if said.whole else None


def is_separation(heading: str) -> bool:
    """Tell whether a heading may be of separations of a geoid: "Geoid separation", "Undulation", "N"."""
    return read_height_heading(heading).kind in (HeightKind.SEPARATION, HeightKind.OF_GEOID)
