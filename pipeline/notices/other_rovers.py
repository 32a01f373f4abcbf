"""Which exports no passing occupation speaks for: a rover at work beside another that alone stood on control marks.

A check proves where the base stood for all, and pole height, clock and what the controller applied for its own rover
alone (common practice, no source).
"""

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.clock import MINUTE, stamp
from pipeline.intake.at_one_time import Clock, minutes_within, readings_between, same_rows, together
from pipeline.intake.leaps import InTurn
from pipeline.intake.left_columns import LeftColumn
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.read.exports import Export
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.own_failing import MOST_ROVERS
from pipeline.solve.solve import Solved
from pipeline.visible import one_line
from pipeline.words import Reason, Verdict, counted, plural, reason_code

_DUPLICATE = reason_code(Reason.DUPLICATE)
#: Readings up to which a rover of a column is a base's own.
_FEW = 2
_PART_THEM = (
    'export a column that says whose each reading is, headed "Receiver", or give each rover an export of its own'
)


def rover_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield exports that stood on no mark in a session, or on one that fails, while another was at work that did.

    Likewise rovers of one export, by a column that is carried along, of which others did.
    """
    yield from _in_one_export(survey, solved)
    yield from _in_turn(survey, solved)
    found: dict[int, tuple[int, list[str]]] = {}
    failing: dict[int, list[str]] = {}
    if len(survey.exports) < 2:
        return
    clocks, again = [log.clock() for log in survey.first_pass.files], _exported_again(survey)
    same = same_rows(survey.first_pass)
    for window in survey.windows:
        for at, other, stood in _unproven(survey, solved, window, clocks, same):
            if stood:
                failing.setdefault(at, []).append(window.session.name)
            elif (window.index, at) not in again:
                found.setdefault(at, (other, []))[1].append(window.session.name)
    for at, sessions in sorted(failing.items()):
        yield (
            f"{survey.exports[at].shown}: its only occupation of a control mark in"
            f" {plural(len(sessions), 'session')} {listed(sessions)} fails: if it is of a rover of its own, no check"
            " proves the pole height, the clock and the field shift of that; use its points only once another check of"
            " the same rover passes"
        )
    for at, (other, sessions) in sorted(found.items()):
        yield (
            f"{survey.exports[at].shown}: none of its readings in {plural(len(sessions), 'session')}"
            f" {listed(sessions)} is on a control mark, and {survey.exports[other].shown} was observed at the same"
            " time: if that is another rover, no check proves the pole height, the clock and the field shift of this"
            " one; occupy a mark with every rover, before and after its points"
        )
    yield from _open_note(survey, solved, clocks, same)


def _unproven(
    survey: Survey, solved: Solved, window: SessionWindow, clocks: Sequence[Clock], same: Counter[tuple[int, int]]
) -> Iterator[tuple[int, int, bool]]:
    """Yield the exports that stood on no mark in a session, or on one that fails, each with one beside it that did.

    Also whether it stood on one.
    """
    files, number = survey.first_pass.files, window.index
    here = solved.occupations.session == number
    failing = solved.occupations.compared.judged[here] & ~solved.occupations.compared.passed[here]
    export = np.asarray(solved.occupations.table.column("export"), np.int64)[here]
    stood = np.bincount(export, minlength=len(files)).tolist()
    minutes = {at: minutes_within(clocks[at], window) for at, log in enumerate(files) if log.sessions[number]}
    # a file of occupations alone may be the same rover's as one of points
    beside = [at for at in minutes if stood[at] and files[at].sessions[number] > stood[at]]
    for at, own in minutes.items():
        if stood[at] > 1 or (stood[at] and (not failing[export == at].all() or files[at].sessions[number] == 1)):
            continue
        other = next((one for one in beside if one != at and together(own, minutes[one])), None)
        if other is not None and 2 * same[at, other] < min(files[one].sessions[number] for one in (at, other)):
            yield at, other, bool(stood[at])


class _Open(Struct, frozen=True):
    """Readings of an export that its own occupations lie on one side of alone, and those of others on the other.

    Args:
        export: number of the export.
        session: name of the session.
        behind: whether they lie behind its last occupation, else before its first.
        readings: how many they are.
        time: that of the occupation, UTC milliseconds.
    """

    export: int
    session: str
    behind: bool
    readings: int
    time: int


def _open_note(
    survey: Survey, solved: Solved, clocks: Sequence[Clock], same: Counter[tuple[int, int]]
) -> Iterator[str]:
    """Yield that exports occupied marks only before their points, or only after, where others close these: once."""
    found = [one for window in survey.windows for one in _open_ended(survey, solved, window, clocks, same)]
    if not found:
        return
    first = max(found, key=lambda one: one.readings)
    side, last = ("behind", "last") if first.behind else ("before", "first")
    file, *others = dict.fromkeys(survey.exports[one.export].shown for one in (first, *found))
    likewise = f" (likewise {listed(others)})" if others else ""
    yield (
        f"{file}{likewise}: its {last} occupation of a control mark in session {first.session} is at"
        f" {stamp(first.time)} UTC, and its {counted(first.readings, 'reading')} {side} that are closed by other"
        " rovers' checks alone, which do not prove its pole height; occupy a mark with every rover, before and after"
        " its points"
    )


def _open_ended(
    survey: Survey, solved: Solved, window: SessionWindow, clocks: Sequence[Clock], same: Counter[tuple[int, int]]
) -> Iterator[_Open]:
    """Yield what of a session lies outside the occupations of its own rover and within those of others at work.

    A file of occupations alone may be the same rover's, and so may one that was not observed at the same time. What a
    rover stood on in another session proves its pole as well.
    """
    if solved.verdicts[window.index] not in (Verdict.PROVEN, Verdict.UNCLOSED):
        return
    files, on_marks = survey.first_pass.files, solved.occupations
    here = on_marks.session == window.index
    export, time = np.asarray(on_marks.table.column("export"), np.int64), on_marks.time
    speaks = on_marks.compared.judged & on_marks.compared.passed & ~on_marks.copied
    stood = np.bincount(export[here], minlength=len(files)).tolist()
    minutes = {at: minutes_within(clocks[at], window) for at, log in enumerate(files) if log.sessions[window.index]}
    beside = [at for at in minutes if files[at].sessions[window.index] > stood[at]]
    for at in (one for one in beside if stood[one]):
        others = [
            one
            for one in beside
            if one != at
            and 2 * same[at, one] < min(files[each].sessions[window.index] for each in (at, one))
            and together(minutes[at], minutes[one])
        ]
        theirs = time[here & on_marks.evidence & speaks & np.isin(export, others)]
        own = time[speaks & ((export == at) | (here & np.isin(export, [one for one in minutes if one not in others])))]
        if not len(theirs) or not len(own):
            continue
        first, last = int(own.min()), int(own.max())
        behind = readings_between(clocks[at], window, last, int(theirs.max()))
        before = readings_between(clocks[at], window, int(theirs.min()), first - MINUTE)
        for count, side, when in ((behind, True, last), (before, False, first)):
            if count > _FEW:
                yield _Open(at, window.session.name, side, count, when)


def _in_one_export(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield for each export which rovers in it stood on no mark in a session where others of the column did."""
    again = _exported_again(survey)
    for at, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        for name, left in log.left_columns.items():
            if left.word == "rover" and not left.many and 1 < len(left.written) <= MOST_ROVERS:
                told = [
                    (window.session.name, rover)
                    for window in survey.windows
                    if (window.index, at) not in again
                    for rover in _without_mark(survey, solved, window.index, name)
                    if left.counts.get(window.index, Counter())[rover] > _FEW
                ]
                if told:
                    yield _told(export, name, left, told, [window.session.name for window in survey.windows])
                    break


