"""Decides which entries of a job's folder tiedown owns, and reports what blocks a run before anything is written."""

import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path

from msgspec import Struct

from pipeline.files.geopackages import SQLITE
from pipeline.files.regular_files import read_note
from pipeline.issue.folder import (
    confirmation,
    current,
    issues_list,
    last_notification,
    lock_holder,
    manual_release,
    unnotified_issues,
)
from pipeline.issue.folder.folder_names import (
    ISSUES,
    LOCK,
    MARKER,
    SET_ASIDE,
    STAGING,
    is_number,
    is_scratch,
    is_unmarked_scratch,
)
from pipeline.issue.folder.marker import Marker, read_marker, write_marker
from pipeline.issue.folder.plain_names import plain_name
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, read_any_version
from pipeline.job.named_folder import names_folder
from pipeline.problems import JobError, Problem

_MOVE = "move it elsewhere, or name another folder under [job] folder"
_NEEDED = "tiedown uses this name for its own files"

#: Where the header of a GeoPackage says that it is one (OGC 12-128r19, clause 1.1.1).
_KIND = slice(68, 72)

#: What stands in the way, and what to do about it.
Clash = tuple[str, str]


class Owner(Struct, frozen=True):
    """A job that names a folder: its name, and the path of its file."""

    job: str
    file: Path


def in_the_way(folder: Path, owner: Owner, show: Callable[[Path], str] = str) -> list[Clash]:
    """Return what keeps a job from using a folder: files that are not ours under our names, or another job.

    Nothing is written. ``show`` gives a path as it is told. A folder that is not there yet has nothing in the way.
    """
    try:
        for above in folder.parents:
            if os.path.lexists(above / MARKER) and find_keeper(above)(folder):
                return [
                    (f"the folder {show(folder)} is inside the issues kept in {show(above)}", "name another folder")
                ]
        if not folder.is_dir():
            return []
        marker = read_marker(folder)
        found = _strangers(folder, marked=marker is not None)
        clashes = [(f"{show(folder / name)} {what}", fix) for name, what, fix in found]
        return clashes or list(_another_job(folder, marker, owner, show))
    except JobError as error:
        return [(f"{show(Path(one.file))} {one.what}", one.fix) for one in error.problems]
    except OSError as error:
        why = error.strerror or error
        return [(f"the folder {show(folder)} cannot be looked into: {why}", "check its permissions")]


def claim(folder: Path, owner: Owner) -> None:
    """Mark a folder as a job's, which holds its lock. Raises `JobError` where it cannot be, and OSError."""
    if clashes := in_the_way(folder, owner):
        raise JobError([Problem(str(owner.file), 0, *clash) for clash in clashes])
    marker = Marker.from_paths(folder, owner.job, owner.file)
    if read_marker(folder) != marker:
        write_marker(folder, marker)


def find_keeper(folder: Path) -> Callable[[Path], bool]:
    """Return what says of a path, links resolved, that it lies where a job's folder keeps what runs write."""
    marked = folder.is_dir() and (os.path.lexists(folder / MARKER) or _has_issue(folder))
    names = {ISSUES, current.NAME, issues_list.NAME, SET_ASIDE}

    def is_kept(path: Path) -> bool:
        first = path.relative_to(folder).parts[:1] if path.is_relative_to(folder) else ()
        return bool(first) and (first[0] in names or is_scratch(first[0]))

    return is_kept if marked else lambda _: False


def find_folders_kept(folder: Path) -> Callable[[Path], bool]:
    """Return what says of a folder, links resolved, that it is a job's for its issues, or lies among them."""
    is_kept = find_keeper(folder)
    return lambda path: path == folder or is_kept(path) or os.path.lexists(path / MARKER)


def is_among_issues(path: Path) -> bool:
    """Say whether a path, links resolved, lies where some job's folder keeps what runs write."""
    return any((above / MARKER).exists() and find_keeper(above)(path) for above in path.parents)


