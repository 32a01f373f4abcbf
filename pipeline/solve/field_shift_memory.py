"""What earlier issues took out for a field shift, known again by what stays when a mark, tie or session is renamed."""

from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.clock import stamp
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.kept_shifts import KeptShift, written_in
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import ShiftAnew
from pipeline.words import Doubt

_GRID = ("easting", "northing", "height")
#: Metres in space: two marks do not lie nearer to each other (an assumption), so that both names are of one mark.
_ONE_MARK = 0.1
#: Metres: a mark under another name may have been revised by so much, or be a neighbour; nobody can tell (likewise).
_MAY_BE = 2.0
#: Metres on the grid: a mark that is gone is no other so far away under a new name, however it was revised (likewise).
_ELSEWHERE = 20.0
#: Metres: the same reading, whatever its clock says now; two of one mark differ by more, or it makes no difference.
_ONE_READING = 1e-4
_ANEW = "is computed from the register as it is now"


class TiedShift(Struct, frozen=True):
    """A field shift that is stated by a tie, and what it is worked out from: a reading on a mark.

    Args:
        window: the shift as it is stated.
        observed: the reading's time as the record writes it.
        raw: (3,) as the field had it, working frame.
        mark: (3,) by the register of now, or as typed, working frame.
    """

    window: FieldWindow
    observed: str
    raw: Floats
    mark: Floats


class Remembered(Struct, frozen=True):
    """What an issue before has of a field shift.

    Args:
        since: the issue that first took it out so.
        mark: (3,) the mark as it was then, working frame.
        vector: (3,) what was taken out, in the shift's own model; None where it is to be worked out by that mark.
        called: the name that the mark had then, where that was another one.
    """

    since: int
    mark: Floats
    vector: Floats | None
    called: str | None


def remembered(survey: Survey, shift: TiedShift) -> Remembered | None:
    """Return what an issue before has of a field shift, None where none has it, or nobody can say that it is this one.

    It is the same where its reading and its mark are; with another reading its mark's coordinates are, where it was
    carried at the same time, or is of the same tie and session.
    """
    if shift.window.stated.typed is not None:
        return None
    kept = [past for past in survey.kept if _same_mark(survey, past, shift)]
    same = [past for past in kept if _same_reading(survey, past, shift)]
    by_model = [past for past in same if past.entry["model"] == shift.window.stated.model]
    numbers = [past for past in by_model if shift.window.stated.model == "geocentric" or _on_grid(survey, past)]
    others = [
        *same,
        *(past for past in kept if past.overlaps(shift.window)),
        *(past for past in kept if _of_tie(past, shift.window)),
    ]
    for past in [*numbers, *others]:
        mark = _mark_then(survey, past, shift)
        if mark is not None:
            called = past.entry["mark"] if past.entry["mark"] != shift.window.stated.mark else None
            vector = _vector_of(past) if any(past is other for other in numbers) else None
            return Remembered(past.entry["since"], mark, vector, called)
    return None


def forgotten(survey: Survey, stated: Sequence[tuple[TiedShift, int | None]]) -> list[Doubtful]:
    """Return doubts: field shifts by the register of now, in the place of one that nobody can tell to be the same.

    Such a doubt stays for as long as the numbers do that began with it.

    Args:
        survey: the job.
        stated: those of ties, each by the mark that its numbers are by, and with the issue since which it has them;
            None: from now on.
    """
    found = []
    for number, (shift, since) in enumerate(stated):
        if shift.window.stated.typed is not None:
            continue
        others = [other for other, _ in [*stated[:number], *stated[number + 1 :]]]
        before = _before(survey, shift, since, others)
        if not before and (doubted := _doubted(survey, shift, since)) is not None:
            found.append(_doubt(_as_doubted(doubted, shift.window), shift.window, survey))
        for past in before:
            if _may_be_one(survey, past, shift):
                found.append(_doubt(_sentence(survey, past, shift.window), shift.window, survey))
                break
    return found


