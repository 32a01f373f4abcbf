"""Exports made in code: job blocks, and the same points as CSV, GeoJSON and GeoPackage, awkward ones among them."""

import json
import struct
from pathlib import Path

import pyarrow as pa
import pyogrio
from simulate_files import EXPORTED

from pipeline.job.model import Columns, Job, JobSection, Points, Target
from pipeline.problems import Problems
from pipeline.read.exports import Export, read_batches
from pipeline.read.find_exports import find_exports
from pipeline.tables import TIME

HEADER = "Point,Observed,Lat,Lon,EllHt,sE,sN,sU,Sol,Code,Base"
COLUMNS = EXPORTED
GOOD = "P1,2026-03-02T07:30:00Z,-36.8,174.7,12.5,0.01,0.02,0.03,fix,KERB,BASE-A"


def block(files: "str | tuple[str, ...]", columns: "dict[str, str] | None" = None, **keys: object) -> Points:
    """A block as the loader would fill it: degrees on NZGD2000, UTC."""
    names = (files,) if isinstance(files, str) else files
    settings = {"crs": "EPSG:4959", "time_zone": "UTC"} | keys
    return Points(files=names, columns=Columns(**(COLUMNS if columns is None else columns)), **settings)


def job(*points: Points) -> Job:
    return Job(
        job=JobSection(name="made", folder=Path("out")),
        target=Target(grid="EPSG:2193", height="ellipsoid"),
        points=points,
    )


def where(*keys: object) -> tuple[str, int]:
    """Stands for the job file's lines: block b's keys are on line 100 (b + 1)."""
    return "job.toml", 100 * (int(str(keys[1])) + 1)


def find(folder: Path, *points: Points) -> tuple[list[Export], list[str]]:
    """The exports found and the problems as texts."""
    problems = Problems()
    exports, _ = find_exports(job(*points), folder, "job.toml", where, problems)
    return exports, [str(problem) for problem in problems.found]


def read(folder: Path, points: Points, rows_per_batch: int = 65536) -> pa.Table:
    """All rows of all files of one block, which must have no problems."""
    exports, problems = find(folder, points)
    assert problems == []
    batches = [batch for export in exports for batch in read_batches(export, rows_per_batch)]
    assert all(0 < batch.num_rows <= rows_per_batch for batch in batches)
    if not batches:
        return pa.table({})
    return pa.Table.from_batches(batches).combine_chunks()


def text_table(folder: Path, text: "str | bytes", columns: "dict[str, str] | None" = None, **keys: object) -> pa.Table:
    """The readings of one CSV file with this content."""
    content = text.encode() if isinstance(text, str) else text
    (folder / "made.csv").write_bytes(content)
    return read(folder, block("made.csv", columns, **keys))


def problems_of(folder: Path, name: str, text: "str | bytes", **keys: object) -> list[str]:
    """The problems that one file with this content gives."""
    (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)
    return find(folder, block(name, **keys))[1]


def point(*coordinates: float) -> bytes:
    """ISO well-known binary of a point with two or three coordinates."""
    return struct.pack(f"<BI{len(coordinates)}d", 1, 1 if len(coordinates) == 2 else 1001, *coordinates)


def feature(geometry: "dict[str, object] | None", **properties: object) -> dict[str, object]:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def geojson(path: Path, features: list[dict[str, object]], **members: object) -> None:
    path.write_text(
        json.dumps({"type": "FeatureCollection", **members, "features": features}, indent=1, ensure_ascii=False),
        encoding="utf-8",
    )


def package(path: Path, table: pa.Table, layer: str = "points", crs: str = "EPSG:4959", kind: str = "Unknown") -> None:
    """Write or add a layer whose geometries are the column ``geom``."""
    pyogrio.write_arrow(
        table,
        path,
        layer=layer,
        driver="GPKG",
        geometry_name="geom",
        geometry_type=kind,
        crs=crs,
        append=path.exists(),
    )


def times(*texts: "str | None") -> pa.Array:
    """Date-times of a GeoPackage, given in ISO 8601 with an offset."""
    return pa.array(texts, pa.string()).cast(pa.timestamp("ns", "UTC")).cast(TIME)
