"""A time copied down its column proves nothing: such rows count for what the rows around them prove at the least."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from running import Row, csv_rows, write_csv
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.solve.proof import PROOFS, Evidence
from pipeline.words import Proof

DAY = Plan(sessions=1, points=40, ties=1, checks=4, marks=5, noise=False, seed=7)


def is_point(row: Row) -> bool:
    return row["Code"] not in ("CM", "CHK")


def copied(rows: list[Row], first: int, last: int) -> list[Row]:
    """The time of a row copied down to another; marks among them keep theirs."""
    time = rows[first]["Observed"]
    return [row | {"Observed": time} if first <= n <= last and is_point(row) else row for n, row in enumerate(rows)]


def told(path: Path) -> list[str]:
    found = run_job(path, dry_run=True)
    return [note for note in found.record["notes"] if "copied a cell down the column of times" in note]


def test_what_a_copied_time_would_prove_is_suspect_beside_a_failing_check(tmp_path: Path) -> None:
    """A check half way through passes, then the base is knocked: by true times, the twenty points since are suspect.

    A time of the morning copied down to the last of them would have all bracketed by checks of the morning.
    """
    job = simulate(DAY)
    job.knock_base(0, 0.75, east=0.2, north=0.15)
    path, export = job.write(tmp_path), tmp_path / "rover001.csv"
    rows = csv_rows(export)
    middle = rows.pop(next(number for number, row in enumerate(rows) if row["Point"] == "S01-C2"))
    at = next(number for number, row in enumerate(rows) if row["Point"] == "S01-00021")
    time = datetime.fromisoformat(rows[at - 1]["Observed"]) + timedelta(seconds=30)
    rows.insert(at, middle | {"Observed": time.isoformat()})
    write_csv(export, rows)
    true = run_job(path, dry_run=True).record["rows"]
    assert (true["points"], true["by_reason"]) == (20, {"suspect": 20})
    points = [number for number, row in enumerate(rows) if is_point(row)]
    write_csv(export, copied(rows, points[10], points[-1]))
    found = run_job(path, dry_run=True).record
    assert (found["rows"]["points"], found["rows"]["by_reason"]) == (20, {"suspect": 20})
    assert [note for note in found["notes"] if f"rover001.csv:{at + 3}: 20 rows in a row" in note]


def test_all_points_with_one_time_are_told_and_stay_proven_where_every_check_passes(tmp_path: Path) -> None:
    path, export = simulate(DAY).write(tmp_path), tmp_path / "rover001.csv"
    rows = csv_rows(export)
    points = [number for number, row in enumerate(rows) if is_point(row)]
    write_csv(export, copied(rows, points[0], points[-1]))
    (note,) = told(path)
    assert note.startswith(f"rover001.csv:{points[0] + 2}: 40 rows in a row (to row {points[-1] + 2}) have the time")
    found = run_job(path, dry_run=True)
    assert (found.exit_code, found.record["verdict"]) == (0, "proven")


def to_half_hours(rows: list[Row]) -> list[Row]:
    """Coarse times, as some exports give them, so that many rows share one."""
    half = [f"{row['Observed'][:14]}{'30' if row['Observed'][14] >= '3' else '00'}:00Z" for row in rows]
    return [row | {"Observed": time} for row, time in zip(rows, half, strict=True)]


def of_features(rows: list[Row]) -> list[Row]:
    """Every vertex has the time of its line's start: eight lines of five."""
    points = [row for row in rows if is_point(row)]
    start = {row["Point"]: points[number - number % 5]["Observed"] for number, row in enumerate(points)}
    return [row | {"Observed": start.get(row["Point"], row["Observed"])} for row in rows]


def from_one_place(rows: list[Row]) -> list[Row]:
    """Six corners within metres of one another, taken by offsets from one occupation."""
    points = [row["Point"] for row in rows if is_point(row)]
    first = next(row for row in rows if row["Point"] == points[10])
    found = []
    for row in rows:
        place = points.index(row["Point"]) - 10 if row["Point"] in points[10:16] else None
        moved = {} if place is None else {"Lat": f"{float(first['Lat']) + place * 2e-5:.11f}", "Lon": first["Lon"]}
        found.append(row | moved | ({} if place is None else {"Observed": first["Observed"]}))
    return found


def one_of_several_rovers(rows: list[Row]) -> list[Row]:
    """Two rovers far apart observe at the same seconds."""
    times = [row["Observed"] for row in rows]
    return [
        row | {"Observed": times[n - n % 2]} if is_point(row) and is_point(rows[n - n % 2]) else row
        for n, row in enumerate(rows)
    ]


_HONEST: list[Callable[[list[Row]], list[Row]]] = [to_half_hours, of_features, from_one_place, one_of_several_rovers]


@pytest.mark.parametrize("made", _HONEST)
def test_exports_that_are_made_so_are_not_told(made: Callable[[list[Row]], list[Row]], tmp_path: Path) -> None:
    path, export = simulate(DAY).write(tmp_path), tmp_path / "rover001.csv"
    write_csv(export, made(csv_rows(export)))
    assert not told(path)


def test_means_with_the_time_of_their_export_are_not_told(tmp_path: Path) -> None:
    """A file of its own, all of whose rows have one time, was made so; marks are in another."""
    path, export = simulate(DAY).write(tmp_path), tmp_path / "rover001.csv"
    rows = csv_rows(export)
    points = [row for row in rows if is_point(row)]
    write_csv(export, [row for row in rows if not is_point(row)])
    write_csv(tmp_path / "rover002.csv", [row | {"Observed": points[20]["Observed"]} for row in points])
    assert not told(path)


@pytest.mark.parametrize(
    ("start", "end", "word"),
    [(11, 19, Proof.BRACKETED), (11, 29, Proof.SUSPECT), (5, 19, Proof.UNCLOSED), (11, 45, Proof.SUSPECT)],
)
def test_the_least_of_a_stretch_of_time(start: int, end: int, word: Proof) -> None:
    """Occupations at 10, 20 and 30, of which the one at 30 fails."""
    evidence = Evidence(np.array([10, 20, 30]), np.array([True, True, False]), independent=True)
    assert PROOFS[evidence.least(start, end)] is word
