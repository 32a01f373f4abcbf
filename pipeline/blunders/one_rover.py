"""All that one of several rovers observed is off by one vector: its pole height was wrong, or its base another."""

from collections.abc import Iterable, Iterator

import numpy as np

from pipeline.arrays import Integers
from pipeline.blunders.scope import Case, Scope
from pipeline.blunders.score import HEIGHT, PARTS, Hypothesis, Kind, OneShape
from pipeline.intake.at_one_time import Clock, minutes_within, together
from pipeline.sessions.attach import base_key
from pipeline.solve.strays import Stray

_DECIDE = "one mark occupied by both rovers, their pole heights and their bases noted"


def one_rover(scope: Scope, session: int) -> Iterator[Hypothesis]:
    """Yield that what is off from the rest of a session by one vector is so as a whole, all its points included.

    Only of what was observed at the same time as the rest: else it is the base that moved.
    """
    case = scope.case
    for stray in case.solved.strays:
        if stray.session != session or not stray.vector or not case.reached[list(stray.rows)].all():
            continue
        if not _has_points(case, stray) or not _beside_others(case, stray):
            continue
        shape, group = scope.influence.any_displaced(dict.fromkeys(stray.rows, 1.0)), OneShape()
        for free, what in PARTS:
            text = f"everything of {_named(case, stray)} is off{what} by {{size}} {_why(case, stray, free == HEIGHT)}"
            yield Hypothesis(Kind.POINT_UNEXPLAINED, text, shape, free, _DECIDE, group=group)


def parted(case: Case, session: int, before: Integers, after: Integers) -> bool:
    """Tell whether occupations before and after a gap in time are of different rovers at work at the same time.

    Then nobody knows whether the base moved in between, or whether one of the two is off all the time. ``before`` (b,)
    and ``after`` (a,) are rows of `compare.OnMarks`.
    """
    table, several = case.solved.occupations.table, case.survey.windows[session].base is None
    export, base = table.column("export").to_pylist(), table.column("base").to_pylist()
    early, late = (
        {(export[row], base_key(base[row]) if several else None) for row in rows.tolist()} for rows in (before, after)
    )
    return not early & late and any(
        together(_minutes(case, session, *one), _minutes(case, session, *other)) for one in early for other in late
    )


def _named(case: Case, stray: Stray) -> str:
    windows = case.survey.windows
    within = f" in session {windows[stray.session].session.name}" if len(windows) > 1 else ""
    return stray.named([export.shown for export in case.survey.exports]) + within


def _why(case: Case, stray: Stray, height: bool) -> str:
    """Return in words what may be the reason, and what to do."""
    if height:
        return (
            "(the pole height of that rover, or of the one that ties the session, or another base's antenna height?):"
            " correct it in the field software and export that file again"
        )
    if stray.base is not None:
        return '(another base): give each base a [[session]] of its own, with base = "..."'
    files = stray.named([export.shown for export in case.survey.exports])
    base = case.survey.windows[stray.session].base
    another = "another base than the session's?" if base is None else f"another base under the id {base}?"
    return (
        f"({another}): sessions at one time are told apart by a base id column only, so give its readings a base id of"
        f" their own, or {files} a job of its own"
    )


def _has_points(case: Case, stray: Stray) -> bool:
    """Tell whether more was observed than occupations: a file of checks alone, as of a code, is no rover's."""
    if stray.base is not None:
        return True
    table, files = case.solved.occupations, case.survey.first_pass.files
    stood = np.isin(table.table.column("export").to_numpy(), stray.exports) & (table.session == stray.session)
    return bool(sum(files[number].sessions[stray.session] for number in stray.exports) > np.count_nonzero(stood))


def _beside_others(case: Case, stray: Stray) -> bool:
    """Tell whether something else in the session was observed at the same time."""
    session, files = stray.session, case.survey.first_pass.files
    here = [number for number, log in enumerate(files) if log.sessions[session]]
    if stray.base is None:
        own = _every(_minutes(case, session, number) for number in stray.exports)
        return any(together(own, _minutes(case, session, one)) for one in here if one not in stray.exports)
    key = base_key(stray.base)
    others = {of for number in here for of in files[number].minutes} - {key, None}
    own = _every(_minutes(case, session, number, key) for number in here)
    return together(own, _every(_minutes(case, session, number, of) for number in here for of in others))


def _every(minutes: Iterable[Integers]) -> Integers:
    return np.unique(np.concatenate([np.zeros(0, np.int64), *minutes]))


def _minutes(case: Case, session: int, export: int, key: str | None = None) -> Integers:
    """Return (m,) the minutes in which an export has readings of a session, and with a base id where one is given."""

    def work() -> Integers:
        clock = case.once(("clock", str(export)), case.survey.first_pass.files[export].clock)
        some: Clock = clock if key is None else {key: clock[key]} if key in clock else {}
        return minutes_within(some, case.survey.windows[session])

    return case.once(("minutes", str(session), str(export), key or ""), work)
