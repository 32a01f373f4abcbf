"""What to write in the place of a text that is no CRS: codes for the names that people use."""

import re

from pyproj.database import query_crs_info

#: Grids that go by a zone's number, on datums whose codes are their zone's number behind a constant.
_UTM = re.compile(r"(?P<datum>.*?)UTM\D*(?P<zone>\d{1,2}) ?(?P<half>north|south|[A-Z])?.*", re.IGNORECASE)
_CODE = re.compile(r"(?:EPSG)?[\s:_./-]*(\d{4,6})", re.IGNORECASE)

#: Names of datums, as they are written without blanks, and the code that has longitude, latitude, ellipsoidal height.
_DATUMS = {
    "wgs84": "EPSG:4979", "wgs1984": "EPSG:4979", "gps": "EPSG:4979", "etrs89": "EPSG:4937", "nzgd2000": "EPSG:4959",
    "gda2020": "EPSG:7843", "gda94": "EPSG:4939", "nad832011": "EPSG:6319", "itrf2014": "EPSG:7912",
    "itrf2020": "EPSG:9989", "sirgas2000": "EPSG:4988", "jgd2011": "EPSG:6667",
}  # fmt: skip
#: So many names with the same words are listed; words that more have do not tell a CRS.
_MOST = 4
#: Letters and figures that a name has at least.
_LEAST = 3


def crs_hint(text: str) -> str:
    """Return in words what to write instead of a text that is no CRS; nothing where that cannot be told."""
    plain = re.sub(r"[\W_]", "", text).casefold()
    code = _CODE.fullmatch(text.strip())
    if code is not None:
        return f'write "EPSG:{code[1]}"'
    if plain.startswith("ellips"):
        return 'a height above the ellipsoid is written "ellipsoid", under height'
    utm = _UTM.fullmatch(text.strip())
    named = _named(text)
    if utm is not None and not named and 1 <= int(utm["zone"]) <= 60:
        return _utm(int(utm["zone"]), (utm["half"] or "").upper(), utm["datum"])
    if plain in _DATUMS:
        return f'for longitude, latitude and ellipsoidal height write "{_DATUMS[plain]}"; a grid has a code of its own'
    return named


def _utm(zone: int, half: str, datum: str) -> str:
    """Return the codes of a UTM zone: the datum is never guessed."""
    # A letter is the half of the globe, or the band of latitude: C to M are south, N to X north, and S may be either.
    north = not half or half == "NORTH" or (len(half) == 1 and half >= "N")
    south = half in ("", "S", "SOUTH") or (len(half) == 1 and half <= "M")
    known = [f'"EPSG:{32600 + zone}" on WGS 84 north of the equator'] if north else []
    if north and 28 <= zone <= 38 and "WGS" not in datum.upper():
        known.append(f'"EPSG:{25800 + zone}" on ETRS89')
    below = [f'"EPSG:{32700 + zone}" on WGS 84 south of the equator'] if south else []
    if half == "S":
        below[0] += " if S is for south"
        known[0] += " if it is the band of latitude from 32 to 40 degrees north"
    known = [*below, *known] if half.startswith("S") else [*known, *below]
    return f"UTM zone {zone} is {', '.join(known)}; on another datum it has another code"


def _named(text: str) -> str:
    """Return the registered CRSs whose name has every word of a text."""
    words = [word for word in re.split(r"[\W_]+", text.casefold()) if word]
    if not words or sum(map(len, words)) < _LEAST:
        return ""
    found = [
        f"{each.auth_name}:{each.code} ({each.name})"
        for each in query_crs_info(auth_name="EPSG")
        if all(word in re.split(r"[\W_]+", each.name.casefold()) for word in words)
    ]
    return f"names with these words: {', '.join(found)}" if 0 < len(found) <= _MOST else ""
