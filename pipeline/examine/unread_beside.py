"""Says which files beside the exports are laid out like them and read by no block: the other rover's, by another name.

Looked at are texts and spreadsheets. Where a job file of the same folder reads such a file, it is that job's; one that
holds only what is read is none either.
"""

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import Any

from pipeline.digest import digest
from pipeline.examine.known_rows import MUCH, KnownRows
from pipeline.files.file_patterns import fits, temporary
from pipeline.files.folders_around import folders_around
from pipeline.files.regular_files import check_regular, read_whole
from pipeline.files.workbook import WORKBOOKS
from pipeline.intake.prepare import Prepared
from pipeline.issue.folder.ownership import find_folders_kept
from pipeline.job.model import Points
from pipeline.job.named_folder import as_written
from pipeline.letter_case import folded
from pipeline.limits import JOB_FILE, LOOKED_AT
from pipeline.near import and_more
from pipeline.read.dialect import find_dialect
from pipeline.read.exports import Export
from pipeline.read.findings import Unusable
from pipeline.read.sources import TEXT
from pipeline.read.spreadsheet import open_sheet
from pipeline.visible import one_line
from pipeline.words import plural

#: Files of a folder whose headers are looked at, job files up to which a folder is one in which the exports of a job
#: are told from those of others, and files that a sentence lists.
_HEADERS, _JOBS, _LISTED = 40, 40, 4
_FORMS = (*TEXT, *WORKBOOKS)
#: Columns from which a header is one of a layout.
_COLUMNS = 3


def unread_notes(prepared: Prepared) -> Iterator[str]:
    """Yield for each folder of texts and spreadsheets which files in it have the header of one and are not read.

    Likewise of the folders around (`folders_around`): a pattern names no files in a folder of a day that was laid among
    the exports.
    """
    loaded = prepared.loaded
    read = {os.path.realpath(export.path): export for export in prepared.exports}
    folders: dict[tuple[str, int], Export] = {}
    for path, export in read.items():
        if folded(path).endswith(_FORMS) and export.points.header != 0:
            folders.setdefault((os.path.dirname(path), export.block), export)
    around = folders_around(dict.fromkeys(map(os.path.dirname, read)), find_folders_kept(loaded.job.job.folder))
    known = KnownRows(prepared.exports)
    for (folder, block), export in folders.items():
        inner = [place for place, of in around.items() if of == folder]
        names = [name for place in (folder, *inner) for name in _unread(place, export, read, known, prepared)]
        if names:
            file, line = loaded.recorded_at("points", block, "files")
            yield (
                f"{file}:{line}: {', '.join(names[:_LISTED])}{and_more(len(names) - _LISTED)} beside {export.shown}"
                f" {plural(len(names), 'has', 'have')} the same columns and {plural(len(names), 'is', 'are')} not read"
                f" by any [[points]]: add {plural(len(names), 'it', 'them')} to files if"
                f" {plural(len(names), 'it is an export', 'they are exports')} of this job"
            )


def _unread(
    place: str, export: Export, read: Mapping[str, Export], known: KnownRows, prepared: Prepared
) -> Iterator[str]:
    """Yield the names of the files of a folder that are laid out like an export and not read, from its folder."""
    alike = _alike(Path(place), export, set(read))
    named = named_by_jobs(prepared.loaded.path, Path(place)) if alike else None  # mostly nothing is
    if named is None:
        return
    others = (path for path in alike if not is_one_of(path, named))
    others = (path for path in others if not _is_copy(path, read) and not known.has_all(path, export.points))
    here = os.path.dirname(os.path.realpath(export.path))
    yield from (one_line(Path(os.path.relpath(path, here)).as_posix()) for path in others)


def _alike(folder: Path, export: Export, read: set[str]) -> list[Path]:
    """Return the files of a folder that begin like an export and are none; what cannot be looked at is left out."""
    beside = list(islice(files_beside(folder, _FORMS, read), _HEADERS))
    try:
        columns = _columns(export.path, export.points) if beside else ()
    except (OSError, Unusable):
        return []
    found = []
    for path in beside if len(columns) >= _COLUMNS else ():
        with suppress(OSError, ValueError, Unusable):
            check_regular(path)
            if _columns(path, export.points) == columns:
                found.append(path)
    return found


def files_beside(folder: Path, endings: tuple[str, ...], known: set[str]) -> Iterator[Path]:
    """Yield the files of a folder with such endings, by name, none hidden or temporary; none if it cannot be read.

    ``known`` are paths, links resolved, that are left out.
    """
    try:
        with os.scandir(folder) as there:
            seen = sorted(each.path for each in islice(there, LOOKED_AT) if folded(each.name).endswith(endings))
    except OSError:
        return
    for path in seen:
        if os.path.realpath(path) not in known and not temporary(path) and not os.path.basename(path).startswith("."):
            yield Path(path)


def _columns(path: Path, points: Points) -> tuple[str, ...]:
    """Return the names in the header of a text or spreadsheet, () of a large one. Raises what reading it raises."""
    if folded(path.name).endswith(TEXT):
        return find_dialect(path, points).names
    return tuple(open_sheet(path, points, 1).schema.names) if path.stat().st_size <= MUCH else ()


def named_by_jobs(job_file: Path, folder: Path) -> list[tuple[Path, str]] | None:
    """Return the files and patterns, each with where it counts from, that a job file names and others do beside it.

    Also those of the job files of a ``folder``. None where too many lie there.
    """
    named: list[tuple[Path, str]] = []
    jobs = {
        os.path.realpath(job) for job in [str(job_file), *_job_files(job_file.absolute().parent), *_job_files(folder)]
    }
    if len(jobs) > _JOBS:
        return None
    for job in map(Path, sorted(jobs)):
        with suppress(OSError, ValueError, RecursionError):
            named += [(job.parent, text) for text in _texts(as_written(read_whole(job, JOB_FILE)))]
    return named


def is_one_of(path: Path, named: Sequence[tuple[Path, str]]) -> bool:
    """Tell whether a file is one that some pattern names."""
    real = Path(os.path.realpath(path))
    for folder, text in named:
        with suppress(OSError, ValueError):
            if fits(folder, text, real):
                return True
    return False


def _job_files(folder: Path) -> list[str]:
    with suppress(OSError), os.scandir(folder) as there:
        return [each.path for each in islice(there, LOOKED_AT) if folded(each.name).endswith(".toml")]
    return []


def _texts(value: Any) -> Iterator[str]:
    """Yield the texts of a job file that may name a file."""
    if isinstance(value, str):
        if "\0" not in value and value.strip():
            yield value.strip()
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _is_copy(path: Path, read: Mapping[str, Export]) -> bool:
    """Tell whether a file holds what one that is read does; only of the same size are two compared."""
    with suppress(OSError):
        size = path.stat().st_size
        alike = [one for one in read if os.path.getsize(one) == size]
        return bool(alike) and digest(path) in {read[one].sha256 for one in alike}
    return True
