"""Which readings of an export have far older corrections than most of it, where no limit judges them."""

from collections.abc import Iterator

from pipeline.intake.correction_ages import FRESH, STALE
from pipeline.intake.file_log import FileLog
from pipeline.job.model import Quality
from pipeline.read.correction_headings import says_plainly_age
from pipeline.read.exports import Export
from pipeline.words import counted

#: The part of the readings with an age whose corrections are young, where that may be of something else too, and where
#: it is not; and the part that the old ones are of those that are not young, so that they stand out.
_MOSTLY_FRESH, _APART = (0.75, 0.5), 0.5


def old_correction_notes(export: Export, log: FileLog, quality: Quality) -> Iterator[str]:
    """Yield that a few readings have far older corrections than most of their export, and that no limit judges it.

    Ages that spread out from the young to the old are those of a link that is slow. A column that nobody mapped may be
    of something else's age: not all readings have one then, as those on marks.
    """
    is_mapped = export.points.columns.correction_age is not None
    if is_mapped and quality.max_correction_age is not None:
        return
    for heading, ages in log.ages.items():
        plain = is_mapped or says_plainly_age(heading)
        if not ages.stale or ages.stale < _APART * (ages.known - ages.fresh):
            continue
        if ages.fresh < _MOSTLY_FRESH[plain] * ages.known or (not plain and ages.known < log.sound):
            continue
        limit = f"max_correction_age = {STALE:g} in [quality]"
        if is_mapped:
            column, fix = f'"{heading}" (correction_age)', f"state {limit}"
        else:
            column = f'"{heading}", which is not mapped,'
            stated = "" if quality.max_correction_age is not None else f", and state {limit}"
            fix = f'if it is the age of corrections in seconds, map it: correction_age = "{heading}"{stated}'
        yield (
            f"{export.shown}:{ages.row}: column {column} says {ages.oldest:g} s at the most, and more than {STALE:g} s"
            f" of {counted(ages.stale, 'accepted reading')} (first one here), but at most {FRESH:g} s of"
            f" {ages.fresh:,} others; a position goes astray with the age of its corrections, and its stated precision"
            f" need not tell: {fix}"
        )
