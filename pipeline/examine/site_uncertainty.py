"""Tells where a localisation is so uncertain by its own residuals that no point is good to the tolerance of checks.

Residuals within the tolerance do not say that points are: three marks within a few metres, or four that hold a tilt
and one of which is off, leave far more for the work between and beyond them.
"""

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.uncertainty import NORMAL_95, circle_95, semi_axes
from pipeline.intake.site import Site
from pipeline.intake.survey import Survey

#: The part of the places over the work at which it has to be so: the middle, the corners, the middles of the sides.
_MOST = 0.5


def uncertain_site(site: Site, places: Floats, survey: Survey) -> list[str]:
    """Return in words that the localisation alone is not known to within the tolerances at most places of the work.

    Args:
        site: the localisation.
        places: (n, 2) easting and northing of the site, over the work.
        survey: the job.
    """
    if not len(places):
        return []
    plan, height = site.uncertainty(*places.T)
    within = circle_95(*semi_axes(plan[:, 0, 0], plan[:, 1, 1], plan[:, 0, 1]))
    checks, told = survey.job.checks, []
    for figure, name, what, allowed in (
        (within, "hu95", "positions", checks.horizontal),
        (NORMAL_95 * np.sqrt(height), "vu95", "heights", checks.vertical),
    ):
        if np.mean(figure > allowed) > _MOST:
            told.append(
                f"the localisation alone leaves {what} uncertain by {figure.min():.3f} to {figure.max():.3f} m over the"
                f" work (95 %, part of {name}), although checks allow {allowed:g} m: checks go through it too and do"
                " not show it; check the marks in both files, and add marks around the work"
            )
    return told
