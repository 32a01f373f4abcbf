"""Finds marks of the register that an issue before worked out: whoever checks on such a mark checks a job by itself.

The office copies points of an issue into the register, and the session that gave them lists them as marks. Whatever its
base was off by is in these coordinates as well, so its checks agree whether it is right or wrong. As with a temporary
mark, a chain that starts from the same tie proves nothing.

An issue whose files are gone, or that was set aside, still says by its record that the mark was not in the register
when the reading was there already: where that lies, the newest issue says.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.clock import milliseconds_of
from pipeline.control import Register
from pipeline.control.register_rows import POSITION
from pipeline.examine.computed import COMPUTED
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.geopackage.points_at import Issued, points_at
from pipeline.issue.record_types import Record
from pipeline.near import and_more
from pipeline.reissue.earlier import Last, another_frame
from pipeline.reissue.history import History
from pipeline.solve.solve import Adjusted
from pipeline.sphere import DEGREE
from pipeline.visible import one_line
from pipeline.words import Doubt, Role, Verdict, counted, plural

#: What the last digit of a mark may be worth [m] so that it tells anything: by coarser ones many readings agree.
_FINEST = 1.1e-3
#: Metres by which two numbers of one place, worked out by two versions or written in another unit, may differ.
_ROUNDED = 1e-4
#: Metres within which the checks on one mark alone agree with it where the job is computed, written to the millimetre.
_ALONE = 6e-4
#: Issues back to which each is asked since when the job uses a mark; of those before ever fewer, and the first. Ours.
_BACK = 20
#: Marks by which the other occupations of a session prove it without those that it gave.
_PROOF = 2
#: Marks that a sentence names.
_NAMED = 3


class _Copied(Struct, frozen=True):
    """A mark whose coordinates an issue gave: its number in the register, the point there, and which issue."""

    mark: int
    point: Issued
    issue: Record


def own_marks(history: History, survey: Survey, adjusted: Adjusted) -> tuple[tuple[Doubtful, ...], tuple[str, ...]]:
    """Return doubts for sessions that are tied to or checked by marks which they gave themselves, and notes in words.

    Where two other marks were occupied as well, or the mark is of another session that was not proven, it is noted.

    Args:
        history: the issues before.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
    """
    register, newest = survey.register, history.newest
    if register is None or newest is None:
        return (), ()
    copied = {one.mark: one for one in _copied(history, newest, survey, adjusted, register)}
    # an issue's own ties agree with what it gave, whoever checks on them
    ties = {row["mark"] for one in copied.values() for row in one.issue["checks"] if row["role"] == Role.TIE}
    noisy = _noisy(adjusted, {register.names[mark] for mark in copied} | ties)
    if noisy is None:
        copied = {mark: one for mark, one in copied.items() if not _was_revised(one, register)}
    if not copied or noisy is False:
        return (), ()
    doubts, notes = list[Doubtful](), list[str]()
    shown, elsewhere = Path(register.shown).name, dict[int, list[str]]()
    for window in survey.windows:
        on = adjusted.occupations.session == window.index
        used = {mark for mark, here in zip(adjusted.occupations.marks, on, strict=True) if here}
        name, of = window.session.name, [one for one in copied.values() if register.names[one.mark] in used]
        for one in of:
            if one.point.session != name and _verdict(one) not in (None, Verdict.PROVEN):
                elsewhere.setdefault(one.mark, []).append(name)
        if own := [one for one in of if one.point.session == name]:
            said, line = f"session {name}: {_said(own, register)}", register.lines[own[0].mark]
            if len(used) - len(own) < _PROOF:
                said += f", so ties and checks on {plural(len(own), 'it', 'them')} agree whatever the session is off by"
                doubts.append(Doubtful(Doubt.UNANSWERED_CHECK, f"{said}; {_CURE}", (window.index,), shown, line))
            else:
                notes.append(f"{shown}:{line}: {said}: they prove nothing of it; the other marks do")
    for number, names in elsewhere.items():
        one = copied[number]
        notes.append(
            f"{shown}:{register.lines[number]}: {_said([one], register)}, a point of session {one.point.session}, which"
            f" was {_verdict(one)} there: it is no better known, and sessions use it"
            f" ({', '.join(names[:_NAMED])}{and_more(len(names) - _NAMED)})"
        )
    return confirmed_by(survey.job, doubts), tuple(notes)


_CURE = "list an occupation of a mark that is known by other means, or confirm that its coordinates are published ones"


def _said(found: list[_Copied], register: Register) -> str:
    marks = [f"'{one_line(register.names[one.mark])}' ({one_line(one.point.name)} there)" for one in found[:_NAMED]]
    return (
        f"{counted(len(found), 'mark')} of the register {plural(len(found), 'has', 'have')} the coordinates that issue"
        f" {found[0].issue['issue']:03d} of this job gave, to the last digit:"
        f" {', '.join(marks)}{and_more(len(found) - _NAMED)}"
    )


def _verdict(one: _Copied) -> str | None:
    return next((s["verdict"] for s in one.issue["sessions"] if s["session"] == one.point.session), None)


def _noisy(adjusted: Adjusted, aside: set[str]) -> bool | None:
    """Tell whether occupations of all marks but some scatter as measured ones do, and not as those of a computed job.

    Returns None where no other mark checks the job: then nothing tells the two apart.
    """
    occupations = adjusted.occupations
    pairs = zip(occupations.marks, occupations.temporary, strict=True)
    of = np.array([mark not in aside and not temporary for mark, temporary in pairs], bool)
    checks = of & np.array([role is Role.CHECK for role in occupations.roles], bool)
    marks = {mark for mark, one in zip(occupations.marks, checks.tolist(), strict=True) if one}
    off = np.abs(occupations.compared.vectors[of])
    if bool(off[np.isfinite(off)].max(initial=0.0) > (COMPUTED if len(marks) > 1 else _ALONE)):
        return True
    return False if marks else None


def _was_revised(one: _Copied, register: Register) -> bool:
    """Tell whether the issue that gave a mark's coordinates knew it at others: a surveyor may have put it right."""
    return any(row["mark"] == register.names[one.mark] for row in one.issue["checks"])


