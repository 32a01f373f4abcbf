"""A base that is another one for a while within a session: the checks before and after agree all the same.

Where one gives way to another for good, a check after it tells; so do notices (`notices/bases.py`), and of two rovers
that say it in two ways, and of stations of a network, whose coordinates are alike, there is no telling here.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.clock import clock
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.base_log import Seen
from pipeline.intake.base_values import changes
from pipeline.intake.survey import Survey
from pipeline.sessions.windows import SessionWindow
from pipeline.words import Doubt


def base_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each session whose points say that they hang on more than one base in turn."""
    found = []
    for window in survey.windows:
        # Network corrections come from wherever the network puts its station, and need not stay there. Nor is a field
        # shift that the job states another base: it may be that of one receiver alone.
        known = window.session.shift == "none" or window.session.field_shifts
        if not known and (said := next(_in_turn(survey, window), None)) is not None:
            what, seen = said
            told = (
                f"session {window.session.name}: its points carry {what} in turn, another from {clock(seen.time)} to"
                f" {clock(seen.last)} UTC, beginning here: checks before and after say nothing of those; give each"
                " base a session of its own"
            )
            file = survey.exports[seen.export].shown
            found.append(Doubtful(Doubt.BASE, told, (window.index,), file, seen.row))
    return found


def _in_turn(survey: Survey, window: SessionWindow) -> Iterator[tuple[str, Seen]]:
    """Yield what differs, and the value that others of the same export stand around."""
    log, limits, most = survey.first_pass.log.sessions[window.index], survey.job.checks, survey.job.shift
    stands = survey.bases.stands[window.index]
    for export in dict.fromkeys(stand.seen.export for stand in stands):
        own = [stand for stand in stands if stand.seen.export == export]
        apart = max(float(np.linalg.norm(stand.xyz - own[0].xyz)) for stand in own)
        # further apart it is another station, of a network perhaps
        if limits.horizontal < apart <= most.limit_horizontal:
            for seen in _between([stand.seen for stand in own]):
                yield f"{len(own)} positions of the base up to {apart:.3f} m apart", seen
    for export in dict.fromkeys(seen.export for seen in log.antennas):
        heights = {seen.value[0]: seen for seen in log.antennas if seen.export == export}
        if max(heights) - min(heights) > limits.vertical:
            for seen in _between(list(heights.values())):
                yield f"antenna heights of the base from {min(heights):.3f} to {max(heights):.3f} m", seen


def _between(values: Sequence[Seen]) -> Iterator[Seen]:
    """Yield a value that came before another one was seen for the last time."""
    found = changes(np.array([one.time for one in values]), np.array([one.last for one in values]))
    yield from (values[change.after] for change in found if change.until > change.since)
