"""Notes readings amid a session that seem to carry its shift already, as no mark among them shows.

A correction worked out in the field and left on for a while, between one check and the next: those readings get the
session's shift a second time. On flat ground their heights step by it, there and back.
"""

from collections.abc import Iterator

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey
from pipeline.words import counted


def carried_shift_notes(survey: Survey, local: Floats) -> Iterator[str]:
    """Yield the runs whose heights are above those before and after by what their session's shift adds.

    ``local`` is (S, 3) each session's shift east, north and up [m]. Field shifts of a session say why theirs are.
    """
    for one in survey.first_pass.implausible.stepped:
        window = survey.windows[one.session]
        up = float(local[one.session, 2])
        if window.session.field_shifts or not abs(one.run.up - up) <= one.run.miss:  # of one that nothing ties none
            continue
        yield (
            f"{survey.exports[one.export].shown}:{one.row}: session {window.session.name}:"
            f" {counted(len(one.run.rows), 'reading')} in a row (first one here, the last in row {one.last}) are"
            f" {one.run.up:+.2f} m off those before and after in height, as much as the session's shift adds"
            f" ({up:+.2f} m up), and no mark was occupied among them: if the ground has no such step there, a"
            " correction of the field was switched on for them, and they are off by the whole shift: ask the crew, and"
            " state it as field_shift"
        )
