"""Folders of exports as offices bring them: one simulated job, laid down in the ways of many countries and programs.

Every function writes a folder and returns the answers that somebody who knows the job gives to what its files do not
say, by key, as `answered.answer` takes them. Headings are generic words of the trade.
"""

import csv
import datetime as dt
import io
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyogrio
from simulate import CANTERBURY, Plan, Simulation, simulate
from simulate_files import write_csv, write_geojson, write_gpkg, write_register, write_sessions
from simulate_plan import to_geocentric

from pipeline.new_job.decide import draft_of
from pipeline.new_job.draft import Draft
from pipeline.new_job.start import Started

#: In these folders the heights are EGM96 heights, and nobody can know that from the files.
HEIGHT = {"height": '"EPSG:5773"'}
#: 20 March 2026, 19:30 UTC: a day that is no month.
CLEAR = dt.datetime(2026, 3, 19, 19, 30, tzinfo=dt.UTC)

Answers = dict[str, str]
_POSITION = ("longitude", "latitude", "height")


#: What was last decided of a folder while a job file was written into it, where the room keeps it (`keep_draft`), and
#: the files that it was decided of.
_DECIDED: dict[Path, tuple[Draft, frozenset[tuple[str, int, int]]]] = {}


def keep_draft(folder: Path, base: Path, shown: str) -> Draft:
    """Draft a job as `draft_of` does, and keep what was decided for `drafted`."""
    draft = draft_of(folder, base, shown)
    _DECIDED[base] = draft, _files(folder)
    return draft


def drafted(started: Started) -> Draft:
    """Return what is decided of the folder that a job file was written into; once, while its files are the same."""
    path = Path(started.path)
    draft, files = _DECIDED.get(path.parent, (None, None))
    return (
        draft if draft and files == _files(path.parent, path) else draft_of(path.parent, path.parent, str(path.parent))
    )


def _files(folder: Path, but: Path | None = None) -> frozenset[tuple[str, int, int]]:
    """Return the files below a folder by name, size and time, but for the job file that was written since."""
    found = [(str(path), path.stat()) for path in folder.rglob("*") if path != but and path.is_file()]
    return frozenset((name, one.st_size, one.st_mtime_ns) for name, one in found)


def job_of(start: dt.datetime = CLEAR, **more: Any) -> Simulation:
    """Return two sessions without noise, so that only a wrong reading of the files moves a point."""
    return simulate(Plan(points=12, noise=False, start=start, **more))


def lay(folder: Path, job: Simulation) -> None:
    """Write what all folders have in common: the register as it should be, and the geoid."""
    write_register(job.register, folder / "control.csv")
    shutil.copy(str(CANTERBURY.geoid), folder)


def cells(job: Simulation, word: str, time: Callable[[dt.datetime], str]) -> list[str]:
    """Return a column of the exports as text; "easting" and "northing" are those of the grid, "x" to "z" geocentric."""
    rows, place = job.rows, job.plan.place
    if word == "time":
        return [time(moment.replace(tzinfo=dt.UTC)) for moment in rows["time"].astype("datetime64[us]").tolist()]
    if word in ("easting", "northing"):
        east, north = place.projection.forward(rows["longitude"], rows["latitude"])
        return [f"{value:.5f}" for value in (east if word == "easting" else north)]
    if word in ("x", "y", "z"):
        xyz = to_geocentric(rows["longitude"], rows["latitude"], rows["height"], place.ellipsoid)
        return [f"{value:.5f}" for value in xyz[:, "xyz".index(word)]]
    decimals = {"longitude": 11, "latitude": 11, "height": 5}.get(word, 4)
    return [f"{value:.{decimals}f}" if isinstance(value, float) else str(value) for value in rows[word].tolist()]


