"""A process of the command's own loads no more than it needs, and looks for no garbage in what it loads.

What is loaded is never given back; Python's search for cycles in it would take a tenth of a small job.
"""

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager


class _NoDataFrames:
    """A finder that hides the data frame libraries from this process, which makes none.

    pyarrow and pyogrio load them wherever they find them; that would take half a second of every command.
    """

    def find_spec(self, name: str, path: object = None, target: object = None) -> None:
        """Refuse the libraries; leave every other name to the finders that follow."""
        if name in ("pandas", "geopandas", "shapely"):
            raise ModuleNotFoundError(f"{name} is not used here", name=name)


def without_data_frames() -> None:
    """Load none of them from now on. For a process of the command's own, never for one that imports the library."""
    if not any(isinstance(finder, _NoDataFrames) for finder in sys.meta_path):
        sys.meta_path.insert(0, _NoDataFrames())


@contextmanager
def loaded_for_good() -> Iterator[None]:
    """Load within it what stays until the process ends. For a process of the command's own as well."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if was:
            gc.enable()


def seldom_searched() -> None:
    """Let this process look for cycles of objects less often: most of its objects are few and large. As above."""
    gc.set_threshold(50_000, 20, 20)
