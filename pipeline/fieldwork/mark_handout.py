"""`tiedown marks`: marks around a job, as a file that equipment and a register take, and as a page to print."""

import os
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.clock import from_iso
from pipeline.fieldwork.field_job import FieldJob, find_field_job, left_out_message, reach_of
from pipeline.fieldwork.mark_pairs import Pair, pairs
from pipeline.fieldwork.sheet_content import sheet_of
from pipeline.files.atomic_write import atomic_write
from pipeline.files.file_patterns import fits
from pipeline.geodesy import crs
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.intake.prepare import load
from pipeline.issue.control_sheet.mark_files import COLUMNS, ENDINGS, Said, content
from pipeline.issue.control_sheet.sheet import render
from pipeline.issue.folder.ownership import is_among_issues
from pipeline.issue.formats.csv_file import guarded
from pipeline.issue.geopackage.write_errors import NotWritten
from pipeline.job.load import LoadedJob
from pipeline.near import listed
from pipeline.problems import JobError, Problem, check_working_folder, named_in_errors, refusals_told, remedy
from pipeline.progress import Progress
from pipeline.sealed import sealed_off
from pipeline.tables import number_column

#: The ending of the page.
_PAGE = ".html"
#: Bytes of a page that are looked at for the name of its file of marks.
_LARGEST = 1_000_000


class HandedOut(Struct, frozen=True):
    """Marks that were written to ``file``, and to ``sheet`` to print; every pair; in words what is not there."""

    file: Path
    sheet: Path
    look: FieldJob
    rows: pa.RecordBatch
    pairs: tuple[Pair, ...]
    said: Said
    left_out: str | None

    @property
    def notes(self) -> tuple[str, ...]:
        """Return in words what should be looked at."""
        written = (name for name in self.look.marks.names if self.file.suffix.lower() == ".csv")
        odd = [name for name in written if guarded(name) != name]
        what = f"{listed(odd)}: written with an apostrophe before it, since a spreadsheet would take it for a formula"
        return (*self.look.notes, *([what] if odd else []))


@sealed_off()
@refusals_told()
def hand_out(
    path: Path,
    to: Path,
    *,
    sheet: Path | None = None,
    around: str | None = None,
    within: float | None = None,
    force: bool = False,
    progress: Progress | None = None,
) -> HandedOut:
    """Write the marks around a job to a file, and a page beside it.

    Args:
        path: the job file.
        to: a new .csv, .geojson or .gpkg.
        sheet: the page; else beside ``to``, with its name; its whole name, where that page is another file's.
        around: a place in words (`work_area.FORMS`); else the job's plan or readings say where its work is.
        within: metres from there; else `field_job.WITHIN`.
        force: write over what an earlier hand-out or somebody else left there.
        progress: told how far the reading of the exports is.

    Raises `JobError` for a job that cannot be loaded, a place that is none, and a file that may not be written over.
    """
    page = sheet if sheet is not None else _page_beside(to)
    check_working_folder([path, to, page])
    loaded = load(path, sessions=False)
    if found := list(_refused(to, page, loaded, force)):
        raise JobError(found)
    at_hand = find_field_job(path, around, within, progress)
    said = _said(at_hand)
    rows = _rows(at_hand)
    every = pairs(at_hand.marks, at_hand.work, at_hand.loaded.job, at_hand.operations)
    left_out = left_out_message(at_hand, reach_of(loaded, around, within))
    try:
        made = content(to.suffix.lower(), rows, said)
    except NotWritten as error:
        raise JobError([Problem(str(to), 0, f"it cannot be written: {error}", remedy(error))]) from error
    sheet_made = render(sheet_of(at_hand, rows, every, said, to.name, left_out))
    _write({to: made, page: sheet_made}, force)
    return HandedOut(to, page, at_hand, rows, every, said, left_out)


def _page_beside(to: Path) -> Path:
    """Return where the page of a file of marks lies: m.html, or m.gpkg.html for m.gpkg where m.html is m.csv's."""
    page = to.with_suffix(_PAGE)
    others = (to.with_suffix(ending) for ending in ENDINGS)
    there = [other.name for other in others if other.name != to.name and other.is_file()]
    if not there or not page.is_file():
        return page
    with page.open("rb") as file:
        text = file.read(_LARGEST).decode("utf-8", "replace")
    of_other = to.name not in text and any(name in text for name in there)
    return to.with_name(to.name + _PAGE) if of_other else page


def _refused(to: Path, page: Path, loaded: LoadedJob, force: bool) -> Iterator[Problem]:
    """Yield why a file may not be written: what it is, what is there, or where it lies."""
    if to.suffix.lower() not in ENDINGS:
        known = ", ".join(dict.fromkeys(ENDINGS))
        yield Problem(
            str(to), 0, f'a file of marks cannot end in "{to.suffix}"', f"name one that ends in one of {known}"
        )
    if page.suffix.lower() not in (_PAGE, ".htm"):
        yield Problem(str(page), 0, "the control sheet is an HTML page", "name a file that ends in .html")
    for path in (to, page):
        yield from _in_the_way(path, loaded, force)


