"""Says of occupations that failed in the newest issue and pass now what they pass for: none does so in silence."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.clock import milliseconds_of
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.near import and_more, listed
from pipeline.reissue.as_exported import as_exported, lies_at, stood_of
from pipeline.reissue.occupied import ALIKE, EarlierOccupation
from pipeline.reissue.other_numbers import Alone, OtherNumbers
from pipeline.solve.solve import Adjusted
from pipeline.tolerance import SAME, tolerance_text
from pipeline.words import Role, counted, plural

#: Occupations that a note names where many pass for one reason.
_LISTED = 5
#: How a cause begins without which it would fail still, and what is left where nothing else is seen.
_ONLY, _ELSE = "only since", "now, by what else has changed"


class PassingNow(Struct, frozen=True):
    """An occupation that failed and passes now: how it is told, and why it passes, as a sentence goes on."""

    told: str
    why: str


def passing_now(
    failed: EarlierOccupation,
    row: int,
    other: OtherNumbers | None,
    last: Record,
    survey: Survey,
    adjusted: Adjusted,
) -> Iterator[PassingNow]:
    """Yield that an occupation passes, where it failed in the newest issue itself; none where that only told of it.

    Args:
        failed: the occupation that failed.
        row: which of the occupations it is now.
        other: in which way it has other numbers; None where it has those that it had.
        last: the newest issue.
        survey: the job.
        adjusted: the same, with its shifts.
    """
    if failed.row is None:
        return
    told = f"{failed.called} failed in issue {failed.issue:03d} by {' and '.join(_by(failed))}"
    causes = list(_tolerances(failed.row, row, adjusted)) or [
        *_of_itself(failed.row, row, other, survey, adjusted),
        *_of_marks(failed.row, last, survey, adjusted),
        *_of_ties(failed.row, other, last, survey),
    ]
    if causes and causes[0].startswith(_ONLY):
        why = " and ".join(causes)
    else:
        why = f"now: {'; '.join(causes)}" if causes else _ELSE
    yield PassingNow(told, why)


def passing_notes(found: Sequence[PassingNow]) -> list[str]:
    """Return notes in words, one for each reason."""
    notes = []
    for why in dict.fromkeys(one.why for one in found):
        told = [one.told for one in found if one.why == why]
        passes = " and passes" if len(told) == 1 else ", which pass"
        notes.append(f"{'; '.join(told[:_LISTED])}{and_more(len(told) - _LISTED)}{passes} {why}")
    return notes


def _by(failed: EarlierOccupation) -> Iterator[str]:
    """Yield by how much it failed, in what it did."""
    row, parts = failed.row, failed.parts if failed.parts is not None else np.zeros(2, bool)
    if row is None or not parts.any():
        yield "an unknown amount"
        return
    off = (row["d_horizontal"], row["tolerance_h"], "in plan"), (row["d_height"], row["tolerance_v"], "in height")
    for (metres, allowed, words), bad in zip(off, parts.tolist(), strict=True):
        if bad and allowed is not None:
            amount = "an unknown amount" if metres is None else f"{abs(metres):.3f} m"
            yield f"{amount} {words} ({tolerance_text(allowed)} allowed)"


def _tolerances(then: CheckRow, row: int, adjusted: Adjusted) -> Iterator[str]:
    """Yield the tolerances by which it would still fail if they were those of then."""
    compared = adjusted.occupations.compared
    off = (float(compared.horizontal[row]), abs(float(compared.height[row])))
    for part, (words, was) in enumerate((("horizontal", then["tolerance_h"]), ("vertical", then["tolerance_v"]))):
        if was is not None and compared.holds[row, part] and off[part] > was + SAME:
            now = tolerance_text(float(compared.allowed[row, part]))
            yield f"{_ONLY} the {words} tolerance went from {tolerance_text(was)} to {now} m"


def _of_itself(
    then: CheckRow, row: int, other: OtherNumbers | None, survey: Survey, adjusted: Adjusted
) -> Iterator[str]:
    """Yield what of the occupation itself is other than it was."""
    if other is not None and other.alone is Alone.UNKNOWN:
        yield f"the reading has other numbers, and none next to it shows whether it alone has: {other.words}"
    elif other is not None:
        yield "the reading has other numbers, as those observed next to it have"
    mark, session = adjusted.occupations.marks[row], int(adjusted.occupations.session[row])
    if mark != then["mark"]:
        yield f"it is compared with {mark} instead"
    if (name := survey.windows[session].session.name) != then["session"]:
        yield f"it is of session {name} instead of {then['session']}"


def _of_marks(then: CheckRow, last: Record, survey: Survey, adjusted: Adjusted) -> Iterator[str]:
    """Yield which marks lie elsewhere by the register: its own, and those of the ties of its session."""
    if _lies_elsewhere(then, survey, adjusted):
        yield f"mark {then['mark']} has other coordinates in the register"
    ties = [tie for tie in last["checks"] if tie["role"] == Role.TIE and tie["session"] == then["session"]]
    moved = (tie["mark"] for tie in ties if tie["mark"] != then["mark"] and _lies_elsewhere(tie, survey, adjusted))
    if marks := list(dict.fromkeys(moved)):
        have = f"mark {marks[0]} has" if len(marks) == 1 else f"marks {listed(marks)} have"
        yield f"{have} other coordinates in the register, and its session is tied to {plural(len(marks), 'it', 'them')}"


def _lies_elsewhere(then: CheckRow, survey: Survey, adjusted: Adjusted) -> bool:
    """Tell whether the register has other coordinates of a mark than an occupation was compared with."""
    found, register = adjusted.occupations, survey.register
    if then["mark"] not in found.marks or register is None or register.find(then["mark"]) is None:
        return False
    known = found.known[[found.marks.index(then["mark"])]]
    was = np.array([then["known_easting"], then["known_northing"], then["known_height"]], float)
    return bool((np.abs(was - np.column_stack(survey.axes.written(*known.T))) > SAME).any())


def _of_ties(then: CheckRow, other: OtherNumbers | None, last: Record, survey: Survey) -> Iterator[str]:
    """Yield which ties of its session have other numbers, where its own reading has not."""
    if other is not None:
        return
    candidates, changed = survey.candidates, list[str]()
    for tie in last["checks"]:
        if tie["role"] != Role.TIE or tie["session"] != then["session"] or tie["observed"] is None:
            continue
        timely = np.abs(candidates.time - milliseconds_of(tie["observed"])) <= ALIKE
        rows = [at for at in np.flatnonzero(timely).tolist() if candidates.names[at] == tie["point"]]
        was = as_exported(last, stood_of(tie), survey)
        if rows and len(was) and not lies_at(candidates.raw[rows], was).any():
            changed.append(f"{tie['point']} on {tie['mark']}")
    if changed:
        yield f"{counted(len(changed), 'tie')} of its session with other numbers: {listed(changed)}"
