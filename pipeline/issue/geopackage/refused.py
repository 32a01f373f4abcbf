"""What is raised where a layer cannot be written: the disk's refusal, or a limit of the format."""

from pathlib import Path


class NotWritten(OSError):
    """A GeoPackage could not be written: a full disk, mostly. What there is of it is worth nothing."""


class TooLarge(Exception):
    """A layer goes beyond a limit of GeoPackages, which no disk can help; ``fix`` is what to do."""

    def __init__(self, what: str, fix: str) -> None:
        self.fix = fix
        super().__init__(what)


#: Limits of SQLite, by what GDAL and SQLite say of them, and what to do (sqlite.org/limits.html).
_LIMITS = (
    (("columns reached", "too many columns"), "leave columns out of the export: a GeoPackage holds no more"),
    (("too big",), "shorten the longest text in the export: a GeoPackage holds none of 1 GB"),
)


def refusal(path: Path, layer: str, error: Exception) -> NotWritten | TooLarge:
    """Return what to raise where a layer could not be written: a limit of the format is not the disk's refusal."""
    what = f"{path.name}, layer {layer}: {error}"
    for said, fix in _LIMITS:
        if any(words in what for words in said):
            return TooLarge(what, fix)
    return NotWritten(what)