def _strangers(folder: Path, *, marked: bool) -> Iterator[tuple[str, str, str]]:
    """Yield what lies under our names and is not ours: its name, what it is, and what to do."""
    known = marked or _has_issue(folder)
    issues = folder / ISSUES
    if os.path.lexists(issues) and not issues.is_dir():
        yield ISSUES, f"is a file, and {_NEEDED}", _MOVE
    elif issues.is_dir() and not known and (there := sorted(path.name for path in issues.iterdir())):
        yield ISSUES, f"holds something that is not an issue of tiedown ({there[0]}), and {_NEEDED}", _MOVE
    elif issues.is_dir() and issues.stat().st_dev != folder.stat().st_dev:
        fix = "keep all of the folder on one file system: name one there under [job] folder, or link the whole of it"
        yield ISSUES, "is on a different file system from its folder, so no issue can appear in it in one step", fix
    if (what := current.not_ours(folder)) is not None:
        yield current.NAME, f"is {what}, and {_NEEDED}", _MOVE
    if (told := issues_list.not_ours(folder, known=known)) is not None:
        yield issues_list.NAME, *told
    for name, is_ours in _NOTES.items():
        path = folder / name
        if os.path.lexists(path) and (path.is_symlink() or not path.is_file() or not (marked or is_ours(path))):
            yield name, f"is not tiedown's, and {_NEEDED}", _MOVE
    if os.path.lexists(folder / SET_ASIDE) and not (marked and (folder / SET_ASIDE).is_dir()):
        yield SET_ASIDE, f"is not tiedown's, and {_NEEDED}", _MOVE
    if not known:
        laid = sorted(path.name for path in folder.glob(f"{STAGING}*") if not is_unmarked_scratch(path.name))
        yield from (
            (name, "is not tiedown's, and tiedown's temporary files have names like it", _MOVE) for name in laid
        )


def _empty(path: Path) -> bool:
    return path.stat().st_size == 0


def _noted(path: Path) -> bool:
    """Say whether a note is one that an earlier version left beside its issues."""
    try:
        return bool({"issue", "at_hand"} <= json.loads(read_note(path)).keys())
    except (OSError, ValueError, AttributeError):
        return False


#: Our files of one line, and how they are known where there is no marker: versions without one had only two of them.
_NOTES: dict[str, Callable[[Path], bool]] = {
    LOCK: _empty,
    confirmation.NAME: _noted,
    manual_release.NAME: lambda _: False,
    unnotified_issues.NAME: lambda _: False,
    lock_holder.NAME: lambda _: False,
    last_notification.NAME: lambda _: False,
    last_notification.LOCK: lambda _: False,
}


def _has_issue(folder: Path) -> bool:
    """Say whether an issue of ours stands in a folder: a record of ours, or a GeoPackage by an issue's name."""
    try:
        places = [path for path in (folder / ISSUES).iterdir() if is_number(path.name) and path.is_dir()]
    except OSError:
        return False
    return any(_is_issue(path) for path in sorted(places, reverse=True))


def _is_issue(place: Path) -> bool:
    try:
        said = read_any_version(place / RECORD)
        if {"job", "issue", "version", "verdict"} <= said.keys():
            return True
    except (RecordError, OSError):
        pass
    return any(_is_package(path) for path in place.glob(f"*-{place.name}.gpkg"))


def _is_package(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            head = file.read(_KIND.stop)
    except OSError:
        return False
    return head.startswith(SQLITE) and head[_KIND] == b"GPKG"


def _another_job(folder: Path, marker: Marker | None, owner: Owner, show: Callable[[Path], str]) -> Iterator[Clash]:
    """Yield that a folder is another job's: its issues bear another name, or another job file names it still."""
    its_name = job_of(folder) or (marker.job if marker is not None and _any_set_aside(folder) else None)
    if its_name not in (None, owner.job):
        yield (
            f"the folder {show(folder)} holds the issues of the job {its_name}, but this job is {owner.job}",
            "name a separate folder, or keep the name that the job had",
        )
    elif marker is not None and not _same(other := marker.path(folder), owner.file) and names_folder(other, folder):
        yield (
            f"the folder {show(folder)} belongs to another job file, {show(other)}, which still exists",
            "name a separate folder; if this job file replaces that one, remove that one",
        )


def _any_set_aside(folder: Path) -> bool:
    """Say whether issues were set aside in a folder."""
    return (folder / SET_ASIDE).is_dir()


def job_of(folder: Path) -> str | None:
    """Return the name of the job whose issues stand in a folder, as its newest GeoPackage has it; else None."""
    try:
        places = [path for path in (folder / ISSUES).iterdir() if is_number(path.name)]
    except (FileNotFoundError, NotADirectoryError):
        return None
    for place in sorted(places, key=lambda path: int(path.name), reverse=True):
        ending = f"-{place.name}.gpkg"
        found = [path.name for path in place.glob(f"*{ending}")]
        plain = {plain_name(name, int(place.name)) for name in found}
        names = [name.removesuffix(ending) for name in found if name not in plain]
        if len(names) == 1:
            return names[0]
    return None


def _same(one: Path, other: Path) -> bool:
    try:
        return os.path.samefile(one, other)
    except OSError:
        return os.path.normcase(os.path.realpath(one)) == os.path.normcase(os.path.realpath(other))
