"""Runs a simulated job and reads its issue back; changes an export where the simulator writes only its own."""

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from first_issue import run_once
from issued import Issue, current_issue
from published_schema import broken
from simulate import Simulation

from pipeline import run_job
from pipeline.issue.record_types import Record

Row = dict[str, str]


def run_simulated(
    job: Simulation, folder: Path, form: str = "csv", *, session_file: bool = False, code: int = 0
) -> Issue:
    """Write a simulated job, run it, and return its issue; the run must end with exit code ``code``."""
    return run_written(job.write(folder, form, session_file=session_file), code)


def run_written(path: Path, code: int = 0) -> Issue:
    """Run the job file of a simulated job and return its issue; the run must end with exit code ``code``."""
    outcome = run_job(path)
    assert outcome.exit_code == code, outcome.record["checks"]
    return current_issue(path.parent / "out")


def issued_once(path: Path, code: int = 0) -> Issue:
    """Return the issue of a job as `run_written` does; of jobs of the same files one is run (`run_once`)."""
    outcome = run_once(path)
    assert outcome.exit_code == code, outcome.record["checks"]
    return current_issue(path.parent / "out")


def record_of(path: Path, code: int = 0) -> Record:
    """Return the record that a job would be issued with, which must end with exit code ``code``; nothing is written."""
    outcome = run_job(path, dry_run=True)
    assert outcome.exit_code == code, outcome.record["checks"]
    return outcome.record


def published_record(path: Path, code: int = 0) -> Record:
    """Return the same, held to the published schema as that of an issue is, which bears its own sum besides."""
    record = record_of(path, code)
    assert not broken({**record, "sum": 64 * "0"})
    return record


def revised(job: Simulation, folder: Path) -> Path:
    """Run a simulated job, revise the height of CM1 by 6 mm, run it again, and return the folder of both issues."""
    path = job.write(folder)
    assert run_once(path).issued
    job.mistype("CM1", "height", 0.006)
    job.write(folder)
    assert run_once(path).issued
    return folder / "out"


def rewrite_export(path: Path, change: Callable[[Row], Row]) -> None:
    """Change every row of a CSV export; the rows that come back may have other columns, all the same ones."""
    write_csv(path, [change(row) for row in csv_rows(path)])


def rewrite_numbered(path: Path, change: Callable[[int, Row], Row]) -> None:
    """Change every row of a CSV export likewise, by its number from 0 on."""
    write_csv(path, [change(number, row) for number, row in enumerate(csv_rows(path))])


def csv_rows(path: Path) -> list[Row]:
    """The rows of a CSV export, every cell as text."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def write_csv(path: Path, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write a CSV export with the columns of its first row."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def replace_in(path: Path, changes: Mapping[str, str]) -> None:
    """Replace pieces of a text file; each must be there."""
    text = path.read_text(encoding="utf-8")
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


def append_rows(path: Path, rows: list[dict[str, Any]]) -> list[int]:
    """Append rows to a CSV export, columns that a row leaves out taken from the file's last row; return their lines."""
    before = csv_rows(path)
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(before[0]), lineterminator="\n")
        writer.writerows({**before[-1], **row} for row in rows)
    return [len(before) + 2 + number for number in range(len(rows))]


def paste_session(path: Path, name: str, tables: str) -> None:
    """Put lines in the place of a session's table in a job file, as a person would who is told to."""
    parts = re.split(r"(?m)^(?=\[)", path.read_text(encoding="utf-8"))
    (at,) = [n for n, part in enumerate(parts) if part.startswith("[[session]]") and f'name = "{name}"' in part]
    parts[at] = f"{tables}\n"
    path.write_text("".join(parts), encoding="utf-8")


def paste_into_session(path: Path, name: str, lines: str) -> None:
    """Put lines into a session's table in a job file, as a person would who is told to."""
    replace_in(path, {f'name = "{name}"\n': f'name = "{name}"\n{lines}'})
