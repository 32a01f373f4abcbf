"""Which exports no passing occupation speaks for: a rover at work beside another that alone stood on control marks.

A check proves where the base stood for all, and pole height, clock and what the controller applied for its own rover
alone (common practice, no source).
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow.compute as pc

from pipeline.intake.at_one_time import Clock, minutes_within, together
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.solve import Solved
from pipeline.words import Reason, plural, reason_code

_DUPLICATE = reason_code(Reason.DUPLICATE)


def rover_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield exports that stood on no mark in a session, or on one that fails, while another was at work that did."""
    found: dict[int, tuple[int, list[str]]] = {}
    failing: dict[int, list[str]] = {}
    if len(survey.exports) < 2:
        return
    clocks, again = [log.clock() for log in survey.first_pass.files], _exported_again(survey)
    for window in survey.windows:
        for at, other, stood in _unproven(survey, solved, window, clocks):
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


def _unproven(
    survey: Survey, solved: Solved, window: SessionWindow, clocks: Sequence[Clock]
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
        if other is not None:
            yield at, other, bool(stood[at])


def _exported_again(survey: Survey) -> set[tuple[int, int]]:
    """Return sessions and exports whose occupations repeat others: what another export has, and no other rover's."""
    table = survey.first_pass.candidates
    repeats = table.filter(pc.equal(table.column("held"), _DUPLICATE))
    return {*zip(repeats.column("session").to_pylist(), repeats.column("export").to_pylist(), strict=True)}
