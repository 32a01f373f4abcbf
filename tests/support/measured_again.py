"""Points of a simulated rover that a second one measures again, each off by a vector of its own."""

from pathlib import Path

import numpy as np
from closed_forms import move, turn_enu
from running import Row, rewrite_export
from simulate import Simulation

from pipeline import run_job
from pipeline.issue.record_types import Record


def moved(job: Simulation, row: Row, east: float, north: float, up: float) -> Row:
    place = [np.array([float(row[name])]) for name in ("Lon", "Lat", "EllHt")]
    vector = turn_enu(place[0], place[1], np.array([[east, north, up]]))
    lon, lat, height = move(place[0], place[1], place[2], vector, job.plan.place.ellipsoid)
    return row | {"Lon": f"{lon[0]:.10f}", "Lat": f"{lat[0]:.10f}", "EllHt": f"{height[0]:.4f}"}


def again(job: Simulation, folder: Path, count: int, vector: list[tuple[float, float, float]]) -> Path:
    """So many points of the first rover in the export of a second one, each by its own vector, a minute later."""
    path = job.write(folder)
    export = folder / "rover001.csv"
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    some = [line for line in lines if "-T" not in line.split(",")[0] and "-C" not in line.split(",")[0]][:count]
    (folder / "rover002.csv").write_text("\n".join([heading, *some, ""]), encoding="utf-8")
    each = iter(vector)

    def change(row: Row) -> Row:
        seconds = int(row["Observed"][17:19])
        return moved(job, row, *next(each)) | {"Observed": f"{row['Observed'][:17]}{(seconds + 17) % 60:02d}Z"}

    rewrite_export(folder / "rover002.csv", change)
    return path


def judged(path: Path) -> tuple[int, Record, list[str]]:
    outcome = run_job(path, dry_run=True)
    doubts = [doubt["what"] for doubt in outcome.record["doubts"]]
    notes = [note for note in outcome.record["notes"] if note not in doubts]
    told = [note for note in notes if "all by one vector" in note or "same number" in note]
    return outcome.exit_code, outcome.record, told
