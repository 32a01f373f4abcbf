"""What to write in the place of a text that is no CRS: codes for the names that people use."""

import re
from functools import cache

from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType

from pipeline.geodesy.area import Area

#: Grids that go by a zone's number, and the half of the globe or the band of latitude behind it.
_UTM = re.compile(r"(?P<datum>.*?)UTM\D*(?P<zone>\d{1,2}) ?(?P<half>north|south|[A-Z])?.*", re.IGNORECASE)
#: The Polish grid of 2000: a zone's number is its central meridian [deg] by three, as the registry calls the zone.
_POLISH = re.compile(
    r"(?:(?:PL|PUWG)[ -]?2000\W*(?:strefa|zone|zona|s\.?)?|2000\W*strefa)\W*(?P<zone>[5-8])(?!\d)", re.IGNORECASE
)
#: Words for a zone in the languages of the trade, and what the registry calls Gauss and Krueger.
_ZONE_WORDS = frozenset(
    ("strefa", "zona", "fuso", "huso", "faja", "streifen", "meridianstreifen", "zon", "zóna", "pásmo", "vyöhyke",
     "зона")
)  # fmt: skip
_ALSO_CALLED = {"gk": ("gauss", "kruger"), "krüger": ("kruger",), "krueger": ("kruger",)}
_CODE = re.compile(r"(?:EPSG)?[\s:_./-]*(\d{4,6})", re.IGNORECASE)

#: Names that people use for a datum, as they are written without blanks, and what the registry calls it.
_CALLED = {"gps": "wgs84", "wgs1984": "wgs84"}
#: So many names with the same words are listed; words that more have do not tell a CRS.
_NAMES_MAX = 4
#: Letters and figures that a name has at least.
_LEAST = 3


def crs_hint(text: str) -> str:
    """Return in words what to write instead of a text that is no CRS; nothing where that cannot be told."""
    plain = _plain(text)
    code = _CODE.fullmatch(text.strip())
    if code is not None:
        return f'write "EPSG:{code[1]}"'
    if plain.startswith("ellips"):
        return 'a height above the ellipsoid is written "ellipsoid", under height'
    if (polish := _POLISH.search(text)) is not None:
        meridian = 3 * int(polish["zone"])
        return f'zone {polish["zone"]} of PL-2000, on the meridian {meridian} E, is "{_polish(meridian)}"'
    utm = _UTM.fullmatch(text.strip())
    named = _named(text)
    if utm is not None and not named and 1 <= int(utm["zone"]) <= 60:
        return _utm(int(utm["zone"]), (utm["half"] or "").upper(), utm["datum"])
    code_3d = _code(PJType.GEOGRAPHIC_3D_CRS, _CALLED.get(plain, plain))
    if code_3d:
        return f'for longitude, latitude and ellipsoidal height write "{code_3d}"; a grid has a code of its own'
    return named


def heights_hint(area: Area, apart: str = "") -> str:
    """Return in words which height datums are registered for an area, the smallest regions first; "" for none.

    ``apart`` is the code of one that is not among them, "" for none.
    """
    named = [f"{code} ({name})" for _, code, name in height_datums(area) if code != apart][:_NAMES_MAX]
    other = "other " if apart else ""
    return f"; {other}height datums registered for this place: {', '.join(named)}" if named else ""


def height_datums(area: Area) -> list[tuple[Area, str, str]]:
    """Return the height datums registered for all of an area, smallest regions first: each one's area, code and name.

    Those of half the earth are left out.
    """
    bounds = AreaOfInterest(area.west, area.south, area.east, area.north)
    found = []
    for each in query_crs_info("EPSG", pj_types=PJType.VERTICAL_CRS, area_of_interest=bounds, contains=True):
        use = each.area_of_use
        if use is None or each.deprecated or "depth" in each.name or "(ft" in each.name:
            continue
        region = Area(use.west, use.south, use.east, use.north)
        if region.width < 180.0:
            found.append((region, f"EPSG:{each.code}", each.name))
    return sorted(found, key=lambda one: (one[0].size, *one[1:]))


def _utm(zone: int, half: str, datum: str) -> str:
    """Return the codes of a UTM zone: the datum is never guessed."""
    # A letter is the half of the globe, or the band of latitude: C to M are south, N to X north, and S may be either.
    north = not half or half == "NORTH" or (len(half) == 1 and half >= "N")
    south = half in ("", "S", "SOUTH") or (len(half) == 1 and half <= "M")
    band = " if it is the band of latitude from 32 to 40 degrees north" if half == "S" else ""
    above = [("WGS 84", "N", f"WGS 84 north of the equator{band}")] if north else []
    above += [("ETRS89", "N", "ETRS89")] if north and "WGS" not in datum.upper() else []
    if_south = " if S is for south" if half == "S" else ""
    below = [("WGS 84", "S", f"WGS 84 south of the equator{if_south}")] if south else []
    grids = [*below, *above] if half.startswith("S") else [*above, *below]
    codes = [(_code(PJType.PROJECTED_CRS, _plain(f"{on} / UTM zone {zone}{of}")), said) for on, of, said in grids]
    known = [f'"{code}" on {said}' for code, said in codes if code]
    return f"UTM zone {zone} is {', '.join(known)}; on another datum it has another code"


def _polish(meridian: int) -> str:
    return _code(PJType.PROJECTED_CRS, _plain(f"ETRF2000-PL / CS2000/{meridian}"))


def _plain(name: str) -> str:
    return re.sub(r"[\W_]", "", name).casefold()


def _code(kind: PJType, plain: str) -> str:
    """Return the code of the registered CRS of a kind that has a name, written without blanks; "" for none."""
    return _codes(kind).get(plain, "")


@cache
def _codes(kind: PJType) -> dict[str, str]:
    """The codes of a kind of CRS by their names without blanks, the first of each name; PROJ takes most of a second."""
    known = [each for each in query_crs_info("EPSG", pj_types=kind) if not each.deprecated]
    return {_plain(each.name): f"EPSG:{each.code}" for each in reversed(known)}


def _named(text: str) -> str:
    """Return the registered CRSs whose name has every word of a text."""
    words = [word for word in re.split(r"[\W_]+", text.casefold()) if word]
    words = [each for word in words for each in _ALSO_CALLED.get(word, ("zone" if word in _ZONE_WORDS else word,))]
    if not words or sum(map(len, words)) < _LEAST:
        return ""
    found = [called for called, named in _registered() if named.issuperset(words)]
    return f"names with these words: {', '.join(found)}" if 0 < len(found) <= _NAMES_MAX else ""


@cache
def _registered() -> list[tuple[str, frozenset[str]]]:
    """All registered CRSs, as they are told, with the words of their names."""
    every = query_crs_info(auth_name="EPSG")
    return [
        (f"{each.auth_name}:{each.code} ({each.name})", frozenset(re.split(r"[\W_]+", each.name.casefold())))
        for each in every
    ]