def _in_turn(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield for each export with a failing check that two rovers of one site seem to share it, and how to part them.

    Of those whose checks pass all that are sure are told at once: many a crew writes all its rovers into one export.
    """
    compared, table = solved.occupations.compared, solved.occupations.table
    failing = compared.judged & ~compared.passed
    export, names = np.asarray(table.column("export"), np.int64), table.column("name").to_pylist()
    passing = list[InTurn]()
    for one in survey.first_pass.in_turn:
        rows = np.flatnonzero(failing & (export == one.export)).tolist()
        if rows:
            yield (
                f"{_leaping(survey, one)}: two rovers seem to share this export, and {one_line(str(names[rows[0]]))}"
                f" fails. Passing checks of one rover do not prove the points of the other: {_PART_THEM}"
            )
        elif one.sure:
            passing.append(one)
    if passing:
        first, *others = passing
        likewise = listed(list(dict.fromkeys(survey.exports[one.export].shown for one in others)))
        yield (
            f"{_leaping(survey, first)}{f' (likewise {likewise})' if likewise else ''}: two rovers seem to share this"
            " export, or rows of another day or job were pasted into it"
            f"{f': from row {first.back} on they go back in time' if first.back else ''}. The checks of one do not"
            f" prove the points of the other: take out rows that are none of that day; of two rovers, {_PART_THEM}"
        )


def _leaping(survey: Survey, one: InTurn) -> str:
    return (
        f"{survey.exports[one.export].shown}:{one.row}: this reading lies {one.leaps.metres:,.0f} m from the one"
        f" {one.leaps.seconds:,.0f} s before it, and {counted(one.leaps.count, 'time')} in all nobody walks so fast"
    )


def _without_mark(survey: Survey, solved: Solved, session: int, name: str) -> list[str]:
    """Return the values of a column without an occupation in a session, where others have all there are."""
    table = solved.occupations.table
    here = np.flatnonzero(solved.occupations.session == session)
    export, row = (np.asarray(table.column(each), np.int64)[here] for each in ("export", "source_row"))
    stood, every = set[str](), set[str]()
    for at, log in enumerate(survey.first_pass.files):
        left, rows = log.left_columns.get(name), row[export == at]
        stood |= set(left.of_rows(rows)) if left is not None else {""} if len(rows) else set()
        every |= left.counts.get(session, {}).keys() if left is not None else set()
    # an occupation of nobody in particular may be anybody's
    return sorted(every - stood) if stood and "" not in stood else []


def _told(export: Export, name: str, left: LeftColumn, told: list[tuple[str, str]], order: list[str]) -> str:
    rovers = list(dict.fromkeys(rover for _, rover in told))
    sessions = sorted({session for session, _ in told}, key=order.index)
    numbers = {session: number for number, session in enumerate(order)}
    count = sum(left.counts[numbers[session]][rover] for session, rover in told)
    first = min(left.row[numbers[session], rover] for session, rover in told)
    shown = listed([left.written[rover] for rover in rovers])
    return (
        f'{export.shown}:{first}: none of the {counted(count, "reading")} with {shown} in column "{name}" (first one'
        f" here) in {plural(len(sessions), 'session')} {listed(sessions)} is on a control mark, and others of that"
        f" column are: if that is another rover, no check proves the pole height, the clock and the field shift of"
        " these readings; occupy a mark with every rover, before and after its points"
    )


def _exported_again(survey: Survey) -> set[tuple[int, int]]:
    """Return sessions and exports whose occupations repeat others: what another export has, and no other rover's."""
    table = survey.first_pass.candidates
    repeats = table.filter(pc.equal(table.column("held"), _DUPLICATE))
    return {*zip(repeats.column("session").to_pylist(), repeats.column("export").to_pylist(), strict=True)}
