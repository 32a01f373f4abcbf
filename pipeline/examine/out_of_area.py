"""Tells a job far outside the area of its grid or height datum: a mistyped zone or code, other columns, another CRS."""

import math
from pathlib import Path

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_looks import distance_from
from pipeline.geodesy.area import Area
from pipeline.geodesy.crs import area_of_use, horizontal_of, kind_of, source_crs, target_grid, vertical_of
from pipeline.geodesy.crs_hints import height_datums, heights_hint
from pipeline.geodesy.sister_zones import is_sister, sisters_for, told_by_number
from pipeline.intake.survey import Survey
from pipeline.sphere import DEGREE
from pipeline.words import Doubt, plural

#: Metres beyond a grid's area of use up to which one zone is kept for work that runs over its edge: three degrees at
#: the equator, half a zone. Common practice, no source.
OVER_THE_EDGE = 333_000.0
#: The same where the register is in a zone of the same grid that the job lies in, and beyond the area of a height datum
#: where another is used. Ours, no source.
_BESIDE_ITS_ZONE = 20_000.0
#: How many times as large as that of a height datum the area of another may be that is meant instead. Ours.
_LIKE_SIZE = 4.0
#: Height datums that are named.
_NAMED = 2
#: Metres: neighbouring zones are drafted in now and then, other continents are not. Ours, no source.
_ELSEWHERE = 1_000_000.0


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
    if use is None:
        return []
    beyond = beyond_grid(survey, survey.operations.area)
    if beyond < OVER_THE_EDGE:
        return _beside_its_zone(survey, use, beyond)
    told = _meant_for(f"target.grid {_called(stated, grid.name)}", use, survey.operations.area)
    return [f"{told}: is it the right zone? Grid lengths there differ greatly from those on the ground"]


def _beside_its_zone(survey: Survey, use: Area, beyond: float) -> list[str]:
    """Return in words that the job lies in another zone of the target grid, as the register or the exports say.

    Whole countries work in one zone, and then their registers are in it too. Strips along meridians, which are told by
    their numbers, are kept over the edge more often than regions that bear a name: without a grid of the register only
    the latter are told.
    """
    stated, area = survey.job.target.grid, survey.operations.area
    named = f"target.grid {_named(stated)}"
    away = f"{beyond / 1000:,.0f} km" if beyond >= 1000.0 else f"{beyond:,.0f} m"
    outside = f"{named} is not used where the job lies, {away} beyond its area"
    if (found := _own_grid(survey)) is not None:
        whose, text = found
        zone = area_of_use(horizontal_of(source_crs(text)))
        if zone == use:
            return []
        if zone is not None and is_sister(text, stated):
            strips = told_by_number(text, stated) and not _overlap(use, zone)
            if _outside(zone, area).max() > 0.0 or (strips and beyond < _BESIDE_ITS_ZONE):
                return []
            own = f"{whose} in {_named(text)}"
            if beyond > 0.0:
                return [f"{outside}; {own}, which is used there: is it the right zone?"]
            return [
                f"{named} is another zone than that of the job: {own}, and both are used there: is it the right zone?"
            ]
    others = [each for each in sisters_for(stated, area) if not told_by_number(each, stated)] if beyond > 0.0 else []
    if not others:
        return []
    meant = f"{' and '.join(map(_named, others))} {plural(len(others), 'is', 'are')}"
    return [f"{outside}, and {meant}: is it the right zone?"]


def _own_grid(survey: Survey) -> tuple[str, str] | None:
    """Return in words whose grid tells the zone in which a job works, and its text; None where none does.

    That is the register's; where that is in degrees or there is none, the first of the exports'.
    """
    control = survey.job.control if survey.register is not None else None
    stated = [("the register is", None if control is None else control.crs)]
    stated += [("the exports are", block.crs) for block in survey.job.points]
    grids = ((whose, text) for whose, text in stated if text is not None and kind_of(source_crs(text)) == "projected")
    return next(grids, None)


def _named(text: str) -> str:
    return _called(text, horizontal_of(source_crs(text)).name)


def _overlap(one: Area, other: Area, edge: float = _BESIDE_ITS_ZONE) -> bool:
    """Tell whether two areas of use have more in common than the ``edge`` [m] between them."""
    up = min(one.north, other.north) - max(one.south, other.south)
    begins = (other.west - one.west + 180.0) % 360.0 - 180.0
    across = min(one.width, begins + other.width) - max(begins, 0.0)
    across *= math.cos(math.radians(one.centre[1]))
    return min(up, across) * DEGREE > edge


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
        if datum is None or use is None:
            continue
        named, beyond = f"{' and '.join(names)} {_called(text, datum.name)}", float(_outside(use, area).min())
        asked = "is it the right code? Every file would name that height datum"
        if beyond >= OVER_THE_EDGE:
            told.append(f"{_meant_for(named, use, area)}: {asked}{heights_hint(area)}")
        elif beyond >= _BESIDE_ITS_ZONE and (others := _height_datums_instead(use, area)):
            outside = f"{named} is not used where the job lies, {beyond / 1000:,.0f} km beyond its area"
            told.append(f"{outside}, and {others}: {asked}")
    return told


def _height_datums_instead(use: Area, area: Area) -> str:
    """Return in words which height datums are used there and nowhere in ``use``; "" where none is.

    Islands have each their own. Neighbours on land are let be, since their heights are carried over the border; so is
    what much larger areas have in common, which is no reason to doubt one's own.
    """
    apart = [
        f"{code} ({name})"
        for region, code, name in height_datums(area)
        if region.size <= _LIKE_SIZE * use.size and not _overlap(use, region, 0.0)
    ][:_NAMED]
    return f"{' and '.join(apart)} {plural(len(apart), 'is', 'are')}" if apart else ""


def _called(stated: str, name: str) -> str:
    return f"{stated} ({name})" if len(stated) <= 40 else name


def _meant_for(what: str, use: Area, area: Area) -> str:
    longitude, latitude = area.centre
    longitudes = f"longitudes {use.west:g} to {use.east:g} and " if use.width < 360.0 else ""
    latitudes = f"latitudes {use.south:g} to {use.north:g}"
    return f"{what} is meant for {longitudes}{latitudes}, and the job is at {longitude:.2f}, {latitude:.2f}"
