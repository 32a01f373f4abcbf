"""GDAL's options, which belong to the whole process: set for a while, and put back; and the second GDAL's own data."""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

from pipeline.sealed import database, sealed_off

#: For reading what must stay as it is: otherwise GDAL copies a file's metadata to an .aux.xml beside it.
NOTHING_BESIDE = {"GDAL_PAM_ENABLED": "NO"}

#: The thread that holds them may set more for a while: rows that are written may come from an issue that is read.
_ONE_AT_A_TIME, _FIONA_ALONE = threading.RLock(), threading.Lock()
_here = threading.local()


def gdal() -> ModuleType:
    """Return the GDAL that writes and reads in batches, loaded with our settings and the data of its own wheel."""
    with sealed_off():
        import pyogrio  # 0.3 to 0.6 s that commands without a GeoPackage need not wait for

    database(Path(pyogrio.__file__).with_name("proj_data"))
    _heed()
    loaded: ModuleType = pyogrio
    return loaded


def _heed() -> None:
    """Have GDAL's errors in this thread become exceptions or be let be, as in the thread that loaded pyogrio.

    It says so for that thread alone (GDAL's CPLPushErrorHandler); in any other GDAL prints them.
    """
    if not getattr(_here, "heeded", False):
        from pyogrio._err import _register_error_handler

        _register_error_handler()
        _here.heeded = True


@contextmanager
def gdal_options(options: Mapping[str, str]) -> Iterator[None]:
    """Set options of the GDAL that writes and reads in batches; one thread at a time."""
    pyogrio = gdal()
    with _ONE_AT_A_TIME:
        before = {key: pyogrio.get_gdal_config_option(key) for key in options}
        pyogrio.set_gdal_config_options(dict(options))
        try:
            yield
        finally:
            pyogrio.set_gdal_config_options(before)


@contextmanager
def fiona_at_home() -> Iterator[ModuleType]:
    """Give fiona, within an environment of its own, with the PROJ database and the GDAL data of its own wheel.

    Left alone it takes the folder of the user's PROJ_DATA for its database: a folder of grids, which has none. It looks
    there when it is loaded and again after every file that it opens.
    """
    with _FIONA_ALONE, sealed_off():
        import fiona.env  # 0.2 s that commands without a GeoPackage need not wait for
        from fiona.session import DummySession

        with fiona.Env(session=DummySession(), **NOTHING_BESIDE):
            yield fiona
