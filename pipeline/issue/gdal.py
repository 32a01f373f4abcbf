"""GDAL's options, which belong to the whole process: set for a while, and put back."""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

#: For reading what must stay as it is: otherwise GDAL copies a file's metadata to an .aux.xml beside it.
NOTHING_BESIDE = {"GDAL_PAM_ENABLED": "NO"}

_ONE_AT_A_TIME = threading.Lock()


@contextmanager
def gdal_options(options: Mapping[str, str]) -> Iterator[None]:
    """Set options of the GDAL that writes and reads in batches; one holder at a time."""
    import pyogrio  # 0.3 to 0.6 s that commands without a GeoPackage need not wait for

    with _ONE_AT_A_TIME:
        before = {key: pyogrio.get_gdal_config_option(key) for key in options}
        pyogrio.set_gdal_config_options(dict(options))
        try:
            yield
        finally:
            pyogrio.set_gdal_config_options(before)
