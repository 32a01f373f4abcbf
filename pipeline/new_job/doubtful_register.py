"""Asks whether the only table of names and positions is the register, where readings say that it is a list of points.

A list of designed or staked points has the names of ordinary readings, each measured once, and none of the control
marks; whatever stakes out against it without a shift agrees with it.
"""

from collections import Counter
from collections.abc import Sequence
from pathlib import PurePath

import numpy as np

from pipeline.arrays import Integers
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.draft import Draft
from pipeline.new_job.file_positions import RegisterRead
from pipeline.new_job.folder import Contents
from pipeline.new_job.occupations import says_mark
from pipeline.new_job.questions import Candidate, Known, Question
from pipeline.new_job.timed_rows import TimedRows
from pipeline.words import counted, plural

#: Formats that are not read in which a register often comes.
_UNREAD = frozenset([".ods", ".pdf", ".xls", ".xlsb", ".numbers", ".doc", ".docx", ".odt"])
#: Marks from which on a register is more than a few, beside readings coded as on control marks, and beside none.
_SOME, _MANY = 5, 10
#: The share of the points that they are, likewise, and of marks that are occupied once: control is occupied again.
_SHARES, _ONCE = (0.3, 0.5), 0.9
#: Readings that are on control marks by their codes or names; codes from which on readings are of features.
_CODED, _FEATURES = 2, 3
#: Names that a sentence lists.
_LISTED = 4


def ask_whether_register(
    draft: Draft, inside: Contents, register: RegisterRead | None, read: TimedRows, says: tuple[Integers, Integers]
) -> None:
    """Ask for the register's file where its marks seem to be points; ``says`` (k,) twice is what `likely` gave."""
    known = draft.control.get("file")
    if register is None or not isinstance(known, Known):
        return
    named = {int(at): int(mark) for at, mark in zip(*says, strict=True) if mark >= 0}
    coded = [at for at in says[0].tolist() if says_mark(read.name[at], read.code[at])]
    unread = [name for name, *_ in inside.told if PurePath(name).suffix.lower() in _UNREAD]
    why = _why(read, named, coded, bool(unread))
    if not why:
        return
    called = register.found.look.shown
    asks = f"is {called} the register of control marks? {why}: it may be a list of points, as of a design, and what"
    asks += " was staked out agrees with that whatever the base was off by"
    if unread:
        asks += f"; {' and '.join(unread)} {plural(len(unread), 'is', 'are')} not read, and may be the register"
    asks += ". If another file is, put it in the folder as .csv or .xlsx without this one and run `tiedown new` again"
    draft.control["file"] = Question("control.file", asks, (Candidate(known.value, "if it is"),))


def _why(read: TimedRows, named: dict[int, int], coded: Sequence[int], unread: bool) -> str:
    """Return what tells that marks of a register are points; "" where nothing does."""
    visits = Counter(named.values())
    if len(visits) < _SOME or np.mean([count == 1 for count in visits.values()]) < _ONCE:
        return ""
    points = {folded(name) for name in read.name}
    on_control = list(dict.fromkeys(read.name[at] for at in coded))
    if len(on_control) >= _CODED:
        others = len(points - {folded(name) for name in on_control})
        if any(at in named for at in coded) or len(visits) < _SHARES[0] * others:
            return ""
        return (
            f"readings that say they are on control marks ({listed(on_control[:_LISTED])}) are on none of its marks,"
            f" and {len(visits):,} of its marks have the names of other readings"
        )
    codes = {read.code[at] for at in named if read.code[at]}
    if len(visits) < _MANY or len(visits) <= _SHARES[1] * len(points) or not (unread or len(codes) >= _FEATURES):
        return ""
    return f"{len(visits):,} of {counted(len(points), 'point')} measured are its marks, each measured once"