def _before(survey: Survey, shift: TiedShift, since: int | None, others: list[TiedShift]) -> list[KeptShift]:
    """Return what the newest issue before the numbers of now had in a shift's place, if it is none of the others.

    That need not be the last issue before them: one may have had none there, or cannot be read any more.
    """
    earlier = [past for past in survey.kept if since is None or past.issue < since]
    earlier = [past for past in earlier if _in_place(survey, past, shift)]
    earlier = [past for past in earlier if not any(_known(survey, past, other) for other in others)]
    newest = max((past.issue for past in earlier), default=0)
    return [past for past in earlier if past.issue == newest]


def _doubted(survey: Survey, shift: TiedShift, since: int | None) -> KeptShift | None:
    """Return a shift's numbers as the newest issue has them, where it had them in doubt; else None."""
    alike = [past for past in survey.kept if past.entry["since"] == since and _same_mark(survey, past, shift)]
    newest = max((past.issue for past in alike), default=0)
    for past in alike:
        if past.issue == newest and (past.entry["tie"], past.entry["mark"]) in past.doubted:
            return past
    return None


def _doubt(what: str, window: FieldWindow, survey: Survey) -> Doubtful:
    origin = ShiftAnew(of="field shift", tie=window.stated.tie, mark=window.stated.mark)
    file, line = window.where
    place = survey.prepared.loaded.recorded(file)
    return Doubtful(Doubt.SHIFT, what, (window.session,), place, line, origin=origin)


def _by(tie: str | None, mark: str | None) -> str:
    return f"the field shift by {tie} on {mark} from"


def _as_doubted(past: KeptShift, window: FieldWindow) -> str:
    return (
        f"session {window.name}: {_by(window.stated.tie, window.stated.mark)} {stamp(window.start)} UTC {_ANEW}. Issue"
        f" {past.issue:03d} already doubted this, and the issue that it was compared with no longer records it. If"
        " other coordinates of the mark were applied in the field, write them into its field_shift: easting, northing,"
        " height; otherwise nothing is wrong"
    )


def _sentence(survey: Survey, past: KeptShift, window: FieldWindow) -> str:
    entry = past.entry
    keys = [f"{key} = {value:.4f}" for key, value in zip(_GRID, _known_of(past), strict=True)]
    typed = f"write into its field_shift what it had then: {', '.join(keys)}"
    same = f"the mark {entry['mark']} of issue {past.issue:03d} under another name"
    if entry["mark"] == window.stated.mark:
        same = f"the same mark as in issue {past.issue:03d}"
    if not _in_target(survey, past):
        same += ", which had another grid or height datum,"
        typed = "write the coordinates as typed in the field into its field_shift: easting, northing, height"
    return (
        f"session {window.name}: {_by(window.stated.tie, window.stated.mark)} {stamp(window.start)} UTC {_ANEW}. If"
        f" {window.stated.mark} is {same}, its earlier coordinates were applied in the field: {typed}; if it is another"
        " mark, nothing is wrong"
    )


def _in_place(survey: Survey, past: KeptShift, shift: TiedShift) -> bool:
    """Tell whether a shift was carried where a stated one is, or worked out from the same reading."""
    return past.overlaps(shift.window) or _same_reading(survey, past, shift)


def _known(survey: Survey, past: KeptShift, shift: TiedShift) -> bool:
    """Tell whether a stated shift is one of before."""
    return _in_place(survey, past, shift) and _same_mark(survey, past, shift)


