"""Datums that a text names: "GDA94" of "Easting GDA94", the datum of "MGA94 E", "NAVD88" of "Height NAVD88".

Names are those of the registry that end in a year, in letters and figures, or that stand alone. Where a name and a CRS
are two names of one thing in practice, as ETRS89 and its national realisations, a plain conversion leads over in place.
"""

import re
import warnings
from functools import lru_cache

from msgspec import Struct
from pyproj.crs import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.transformer import TransformerGroup

from pipeline.files.heading_words import plain_letters, run_together, set_apart
from pipeline.geodesy import crs as systems
from pipeline.geodesy.registry import height_datum_words
from pipeline.sphere import DEGREE

#: Letters and a year, written together or apart: "GDA94", "NAD 1983", "CH1903+".
_NAME = re.compile(r"(?<![^\W\d_])([a-z]{2,})[ _-]?(\d{4}|\d\d)(?!\d)(\+?)")
#: Grids that go by a year and are no datum by name, each with its datum.
_GRIDS = {
    "mga94": "gda94", "mga2020": "gda2020", "amg66": "agd66", "amg84": "agd84", "nztm2000": "nzgd2000",
    "lv95": "ch03+", "lv03": "ch03",
}  # fmt: skip
#: Frames that a name says loosely, or that move so that a year of theirs says little.
_LOOSE = re.compile(r"wgs\d+|i(?:trf|gs|gb)\d+")
#: Metres and metres of accuracy within which an operation from one datum to another changes nothing to speak of.
_SAME, _GOOD = 0.05, 0.25
#: Names of height datums in the registry's capitals, without what is no datum's alone and models of the geoid.
_HEIGHT = re.compile(r"(?!EGM|MSL$|INA|IGN$)[A-Z]{3,}\d*|[A-Z]{1,2}\d{2,4}")


class Named(Struct, frozen=True):
    """A datum that a text names: as the registry has it; ``loose`` where that is no more than a hint."""

    name: str
    loose: bool = False


def other_datum(text: str, crs: str, place: tuple[float, float], *, whole: bool = False) -> Named | None:
    """Return the datum that a text names, where it names one alone and that is not the CRS's; None otherwise.

    Args:
        text: a heading; or, ``whole``, a text of a datum alone, whose name may have no year.
        crs: a checked CRS of positions.
        place: longitude and latitude [deg] at which the two are compared.
    """
    names = _names(text)
    if not names and not whole:
        return None  # the registry takes a while to be asked
    registered, alone = _registered()
    found = set(names & registered.keys())
    if whole and not names and run_together(text) in alone:
        found = {run_together(text)}
    if len(found) != 1:
        return None
    (name,) = found
    code, called = registered[name] if name in registered else alone[name]
    if _is_datum_of(crs, name, code, place):
        return None
    return Named(called, _LOOSE.fullmatch(name) is not None)


def names_datum(text: str, crs: str) -> bool:
    """Tell whether a text names the datum of a CRS."""
    return bool(_names(text) & _own_names(crs))


def other_height_datum(text: str, height: str) -> str:
    """Return the height datum that a text names, where it is not the one stated; "" for none and for ellipsoidal."""
    vertical = systems.vertical_of(height)
    named = _height_names(text)
    if vertical is None or not named:
        return ""
    registered = _registered_heights()
    found = sorted(named & registered.keys())
    own = _height_names(f"{vertical.name} {_datum_name(vertical)}")
    return registered[found[0]] if len(found) == 1 and found[0] not in own else ""


def names_height_datum(text: str, height: str) -> bool:
    """Tell whether a text names the height datum that is stated."""
    vertical = systems.vertical_of(height)
    if vertical is None:
        return False
    common = _height_names(text) & _height_names(f"{vertical.name} {_datum_name(vertical)}")
    return bool(common) and not common.isdisjoint(_registered_heights())  # the registry takes a while to be asked


def _names(text: str) -> frozenset[str]:
    found = (
        letters + (year.removeprefix("19") if len(year) == 4 else year) + plus
        for letters, year, plus in _NAME.findall(set_apart(plain_letters(text)).casefold())
    )
    return frozenset(_GRIDS.get(name, name) for name in found)


def _height_names(text: str) -> frozenset[str]:
    """Return the words (folded) that may be names of height datums, a year of the 1900s by its last two digits."""
    plain = re.sub(r"(?<=[A-Za-z])[ _-](?=\d{2,4}(?!\d))", "", set_apart(plain_letters(text)))
    words = re.findall(r"[A-Za-z]+\d*", plain)
    return frozenset(re.sub(r"19(?=\d\d$)", "", word.casefold()) for word in words)


@lru_cache(maxsize=64)
def _own_names(crs: str) -> frozenset[str]:
    source = systems.source_crs(crs)
    datum = systems.geographic_of(source)
    return frozenset().union(*(_names(text) for text in (source.name, datum.name, _datum_name(datum))))


def _datum_name(crs: CRS) -> str:
    return "" if crs.datum is None else str(crs.datum.name)


@lru_cache(maxsize=64)
def _is_datum_of(crs: str, name: str, code: str, place: tuple[float, float]) -> bool:
    """Tell whether a CRS is on a datum by its name, or hardly differs from it in place."""
    datum = systems.geographic_of(systems.source_crs(crs))
    yearless = not any(map(str.isdigit, name))
    if name in _own_names(crs) or (yearless and name in run_together(f"{datum.name} {_datum_name(datum)}")):
        return True
    scale = (DEGREE, DEGREE)
    with warnings.catch_warnings():  # of grids that are not there: what they would change is no plain conversion
        warnings.simplefilter("ignore", UserWarning)
        ways = TransformerGroup(systems.parse(code), datum, always_xy=True).transformers
    for way in ways:
        if not 0.0 <= way.accuracy <= _GOOD or "Ballpark" in way.description:
            continue
        there = way.transform(*place)
        if max(abs(a - b) * each for a, b, each in zip(there, place, scale, strict=False)) <= _SAME:
            return True
    return False


@lru_cache(maxsize=1)
def _registered() -> tuple[dict[str, tuple[str, str]], dict[str, tuple[str, str]]]:
    """Return the registered datums by their names with a year, and by those that have none: code and name."""
    every = query_crs_info("EPSG", PJType.GEOGRAPHIC_2D_CRS)
    every.sort(key=lambda one: (one.deprecated, len(one.name)))
    named: dict[str, tuple[str, str]] = {}
    alone: dict[str, tuple[str, str]] = {}
    for one in every:
        code = f"EPSG:{one.code}"
        for name in _names(one.name):
            named.setdefault(name, (code, one.name))
        alone.setdefault(run_together(one.name), (code, one.name))
    return named, alone


@lru_cache(maxsize=1)
def _registered_heights() -> dict[str, str]:
    words = sorted(word for word in height_datum_words() if _HEIGHT.fullmatch(word))
    return {name: word for word in words for name in _height_names(word)}
