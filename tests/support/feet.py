"""An invented job on a state plane, whose export and register count in feet: the truth by closed forms in metres."""

from pathlib import Path
from typing import Any

import numpy as np
from closed_forms import GRS80, Geoid, TransverseMercator, write_gtx
from numpy.typing import NDArray
from running import Row, replace_in, rewrite_export
from simulate import Place, Plan, Simulation, simulate

#: Metres in a unit, by definition: 1200/3937 and 0.3048.
SURVEY, FOOT = 1200 / 3937, 0.3048

#: NAD83(2011) / Illinois East in metres and in US survey feet; parameters of SPCS83 zone 1201 (NOAA manual NOS NGS 5).
METRES, FEET = "EPSG:6454", "EPSG:6455"
ZONE = TransverseMercator(GRS80, -88 - 20 / 60, 1 - 1 / 40_000, 300_000.0, 0.0, 36 + 40 / 60)
#: NAD83(2011) with ellipsoidal heights, and in plan alone; NAVD88 in metres, US survey feet and feet; depths.
GEOGRAPHIC, PLAN = "EPSG:6319", "EPSG:6318"
NAVD88, NAVD88_SURVEY, NAVD88_FOOT, NAVD88_DEPTH = "EPSG:5703", "EPSG:6360", "EPSG:8228", "EPSG:6357"


def geoid(folder: Path, name: str = "invented.gtx") -> Path:
    """Write a geoid 33 m below the ellipsoid that slopes by a few millimetres a kilometre; return its path."""
    rows, columns = np.mgrid[0:21, 0:21]
    folder.mkdir(parents=True, exist_ok=True)
    values = (-33.0 + 0.04 * rows - 0.03 * columns).astype(np.float32)
    write_gtx(Geoid(39.0, -89.5, 0.1, 0.1, values), folder / name)
    return folder / name


def state_plane(folder: Path, *, name: str = "invented.gtx") -> Simulation:
    """Return a job of one session 20 km wide on the Illinois East zone, heights above the invented geoid."""
    at = geoid(folder / "geoid", name)
    place = Place(-88.2, 40.1, 210.0, GRS80, ZONE, METRES, GEOGRAPHIC, NAVD88, at)
    return simulate(Plan(sessions=1, points=6, ties=1, checks=2, marks=3, reach=20_000.0, noise=False, place=place))


def raw_grid(job: Simulation, *, above_geoid: bool = False) -> NDArray[np.float64]:
    """Return (n, 3) easting, northing and height of the export's rows in metres, heights ellipsoidal or reduced."""
    lon, lat, height = (job.rows[name] for name in ("longitude", "latitude", "height"))
    down = job.plan.place.separation(lon, lat) if above_geoid else 0.0
    return np.column_stack([*ZONE.forward(lon, lat), height - down])


def with_grid_columns(path: Path, values: NDArray[np.float64], sigma: float = 1.0) -> None:
    """Put E, N and H in place of the export's position, and its sigmas [m] into a unit of so many metres."""
    rows = iter(values)

    def change(row: Row) -> Row:
        kept = {name: cell for name, cell in row.items() if name not in ("Lon", "Lat", "EllHt")}
        sigmas = {name: f"{float(row[name]) / sigma:.7f}" for name in ("sE", "sN", "sU")}
        return kept | {name: f"{value:.9f}" for name, value in zip("ENH", next(rows), strict=True)} | sigmas

    rewrite_export(path.parent / "rover001.csv", change)
    mapped = 'easting = "E", northing = "N", height = "H"'
    replace_in(path, {'latitude = "Lat", longitude = "Lon", height = "EllHt"': mapped})


def with_source(path: Path, crs: str, units: str | None = None) -> None:
    """Let the job file say the export's CRS and units."""
    stated = "" if units is None else f'\nunits = "{units}"'
    replace_in(path, {f'[source]\ncrs = "{GEOGRAPHIC}"': f"[source]\ncrs = '''{crs}'''{stated}"})


def with_register(
    path: Path, job: Simulation, crs: str, height: str, plan: float, up: float, *, units: str | None = None
) -> None:
    """Write the register's marks in units of ``plan`` and ``up`` metres, and let the job file say so."""
    ellipsoid = height == "ellipsoid"
    third = job.marks.ellipsoid_height if ellipsoid else job.marks.height
    columns: dict[str, Any] = {
        "mark": job.marks.names,
        "easting": job.marks.easting / plan,
        "northing": job.marks.northing / plan,
        "ellipsoid_height" if ellipsoid else "height": third / up,
    }
    lines = [",".join(columns)]
    for name, *values in zip(*columns.values(), strict=True):
        lines.append(",".join([str(name), *(f"{value:.6f}" for value in values)]))
    (path.parent / "register.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    stated = "" if units is None else f'\nunits = "{units}"'
    file, said = 'file = "register.csv"', f'crs = "{METRES}"\nheight = "{NAVD88}"'
    replace_in(path, {f"{file}\n{said}": f'{file}\ncrs = "{crs}"\nheight = "{height}"{stated}'})