def _may_be_one(survey: Survey, past: KeptShift, shift: TiedShift) -> bool:
    """Tell whether a mark may be the one of before, with other numbers, and nobody can say so."""
    mark = _mark_then(survey, past, shift)
    if mark is None:
        return past.entry["mark"] == shift.window.stated.mark
    apart = float(np.linalg.norm(mark - shift.mark))
    if apart <= _ONE_MARK or _stood_beside(survey, past, shift):
        return False
    register = survey.register
    if register is not None and register.find(past.entry["mark"] or "") is not None:
        return apart <= _MAY_BE
    east, north, _ = survey.operations.frames.to_issued.forward(*np.stack([mark, shift.mark]).T)
    return bool(np.hypot(east[1] - east[0], north[1] - north[0]) <= _ELSEWHERE)


def _stood_beside(survey: Survey, past: KeptShift, shift: TiedShift) -> bool:
    """Tell whether an issue before occupied a stated shift's mark by its name and where it is now: it is another."""
    then = past.stood.get(shift.window.stated.mark or "")
    if then is None or not _in_target(survey, past):
        return False
    return float(np.linalg.norm(of_grid(survey, then) - shift.mark)) <= _ONE_MARK


def _same_mark(survey: Survey, past: KeptShift, shift: TiedShift) -> bool:
    if past.entry["mark"] == shift.window.stated.mark:
        return True
    then = _mark_then(survey, past, shift)
    return then is not None and float(np.linalg.norm(then - shift.mark)) <= _ONE_MARK


def _same_reading(survey: Survey, past: KeptShift, shift: TiedShift) -> bool:
    if past.entry["observed"] == shift.observed and past.entry["tie"] == shift.window.stated.tie:
        return True
    raw = _raw_then(survey, past)
    return raw is not None and float(np.linalg.norm(raw - shift.raw)) <= _ONE_READING


def _of_tie(past: KeptShift, window: FieldWindow) -> bool:
    return (past.entry["tie"], past.entry["session"]) == (window.stated.tie, window.name)


def _in_target(survey: Survey, past: KeptShift) -> bool:
    return past.target == written_in(survey.target)


def _on_grid(survey: Survey, past: KeptShift) -> bool:
    """Tell whether a record's numbers on the grid can be taken as they are.

    To which side those of a grid to the west or the south were meant, records have not always said alike.
    """
    return _in_target(survey, past) and bool((survey.axes.signs() > 0).all())


def _mark_then(survey: Survey, past: KeptShift, shift: TiedShift) -> Floats | None:
    """Return (3,) working frame, of the mark as it was; in another grid, as it was beside the same reading."""
    entry = past.entry
    if _in_target(survey, past):
        return of_grid(survey, _known_of(past))
    same = entry["observed"] == shift.observed and entry["model"] == "geocentric"
    return shift.raw + _vector_of(past) if same else None


def _raw_then(survey: Survey, past: KeptShift) -> Floats | None:
    """Return (3,) working frame, of the reading, None where the previous issue had another grid."""
    if not _in_target(survey, past):
        return None
    entry, to_issued = past.entry, survey.operations.frames.to_issued
    if entry["model"] == "grid" and not _on_grid(survey, past):
        return None
    mark = of_grid(survey, _known_of(past))
    if entry["model"] == "geocentric":
        return mark - _vector_of(past)
    grid = np.column_stack(to_issued.forward(*mark[:, None])) - _vector_of(past)
    return np.ravel(to_issued.inverse(*grid.T))


def _known_of(past: KeptShift) -> list[float]:
    entry = past.entry
    return [entry["known_easting"] or 0.0, entry["known_northing"] or 0.0, entry["known_height"] or 0.0]


def _vector_of(past: KeptShift) -> Floats:
    entry = past.entry
    if entry["model"] == "grid":
        return np.array([entry["shift_east"], entry["shift_north"], entry["shift_up"]])
    return np.array([entry["shift_x"], entry["shift_y"], entry["shift_z"]], np.float64)


def of_grid(survey: Survey, written: Iterable[float]) -> Floats:
    """Return (3,) working frame, of easting, northing and height as the grid writes them."""
    metres = survey.axes.metres(*(np.array([value]) for value in written))
    return np.ravel(survey.operations.frames.to_issued.inverse(*metres))
