"""More than one base in one session, in turn: checks before and after the readings of another one agree all the same.

Where one base gives way to the next for good, a check after it tells; so do notices (`notices/bases.py`).
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
        # network corrections come from wherever the network puts its station, and need not stay there
        # nor is a field shift that the job states another base: it may be that of one receiver alone
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
    """Yield what differs, and the value that others stand around."""
    log, stands, limits = (
        survey.first_pass.log.sessions[window.index], survey.bases.stands[window.index], survey.job.checks
    )  # fmt: skip
    apart = max((float(np.linalg.norm(stand.xyz - stands[0].xyz)) for stand in stands), default=0.0)
    if apart > limits.horizontal:
        for seen in _between([stand.seen for stand in stands]):
            yield f"{len(stands)} positions of the base up to {apart:.3f} m apart", seen
    for export in dict.fromkeys(seen.export for seen in log.antennas):
        own = [seen for seen in log.antennas if seen.export == export]
        heights = [seen.value[0] for seen in own]
        if max(heights) - min(heights) > limits.vertical:
            for seen in _between(own):
                yield f"antenna heights of the base from {min(heights):.3f} to {max(heights):.3f} m", seen
    if window.base is None:
        for seen in _between(list(log.ids)):
            yield f"different base ids, {' and '.join(sorted(one.text for one in log.ids)[:2])},", seen


def _between(values: Sequence[Seen]) -> Iterator[Seen]:
    """Yield a value that came before the one before it was seen for the last time."""
    found = changes(np.array([one.time for one in values]), np.array([one.last for one in values]))
    yield from (values[change.after] for change in found if not change.clean)
