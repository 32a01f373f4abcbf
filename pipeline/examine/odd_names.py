"""Which names and codes of an export are not as somebody wrote them, or missing: dates, a spreadsheet's signs."""

from collections.abc import Iterator

from pipeline.intake.file_log import FileLog
from pipeline.read.exports import Export
from pipeline.words import counted

#: The part of an export's readings without a name up to which they are told of.
_FEW_NAMELESS = 0.1


def date_notes(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that some names or codes are dates, as a spreadsheet makes them; where most are they are meant."""
    for word, noted in log.dated.items():
        text = log.date[word]
        if 2 * noted.count <= log.rows or "00:00:00" in text:
            yield (
                f"{export.shown}:{noted.row}: the {word} of {counted(noted.count, 'row')} (first one here) is a date"
                f' ("{text}") and is issued as one: spreadsheets turn entries such as 3-4 into dates. Format the'
                f" column as text and retype the {word}, or export it from the instrument again"
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