def write(
    path: Path,
    job: Simulation,
    headings: Mapping[str, str],
    *,
    time: str | Callable[[dt.datetime], str] = "%Y-%m-%dT%H:%M:%S.%fZ",
    sign: str = ",",
    comma: bool = False,
    encoding: str = "utf-8",
    above: Sequence[str] = (),
    told: Mapping[str, Sequence[str]] | None = None,
) -> None:
    """Write an export with these headings by our words; ``told`` are columns that are written as they stand."""
    timed = time if callable(time) else lambda moment: moment.strftime(str(time))
    told = told or {}
    columns = [list(told[word]) if word in told else cells(job, word, timed) for word in headings]
    if comma:
        numeric = {"longitude", "latitude", "height", "easting", "northing", "x", "y", "z", "sigma_east",
                   "sigma_north", "sigma_up"}  # fmt: skip
        columns = [
            [text.replace(".", ",") for text in column] if word in numeric else column
            for word, column in zip(headings, columns, strict=True)
        ]
    page = io.StringIO()
    for line in above:
        page.write(f"{line}\n")
    writer = csv.writer(page, delimiter=sign, lineterminator="\r\n")
    writer.writerow(headings.values())
    writer.writerows(zip(*columns, strict=True))
    path.write_bytes(page.getvalue().encode(encoding))


_GRID = '"EPSG:2193"'
#: What is written by hand where all coordinates are eastings and northings of a grid that no file names.
NAMELESS = {"source.crs": _GRID, "target.grid": _GRID, "control.crs": _GRID}
NZ = '"Pacific/Auckland"'


def _local(form: str) -> Callable[[dt.datetime], str]:
    return lambda moment: (moment + dt.timedelta(hours=13)).strftime(form)  # daylight saving, until 5 April 2026


def german(folder: Path, job: Simulation) -> Answers:
    """Semicolons, decimal commas, a Windows encoding, days first, no zone, a grid that nobody names."""
    heads = {"name": "Punktnummer", "code": "Punktcode", "time": "Datum/Uhrzeit", "easting": "Rechtswert",
             "northing": "Hochwert", "height": "Ellipsoidische Höhe [m]", "solution": "Lösung",
             "base": "Basis"}  # fmt: skip
    write(folder / "Aufmaß.txt", job, heads, time="%d.%m.%Y %H:%M:%S", sign=";", comma=True, encoding="cp1252")
    return {"time_zone": '"UTC"', **NAMELESS}


def french(folder: Path, job: Simulation) -> Answers:
    """A byte order mark, accents, local time."""
    heads = {"name": "N° de point", "time": "Horodatage", "latitude": "Latitude", "longitude": "Longitude",
             "height": "Altitude ellipsoïdale", "solution": "État", "base": "Référence",
             "code": "Codification"}  # fmt: skip
    told = {"solution": ["Fixe"] * len(job.rows["name"])}
    write(folder / "levé.csv", job, heads, time=_local("%d/%m/%Y %H:%M:%S"), sign=";", comma=True,
          encoding="utf-8-sig", told=told)  # fmt: skip
    return {"time_zone": NZ}


def spanish(folder: Path, job: Simulation) -> Answers:
    """Tabs, a title above the header."""
    heads = {"name": "Punto", "code": "Código", "time": "Fecha y hora", "longitude": "Longitud", "latitude": "Latitud",
             "height": "Altura elipsoidal (m)", "solution": "Solución", "base": "Estación base"}  # fmt: skip
    told = {"solution": ["Fijo"] * len(job.rows["name"])}
    above = ("Levantamiento de prueba", "", "Datos sin corregir")
    write(folder / "puntos.txt", job, heads, sign="\t", above=above, told=told)
    return {}


def portuguese(folder: Path, job: Simulation) -> Answers:
    """Bars between the columns."""
    heads = {"name": "Ponto", "time": "Data/hora", "latitude": "Latitude", "longitude": "Longitude",
             "height": "Altitude elipsoidal", "solution": "Solução", "base": "Base", "code": "Descrição"}  # fmt: skip
    told = {"solution": ["Fixo"] * len(job.rows["name"])}
    write(folder / "pontos.csv", job, heads, sign="|", time=_local("%d-%m-%Y %H:%M:%S"), told=told)
    return {"time_zone": NZ}


