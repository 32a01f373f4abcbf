"""Checks the conversion to the height datum: does a mark prove it, and does the named geoid grid agree with PROJ's?"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.datum_steps import places_of
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.geoid_grid import FARTHEST_GEOID
from pipeline.geodesy.grid_metadata import height_named, is_used_to
from pipeline.geodesy.operations import working_to_issued
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey
from pipeline.visible import one_line
from pipeline.words import Doubt

#: Metres, besides what PROJ says of its own way, that another model of one height datum may differ by. Ours, no source.
_MODELS = 1.0
#: Metres, where PROJ does not say how good its own way is: that of a geoid of the whole earth.
_UNSAID = 1.0


def own_way(survey: Survey) -> Operation | None:
    """Return PROJ's own way to the height datum, by which a named geoid grid is judged; None where it has none at hand.

    None too where there is no such grid, or a site's own system leads to the heights.
    """
    target = survey.job.target
    if target.geoid is None or target.height == "ellipsoid" or survey.operations.site is not None:
        return None
    try:
        return working_to_issued(target.grid, target.height, survey.operations.area)
    except OperationError:
        return None


def geoid_doubts(survey: Survey, own: Operation | None) -> list[Doubtful]:
    """Return doubts about a named geoid grid: separations that no geoid has, or others than by PROJ's ``own_way``."""
    geoid = survey.job.target.geoid
    if geoid is None or survey.job.target.height == "ellipsoid":
        return []
    file, line = survey.where("target", "geoid")
    return [Doubtful(Doubt.TRANSFORMATION, what, None, Path(file).name, line) for what in _odd_grid(survey, geoid, own)]


def geoid_notes(survey: Survey) -> list[str]:
    """Return in words that no check proves the step to the height datum, as the marks go through it too."""
    job = survey.job
    control, target = job.control, job.target
    if control is None or survey.register is None or target.height == "ellipsoid":
        return []
    site = survey.operations.site
    if systems.same_height_datum(control.height, target.height) or (site is not None and site.height is not None):
        return []  # a site's own heights take an error of the step up
    file, line = survey.where("target", "geoid" if target.geoid is not None else "height")
    are = "ellipsoidal" if control.height == "ellipsoid" else f"in {control.height}"
    return [
        f"{Path(file).name}:{line}: no mark checks the conversion to {target.height}: the register's heights are {are}"
        f" and go through {survey.operations.frames.to_issued.name} as the points do, so checks would pass even with a"
        " wrong grid. Compare one issued height with a published height in that datum"
    ]


def named_grid_notes(survey: Survey) -> Iterator[str]:
    """Yield that a named geoid grid says of itself that it leads to another height datum than the one issued in.

    What two datums are apart, two decimetres or so, goes into the shifts, and what it changes by over the job stays.
    One of no registered code is somebody's own, for which no grid can be made out.
    """
    target = survey.job.target
    if target.geoid is None or target.height == "ellipsoid":
        return
    named, height = height_named(target.geoid), systems.vertical_of(target.height)
    if named is None or height is None or systems.registered_code(height) is None:
        return
    if systems.same_height_datum(named.srs, target.height) or is_used_to(
        target.geoid.name, target.grid, target.height, survey.operations.area
    ):
        return
    file, line = survey.recorded_at("target", "geoid")
    yield (
        f"{file}:{line}: the grid {one_line(target.geoid.name)} says that it leads to {named.name}"
        f" ({systems.registered_code(named) or named.srs}), and heights are issued as {height.name}: name the grid of"
        " that datum, unless this one is meant to stand for it"
    )


def _odd_grid(survey: Survey, geoid: Path, own: Operation | None) -> Iterator[str]:
    named, height = geoid.name, survey.job.target.height
    apart = separations(survey, survey.operations.frames.to_issued)
    if not len(apart):
        return
    if (most := float(np.abs(apart).max())) > FARTHEST_GEOID:
        yield (
            f"the grid {named} puts {height} {most:,.1f} m from the ellipsoid, but no geoid is"
            f" farther than {FARTHEST_GEOID:g} m: check that it holds separations in metres"
        )
        return
    if own is None:
        return
    others = separations(survey, own)
    if len(others) != len(apart) or not of_another_model(apart, others, own.accuracy):
        return
    turned = ", and the sign of its values, which looks reversed" if of_reversed_sign(apart, others) else ""
    yield (
        f"according to the grid {named}, {height} is {float(np.median(apart)):+.2f} m above the ellipsoid;"
        f" according to {own.name} of PROJ, {float(np.median(others)):+.2f} m: check that it is the grid of this"
        f" height datum{turned}"
    )


def of_another_model(separation: Floats, expected: Floats, accuracy: float | None) -> bool:
    """Tell whether separations differ from those expected by more than two models of one height datum do.

    Args:
        separation: (n,) metres.
        expected: (n,) metres at the same places, of PROJ's own way.
        accuracy: metres, of that way; None where PROJ does not state it.
    """
    off = float(np.median(separation - expected))
    return abs(off) > _MODELS + 2.0 * (accuracy if accuracy is not None else _UNSAID)


def of_reversed_sign(separation: Floats, expected: Floats) -> bool:
    """Tell whether (n,) separations fit those expected (n,) better with their sign reversed, by half at the least."""
    off, reversed_off = (float(np.median(each)) for each in (separation - expected, separation + expected))
    return abs(reversed_off) < abs(off) / 2.0


def separations(survey: Survey, to_issued: Operation) -> Floats:
    """Return (n,) metres of the height datum above the ellipsoid over the job; none without places, or of a site."""
    if survey.operations.site is not None:
        return np.zeros(0)
    places = places_of(survey, None)
    xyz = survey.operations.frames.to_geographic.inverse(places.longitude, places.latitude, places.height)
    heights = to_issued.forward(*xyz)[2]
    found = np.asarray(places.height - heights, np.float64)
    return found[np.isfinite(found)]


def usual_separation(survey: Survey) -> float:
    """Return how many metres the issued heights' datum lies above the ellipsoid over the job, in the middle of it.

    Zero where heights are issued above the ellipsoid, or where `separations` are not known.
    """
    if survey.job.target.height == "ellipsoid":
        return 0.0
    found = separations(survey, survey.operations.frames.to_issued)
    return float(np.median(found)) if len(found) else 0.0
