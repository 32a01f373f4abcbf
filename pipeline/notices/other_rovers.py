"""Which exports no occupation speaks for: a rover at work beside another one that alone stood on control marks.

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
    """Yield exports that stood on no mark in a session, while another, which did, had points at the same time."""
    found: dict[int, tuple[int, list[str]]] = {}
    if len(survey.exports) < 2:
        return
    clocks, again = [log.clock() for log in survey.first_pass.files], _exported_again(survey)
    for window in survey.windows:
        for at, other in _alone(survey, solved, window, clocks):
            if (window.index, at) in again:
                continue
            found.setdefault(at, (other, []))[1].append(window.session.name)
    for at, (other, sessions) in sorted(found.items()):
        yield (
            f"{survey.exports[at].shown}: none of its readings in {plural(len(sessions), 'session')}"
            f" {listed(sessions)} is on a control mark, and {survey.exports[other].shown} was observed at the same"
            " time: if that is another rover, no check proves the pole height, the clock and the field shift of this"
            " one; occupy a mark with every rover, before and after its points"
        )


def _alone(survey: Survey, solved: Solved, window: SessionWindow, clocks: Sequence[Clock]) -> Iterator[tuple[int, int]]:
    """Yield the exports that stood on no mark in a session, each with one beside it that did."""
    files, number = survey.first_pass.files, window.index
    here = solved.occupations.session == number
    export = np.asarray(solved.occupations.table.column("export"), np.int64)[here]
    stood = np.bincount(export, minlength=len(files)).tolist()
    minutes = {at: minutes_within(clocks[at], window) for at, log in enumerate(files) if log.sessions[number]}
    # a file of occupations alone may be the same rover's as one of points
    beside = [at for at in minutes if stood[at] and files[at].sessions[number] > stood[at]]
    for at, own in minutes.items():
        other = next((one for one in beside if together(own, minutes[one])), None) if not stood[at] else None
        if other is not None:
            yield at, other


def _exported_again(survey: Survey) -> set[tuple[int, int]]:
    """Return sessions and exports whose occupations repeat others: what another export has, and no other rover's."""
    table = survey.first_pass.candidates
    repeats = table.filter(pc.equal(table.column("held"), _DUPLICATE))
    return {*zip(repeats.column("session").to_pylist(), repeats.column("export").to_pylist(), strict=True)}
