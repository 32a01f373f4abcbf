"""Grid files: where PROJ looks for them, and what they are in a record (base name and SHA-256)."""

import os
from functools import lru_cache
from pathlib import Path

from msgspec import Struct
from pyproj import datadir, network

from pipeline.digest import Signature, digest, signature
from pipeline.digest import changed as written_to
from pipeline.geodesy.errors import OperationError
from pipeline.sealed import grid_folders


class Grid(Struct, frozen=True):
    """A grid file: base name and SHA-256 go into the record, the path stays on this machine.

    ``signature`` are the signs of the file, taken before its sum, by which it is seen that nobody wrote to it since.
    """

    name: str
    sha256: str
    path: Path
    signature: Signature | None = None


def prepare_proj() -> None:
    """Turn PROJ's network off and put the folders of PROJ_DATA on its search path, behind its own.

    The wheels of pyproj carry a database but no grids, and look at PROJ_DATA only where their own folder is missing.
    """
    if network.is_network_enabled():  # type: ignore[attr-defined]  # compiled, without stubs
        network.set_network_enabled(active=False)  # type: ignore[attr-defined]  # compiled, without stubs
    known = datadir.get_data_dir().split(os.pathsep)
    for folder in _named():
        if folder not in known and _fault(folder) is None:
            datadir.append_data_dir(folder)
            known.append(folder)


def folders() -> tuple[Path, ...]:
    """Return the folders where PROJ looks for grid files, in order: the user's own first."""
    prepare_proj()
    own = datadir.get_user_data_dir()  # type: ignore[attr-defined]  # compiled, without stubs
    looked = [own, *datadir.get_data_dir().split(os.pathsep)]
    return tuple(dict.fromkeys(Path(folder) for folder in looked if folder))


def looked() -> tuple[str, ...]:
    """Return the folders where PROJ looks for grids, and those of the user's where it would if it could."""
    return tuple(dict.fromkeys([*map(str, folders()), *_named()]))


def _named() -> list[str]:
    """Return the folders of PROJ_DATA, else of PROJ_LIB, from the root: a relative one is the working folder's."""
    named = grid_folders().split(os.pathsep)
    return [os.path.abspath(os.path.expanduser(folder)) for folder in named if folder.strip()]


def _fault(folder: str) -> str | None:
    """Return why PROJ finds nothing in a folder that the user named, None where it can look."""
    if not os.path.isdir(folder):
        return "is a file; name its folder" if os.path.exists(folder) else "is not there"
    if not os.access(folder, os.R_OK | os.X_OK):
        return "cannot be read: no permission"
    try:
        folder.encode("utf-8")
    except UnicodeEncodeError:
        return "has a name that is not UTF-8"
    return None


def _not_searched() -> str:
    """Return what is wrong with folders that the user named, to go behind a message; "" where nothing is."""
    faults = [(folder, _fault(folder)) for folder in _named()]
    told = [f"{folder.encode(errors='replace').decode()} of PROJ_DATA {fault}" for folder, fault in faults if fault]
    return "".join(f"; {one}" for one in told)


def find_grid(name: str) -> Path | None:
    """Return the file of a grid's base name (or path), or None where it is in none of the folders."""
    for folder in folders():
        path = folder / name  # an absolute name stands for itself
        if path.is_file():
            return path
    return None


def grid(path: Path) -> Grid:
    """Return the record of one grid file. Raises `OperationError` where it cannot be read."""
    try:
        at = signature(path)
        return Grid(path.name, _sha256(path, at), path, at)
    except OSError as error:
        raise OperationError(
            f"the grid file {path.name} cannot be read ({error.strerror})", f"looked at {path}"
        ) from error


def changed(used: Grid) -> bool:
    """Whether somebody wrote to a grid file, or put another in its place, since its sum was taken."""
    return written_to(used.path, used.signature)


def state_of_folders() -> tuple[tuple[str, int], ...]:
    """Return the folders where PROJ looks with the time when a file last came into or left each."""
    return tuple((str(folder), folder.stat().st_mtime_ns if folder.is_dir() else 0) for folder in folders())


def at_hand() -> list[list[object]]:
    """Return name, size and times of change of every grid file where PROJ looks: its choice follows from them."""
    found: list[list[object]] = []
    for folder in folders():
        for path in sorted(folder.glob("*")):
            if path.suffix.lower() in (".tif", ".tiff", ".gtx", ".gsb", ".byn", ".json") and path.is_file():
                at = signature(path)
                found.append([path.name, at.size, at.modified, at.changed])
    return found


def missing(step: str, names: list[str], operation: str, without: str = "", otherwise: str = "") -> OperationError:
    """Return the error that names the step, the missing grid files and the folders where PROJ looked.

    ``without`` says in words what would be left without them, and ``otherwise`` what else can be done.
    """
    files = ", ".join(names)
    return OperationError(
        f"{step}: grid file {files} is missing; {operation} needs it{without}",
        f"put {files} into one of the folders where PROJ looks ({', '.join(map(str, folders()))}), "
        f"or set PROJ_DATA to its folder{_not_searched()}{otherwise}",
    )


@lru_cache(maxsize=64)
def _sha256(path: Path, at: Signature) -> str:
    """Hash a file; its signs are there so that a file replaced in between is hashed again."""
    return digest(path)
