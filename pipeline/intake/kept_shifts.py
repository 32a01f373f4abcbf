"""What issues before took out of the readings as the field's correction: it stays, though the register is revised."""

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from pipeline.clock import milliseconds_of
from pipeline.files.regular_files import read_note
from pipeline.intake.field_windows import FieldWindow
from pipeline.issue.field_shift_types import FieldShiftTaken
from pipeline.issue.folder.folder_names import numbered
from pipeline.issue.folder.standing_issues import Standing, newest_standing, standing
from pipeline.issue.record import NAME
from pipeline.issue.record_types import SealedRecord, Target
from pipeline.problems import Problem


class KeptShift(Struct, frozen=True):
    """A field shift that an issue took out, worked out from a tie by the register's coordinates.

    Args:
        issue: the number of the issue whose record has it; ``entry["since"]`` is the first that had these numbers.
        entry: as the record has it.
        start, until: UTC milliseconds, half-open: when readings carried it.
        target: grid and height datum in which the record gives its mark.
        stood: where the marks that the issue occupied were, by their names: easting, northing and height as it has
            them.
        doubted: tie and mark of the shifts that the issue had in doubt, since the register of then gave them.
    """

    issue: int
    entry: FieldShiftTaken
    start: int
    until: int
    target: tuple[str, str]
    stood: Mapping[str, tuple[float, float, float]]
    doubted: frozenset[tuple[str | None, str | None]]

    def overlaps(self, window: FieldWindow) -> bool:
        """Tell whether it is carried at a time at which a stated one is."""
        return self.start < window.until and window.start < self.until

    def called(self, window: FieldWindow) -> bool:
        """Tell whether a stated one is by the same tie on the same mark, as they are called."""
        return (self.entry["tie"], self.entry["mark"]) == (window.stated.tie, window.stated.mark)


def kept_shifts(folder: Path, windows: Sequence[FieldWindow]) -> tuple[KeptShift, ...]:
    """Return what earlier issues of a job say of the field shifts that a tie and the register give, newest issue first.

    Beside the newest issue those are read before whose records say of such a shift, where the newest has not all that
    the job states, called so, or one that did not come with the first issue: an issue before may have had another in
    its place.
    Raises `JobError` where the newest is damaged, as every run would.
    """
    wanted = [one for one in windows if one.stated.tie is not None and one.stated.typed is None]
    if not wanted or not folder.is_dir() or (newest := newest_standing(folder)) is None:
        return ()
    found = list(_of(newest))
    matched = [[kept for kept in found if kept.called(one)] for one in wanted]
    if all(some and all(kept.entry["since"] == 1 for kept in some) for some in matched):
        return tuple(found)
    if any(_may_say(path) for number, path in numbered(folder) if number != newest[1]["issue"]):
        earlier = [one for one in standing(folder) if not isinstance(one, Problem)]
        for one in reversed(earlier):
            found += _of(one) if one[1]["issue"] != newest[1]["issue"] else ()
    return tuple(found)


def written_in(target: Target) -> tuple[str, str]:
    """Return grid and height datum, by which coordinates of two issues are told to be of one kind.

    A site's own system keeps its name, though its marks be measured again: its coordinates differ by what those did.
    """
    named = target["site"] is not None
    return (target["grid_name"], target["height_name"]) if named else (target["grid"], target["height"])


def _of(one: Standing) -> Iterator[KeptShift]:
    record = one[1]
    target, stood = written_in(record["target"]), _stood(record)
    origins = [one["origin"] for one in record["doubts"]]
    doubted = frozenset(
        (of["tie"], of["mark"]) for of in origins if of is not None and of["of"] == "field shift"
    )  # fmt: skip
    for entry in record["field_shifts"]:
        if entry["tie"] is not None and entry["coordinates"] == "register":
            start, until = (milliseconds_of(text) for text in (entry["from"], entry["until"]))
            yield KeptShift(
                issue=record["issue"],
                entry=entry,
                start=start,
                until=until,
                target=target,
                stood=stood,
                doubted=doubted,
            )


def _stood(record: SealedRecord) -> dict[str, tuple[float, float, float]]:
    found = {}
    for row in record["checks"]:
        easting, northing, height = row["known_easting"], row["known_northing"], row["known_height"]
        if easting is not None and northing is not None and height is not None:
            found[row["mark"]] = (easting, northing, height)
    return found


def _may_say(place: Path) -> bool:
    """Tell, without reading a record as one, whether it may have a field shift by the register's coordinates."""
    try:
        text = read_note(place / NAME)
    except (OSError, UnicodeDecodeError):
        return False
    return re.search(r'"coordinates":\s*"register"', text) is not None
