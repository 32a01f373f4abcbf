"""Lays a simulated job down as files: exports in CSV, GeoJSON and GeoPackage, the register, the job file."""

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyogrio
from numpy.typing import NDArray

#: Ours and the export's name of every column, in the order of the CSV export.
EXPORTED = {
    "name": "Point",
    "time": "Observed",
    "latitude": "Lat",
    "longitude": "Lon",
    "height": "EllHt",
    "sigma_east": "sE",
    "sigma_north": "sN",
    "sigma_up": "sU",
    "solution": "Sol",
    "code": "Code",
    "base": "Base",
}
_POSITION = ("longitude", "latitude", "height")
#: Decimals printed: 1e-11 degrees are a micrometre; a simulated coordinate must not lose 0.1 mm in printing.
_DECIMALS = {"longitude": 11, "latitude": 11, "height": 5}


def write_job(
    folder: Path,
    rows: dict[str, NDArray[Any]],
    register: dict[str, NDArray[Any]],
    job: dict[str, Any],
    form: str,
    files: int,
    session_file: bool,
) -> Path:
    """Write everything into a folder and return the job file's path; see `simulate.Simulation.write`."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, part in enumerate(np.array_split(np.arange(len(rows["name"])), files), start=1):
        some, path = {name: rows[name][part] for name in EXPORTED}, folder / f"rover{number:03d}.{form}"
        if form == "csv":
            write_csv(some, path)
        elif form == "geojson":
            write_geojson(some, path)
        else:
            write_gpkg(some, path, job["source"]["crs"])
    exported = {ours: theirs for ours, theirs in EXPORTED.items() if form == "csv" or ours not in _POSITION}
    points: dict[str, Any] = {"files": [f"rover*.{form}"], "columns": exported}
    write_register(register, folder / "register.csv")
    job = {**job, "points": [*job.get("points", []), points]}
    if session_file:
        write_sessions(job.pop("session"), folder / "sessions.csv")
        job["sessions"] = {"file": "sessions.csv"}
    path = folder / "job.toml"
    path.write_text(to_toml(job), encoding="utf-8")
    return path


def _table(rows: dict[str, NDArray[Any]], times: pa.Array, columns: list[str]) -> pa.Table:
    arrays = {}
    for ours in columns:
        values = rows[ours]
        if ours == "time":
            arrays[EXPORTED[ours]] = times
        elif values.dtype.kind == "f":
            # The shortest text of a rounded double has just these decimals.
            arrays[EXPORTED[ours]] = pa.array(np.round(values, _DECIMALS.get(ours, 4)))
        else:
            arrays[EXPORTED[ours]] = pa.array(values.astype(str).astype(object), pa.string())
    return pa.table(arrays)


def _iso(times: NDArray[Any]) -> NDArray[Any]:
    """Return ISO 8601 in UTC, to the millisecond only where a time has a fraction of a second."""
    whole = bool(np.all(times == times.astype("datetime64[s]")))
    return np.char.add(times.astype("datetime64[s]" if whole else "datetime64[ms]").astype(str), "Z")


def write_csv(rows: dict[str, NDArray[Any]], path: Path) -> None:
    """Write an export as CSV, about 110 bytes a row."""
    table = _table(rows, pa.array(_iso(rows["time"]).astype(object), pa.string()), list(EXPORTED))
    options = pyarrow.csv.WriteOptions(include_header=False, quoting_style="none")
    with path.open("wb") as file:
        file.write((",".join(EXPORTED.values()) + "\n").encode())
        pyarrow.csv.write_csv(table, file, options)


def write_geojson(rows: dict[str, NDArray[Any]], path: Path) -> None:
    """Write an export as GeoJSON, one feature a line; times are text."""
    columns = [name for name in EXPORTED if name not in _POSITION]
    table = _table(rows, pa.array(_iso(rows["time"]).astype(object), pa.string()), columns)
    places = np.column_stack([np.round(rows[name], _DECIMALS[name]) for name in _POSITION]).tolist()
    features = [
        json.dumps({"type": "Feature", "properties": row, "geometry": {"type": "Point", "coordinates": place}})
        for row, place in zip(table.to_pylist(), places, strict=True)
    ]
    path.write_text('{"type": "FeatureCollection", "features": [\n' + ",\n".join(features) + "\n]}\n", encoding="utf-8")


def write_gpkg(rows: dict[str, NDArray[Any]], path: Path, crs: str | None) -> None:
    """Write an export as GeoPackage with PointZ geometries, in a layer that says no CRS for None; times are UTC."""
    columns = [name for name in EXPORTED if name not in _POSITION]
    table = _table(rows, pa.array(rows["time"].astype("datetime64[ms]"), pa.timestamp("ms", "UTC")), columns)
    packed = np.zeros(len(rows["name"]), np.dtype([("order", "u1"), ("type", "<u4"), ("xyz", "<f8", 3)]))
    packed["order"], packed["type"] = 1, 1001  # WKB, little-endian, PointZ
    packed["xyz"] = np.column_stack([rows[name] for name in _POSITION])
    wkb = pa.array([row.tobytes() for row in packed], pa.binary())
    path.unlink(missing_ok=True)
    pyogrio.write_arrow(
        table.append_column("geom", wkb), path, layer="points", driver="GPKG",
        geometry_name="geom", geometry_type="Point Z", crs=crs,
    )  # fmt: skip


def write_register(register: dict[str, NDArray[Any]], path: Path) -> None:
    """Write the register of control marks as CSV, coordinates with eleven (degrees) or five decimals."""
    lines = [",".join(register)]
    for row in zip(*register.values(), strict=True):
        lines.append(",".join(_cell(name, value) for name, value in zip(register, row, strict=True)))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _cell(name: str, value: Any) -> str:
    if not isinstance(value, float):
        return str(value)
    return "" if np.isnan(value) else f"{value:.{11 if name in ('longitude', 'latitude') else 5}f}"


def write_sessions(sessions: list[dict[str, Any]], path: Path) -> None:
    """Write the sessions as CSV; ties and checks are ``point=mark`` with semicolons between them."""
    lines = ["name,start,end,base,ties,checks"]
    for session in sessions:
        pairs = ["; ".join(f"{one['point']}={one['mark']}" for one in session[key]) for key in ("ties", "checks")]
        lines.append(",".join([session["name"], session["start"].isoformat(), session["end"].isoformat(),
                               session["base"], *pairs]))  # fmt: skip
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def to_toml(job: dict[str, Any]) -> str:
    """Return a job as TOML: tables, lists of tables, and everything below those inline."""
    lines: list[str] = []
    for section, content in job.items():
        for table in content if isinstance(content, list) else [content]:
            lines.append(f"[[{section}]]" if isinstance(content, list) else f"[{section}]")
            lines += [f"{key} = {_value(value)}" for key, value in table.items()]
            lines.append("")
    return "\n".join(lines)


def _value(value: Any) -> str:
    if isinstance(value, dt.datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(inner) for inner in value) + "]"
    if isinstance(value, (float, np.floating)):
        return repr(float(value))
    return json.dumps(str(value) if isinstance(value, Path) else value)
