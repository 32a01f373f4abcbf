"""Puts grids and frames of degrees in the order in which surveyors of a place are likely to work in them."""

import re
from collections.abc import Sequence

from pipeline.geodesy.registry import Registered, leads_to, scope_of, with_heights
from pipeline.new_job.zones import countries_near

#: Words of the registry for what surveys are issued in, and for what one trade or a small scale alone uses.
_SURVEYS = ("cadastre", "engineering survey", "municipal")
_OF_A_TRADE = ("railway", "oil and gas", "small scale", "project")
#: A variant of a grid that differs by its order of axes or the zone in front of eastings alone.
_VARIANT = re.compile(r"\((?:z?E-N|N-z?E|[EN], ?[EN]|lon-lat)\)$")
#: Countries of the nearest towns, of which one holds a place.
_NEIGHBOURS = 3
#: Square degrees of the area of a frame that is a region's or a country's.
_REGIONAL = 10_000.0
#: Frames of the region that are looked at: PROJ may take a second to find the way from one to another.
_LOOKED_AT = 4
_WORLD, _EUROPE = "EPSG:4979", "EPSG:4937"


def plain_first(grids: Sequence[Registered], place: tuple[float, float]) -> list[Registered]:
    """Return grids with those first that surveys at a place [deg] are issued in.

    Of these those first whose datum has ellipsoidal heights, as GNSS gives them, but for WGS 84; then the plain ones.
    """
    names = [name for each in countries_near(*place)[:_NEIGHBOURS] for name in each]

    def worth(one: Registered) -> tuple[bool | float, ...]:
        scope = scope_of(one.code).casefold()
        surveys = any(word in scope for word in _SURVEYS) and not any(word in scope for word in _OF_A_TRADE)
        foreign = bool(names) and not any(name in one.area for name in (*names, "Europe"))
        variant = _VARIANT.search(one.name) is not None
        return not surveys, foreign, with_heights(one.code) in (None, _WORLD), variant, one.size

    return sorted(grids, key=worth)


def frames_offered(
    frames: Sequence[Registered], first: Sequence[str], grid: str | None, place: tuple[float, float]
) -> list[Registered]:
    """Return the frames to be offered besides those of ``first``, each with a way to the datum of the grid.

    They are a few of the region, that of Europe where it is one, and WGS 84. ``place`` is the job's [deg].
    """
    others = [one for one in frames if one.code not in first and not _VARIANT.search(one.name)]
    region = [one for one in others if one.size < _REGIONAL and one.code != _EUROPE][:_LOOKED_AT]
    wanted = [*(one for one in others if one.code == _EUROPE), *region]
    usable = [one for one in wanted if grid is None or leads_to(one.code, grid, *place)]
    return [*usable, *(one for one in others if one.code == _WORLD)]
