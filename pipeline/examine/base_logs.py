"""Says which exports seem to be logs of bases: all of their readings are named as bases are."""

from collections.abc import Iterator

from pipeline.intake.file_log import NAMES
from pipeline.intake.survey import Survey
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.sessions.attach import base_key
from pipeline.words import counted, plural


def base_log_notes(survey: Survey) -> Iterator[str]:
    """Yield such exports in words.

    Base ids are those of the sessions, and what columns of base ids have, mapped or by their headings. A mark on which
    a base stood may be occupied under its name, so that names of marks say nothing; nor do rows that say how a
    rover's are solved, or on which base they hang.
    """
    logs = survey.first_pass.files
    bases = {key for window in survey.windows if (key := base_key(window.base)) is not None}
    for log in logs:
        left = (one.written.values() for one in log.left_columns.values() if one.word == "base" and not one.many)
        bases |= {key for texts in left for text in texts if (key := base_key(text)) is not None}
        bases |= set(log.ids)
    marks = {folded(name) for name in survey.prepared.mark_names}
    for export, log in zip(survey.exports, logs, strict=True):
        if not 0 < len(log.names) <= NAMES or log.given["solution"] or log.given["base"]:
            continue
        if all(base_key(name) in bases and folded(name) not in marks for name in log.names):
            named, are = listed(sorted(log.names)), plural(log.sound, "is", "are")
            yield (
                f"{export.shown}: its {counted(log.sound, 'reading')} {are} named as bases are ({named}), so that it"
                " seems to be a log of bases, not of readings, and each base would be issued as a point: if it is a"
                " log, let no `files` match it"
            )
