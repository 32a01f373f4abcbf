"""Walks a folder for the files that may belong to a job, and says which part of it a limit keeps unlooked at."""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from msgspec import Struct, field

from pipeline.files.unread_formats import unread_format, way_to_read
from pipeline.files.workbook import WORKBOOKS
from pipeline.issue.folder.ownership import find_keeper
from pipeline.letter_case import folded
from pipeline.limits import LOOKED_AT, NEW_DEEP, NEW_FILES
from pipeline.near import and_more
from pipeline.new_job.questions import Question
from pipeline.read.sources import JSON, PACKAGE, TEXT
from pipeline.words import counted

GEOIDS = (".gtx", ".tif", ".tiff")
#: Endings of files that are read. They alone count towards the limit of files, which photographs beside them do not.
READ = (*TEXT, *JSON, *PACKAGE, *WORKBOOKS)
#: Files in one format that is not read that are told one by one, and folders that a question names.
_EACH, _SHOWN = 3, 6


class FolderFiles(Struct):
    """The files of a folder, ordered by folder and name.

    ``folders`` are those that were not looked into, or not wholly, as they are below the folder, each with how many
    files there are known to be passed over, 0 where nobody looked; ``cut`` is set where even those are not all.
    """

    files: list[Path] = field(default_factory=list)
    folders: dict[str, int] = field(default_factory=dict)
    cut: bool = False


def find_files(folder: Path) -> FolderFiles:
    """Find the files that are not of an issue and no job files, and links to none; raises nothing.

    Those whose name begins with a point only where they are there and have an ending of readings. Those that may hold
    readings, marks or a geoid are `NEW_FILES` at most, all together `LOOKED_AT`, in folders `NEW_DEEP` deep.
    """
    found, seen, counts = FolderFiles(), 0, 0
    for at, folders, names in os.walk(folder):
        below = Path(at).relative_to(folder)
        ours = find_keeper(Path(at).resolve())
        folders[:] = sorted(name for name in folders if name[0] != "." and not ours(Path(at).resolve() / name))
        if len(below.parts) >= NEW_DEEP:
            found.folders |= {(below / name).as_posix(): 0 for name in folders}
            folders.clear()
        for name in sorted(names):
            seen += 1
            if seen > LOOKED_AT:
                found.folders.setdefault(below.as_posix(), 0)
                found.cut = True
                return found
            path = Path(at, name)
            if not _belongs(path) or ours(path.resolve()):
                continue
            if folded(name).endswith((*READ, *GEOIDS)) and (counts := counts + 1) > NEW_FILES:
                found.folders[below.as_posix()] = found.folders.get(below.as_posix(), 0) + 1
            else:
                found.files.append(path)
    return found


def _belongs(path: Path) -> bool:
    """Tell whether a file may be of a job: no job file, and there; a link that leads nowhere is told."""
    if folded(path.name).endswith(".toml"):
        return False
    if path.name[0] == ".":
        return path.is_file() and path.suffix.lower() in READ
    return path.is_file() or not path.exists()


def not_looked_at(found: FolderFiles) -> str:
    """Return in words what a limit cut off, "" where everything was looked at."""
    if not found.folders:
        return ""
    told = [
        ("this folder" if folder == "." else folder) + (f" ({counted(count, 'file')})" if count else "")
        for folder, count in found.folders.items()
    ]
    listed = ", ".join(told[:_SHOWN]) + and_more(len(told) - _SHOWN) + (" and what comes after" if found.cut else "")
    of_job, deep = counted(NEW_FILES, "file"), counted(NEW_DEEP, "folder")
    most = f"at most {of_job} with readings, marks or grids, {LOOKED_AT:,} of any kind, {deep} deep"
    return f"not all was looked at: {most}; left out: {listed}"


def ask_not_looked_at(why: str) -> Question:
    """Ask whether what a limit cut off holds readings: nothing else tells that it is missing."""
    return Question(
        "files",
        f"{why}. Are there exports of this job? If so, run `tiedown new` on a folder with fewer files, or add them to"
        " files of a [[points]] block; then, or if there are none, delete these lines",
    )


def tell_unread(some: Sequence[tuple[str, Path]]) -> Iterator[tuple[str, str, str]]:
    """Yield what is told of files in formats that are not read, each with how it is shown; many of a kind as one."""
    told: dict[tuple[str, str], list[str]] = {}
    for shown, path in some:
        told.setdefault((path.suffix.lower(), _why(path)), []).append(shown)
    for (ending, why), names in told.items():
        if len(names) <= _EACH:
            yield from ((name, "neither", why) for name in names)
        else:
            kind = counted(len(names), f"file {ending}" if ending else "file", f"files {ending}".rstrip())
            yield (f"{kind} from {names[0]} to {names[-1]}", "neither", why)


def _why(path: Path) -> str:
    said = unread_format(path)
    try:
        way = way_to_read(path)
    except OSError as error:
        return f"cannot be read: {error.strerror or error}"
    return f"{said}: if it has readings or marks, {way}" if way else said
