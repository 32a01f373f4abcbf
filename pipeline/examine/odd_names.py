"""Which names and codes of an export are not as somebody wrote them, or missing: dates, a spreadsheet's signs."""

from collections.abc import Iterator

import numpy as np

from pipeline.intake.file_log import FileLog
from pipeline.read.exports import Export
from pipeline.visible import one_line
from pipeline.words import counted

#: Minutes of a day, and days that a name may be of beside those of readings: midnights of UTC and of the clock differ.
_DAY, _BESIDE = 1440, 1
#: The part of an export's readings without a name up to which they are told of.
_FEW_NAMELESS = 0.1


def date_notes(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that some names or codes are dates, as a spreadsheet makes them.

    Where most are they are meant; names only where they are no more than the days on which points were observed: of
    1-1 to 1-12 in an export of one day, all become dates.
    """
    for word, noted in log.dated.items():
        text = log.date[word]
        meant = word != "name" or len(log.different_dates) <= _days(log) + _BESIDE
        if 2 * noted.count <= log.rows or "00:00:00" in text or not meant:
            yield (
                f"{export.shown}:{noted.row}: the {word} of {counted(noted.count, 'row')} (first one here) is a date"
                f' ("{text}") and is issued as one: spreadsheets turn entries such as 3-4 into dates. Format the'
                f" column as text and retype the {word}, or export it from the instrument again"
            )


def _days(log: FileLog) -> int:
    """Return on how many days of UTC an export's readings are."""
    minutes = [part[:, 0] for parts in log.minutes.values() for part in parts]
    return len(np.unique(np.concatenate(minutes) // _DAY)) if minutes else 0


def power_notes(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that names are numbers with a power of ten, as a spreadsheet makes them of 2E1 and of long numbers."""
    if log.powers.count:
        yield (
            f"{export.shown}:{log.powers.row}: the name of {counted(log.powers.count, 'row')} (first one here) is"
            f' "{one_line(log.power)}" or the like and is issued so: spreadsheets turn names such as 2E1, and long'
            " numbers, into numbers with a power of ten, of which several may be alike. Format the column as text and"
            " retype the name, or export it from the instrument again"
        )


def nameless_notes(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that few of an export's rows have no name; where many have none, none is meant."""
    few = log.nameless
    if few.count and few.count <= _FEW_NAMELESS * log.sound:
        yield (
            f"{export.shown}:{few.row}: {counted(few.count, 'row has', 'rows have')} no name (first one here) among"
            f" {counted(log.sound - few.count, 'named one')}: such a row is issued without a name,"
            " and no list of ties or checks can name it; give it one in the export, or ignore this if it is meant"
        )


def marked_name_notes(export: Export) -> Iterator[str]:
    """Yield that all names carry the sign by which a spreadsheet keeps a cell a text, and are issued with it."""
    if export.marked:
        yield (
            f"{export.shown}: all names {export.marked}, as a spreadsheet marks texts, and are issued so: export them"
            " without these signs, and correct the names of ties and checks, if they are no part of the names"
        )
