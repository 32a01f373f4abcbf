"""Tells a job far outside the area of its grid or height datum: a mistyped zone or code, other columns, another CRS."""

import re
from pathlib import Path

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_looks import distance_from
from pipeline.geodesy.area import Area
from pipeline.geodesy.crs import area_of_use, horizontal_of, source_crs, target_grid, vertical_of
from pipeline.geodesy.crs_hints import heights_hint
from pipeline.intake.survey import Survey
from pipeline.words import Doubt

#: Metres beyond a grid's area of use up to which one zone is kept for work that runs over its edge: three degrees at
#: the equator, half a zone. Common practice, no source.
_OVER_THE_EDGE = 333_000.0
#: The same where the register is in a zone of the same grid that the job lies in. Ours, no source.
_BESIDE_ITS_ZONE = 20_000.0
#: Metres: neighbouring zones are drafted in now and then, other continents are not. Ours, no source.
_ELSEWHERE = 1_000_000.0
#: The number of a zone, or whatever figures of a name tell it from those of the same grid: "32N", "Lo29", "IX".
_NUMBERS = re.compile(r"\d+[NS]?|\b[IVX]+\b")


def beyond_grid(survey: Survey, area: Area | None) -> float:
    """Return how many metres all readings lie outside the grid's area of use; zero where it is not told, or reached."""
    use = area_of_use(target_grid(survey.job.target.grid))
    return 0.0 if area is None or use is None else float(_outside(use, area).min())


def _outside(use: Area, area: Area) -> Floats:
    """Return metres from an area of use to places all over another area, zero inside."""
    return distance_from((use.west, use.south, use.east, use.north), np.column_stack(area.samples()))


def place_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt where the whole job lies on another part of the earth than its grid.

    Marks that were exchanged or mapped in the same wrong way agree with such readings, and prove nothing.
    """
    far = beyond_grid(survey, survey.first_pass.area)
    if far < _ELSEWHERE:
        return []
    file, line = survey.where("points")
    what = (
        f"the readings are {far / 1000:,.0f} km outside the area in which target.grid is used: check which columns are"
        " mapped as easting and northing (or longitude and latitude), their signs, and crs"
    )
    return [Doubtful(Doubt.PLACE, what, None, Path(file).name, line)]


def far_from_use(survey: Survey) -> list[str]:
    """Return in words that the target grid is not meant for where the job lies."""
    stated = survey.job.target.grid
    grid = target_grid(stated)
    use = area_of_use(grid)
    beyond = beyond_grid(survey, survey.operations.area)
    if use is None or beyond < _BESIDE_ITS_ZONE:
        return []
    if beyond < _OVER_THE_EDGE:
        return _beside_its_zone(survey, stated, grid.name, beyond)
    told = _meant_for(f"target.grid {_called(stated, grid.name)}", use, survey.operations.area)
    return [f"{told}: is it the right zone? Grid lengths there differ greatly from those on the ground"]


def _beside_its_zone(survey: Survey, stated: str, name: str, beyond: float) -> list[str]:
    """Return in words that the register is in the zone that the job lies in, and the target grid is another one.

    Whole countries work in one zone, and then their registers are in it too.
    """
    control = survey.job.control
    crs = horizontal_of(source_crs(control.crs)) if control is not None and survey.register is not None else None
    area = area_of_use(crs) if crs is not None and crs.is_projected else None
    if crs is None or area is None or control is None:
        return []
    of_register, of_target = crs.name, horizontal_of(target_grid(stated)).name
    alike = _NUMBERS.sub("", of_register) == _NUMBERS.sub("", of_target)
    if of_register == of_target or not alike or _outside(area, survey.operations.area).max() > 0.0:
        return []
    return [
        f"target.grid {stated} ({name}) is not used where the job lies, {beyond / 1000:,.0f} km beyond its area; the"
        f" register is in {control.crs} ({of_register}), which is used there: is it the right zone?"
    ]


def heights_far_from_use(survey: Survey) -> list[str]:
    """Return in words which height datums are not used where the job lies; numbers may be right under a wrong name.

    A named geoid grid takes heights to any datum, so nothing else shows that its code is another country's.
    """
    job, area = survey.job, survey.operations.area
    keys: dict[str, list[str]] = {}
    of_register = None if job.control is None else job.control.height
    for key, text in (("target.height", job.target.height), ("control.height", of_register)):
        if text is not None:
            keys.setdefault(text, []).append(key)
    told = []
    for text, names in keys.items():
        datum = vertical_of(text)
        use = None if datum is None else area_of_use(datum)
        if datum is None or use is None or _outside(use, area).min() < _OVER_THE_EDGE:
            continue
        what = _meant_for(f"{' and '.join(names)} {_called(text, datum.name)}", use, area)
        told.append(f"{what}: is it the right code? Every file would name that height datum{heights_hint(area)}")
    return told


def _called(stated: str, name: str) -> str:
    return f"{stated} ({name})" if len(stated) <= 40 else name


def _meant_for(what: str, use: Area, area: Area) -> str:
    longitude, latitude = area.centre
    longitudes = f"longitudes {use.west:g} to {use.east:g} and " if use.width < 360.0 else ""
    latitudes = f"latitudes {use.south:g} to {use.north:g}"
    return f"{what} is meant for {longitudes}{latitudes}, and the job is at {longitude:.2f}, {latitude:.2f}"
