"""Finds what in the previous issue was altered since it was issued, and what that means for the comparison."""

from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from pipeline.issue.folder.confirmation import Signs
from pipeline.issue.folder.intact import GONE, damaged
from pipeline.issue.geopackage.recount import NotReadable, recount_package
from pipeline.issue.record_types import Altered, FileIssued
from pipeline.reissue.counted_changes import EDITED
from pipeline.reissue.earlier import Last

#: The layers of a GeoPackage that a new issue is compared with.
_COMPARED = ("points", "held_back", "repeats")
#: What nobody draws from.
_REPORT = ".html"
#: What an altered GeoPackage means for what is told of changes.
_AGAINST = "changes are reported relative to the file as it is now, and some of them may be somebody's edit"
_NOT_LISTED = "points moved since cannot be listed"
#: What tells more, and what ends it: setting the altered issue aside does not, since this one was compared with it.
_UNTIL = "tiedown verify says what differs; this is told until the next issue is made"


class AlteredSince(Struct, frozen=True):
    """What of an issue is not what was issued.

    Args:
        files: the names of its files that are gone or altered, "" for its folder, and what is wrong with each.
        package: the name of its GeoPackage.
        points: whether the rows there that an issue is compared with may be others than were issued.
        issue: its number.
    """

    files: tuple[tuple[str, str], ...] = ()
    package: str = ""
    points: bool = False
    issue: int = 0

    @classmethod
    def of(cls, last: Last | None, noted: Mapping[str, Signs]) -> "AlteredSince":
        """Return it; ``noted`` are the signs that the issue's files had when they were last looked at."""
        if last is None:
            return cls()
        found, name = tuple(damaged(last.folder, last.record, noted)), last.package.name
        # where the folder itself cannot be looked into, nothing is known of its GeoPackage
        hit = any(file in ("", name) for file, _ in found)
        points = hit and not _rows_as_issued(last.package, last.record["files"])
        return cls(found, name, points, last.record["issue"])

    @property
    def reason(self) -> str:
        """Return in words why a point that no change of the job reaches may differ all the same; "" for none."""
        return f"{self.package} is not what was issued" if self.points else ""

    def because(self, *, compared: bool) -> list[str]:
        """Return what is to be said beside why there is a new issue; ``compared``: the points of the two were."""
        edit = f"{self.reason}: {EDITED}"
        return [edit] if self.points and compared else []

    def told(self, *, compared: bool) -> list[Altered]:
        """Return what needs attention, for the record; ``compared`` as in `because`."""
        told = list[Altered]()
        for file, what in self.files:
            if file in ("", self.package) and self.points:
                means = _AGAINST if compared else _NOT_LISTED
                told.append({"file": self.package, "what": f"{what}: {means}; {_UNTIL}"})
            elif file not in ("", self.package) and what != GONE and not file.endswith(_REPORT):
                told.append({"file": file, "what": what})
        return told

    def notes(self) -> list[str]:
        """Return in words every file that is gone or altered."""
        return [f"{file or self.package}: issue {self.issue:03d} is damaged: {what}" for file, what in self.files]


def _rows_as_issued(package: Path, files: list[FileIssued]) -> bool:
    """Say whether the rows that an issue is compared with are those issued, whatever else of the file is altered."""
    entry = next((one for one in files if one["name"] == package.name), None)
    given = {layer["name"]: layer["content"] for layer in entry.get("layers", [])} if entry is not None else {}
    try:
        there = {layer.name: layer.content for layer in recount_package(package)}
    except (OSError, NotReadable):
        return False
    return bool(given) and all(there.get(name) == given.get(name) for name in _COMPARED)