def _in_the_way(path: Path, loaded: LoadedJob, force: bool) -> Iterator[Problem]:
    real = Path(os.path.realpath(path))
    if not path.parent.is_dir():
        yield Problem(str(path), 0, "the folder to write it to does not exist", "create it first")
    elif path.is_dir():
        yield Problem(str(path), 0, "this is a folder", "name a file")
    elif is_among_issues(real):
        yield Problem(str(path), 0, "it is in a folder where a job's issues are kept", "write the marks somewhere else")
    elif (what := _used(real, loaded)) is not None:
        yield Problem(str(path), 0, what, "write the marks to a file of another name or folder")
    elif os.path.lexists(path) and not force:
        yield Problem(str(path), 0, "the file already exists", "name another one, or overwrite it with --force")


def _used(path: Path, loaded: LoadedJob) -> str | None:
    """Return in words what a job needs a path for; None where it is free."""
    job, folder = loaded.job, loaded.path.parent
    named = {
        "the job file": loaded.path,
        "the job's register": job.control.file if job.control is not None else None,
        "the job's table of sessions": job.sessions.file if job.sessions is not None else None,
        "the site's file of marks": job.target.site.marks if job.target.site is not None else None,
        "the job's geoid grid": job.target.geoid,
    }
    for what, file in named.items():
        if file is not None and os.path.realpath(file) == str(path):
            return f"this is {what}"
    if any(fits(folder, pattern, path) for points in job.points for pattern in points.files):
        return "the job's [[points]] would read it as an export"
    return None


def _write(files: Mapping[Path, bytes], force: bool) -> None:
    """Write files whole, all of them or none. Raises OSError and `JobError`."""
    with ExitStack() as all_or_none:
        for path, content in files.items():
            draft = all_or_none.enter_context(atomic_write(path, path.with_name(f".{path.name}.{os.getpid()}")))
            with named_in_errors(path):
                draft.write_bytes(content)
        for path in files:
            if os.path.lexists(path) and not force:
                raise JobError([Problem(str(path), 0, "the file already exists", "overwrite it with --force")])


def _rows(found: FieldJob) -> pa.RecordBatch:
    """Return the marks as rows of `COLUMNS`, coordinates as the grid writes them."""
    marks = found.marks
    easting, northing, height = found.axes.written(*marks.grid.T)
    longitude, latitude, ellipsoid_height = marks.geographic.T
    hu95 = np.where(marks.stated[:, 0] & marks.held[:, 0], marks.sigma[:, 0] * CIRCLE_95, np.nan)
    vu95 = np.where(marks.stated[:, 1] & marks.held[:, 2], marks.sigma[:, 2] * NORMAL_95, np.nan)
    columns = {
        "mark": pa.array(marks.names, pa.string()),
        "easting": number_column(easting),
        "northing": number_column(northing),
        "height": number_column(height),
        "longitude": number_column(longitude),
        "latitude": number_column(latitude),
        "ellipsoid_height": number_column(ellipsoid_height),
        "hu95": number_column(hu95),
        "vu95": number_column(vu95),
        "holds": pa.array([None if held is None else str(held) for held in marks.holds], pa.string()),
        "source": pa.array([text or None for text in marks.source], pa.string()),
        "dated": pa.array([text or None for text in marks.dated], pa.string()),
        "status": pa.array(_status(found), pa.string()),
    }
    return pa.RecordBatch.from_arrays([columns[name] for name in COLUMNS.names], schema=COLUMNS)


def _status(found: FieldJob) -> list[str]:
    """Return how the coordinates of each mark came about."""
    number = found.record["issue"] if found.record is not None else 0
    issued = f"adjusted from issue {number:03d}"
    words = {
        (False, False): "register",
        (True, False): f"register, position {issued}",
        (False, True): f"register, height {issued}",
    }
    both = zip(found.wholly_adjusted, found.marks.issued.tolist(), strict=True)
    return [issued if whole else words[position, height] for whole, (position, height) in both]


def _said(found: FieldJob) -> Said:
    job, goal = found.loaded.job, found.target
    grid = crs.target_grid(job.target.grid)
    datum = crs.geographic_of(grid)
    code, datum_code = crs.registered_code(grid), crs.registered_code(datum)
    on_site = found.operations.site is not None
    return Said(
        job=job.job.name,
        grid=None if on_site else code,
        definition=goal["grid"] if on_site else str(grid.to_wkt("WKT2_2019")),
        grid_text=goal["grid_name"] + (f" ({code})" if code is not None and not on_site else ""),
        height_text=goal["height_name"] + (f" ({goal['height']})" if ":" in goal["height"][:12] else ""),
        datum=datum_code,
        datum_text=datum.name + (f" ({datum_code})" if datum_code is not None else ""),
        axes=found.axes,
        dated=_dated(found),
        carried=crs.carried_from(grid, (block.crs for block in job.points if block.crs is not None)),
    )


def _dated(found: FieldJob) -> datetime:
    """Return the date of what is handed out: of the issue, else that of the register's file."""
    if found.record is not None:
        return from_iso(found.record["data_to"])
    control = found.loaded.job.control
    return datetime.fromtimestamp(control.file.stat().st_mtime if control is not None else 0.0, UTC)