def _copied(
    history: History, newest: Last, survey: Survey, adjusted: Adjusted, register: Register
) -> Iterator[_Copied]:
    """Yield the marks that the job uses whose coordinates an issue gave before the job used them."""
    fine = _fine(register)
    used = sorted({number for mark in {*adjusted.occupations.marks} if (number := register.find(mark)) is not None})
    used = [number for number in used if fine[number]]
    found = _given(newest, used, survey, adjusted, {}) if used else {}
    asked = _asked([one for one in history.numbers() if one <= newest.record["issue"]]) if found else []
    since = {number: _last_without(history, asked, number, survey, register) for number in found}
    for issue in {one.record["issue"]: one for one in since.values() if one is not None}.values():
        at = [number for number, one in since.items() if one is issue]
        given = found if issue is newest else _given(issue, at, survey, adjusted, found)
        yield from (_Copied(number, given[number][0], issue.record) for number in at if number in given)


def _fine(register: Register) -> Flags:
    """Return (R,) which marks are written in digits so fine that no measurement agrees with all of them by chance."""
    degree = DEGREE if register.kind == "geographic" else 1.0
    worth = np.abs(np.array(register.unit, float)) * [degree, degree, 1.0] * 10.0 ** -register.decimals.astype(float)
    fine: Flags = (worth <= _FINEST).all(axis=1)
    return fine


def _given(
    issue: Last, marks: list[int], survey: Survey, adjusted: Adjusted, later: Mapping[int, list[Issued]]
) -> Mapping[int, list[Issued]]:
    """Return which marks have the coordinates of points or of occupations of an issue, to the last digit.

    What lies on a mark that the issue knew there has its coordinates from that mark. ``later`` are the same of the
    newest issue: where the points of this one are gone, those of them that it had by their time stand for it.
    """
    if another_frame(issue.record, survey.target) is not None:
        return {}
    written = np.column_stack(survey.axes.written(*adjusted.reference.grid[marks].T))
    within = (0.5 * _FINEST + _ROUNDED) * np.abs(survey.axes.counts())
    x, y, _ = survey.axes.geometry(*written.T)
    try:
        points = points_at(issue.package, zip(x.tolist(), y.tolist(), strict=True), float(within[:2].max()))
    except Lost:
        until = milliseconds_of(issue.record["data_to"])
        points = [[one for one in later.get(mark, ()) if _observed_by(one, until)] for mark in marks]
    rows = [one for one in issue.record["checks"] if one["role"] != Role.NOTED]
    known = np.array([[one["known_easting"], one["known_northing"], one["known_height"]] for one in rows], float)
    stood = np.array([[one["easting"], one["northing"], one["height"]] for one in rows], float)
    found = dict[int, list[Issued]]()
    for number, place, there in zip(marks, written, points, strict=True):
        name = adjusted.reference.names[number]
        if any(rows[row]["mark"] != name for row in _alike(known, place, within)):
            continue
        on = (rows[row] for row in _alike(stood, place, within))
        each = [one for one in there if len(_alike(np.array([one.place], float), place, within))]
        each += [Issued(one["point"] or "", one["session"], tuple(place), one["observed"]) for one in on]
        if each:
            found[number] = each
    return found


def _observed_by(one: Issued, until: int) -> bool:
    with suppress(ValueError):  # of a point that somebody altered since it was issued
        return milliseconds_of(one.observed) <= until
    return False


def _alike(places: Floats, place: Floats, within: Floats) -> list[int]:
    """Return which of (n, 3) places are one place to the last digit."""
    with np.errstate(invalid="ignore"):
        same = (np.abs(places.reshape(-1, 3) - place) <= within).all(axis=1)
    return [int(row) for row in np.flatnonzero(same)]


def _last_without(
    history: History, asked: Sequence[int], number: int, survey: Survey, register: Register
) -> Last | None:
    """Return the last issue before a mark came into the register as it is; None where it is in that of all ``asked``.

    A mark that the job does not use is in no record, but a register that is the same file has the same marks. An issue
    that cannot be read says nothing, one that was set aside what its record has.
    """
    axes = (*POSITION[register.kind], "height")
    now = {"mark": register.names[number], **dict(zip(axes, register.written[number], strict=True))}
    for one in asked:
        issue = history.issue_or_aside(one)
        if issue is None:
            continue
        used = [dict(row) for row in issue.record["register"]]
        same = issue.record["control"] == control_used(survey.job)
        if same and register.sha256 in {entry["sha256"] for entry in issue.record["inputs"]}:
            continue
        if not (same and any(all(row.get(key) == value for key, value in now.items()) for row in used)):
            return issue
    return None


def _asked(numbers: Sequence[int]) -> list[int]:
    """Return which of some ascending issues are asked, the last first."""
    back = numbers[::-1]
    farther = (1 << power for power in range(_BACK.bit_length(), len(back).bit_length()))
    return list(dict.fromkeys((*back[:_BACK], *(back[away] for away in farther), *back[-1:])))
