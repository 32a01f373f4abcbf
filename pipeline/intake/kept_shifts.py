"""What issues before took out of the readings as the field's correction: it stays, though the register is revised."""

import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from pipeline.intake.field_windows import FieldWindow
from pipeline.issue.field_shift_types import FieldShiftTaken
from pipeline.issue.folder.names import numbered
from pipeline.issue.folder.standing import Standing, newest_standing, standing
from pipeline.issue.record import NAME
from pipeline.problems import Problem


def kept_shifts(folder: Path, windows: Sequence[FieldWindow]) -> tuple[FieldShiftTaken, ...]:
    """Return what earlier issues of a job say of the field shifts that a tie and the register give, newest issue first.

    The issues before the newest are asked only for one that the newest has not. Raises `JobError` where the newest is
    damaged, as every run would.
    """
    wanted = [one for one in windows if one.stated.tie is not None and one.stated.typed is None]
    if not wanted or not folder.is_dir() or (newest := newest_standing(folder)) is None:
        return ()
    found = list(_of(newest))
    lacking = [one for one in wanted if not any(is_of(entry, one) for entry in found)]
    if lacking and any(_may_say(path, lacking) for _, path in numbered(folder)):
        earlier = [one for one in standing(folder) if not isinstance(one, Problem)]
        found += [entry for one in earlier for entry in _of(one)]
    return tuple(found)


def is_of(entry: FieldShiftTaken, window: FieldWindow) -> bool:
    """Tell whether an entry is of a field shift: by the register's coordinates of the same mark, from the same tie."""
    same = (entry["tie"], entry["mark"]) == (window.stated.tie, window.stated.mark)
    return same and entry["model"] == window.stated.model and entry["coordinates"] == "register"


def _of(one: Standing) -> Iterator[FieldShiftTaken]:
    yield from one[1]["field_shifts"]


def _may_say(place: Path, windows: Sequence[FieldWindow]) -> bool:
    """Tell, without reading a record as one, whether it may name the tie of one of the field shifts."""
    try:
        text = (place / NAME).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return False
    names = {json.dumps(one.stated.tie, ensure_ascii=ascii) for one in windows for ascii in (False, True)}
    return re.search(rf'"tie":\s*(?:{"|".join(map(re.escape, sorted(names)))})', text) is not None
