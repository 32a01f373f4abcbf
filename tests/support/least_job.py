"""Job files that say the least that one must: as a text of which nothing is read, and laid down beside an export."""

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from simulate_files import to_toml

YARD = """\
[job]
name = "yard"
folder = "out"
[target]
grid = "EPSG:2193"
height = "ellipsoid"
[source]
crs = "EPSG:4959"
[[points]]
files = ["*.csv"]
[control]
file = "control.csv"
crs = "EPSG:2193"
"""

#: The headings of most exports here.
COLUMNS = {"name": "Point", "time": "Time", "longitude": "Lon", "latitude": "Lat", "height": "H"}


def write_job(
    folder: Path,
    crs: str,
    target: Mapping[str, Any],
    *,
    file: str,
    columns: Mapping[str, str] = COLUMNS,
    control: Mapping[str, Any] | None = None,
    days: tuple[str, str] = ("2026-03-02T00:00Z", "2026-03-03T00:00Z"),
    ties: Sequence[tuple[str, str]] = (),
    checks: Sequence[tuple[str, str]] = (),
    **session: Any,
) -> Path:
    """Lay down a job of one session beside its export, and return its path.

    Args:
        folder: where it is laid.
        crs: of the export, whose times have their offset.
        target: the table of what is issued; heights above the ellipsoid unless it says otherwise.
        file: the export's name.
        columns: our words of columns and its headings.
        control: the table of the register, None for none.
        days: beginning and end of the session.
        ties: points and their marks.
        checks: likewise.
        session: what else the session says.
    """
    start, end = (dt.datetime.fromisoformat(day) for day in days)
    pairs = {
        word: [{"point": point, "mark": mark} for point, mark in given]
        for word, given in (("ties", ties), ("checks", checks))
        if given
    }
    job: dict[str, Any] = {
        "job": {"name": "least", "folder": "out"},
        "target": {"height": "ellipsoid"} | dict(target),
        "source": {"crs": crs},
        "points": [{"files": [file], "columns": dict(columns)}],
    }
    job |= {"control": dict(control)} if control is not None else {}
    job |= {"session": [{"name": "day", "start": start, "end": end} | pairs | session]}
    path = folder / "job.toml"
    path.write_text(to_toml(job), encoding="utf-8")
    return path
