"""Simulated jobs whose points carry where their base stood and how high its antenna was."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from closed_forms import move, turn_enu
from running import Row, append_rows, replace_in, rewrite_export
from simulate import Plan, Simulation

SMALL = Plan(sessions=2, points=20, ties=1, checks=2, marks=4)
COLUMNS = {"base_longitude": "BLon", "base_latitude": "BLat", "base_height": "BHt", "antenna_height": "Ant"}
Change = Callable[[Row], dict[str, Any]]


def at_base(job: Simulation, session: int, east: float = 0.0, north: float = 0.0, up: float = 0.0) -> dict[str, str]:
    """Cells with the position that a session's base broadcast, moved by so much."""
    lon, lat, height = (values[session : session + 1] for values in (
        job.broadcast.longitude, job.broadcast.latitude, job.broadcast.ellipsoid_height
    ))  # fmt: skip
    vector = turn_enu(lon, lat, np.array([[east, north, up]]))
    lon, lat, height = move(lon, lat, height, vector, job.plan.place.ellipsoid)
    return {"BLon": f"{lon[0]:.11f}", "BLat": f"{lat[0]:.11f}", "BHt": f"{height[0]:.5f}"}


def session_of(row: Row) -> int:
    return int(row["Point"][1:3]) - 1


def write(job: Simulation, folder: Path, change: Change | None = None, beside: bool = True) -> Path:
    """Write a job whose points carry base position and antenna height; each session begins beside its base.

    ``change`` gives the cells of a row that are to be others.
    """
    path = job.write(folder)
    export = folder / "rover001.csv"
    if beside:
        for number, session in enumerate(job.job["session"]):
            place = at_base(job, number, east=1.2, north=0.8, up=0.3)
            position = {"Lon": place["BLon"], "Lat": place["BLat"], "EllHt": place["BHt"]}
            first = {"Point": f"S{number + 1:02d}-START", "Observed": f"{session['start']:%Y-%m-%dT%H:%M:%S}Z",
                     "Code": "START", "Base": session["base"]}  # fmt: skip
            append_rows(export, [position | first])
    rewrite_export(
        export, lambda row: row | at_base(job, session_of(row)) | {"Ant": "1.800"} | (change(row) if change else {})
    )
    mapped = "".join(f', {ours} = "{theirs}"' for ours, theirs in COLUMNS.items())
    replace_in(path, {', base = "Base"': f', base = "Base"{mapped}'})
    return path


def late(job: Simulation, row: Row, session: int, hours: float) -> bool:
    """Whether a row of a session was observed so many hours after its start, or later."""
    since = job.job["session"][session]["start"] + dt.timedelta(hours=hours)
    return session_of(row) == session and dt.datetime.fromisoformat(row["Observed"]) >= since
