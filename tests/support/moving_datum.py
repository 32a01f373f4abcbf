"""A job whose exports are in a frame that moves against its grid's datum, with the motion written by hand.

ITRF2014 to GDA2020 is a coordinate frame rotation by 1.50379, 1.18346 and 1.20716 mas a year about X, Y and Z since
2020.0 (GDA2020 technical manual, 3.3.1).
"""

import datetime as dt
from typing import Any

import numpy as np
from network_jobs import Network
from simulate import Place
from simulate_plan import GRS80, Floats, to_geocentric, to_geographic, utm

TENTH_MM = 1e-4
MGA55 = Place(148.98, -35.32, 620.0, GRS80, utm(55, south=True), "EPSG:7855", "EPSG:7912", "ellipsoid", None)
SOME = [(300, 200), (-6_000, 8_000), (15_000, 12_000)]
RATES = np.radians(np.array([1.50379, 1.18346, 1.20716]) / 3_600_000)


def to_gda2020(xyz: Floats, year: Floats, *, back: bool = False) -> Floats:
    """Turn (n, 3) ITRF2014 coordinates at (n,) decimal years to GDA2020, or back: X' = X + (X x r)."""
    turn = RATES * (np.asarray(year)[..., None] - 2020.0) * (-1 if back else 1)
    return np.asarray(xyz + np.cross(xyz, turn))


def years(times: Any) -> Floats:
    """Calendar year plus the part of it that has passed."""
    moments = np.asarray(times, "datetime64[ms]")
    start = moments.astype("datetime64[Y]")
    length = (start + 1).astype("datetime64[ms]") - start.astype("datetime64[ms]")
    return start.astype(int) + 1970 + (moments - start) / length


def to_itrf(work: Network) -> None:
    """Let export and set-ups say ITRF2014, each at its own time."""
    rows, names = work.rows, ("longitude", "latitude", "height")
    xyz = to_geocentric(*(rows[name] for name in names), GRS80)
    there = to_geographic(to_gda2020(xyz, years(rows["time"]), back=True), GRS80)
    for name, values in zip(names, there, strict=True):
        rows[name] = values
    for number in work.bases:
        session, said = work.job["session"][number], work.setup(number)
        start = years(np.datetime64(session["start"].replace(tzinfo=None), "ms"))
        keys = ("longitude", "latitude", "ellipsoid_height")
        moved = to_gda2020(to_geocentric(*(said[key] for key in keys), GRS80), start, back=True)
        session["setup"] = said | dict(zip(keys, map(float, to_geographic(moved, GRS80)), strict=True))


def on(year: int, month: int) -> dt.datetime:
    return dt.datetime(year, month, 14, 22, 0, tzinfo=dt.UTC)
