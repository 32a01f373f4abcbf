"""Finds what a job's spreadsheets do not show: sheets that nothing reads, and rows of one that is read."""

import os
from collections.abc import Iterator
from pathlib import Path

from pipeline.files.regular_files import read_whole
from pipeline.files.workbook import WORKBOOKS, HiddenSheet, hidden_sheets
from pipeline.files.workbook_parts import BrokenWorkbook
from pipeline.intake.survey import Survey
from pipeline.limits import TABLE
from pipeline.near import listed
from pipeline.read.spreadsheet import HiddenRows
from pipeline.visible import one_line
from pipeline.words import counted, plural


def hidden_notes(survey: Survey) -> list[str]:
    """Return in words which hidden rows and sheets hold readings or marks that no part of the job reads.

    A sheet that a block, the register or the table of sessions names as its layer is read, hidden or not.
    """
    job = survey.job
    read: dict[str, set[str]] = {}
    found: dict[str, tuple[str, tuple[HiddenSheet, ...]]] = {}
    for export in survey.exports:
        at = os.path.realpath(export.path)
        read.setdefault(at, set()).update(export.points.layer or ())
        if export.unseen:
            found.setdefault(at, (export.file, export.unseen))
    for table in (job.control, job.sessions):
        if table is None or table.file.suffix.lower() not in WORKBOOKS:
            continue
        at = os.path.realpath(table.file)
        read.setdefault(at, set()).update([] if table.layer is None else [table.layer])
        if at not in found and (unseen := _unseen(table.file)):
            found[at] = (survey.prepared.loaded.recorded(table.file), unseen)
    rows = [_rows_note(export.shown, export.hidden) for export in survey.exports if export.hidden is not None]
    return rows + [note for at, (shown, unseen) in found.items() for note in _note(shown, unseen, read[at])]


def _rows_note(shown: str, hidden: HiddenRows) -> str:
    count, one = counted(hidden.count, "row"), plural(hidden.count, "it", "them")
    return (
        f"{shown}:{hidden.row}: {count} of the sheet {plural(hidden.count, 'is', 'are')} hidden (first one here), as a"
        f" filter or a folded group leaves {one}, and held back: clear the filter or unhide {one} and save it again if"
        f" {plural(hidden.count, 'it is a reading', 'they are readings')} of this job, or delete {one}"
    )


def _unseen(path: Path) -> tuple[HiddenSheet, ...]:
    try:
        return tuple(one for one in hidden_sheets(read_whole(path, TABLE)) if one.rows)
    except (BrokenWorkbook, OSError):  # told by who reads it
        return ()


def _note(shown: str, unseen: tuple[HiddenSheet, ...], read: set[str]) -> Iterator[str]:
    for one in unseen:
        if one.shown and one.name not in read:
            yield (
                f'{shown}: the sheet "{one_line(one.name)}", with {counted(one.rows, "row")} that may be readings or'
                " marks, has the headings of the one that is read and is not read itself: if it belongs to the job,"
                " name it as layer in a block of its own"
            )
    left = [one for one in unseen if not one.shown and one.name not in read]
    if left:
        names, rows = listed([one.name for one in left], '"'), counted(sum(one.rows for one in left), "row")
        yield (
            f"{shown}: the {plural(len(left), 'sheet', 'sheets')} {names}, with {rows} that may be readings or marks,"
            f" {plural(len(left), 'is', 'are')} hidden and not read: if"
            f" {plural(len(left), 'it belongs', 'they belong')} to the job, name each as layer in its own block"
        )