def italian(folder: Path, job: Simulation) -> Answers:
    """Times with their offset."""
    heads = {"name": "Nome punto", "time": "Data e ora", "latitude": "Latitudine", "longitude": "Longitudine",
             "height": "Quota ellissoidica", "solution": "Soluzione", "base": "Stazione base",
             "code": "Codice"}  # fmt: skip
    told = {"solution": ["fissa"] * len(job.rows["name"])}
    write(folder / "rilievo.csv", job, heads, time=_local("%Y-%m-%d %H:%M:%S+13:00"), told=told)
    return {}


def dutch(folder: Path, job: Simulation) -> Answers:
    """No codes: the readings on marks are found by where they lie."""
    heads = {"name": "Puntnummer", "time": "Tijdstip", "lengtegraad": "", "latitude": "Breedtegraad",
             "longitude": "Lengtegraad", "height": "Ellipsoïdische hoogte", "solution": "Oplossing",
             "base": "Basisstation"}  # fmt: skip
    del heads["lengtegraad"]
    told = {"solution": ["vast"] * len(job.rows["name"])}
    write(folder / "meting.csv", job, heads, told=told)
    return {}


def norwegian(folder: Path, job: Simulation) -> Answers:
    """A Windows encoding, and no heading that says of the height what it is."""
    heads = {"name": "Punktnavn", "time": "Tidspunkt", "latitude": "Breddegrad", "longitude": "Lengdegrad",
             "height": "Høyde", "solution": "Løsning", "base": "Basestasjon", "code": "Kode"}  # fmt: skip
    told = {"solution": ["fiks"] * len(job.rows["name"])}
    write(folder / "måling.csv", job, heads, sign=";", encoding="cp1252", told=told)
    return {}


def finnish(folder: Path, job: Simulation) -> Answers:
    """Words of a solution that are clear to nobody else."""
    heads = {"name": "Pistenumero", "time": "Aikaleima", "latitude": "Leveysaste", "longitude": "Pituusaste",
             "height": "Ellipsoidkorkeus", "solution": "Ratkaisu", "base": "Tukiasema", "code": "Koodi"}  # fmt: skip
    told = {"solution": ["RATKENNUT"] * len(job.rows["name"])}
    write(folder / "mittaus.csv", job, heads, sign=";", comma=True, time=_local("%d.%m.%Y %H:%M:%S"),
          told=told)  # fmt: skip
    return {"time_zone": NZ, "solutions": '["RATKENNUT"]'}


def polish(folder: Path, job: Simulation) -> Answers:
    """X to the north and Y to the east, in a Windows encoding of middle Europe."""
    heads = {"name": "Nr punktu", "northing": "X", "easting": "Y", "height": "Wysokość elipsoidalna",
             "time": "Data i czas", "solution": "Rozwiązanie", "base": "Stacja bazowa", "code": "Kod"}  # fmt: skip
    write(folder / "pomiar.txt", job, heads, sign=";", comma=True, encoding="cp1250", time="%Y.%m.%d %H:%M:%S")
    return {"time_zone": '"UTC"', **NAMELESS}


def czech(folder: Path, job: Simulation) -> Answers:
    """Degrees, minutes and seconds."""
    heads = {"name": "Číslo bodu", "latitude": "Zeměpisná šířka", "longitude": "Zeměpisná délka",
             "height": "Elipsoidická výška", "time": "Datum a čas", "solution": "Řešení", "base": "Základna",
             "code": "Kód"}  # fmt: skip
    told = {word: [_dms(value) for value in job.rows[word].tolist()] for word in ("longitude", "latitude")}
    write(folder / "mereni.csv", job, heads, sign=";", encoding="cp1250", told=told)
    return {}


