"""Which exports have no rows, or have much of them held back for one reason, and what that usually comes from."""

from collections.abc import Iterator
from contextlib import suppress

from pipeline.intake.file_log import FileLog
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.issue.attention import NO_ROWS
from pipeline.read.dialect import find_dialect
from pipeline.read.exports import Export
from pipeline.read.findings import Unusable
from pipeline.read.records import MISPLACED
from pipeline.words import Reason, counted, plural

#: The part of an export's rows, and how many at least, that are held back for one reason before that is told.
_MUCH, _MANY = 0.2, 3
#: Solutions that are listed.
_LISTED = 4

_LIKELY = {
    Reason.UNREADABLE: "check decimal, delimiter, angles and time_format of the block, and the columns that it maps",
    Reason.NO_POSITION: "check the columns that the block maps, and whether the export has all of its heights",
    Reason.NO_TIME: "check the column that the block maps as time",
    Reason.AMBIGUOUS_TIME: "check time_format and time_zone of the block",
    Reason.OUTSIDE_SESSIONS: "check time_zone and time_format of the block, and start, end and base of the sessions",
    Reason.TWO_SESSIONS: "map the column with the base id",
    Reason.NOT_FIXED: "check quality.solutions",
    Reason.POOR_QUALITY: "check the limits of [quality], and the units of the export's standard uncertainties",
    Reason.IMPLAUSIBLE: "check crs, units and the columns that the block maps",
}
#: What to do where rows have more or fewer cells than the header, and that between blanks.
_TORN = (
    "the row does not have as many cells as the header: it belongs to another table, is cut off, or has an unquoted"
    " delimiter in a cell. If it is not a reading, ignore this; otherwise export the file again"
)
_TORN_BY_BLANKS = (
    "the row does not have as many cells as the header, or has some in other columns; with columns separated by blanks"
    " an empty cell is lost, and a blank in a name parts it in two: export with another delimiter, such as ';' or a"
    " tab, and quote cells that contain it"
)


def without_rows(prepared: Prepared, first_pass: FirstPass) -> list[tuple[str, str, str]]:
    """Return file, what and what to do for each export without rows, such as one with only a header."""
    of_files = zip(prepared.exports, first_pass.files, strict=True)
    return [(export.shown, *NO_ROWS) for export, log in of_files if not log.rows]


def much_held(prepared: Prepared, first_pass: FirstPass, clock_offset: str | None) -> list[tuple[str, int, str, str]]:
    """Return file, row, what and what to do for each export of which a large part is held back for one reason.

    Readings outside all sessions that an hour or a base id explains are told with that instead.
    """
    unexplained = first_pass.log.outside.exports if clock_offset is None else ()
    found = []
    for number, (export, log) in enumerate(zip(prepared.exports, first_pass.files, strict=True)):
        of_file = _held(export, log, number in unexplained)
        found += [(export.shown, row, what, fix) for row, what, fix in of_file]
    return found


def _held(export: Export, log: FileLog, outside: bool) -> Iterator[tuple[int, str, str]]:
    """Yield that a large part of an export is held back, and what that usually comes from: first row, what, fix."""
    for reason, noted in log.held.items():
        if noted.count < _MANY or noted.count < _MUCH * log.rows:
            continue
        if reason is Reason.OUTSIDE_SESSIONS and not outside:
            continue
        fix = _LIKELY.get(reason, "check the details in held_back")
        if reason is Reason.NOT_FIXED and log.solutions:
            listed = ", ".join(f'"{word}" ({count:,})' for word, count in log.solutions.most_common(_LISTED))
            fix = f"their solutions are {listed}; {fix}"
        torn = "where the header names" in log.unreadable or MISPLACED in log.unreadable
        if reason is Reason.UNREADABLE and torn:
            fix = _TORN_BY_BLANKS if _has_blanks(export) else _TORN
        part = f"{noted.count:,} of the file's {counted(log.rows, 'row')} {plural(noted.count, 'is', 'are')}"
        what = f"{part} held back as {reason} (first one here)"
        yield noted.row, what, fix


def _has_blanks(export: Export) -> bool:
    """Tell whether blanks part the columns of a text."""
    with suppress(Unusable, OSError):
        return find_dialect(export.path, export.points).blanks
    return False
