"""Says what height datums are for (a country, a part of one, several, the world) and sorts them by it.

All is from the registry's areas and scopes: a datum of the country at hand before those of its parts, these before what
reaches over several countries or belongs to a neighbour, and the world's last.
"""

import re
from collections.abc import Sequence
from enum import IntEnum

from msgspec import Struct

from pipeline.geodesy.registry import Registered, height_areas, scope_of

#: Square degrees from which on an area is the world.
_WORLD = 60_000.0
#: The share of the largest area of its country below which an area is a part of it.
_PART = 0.1
#: Countries that an area may name before it is one of several.
_FEW = 2
#: Parts of the world that areas name instead of countries.
_CONTINENTS = frozenset(["Africa", "Antarctica", "Asia", "Europe", "North America", "South America", "Middle East"])
#: Words of the scopes of datums that surveyors' marks are published in, and of those that are for one trade alone.
_SURVEYS = ("cadastre", "engineering", "municipal", "topographic mapping")
_OF_A_TRADE = ("railway", "drilling", "not used")


class Extent(IntEnum):
    """What a height datum is for, those first that are likelier to be a job's."""

    NATIONAL = 0
    LOCAL = 1
    SEVERAL = 2
    GLOBAL = 3


class Use(Struct, frozen=True):
    """What a height datum is for: ``whose`` is the country or the part of it, as the registry names them."""

    extent: Extent
    whose: str

    @property
    def words(self) -> str:
        """What it is for in words, as "local (New Zealand, South Island)"."""
        kind = {Extent.NATIONAL: "national", Extent.LOCAL: "local", Extent.SEVERAL: "for several countries"}
        return f"{kind[self.extent]} ({self.whose})" if self.extent in kind else "global"


def use_of(datum: Registered) -> Use:
    """Return what a height datum is for, by the name and the size of its area in the registry."""
    country, *rest = _parts(datum.area)
    if datum.size >= _WORLD or country == "World":
        return Use(Extent.GLOBAL, "")
    several = country.split("; ")
    if country in _CONTINENTS or len(several) > _FEW:
        return Use(Extent.SEVERAL, country if country in _CONTINENTS else f"{several[0]} and others")
    largest = max((one.size for one in height_areas() if _parts(one.area)[0] == country), default=datum.size)
    if datum.size < _PART * largest and rest:
        return Use(Extent.LOCAL, f"{country}, {rest[0]}")
    return Use(Extent.NATIONAL, country)


def by_use(datums: Sequence[Registered], countries: Sequence[Sequence[str]]) -> list[Registered]:
    """Return height datums in the order of their use at a place.

    ``countries`` are the names of each country that may hold it, the likeliest first. Where no area has any of them,
    whose they are does not count.
    """
    own: dict[str, int] = {}
    for at, names in enumerate(countries):
        for one in datums:
            if any(name in one.area for name in names):
                own.setdefault(one.code, at)

    def worth(one: Registered) -> tuple[bool | int | float, ...]:
        extent, scope = use_of(one).extent, scope_of(one.code).casefold()
        if own and one.code not in own and extent < Extent.SEVERAL:
            extent = Extent.SEVERAL  # of a neighbour, whose rectangle reaches to the place
        surveys = any(word in scope for word in _SURVEYS) and not any(word in scope for word in _OF_A_TRADE)
        # a newer datum has replaced the older ones; without a year the smaller area is the likelier
        year = max(map(int, re.findall(r"\b[A-Z]*((?:19|20)\d\d)\b", one.name)), default=0)
        offshore = "offshore" in one.area and "onshore" not in one.area
        trade = any(word in scope for word in _OF_A_TRADE)
        whose = own.get(one.code, 0) if extent < Extent.SEVERAL else 0
        place = extent >= Extent.SEVERAL, whose, extent
        return *place, trade, offshore, "(ft" in one.name, not surveys, -year, one.size, int(one.code[5:])

    return sorted(datums, key=worth)


def _parts(area: str) -> list[str]:
    """Return the country, or countries, of an area's name and the parts of it: "New Zealand", "South Island"."""
    said = [one for one in area.rstrip(".").split(". ") if not one.startswith("Inclu")]
    countries, *parts = re.split(r" \(?including ", said[0])[0].split(" - ")
    also = [one.split(" - ")[0] for one in said[1:] if " - " in one]
    return [", ".join((countries, *also)), *(re.split(" within | between ", part)[0] for part in parts)]
