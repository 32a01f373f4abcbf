"""Keeps the command's own process light: delays imports, and runs no garbage collection over loaded modules.

What is loaded is never given back; Python's search for cycles in it would take a tenth of a small job.
"""

import gc
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.machinery import ModuleSpec, PathFinder


class _NoDataFrames:
    """A finder that hides the data frame libraries from this process, which makes none.

    pyarrow and pyogrio load them wherever they find them; that would take half a second of every command.
    """

    def find_spec(self, name: str, path: object = None, target: object = None) -> None:
        """Refuse the libraries; leave every other name to the finders that follow."""
        if name in ("pandas", "geopandas", "shapely"):
            raise ModuleNotFoundError(f"{name} is not used here", name=name)


class _WhenUsed:
    """A finder that puts off what is loaded for its name alone until somebody uses something of it.

    scipy takes all names of numpy along, its tests and its compiler of Fortran too: a tenth of a second.
    """

    def find_spec(self, name: str, path: Sequence[str] | None = None, target: object = None) -> ModuleSpec | None:
        """Find such a module as ever, to be loaded when used; leave every other name to the finders that follow."""
        if name not in ("numpy.f2py", "numpy.testing", "numpy.ctypeslib", "numpy.polynomial"):
            return None
        from importlib.util import LazyLoader

        spec = PathFinder.find_spec(name, path)
        if spec is not None and spec.loader is not None:
            spec.loader = LazyLoader(spec.loader)
        return spec


def without_unused() -> None:
    """Load none of them from now on. For a process of the command's own, never for one that imports the library."""
    if not any(isinstance(finder, _NoDataFrames) for finder in sys.meta_path):
        sys.meta_path[:0] = [_NoDataFrames(), _WhenUsed()]


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