def _dms(value: float) -> str:
    seconds = round(abs(value) * 3600, 7)
    whole = int(seconds // 60)
    return f"{'-' if value < 0 else ''}{whole // 60}°{whole % 60:02d}'{seconds - 60 * whole:010.7f}\""


def geocentric(folder: Path, job: Simulation) -> Answers:
    """X, Y, Z from the middle of the earth."""
    heads = {"name": "Point", "x": "X", "y": "Y", "z": "Z", "time": "Time", "solution": "Fix", "base": "Base ID",
             "code": "Code"}  # fmt: skip
    write(folder / "xyz.csv", job, heads)
    return {}


def wide(folder: Path, job: Simulation) -> Answers:
    """UTF-16, as spreadsheets save Unicode text."""
    heads = {"name": "Name", "latitude": "Lat", "longitude": "Lon", "height": "Ell Height", "time": "UTC Time",
             "solution": "Status", "base": "Ref", "code": "Feature Code"}  # fmt: skip
    write(folder / "unicode.txt", job, heads, sign="\t", encoding="utf-16", time="%Y-%m-%d %H:%M:%S")
    return {}


def american(folder: Path, job: Simulation) -> Answers:
    """Months first and a clock of twelve hours."""
    heads = {"name": "Pt No", "northing": "Northing", "easting": "Easting", "height": "Ellip Height",
             "time": "Date Time", "solution": "Solution Type", "base": "Base Station", "code": "Desc"}  # fmt: skip
    heads["height"] = "Ellipsoid Height"
    write(folder / "points.csv", job, heads, time=_local("%m/%d/%Y %I:%M:%S %p"))
    return {"time_zone": '"UTC"', **NAMELESS}


def ambiguous(folder: Path, job: Simulation) -> Answers:
    """No row says whether the day or the month is first."""
    heads = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
             "time": "Observed", "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
    write(folder / "points.csv", job, heads, time=_local("%d/%m/%Y %H:%M:%S"))
    return {"time_format": '"%d/%m/%Y %H:%M:%S"', "time_zone": NZ}


def one_base(folder: Path, job: Simulation) -> Answers:
    """No base ids: sessions by the nights between them."""
    heads = {"name": "id", "latitude": "lat", "longitude": "lon", "height": "hae", "time": "timestamp", "code": "code"}
    write(folder / "collected.csv", job, heads)
    return {}


def figures(folder: Path, job: Simulation) -> Answers:
    """A solution in figures."""
    heads = {"name": "id", "latitude": "lat", "longitude": "lon", "height": "hae", "time": "timestamp", "code": "code",
             "solution": "quality", "base": "base"}  # fmt: skip
    write(folder / "collected.csv", job, heads, told={"solution": ["4"] * len(job.rows["name"])})
    return {"solutions": '["4"]'}


def by_name(folder: Path, job: Simulation) -> Answers:
    """Readings that carry their mark in their names, as people name them."""
    rows = job.rows
    on = {one["point"]: one["mark"] for each in job.job["session"] for key in ("ties", "checks") for one in each[key]}
    rows["name"] = np.array([f"{on[name]}-{number}" if name in on else name
                             for number, name in enumerate(rows["name"].tolist())])  # fmt: skip
    rows["code"] = np.full(len(rows["name"]), "POINT")
    write_csv({name: rows[name] for name in rows if name in _EXPORTED}, folder / "rover.csv")
    return {}


_EXPORTED = ("name", "time", *_POSITION, "sigma_east", "sigma_north", "sigma_up", "solution", "code", "base")


def coded(folder: Path, job: Simulation) -> Answers:
    """A register whose name says its grid, exports in several formats of one day each."""
    (folder / "control.csv").rename(folder / "control_EPSG2193.csv")
    first = job.rows["session"] == 0
    for chosen, writer in ((first, write_geojson), (~first, write_csv)):
        part = {name: job.rows[name][chosen] for name in _EXPORTED}
        writer(part, folder / f"day.{'csv' if writer is write_csv else 'geojson'}")
    return {}


def layers(folder: Path, job: Simulation) -> Answers:
    """Layers that say what they are in: exports in 3D degrees, the register on its grid with a height datum."""
    (folder / "control.csv").unlink()
    write_gpkg({name: job.rows[name] for name in _EXPORTED}, folder / "rover.gpkg", job.plan.place.source)
    _register_layer(job, folder / "control.gpkg", "EPSG:2193")
    return {}


def _register_layer(job: Simulation, path: Path, crs: str) -> None:
    register = {name: values for name, values in job.register.items() if name not in ("easting", "northing")}
    table = pa.table({name: pa.array(values.tolist()) for name, values in register.items()})
    packed = np.zeros(table.num_rows, np.dtype([("order", "u1"), ("type", "<u4"), ("xy", "<f8", 2)]))
    packed["order"], packed["type"] = 1, 1
    packed["xy"] = np.column_stack([job.register["easting"], job.register["northing"]])
    wkb = pa.array([row.tobytes() for row in packed], pa.binary())
    pyogrio.write_arrow(table.append_column("geom", wkb), path, layer="marks", driver="GPKG", geometry_name="geom",
                        geometry_type="Point", crs=crs)  # fmt: skip


def tabled(folder: Path, job: Simulation) -> Answers:
    """A table of sessions, which also says what the clock is and which of day and month is first."""
    write_sessions(job.job["session"], folder / "sessions.csv")
    heads = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
             "time": "Observed", "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
    write(folder / "points.csv", job, heads, time="%d/%m/%Y %H:%M:%S")
    return {}


def renamed(folder: Path, job: Simulation) -> Answers:
    """A register under headings of its own, with decimal commas, in a Windows encoding."""
    register = job.register
    lines = ["Punktname;Hochwert;Rechtswert;NHN-Höhe"]
    for at, name in enumerate(register["mark"]):
        numbers = [f"{register[word][at]:.5f}".replace(".", ",") for word in ("northing", "easting", "height")]
        lines.append(";".join([str(name), *numbers]))
    (folder / "control.csv").unlink()
    (folder / "Festpunkte.csv").write_bytes(("\n".join(lines) + "\n").encode("cp1252"))
    write_csv({name: job.rows[name] for name in _EXPORTED}, folder / "rover.csv")
    return {}


def degrees(folder: Path, job: Simulation) -> Answers:
    """A register in degrees: the grid is a matter of taste."""
    register = {"mark": job.register["mark"], "longitude": job.marks.longitude, "latitude": job.marks.latitude,
                "ellipsoid_height": job.marks.ellipsoid_height}  # fmt: skip
    write_register(register, folder / "control.csv")
    write_csv({name: job.rows[name] for name in _EXPORTED}, folder / "rover.csv")
    return {"grid": _GRID, "source.crs": '"EPSG:4959"', "control.crs": '"EPSG:4959"'}


#: Every folder by its name, and when its work began.
FOLDERS: dict[str, tuple[Callable[[Path, Simulation], Answers], dt.datetime]] = {
    one.__name__: (one, CLEAR)
    for one in (
        german, french, spanish, portuguese, italian, dutch, norwegian, finnish, polish, czech, geocentric, wide,
        american, one_base, figures, by_name, coded, layers, degrees, renamed,
    )
} | {one.__name__: (one, dt.datetime(2026, 3, 4, 19, 30, tzinfo=dt.UTC)) for one in (ambiguous, tabled)}  # fmt: skip


def make(name: str, folder: Path) -> tuple[Simulation, Answers]:
    """Write a folder by its name; return its job and the answers to what its files do not say, the heights' too."""
    writer, start = FOLDERS[name]
    job = job_of(start)
    folder.mkdir(parents=True, exist_ok=True)
    lay(folder, job)
    return job, {**HEIGHT, **writer(folder, job)}
