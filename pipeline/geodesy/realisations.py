"""Frames as people label them: realisations of WGS 84 and of the IGS, and which ITRF each of them realises."""

import json
import re
from typing import Any

from pyproj.crs import CRS

from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError

#: Codes of the ITRFs, as longitude, latitude and ellipsoidal height.
_ITRF = {
    "ITRF92": "EPSG:7904", "ITRF94": "EPSG:7906", "ITRF97": "EPSG:7908", "ITRF2000": "EPSG:7909",
    "ITRF2005": "EPSG:7910", "ITRF2008": "EPSG:7911", "ITRF2014": "EPSG:7912", "ITRF2020": "EPSG:9989",
}  # fmt: skip
#: By the name of a datum, the ITRF that it realises. The EPSG registry has operations of nothing but zeros from each of
#: them; PROJ offers those of WGS 84 (G...), but none that leads on through them to a national frame.
_OF_IGS = {
    "IGS97": "ITRF97", "IGS00": "ITRF2000", "IGb00": "ITRF2000", "IGS05": "ITRF2005", "IGS08": "ITRF2008",
    "IGb08": "ITRF2008", "IGS14": "ITRF2014", "IGb14": "ITRF2014", "IGS20": "ITRF2020", "IGb20": "ITRF2020",
}  # fmt: skip
_OF_WGS84 = {
    "G730": "ITRF92", "G873": "ITRF94", "G1150": "ITRF2000", "G1674": "ITRF2008", "G1762": "ITRF2008",
    "G2139": "ITRF2014", "G2296": "ITRF2020",
}  # fmt: skip
_WGS84 = re.compile(r"World Geodetic System 1984 \((G\d+)\)")
_PARTS = ("datum", "datum_ensemble")


def itrf_of(crs: CRS) -> tuple[CRS, bool] | None:
    """Return the geographic 3D CRS of the ITRF that a CRS's datum realises, and whether X, Y, Z in both are the same.

    None where it is no realisation of the IGS or of WGS 84.
    """
    datum = datum_of(crs)
    if datum in _OF_IGS:
        return CRS.from_user_input(_ITRF[_OF_IGS[datum]]), True
    found = _WGS84.fullmatch(datum)
    itrf = _OF_WGS84.get(found[1]) if found else None
    return None if itrf is None else (CRS.from_user_input(_ITRF[itrf]), False)


def datum_of(crs: CRS) -> str:
    """Return the name of the datum under a CRS; an ensemble's own."""
    known = systems.geographic_of(crs).to_json_dict()
    return str((known.get("datum") or known["datum_ensemble"])["name"])


def is_ensemble(crs: CRS) -> bool:
    """Tell whether the datum is an ensemble, whose realisations differ by more than a survey's accuracy."""
    return "datum_ensemble" in systems.geographic_of(crs).to_json_dict()


def is_wgs84_of_any_time(crs: CRS) -> bool:
    """Tell whether the datum is WGS 84 without a word of its realisation."""
    return datum_of(crs) == "World Geodetic System 1984 ensemble"


def realised(crs: str, realisation: str | None) -> str:
    """Return a CRS with its coordinates counted in a realisation of its datum: the same grid or degrees and heights.

    None leaves it as it is. Raises `OperationError` where the CRS names a realisation itself, or the other none.
    """
    if realisation is None:
        return crs
    ours, theirs = systems.source_crs(crs), systems.source_crs(realisation)
    if not is_ensemble(ours):
        raise OperationError(
            f"{ours.name} already defines its realisation, so realisation does not apply",
            "leave realisation out, or name the frame of the coordinates as crs",
        )
    if is_ensemble(theirs):
        raise OperationError(
            f"realisation {theirs.name} is not one frame but several",
            'name one realisation, such as "EPSG:7912" (ITRF2014) or "EPSG:9989" (ITRF2020)',
        )
    (datum,) = [part for name, part in systems.geographic_of(theirs).to_json_dict().items() if name in _PARTS]
    return json.dumps(_on(ours.to_json_dict(), datum, f"{ours.name}, realised as {datum_of(theirs)}"))


def on_newest(crs: str) -> str:
    """Return the degrees of a CRS's datum, in the newest realisation of an ensemble.

    From other frames PROJ goes by the realisations of an ensemble all the same, and takes seconds to find out by which.
    """
    known = systems.geographic_of(systems.source_crs(crs)).to_json_dict()
    ensemble = known.get("datum_ensemble")
    if not ensemble or not ensemble["members"]:
        return json.dumps(known)
    newest = {"type": "GeodeticReferenceFrame", "ellipsoid": ensemble["ellipsoid"], **ensemble["members"][-1]}
    return json.dumps(_on(known, newest, str(newest["name"])))


def _on(known: dict[str, Any], datum: dict[str, Any], name: str | None) -> dict[str, Any]:
    """Return a CRS, as PROJJSON, on another datum, without the codes that are no longer its own."""
    changed: dict[str, Any] = {}
    for key, value in known.items():
        if key in _PARTS:
            changed["datum"] = datum
        elif key in ("base_crs", "source_crs"):
            changed[key] = _on(value, datum, None)
        elif key == "components":
            changed[key] = [_on(value[0], datum, None), *value[1:]]
        elif key != "id":
            changed[key] = value
    return changed if name is None else changed | {"name": name}
