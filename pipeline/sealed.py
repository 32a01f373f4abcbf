"""The libraries beneath, sealed off from what surrounds a run: no network, and no settings but ours.

GDAL and PROJ listen to a hundred variables of the environment and to files in the user's home, of which some open the
network, some load programs and some change numbers; pyproj, pyogrio and fiona bring a PROJ or a GDAL each. All of them
are loaded, and used, within `sealed_off`. So is linear algebra in the command's own processes; of a program that uses
the library it may have been loaded before, and is as that has it.
"""

import locale
import os
import sys
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

#: How variables begin that the libraries listen to; what else GDAL knows by name it ignores by its own settings below.
_PREFIXES = (
    "CPL_", "EZDXF_", "GDAL_", "OGR_", "OPENBLAS_", "OSR_", "PROJ_", "PYPROJ_", "SPATIALITE_", "SQLITE_", "VSI_",
)  # fmt: skip

#: Where the user's grids are, the one thing that is theirs to say: pyproj keeps the last to itself, the others are kept
#: for `grid_folders` under a name that only we know, which processes that are started here have too.
_GRIDS, _OWN_GRIDS, _KEPT = ("PROJ_DATA", "PROJ_LIB"), "PROJ_USER_WRITABLE_DIRECTORY", "TIEDOWN_GRIDS"

#: What the libraries are told instead.
_OURS = {
    "GDAL_CONFIG_FILE": str(Path(__file__).with_name("gdal_settings.ini")),
    "PROJ_NETWORK": "OFF",
    # of its settings, not of its grids: pyproj names that folder to PROJ for itself
    "PROJ_SKIP_READ_USER_WRITABLE_DIRECTORY": "YES",
    # Threads spin while they wait for one another: where other jobs keep the cores busy, a matrix of 300 rows takes two
    # twenty times as long as one. And the last bits of a sum hang on how many shared it: so they hang on no machine.
    "OPENBLAS_NUM_THREADS": "1",
}


def unheard() -> None:
    """Keep what libraries warn programmers of from the command's stderr, in this process: it has words of its own.

    Whoever asks Python for warnings (``-W``, ``PYTHONWARNINGS``) gets them.
    """
    if not sys.warnoptions:
        warnings.simplefilter("ignore")


def cases_as_in_english() -> None:
    """Have C libraries tell capital from small letters as in English, in this process, wherever the user is.

    In Turkish, whose small i has no capital I, GDAL takes its own words for unknown and prints errors of it. Python has
    chosen the encodings of its streams and file names by now.
    """
    with suppress(locale.Error):  # a system without it, where that of the user stays
        locale.setlocale(locale.LC_CTYPE, "C.UTF-8")


_LOCK = threading.Lock()
_inside = 0
_before: dict[str, str] = {}
_database_named = False


@contextmanager
def sealed_off() -> Iterator[None]:
    """Take the variables that libraries listen to out of the environment for a while, and put in ours.

    Threads share it: what was there is put back when the last of them leaves.
    """
    global _inside
    with _LOCK:
        if _inside == 0:
            named = grid_folders()
            _before.update(_taken_out())
            os.environ.update(_OURS | {_KEPT: named})
        _inside += 1
    try:
        yield
    finally:
        with _LOCK:
            _inside -= 1
            if _inside == 0:
                _forget_database()
                _taken_out()
                os.environ.update(_before)
                _before.clear()


def users_environment() -> dict[str, str]:
    """Return the environment as it was outside `sealed_off`, for a program that is the user's own."""
    with _LOCK:
        ours = {name: value for name, value in os.environ.items() if not (_inside and _is_listened_to(name))}
        return ours | _before


def grid_folders() -> str:
    """Return the folders of grids that the user names in PROJ_DATA, else in PROJ_LIB, as they stand there."""
    if _KEPT in os.environ:
        return os.environ[_KEPT]
    return next((os.environ[name] for name in _GRIDS if os.environ.get(name)), "")


def database(folder: Path) -> None:
    """Name the folder of a GDAL's own database to the parts of it that look for one in the working folder else.

    Once for as long as the libraries are sealed off, and to compiled code alone: Python's view of the environment stays
    without, since fiona would take it there for its own. So no thread has to hide it while another's GDAL looks for it.
    """
    global _database_named
    with _LOCK:
        if _inside and not _database_named and folder.is_dir():
            os.putenv(_GRIDS[0], str(folder))
            _database_named = True


def _forget_database() -> None:
    """Take out the name of the database, which is in no view of Python's."""
    global _database_named
    if _database_named:
        os.unsetenv(_GRIDS[0])
        _database_named = False


def _taken_out() -> dict[str, str]:
    """Take out every variable that a library listens to, and return them."""
    listened = [name for name in os.environ if _is_listened_to(name)]
    return {name: os.environ.pop(name) for name in listened}


def _is_listened_to(name: str) -> bool:
    return name == _KEPT or (name.upper().startswith(_PREFIXES) and name != _OWN_GRIDS)
