"""A job run a second time after its register was revised, and what the layers of its issues hold, by SQLite alone."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from running import csv_rows, rewrite_export
from simulate import Simulation

from pipeline.run.run_job import Outcome

Rows = list[dict[str, Any]]


def rows_of(issue: Outcome | Path, layer: str) -> Rows:
    """Read a layer with its keys and geometries as they are stored, also one of lines, as `changes` is."""
    folder = issue if isinstance(issue, Path) else issue.folder
    assert folder is not None
    (package,) = folder.glob("*-[0-9]*.gpkg")
    with closing(sqlite3.connect(f"file:{package}?mode=ro&immutable=1", uri=True)) as file:
        file.row_factory = sqlite3.Row
        return [dict(row) for row in file.execute(f'select * from "{layer}"')]


def doubts(outcome: Outcome) -> list[str]:
    """Return in words what is in doubt and not confirmed."""
    return [one["what"] for one in outcome.record["doubts"] if not one["confirmed"]]


def rewrite_register(path: Path, mark: str, column: str, change: float) -> tuple[str, str]:
    """Add to one coordinate of the register; return what was written before and after."""
    (old,) = [row[column] for row in csv_rows(path) if row["mark"] == mark]
    new = f"{float(old) + change:.5f}"
    rewrite_export(path, lambda row: row | ({column: new} if row["mark"] == mark else {}))
    return old, new


def tie_of(job: Simulation, session: int) -> str:
    """Return the mark that ties a session."""
    return str(job.job["session"][session]["ties"][0]["mark"])
