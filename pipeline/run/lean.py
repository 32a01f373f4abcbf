"""A process that makes no data frames does not load the libraries of them."""

import sys


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
