"""`tiedown new`: a job file to start from, with what is known of it and the questions that are left."""

import os
import shlex
from pathlib import Path

from pipeline.cli.console import print_json
from pipeline.cli.faults import report
from pipeline.cli.line_folding import print_lines
from pipeline.new_job import Started, new_job
from pipeline.visible import one_line
from pipeline.words import counted

#: The job file is written, and has questions that somebody has to answer.
OPEN = 3


def start_job(folder: Path, to: Path | None, *, as_json: bool) -> int:
    """Write a job file for a folder, print what was found, and return 0, or 3 where questions are open; 2 for none."""
    try:
        started = new_job(folder, to)
    except Exception as error:
        return report(str(folder), error, as_json=as_json)
    if as_json:
        print_json(_document(started))
    else:
        print_lines(_lines(started))
    return OPEN if started.asked else 0


def _document(started: Started) -> dict[str, object]:
    return {
        "job_file": started.path,
        "outcome": "written",
        "exit_code": OPEN if started.asked else 0,
        "open": [
            {
                "key": one.question.key,
                "line": one.line,
                "asks": one.question.asks,
                "also": list(one.question.also),
                "candidates": [{"value": each.value, "why": each.why} for each in one.question.candidates],
            }
            for one in started.asked
        ],
        "files": [{"file": file, "taken_for": role, "why": why} for file, role, why in started.files],
        "notes": list(started.notes),
    }


def _lines(started: Started) -> list[str]:
    head = f"{started.path}: job file written"
    lines = [f"{head}, {counted(len(started.asked), 'open question')}" if started.asked else f"{head}, nothing is open"]
    lines += [f"  {one_line(file)}: {role}, {one_line(why)}" for file, role, why in started.files]
    lines += [f"  note: {one_line(started.lacking)}"] if started.lacking else []
    for one in started.asked:
        lines.append(f"  OPEN: {started.path}:{one.line}: {one.question.key}: {one_line(one.question.asks)}")
        for each in one.question.candidates:
            lines.append(f"      {one_line(each.value)}" + (f"  {one_line(each.why)}" if each.why else ""))
    lines += [f"  note: {one_line(note)}" for note in started.notes if note != started.lacking]
    lines.append(f"  next: tiedown check {_typed(started.path)}")
    return lines


def _typed(path: str) -> str:
    """Return a path as it is typed in a command: in quotes where blanks or other signs would take it apart."""
    if os.name == "posix":
        return shlex.quote(path)
    return f'"{path}"' if " " in path else path
