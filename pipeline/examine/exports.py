"""What is odd about an export as a whole: much of it held back, standard uncertainties, ends of occupations."""

import math
import os
from collections.abc import Iterator
from contextlib import suppress

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.other_positions import doubted_beside, other_position_notes
from pipeline.examine.sigma_units import usual_unit
from pipeline.examine.stretches_beside import stretch_notes
from pipeline.examine.unread_beside import unread_notes
from pipeline.files.file_patterns import Closed, TooMany, otherwise_cased, temporary_ones
from pipeline.intake.correction_ages import FRESH, STALE
from pipeline.intake.file_log import LARGE_SIGMA, LEAST_SIGMA, FileLog, Noted
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.implausible import Cliff
from pipeline.intake.prepare import Prepared
from pipeline.intake.sigma_sizes import LEAST
from pipeline.intake.survey import Survey
from pipeline.issue.attention import NO_ROWS
from pipeline.job.model import Quality
from pipeline.read.correction_headings import says_plainly_age
from pipeline.read.dialect import find_dialect
from pipeline.read.exports import Export
from pipeline.read.findings import Unusable
from pipeline.read.precision_headings import Side
from pipeline.read.solution_words import coarse_among
from pipeline.words import Doubt, Reason, counted, plural

#: Readings of a session from which on most of them say something of it.
_FEW = 5
#: The part of an export's rows, and how many at least, that are held back for one reason before that is told.
_MUCH, _MANY = 0.2, 3
#: The part of a session's readings, and `_MANY`, from which on such are in doubt that state not to be precise.
_MANY_STATED = 0.05
#: The part of an export's readings without a name up to which they are told of.
_FEW_NAMELESS = 0.1
#: How many times larger precisions that are not mapped are than those that are used before that is told, and how much
#: wider than a standard uncertainty those are that say to be.
_LARGER, _WIDEST = 3.0, 2.5
#: The part of the readings with an age whose corrections are young, where that may be of something else too, and where
#: it is not; and the part that the old ones are of those that are not young, so that they stand out.
_MOSTLY_FRESH, _APART = (0.75, 0.5), 0.5
#: Rows that lack one coordinate up to which cells of its column may have moved; more are how the export is made.
_MOVED = 3
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
_FEET = "it looks like feet mixed with metres, so check units and crs of each block"
_KINDS = "check the columns that each block maps as height, and their unit and height system"
#: What to do where rows have more or fewer cells than the header, and that between blanks.
_TORN = (
    "the row does not have as many cells as the header: it belongs to another table, is cut off, or has an unquoted"
    " delimiter in a cell. If it is not a reading, ignore this; otherwise export the file again"
)
_TORN_BY_BLANKS = (
    "the row does not have as many cells as the header; with columns separated by blanks an empty cell is lost, and a"
    " blank in a name parts it in two: export with another delimiter, such as ';' or a tab, and quote cells that"
    " contain it"
)


def file_notes(survey: Survey) -> list[str]:
    """Return in words what should be looked at in each export."""
    told, large = (
        [*_accepted(survey), *_hills(survey)],
        much_held(survey.prepared, survey.first_pass, survey.clock_offset),
    )
    told += [*_not_matched(survey), *unread_notes(survey)]
    told += [f"{file}: {what}: {fix}" for file, what, fix in without_rows(survey.prepared, survey.first_pass)]
    told += [f"{file}:{row}: {what}: {fix}" for file, row, what, fix in large]
    for number, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        told += [
            *_passed_over(export),
            *_apart(survey, number),
            *_few_sigmas(export, log, survey.job.quality),
            *_old_corrections(export, log, survey.job.quality),
            *_unjudged(export, log),
            *_left(export, log, survey),
            *_ends(export, log),
            *_dates(export, log),
            *_nameless(export, log),
            *_marked(export),
            *_moved_cells(export, log),
        ]
    return told


def _moved_cells(export: Export, log: FileLog) -> Iterator[str]:
    """Yield the few rows that lack one coordinate in plan alone: cells of that column may have moved by a row."""
    words = ("longitude", "latitude") if export.points.columns.easting is None else ("easting", "northing")
    for axis, noted in log.lacking.items():
        if 0 < noted.count <= _MOVED:
            lacks, has = words[axis], words[1 - axis]
            yield (
                f"{export.shown}:{noted.row}: {counted(noted.count, 'row')} with a {has} and a height"
                f" {plural(noted.count, 'has', 'have')} no {lacks}, as where a cell of that column was inserted or"
                f" deleted in a spreadsheet: the rows around may then have the {lacks} of the row above or below them,"
                " which only marks among them would show. Compare them with what the controller has, or export again"
            )


def _apart(survey: Survey, number: int) -> Iterator[str]:
    """Yield how far other positions of its rows are from the mapped ones, where they are not in doubt for it."""
    export, doubted = survey.exports[number], doubted_beside(survey, number)
    if export.apart is not None and (doubted is None or doubted.names):
        yield export.apart.told(export.shown)
    yield from other_position_notes(survey, number, doubted)
    yield from stretch_notes(survey, number)


def _marked(export: Export) -> Iterator[str]:
    """Yield that all names carry the sign by which a spreadsheet keeps a cell a text, and are issued with it."""
    if export.marked:
        yield (
            f"{export.shown}: all names {export.marked}, as a spreadsheet marks texts, and are issued so: export them"
            " without these signs, and correct the names of ties and checks, if they are no part of the names"
        )


def _not_matched(survey: Survey) -> Iterator[str]:
    """Yield which files a pattern passes over for their names: `R2.CSV` beside `*.csv`, and temporary ones."""
    loaded = survey.prepared.loaded
    read = {os.path.realpath(export.path) for export in survey.exports}
    for number, block in enumerate(loaded.job.points):
        for pattern in block.files:
            with suppress(TooMany, Closed):
                folder, sought = loaded.path.parent, pattern.strip()
                file, line = loaded.recorded_at("points", number, "files")
                if few := _few(otherwise_cased(folder, sought), read):
                    yield (
                        f'{file}:{line}: pattern "{pattern}" does not match {few}, which differs only in upper and'
                        " lower case, so it is not read: add it to files if it is an export"
                    )
                if few := _few(temporary_ones(folder, sought), read):
                    yield (
                        f'{file}:{line}: pattern "{pattern}" passes over {few}, named like a temporary file of a'
                        " program that has it open or is writing it: if it is an export, rename it or add it to files"
                        " by its name"
                    )


def _few(found: list[str], read: set[str]) -> str:
    """Return the names of the first files that are not read; "" where all are."""
    names = [os.path.basename(path) for path in found if os.path.realpath(path) not in read]
    return ", ".join(names[:_LISTED]) + (" ..." if len(names) > _LISTED else "")


def _passed_over(export: Export) -> Iterator[str]:
    """Yield that the sign of a comment passes over lines with all the cells of a row."""
    if export.passed is not None:
        sign, count = export.points.comment, export.passed.count
        yield (
            f"{export.shown}:{export.passed.row}: {counted(count, 'line')} that {plural(count, 'begins', 'begin')} with"
            f' "{sign}" {plural(count, "has", "have")} as many cells as a row (first one here) and'
            f" {plural(count, 'is', 'are')} skipped as comments, in no layer: if they are readings whose names begin"
            f' like that, remove comment = "{sign}" from the block'
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


def _has_blanks(export: Export) -> bool:
    """Tell whether blanks part the columns of a text."""
    with suppress(Unusable, OSError):
        return find_dialect(export.path, export.points).blanks
    return False


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
        if reason is Reason.UNREADABLE and "where the header names" in log.unreadable:
            fix = _TORN_BY_BLANKS if _has_blanks(export) else _TORN
        part = f"{noted.count:,} of the file's {counted(log.rows, 'row')} {plural(noted.count, 'is', 'are')}"
        what = f"{part} held back as {reason} (first one here)"
        yield noted.row, what, fix


def _few_sigmas(export: Export, log: FileLog, quality: Quality) -> Iterator[str]:
    """Yield readings with standard uncertainties that no fixed solution has; of many of a file that is a doubt."""
    if log.large.count and not _most(log.large, log) and not _many_large(log, quality):
        yield (
            f"{export.shown}:{log.large.row}: {_readings(log.large, log)} of more than {LARGE_SIGMA[0]:g} m in plan or"
            f" {LARGE_SIGMA[1]:g} m in height (first one here); fixed solutions are never that uncertain: state"
            " max_sigma_horizontal and max_sigma_vertical"
        )
    if log.large.count or export.points.columns.solution is not None:
        return
    count, row = log.sizes.far_out()
    if count and quality.max_sigma_horizontal is None and quality.max_sigma_vertical is None:
        yield (
            f"{export.shown}:{row}: {count:,} of {counted(log.stated.count, 'accepted reading')}"
            f" {plural(count, 'states', 'state')} a standard uncertainty of {LEAST:g} m or more, over ten times that of"
            " most in the session (first one here), as solutions do that are not fixed, and no solution column is"
            " mapped: checks on precise readings do not prove such; map it, or state max_sigma_horizontal and"
            " max_sigma_vertical in [quality], which hold them back"
        )


def _old_corrections(export: Export, log: FileLog, quality: Quality) -> Iterator[str]:
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


def _left(export: Export, log: FileLog, survey: Survey) -> Iterator[str]:
    """Yield columns that say precisions much larger than those that are used, and that the job file does not map."""
    plan, up = survey.job.quality.scales(export.points)
    larger = []
    for name, one in log.left.items():
        if one.below or one.count < _FEW or one.used <= 0.0:
            continue
        said, used = math.sqrt(one.stated / one.count), math.sqrt(one.used / one.count)
        used *= up if one.said.side is Side.UP else plan
        if said > _LARGER * (_WIDEST if one.said.wider else 1.0) * used:
            larger.append(f'"{name}" ({said:.3g} m, where {used:.2g} m is used)')
    if larger:
        yield (
            f"{export.shown}: columns that look like precisions are not mapped, and their root mean squares are larger"
            f" than what is used: {', '.join(larger)}. hu95 and vu95 may be too small by the same factor: map them if"
            " they are standard uncertainties in metres, or state the precision of the readings in [quality]"
        )


def _unjudged(export: Export, log: FileLog) -> Iterator[str]:
    """Yield limits that the job sets and that cannot judge an export, or some of its readings."""
    for key, noted in log.unjudged.items():
        if not noted.count:
            continue
        if noted.count == log.sound:
            yield (
                f"{export.shown}: quality.{key} has no effect: none of its {counted(log.sound, 'accepted reading')} has"
                " the value it limits. Map the column that has it, or remove the limit"
            )
        else:
            yield (
                f"{export.shown}:{noted.row}: quality.{key} was not applied to {noted.count:,} of"
                f" {counted(log.sound, 'accepted reading')} (first one here): the value it limits is missing"
            )
    for key, noted in log.none_stated.items():
        if noted.count:
            zero = "zero or less" if key == "max_pdop" else "less than zero"
            yield (
                f"{export.shown}:{noted.row}: quality.{key} was not applied to {noted.count:,} of"
                f" {counted(log.sound, 'accepted reading')} (first one here): the value it limits is {zero}, which"
                ' means "not recorded"'
            )


def _readings(noted: Noted, log: FileLog) -> str:
    stated = log.stated.count
    which = "" if noted.count == stated else f"{noted.count:,} of "
    all_of = "all " if not which and stated > 1 else ""
    readings = counted(stated, "accepted reading")
    return f"{which}{all_of}{readings} {plural(noted.count, 'states', 'state')} standard uncertainties"


def _most(noted: Noted, log: FileLog) -> bool:
    return _most_of_all(noted, log) or bool(_mostly(noted, log))


def _many_large(log: FileLog, quality: Quality) -> tuple[int, ...]:
    """Return the sessions of which more than a few readings state that they are not precise, and no limit judges it."""
    if quality.max_sigma_horizontal is not None or quality.max_sigma_vertical is not None:
        return ()
    stated = log.stated.by
    large = sorted(log.large.by.items())
    return tuple(number for number, count in large if count >= _MANY and count >= _MANY_STATED * stated[number])


def _most_of_all(noted: Noted, log: FileLog) -> bool:
    return 2 * noted.count > log.stated.count


def _mostly(noted: Noted, log: FileLog) -> tuple[int, ...]:
    """Return the sessions of most of whose readings something is noted: a day's export, joined to others'."""
    stated = log.stated.by
    return tuple(
        number for number, count in sorted(noted.by.items()) if 2 * count > stated[number] and stated[number] >= _FEW
    )


def _dates(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that some names or codes are dates, as a spreadsheet makes them; where most are they are meant."""
    for word, noted in log.dated.items():
        text = log.date[word]
        if 2 * noted.count <= log.rows or "00:00:00" in text:
            yield (
                f"{export.shown}:{noted.row}: the {word} of {counted(noted.count, 'row')} (first one here) is a date"
                f' ("{text}") and is issued as one: spreadsheets turn entries such as 3-4 into dates. Format the'
                f" column as text and retype the {word}, or export it from the instrument again"
            )


def _nameless(export: Export, log: FileLog) -> Iterator[str]:
    """Yield that few of an export's rows have no name; where many have none, none is meant."""
    few = log.nameless
    if few.count and few.count <= _FEW_NAMELESS * log.sound:
        yield (
            f"{export.shown}:{few.row}: {counted(few.count, 'row has', 'rows have')} no name (first one here) among"
            f" {counted(log.sound - few.count, 'named one')}: such a row is issued without a name,"
            " and no list of ties or checks can name it; give it one in the export, or ignore this if it is meant"
        )


def _ends(export: Export, log: FileLog) -> Iterator[str]:
    if log.early_end.count:
        yield (
            f"{export.shown}:{log.early_end.row}: time_end is before time in"
            f" {counted(log.early_end.count, 'row')} (first one here): the two columns may be swapped, or the row runs"
            " past midnight"
        )
    if log.long.count:
        rows = counted(log.long.count, "row lasts", "rows last")
        yield f"{export.shown}:{log.long.row}: {rows} longer than 12 hours (first one here)"
    if log.late_end.count:
        yield (
            f"{export.shown}:{log.late_end.row}: in {counted(log.late_end.count, 'row')} (first one here) time_end is"
            " outside the session of time: such an occupation is a mean of positions from before and after the"
            " session's end"
        )


def _accepted(survey: Survey) -> Iterator[str]:
    found = coarse_among(survey.job.quality.solutions)
    if found:
        signs = any(len(word.strip()) == 1 for word in found)
        counted_so = "; of numbers or single letters only one means fixed: 4, or R, in NMEA 0183" if signs else ""
        yield (
            f"quality.solutions accepts {', '.join(found)}: such readings are decimetres to metres out, each by a"
            f" different amount, and checks on other readings do not prove them{counted_so}"
        )


def cliff_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each session of which some readings stand hundreds of metres off others hard by."""
    return [
        Doubtful(
            Doubt.UNITS if one.steep.feet else Doubt.EXPORT_HEIGHTS,
            f"{_cliff(survey, one)}; natural ground is not that steep. If this is a tower, bridge, dam, shaft or"
            f" tunnel, confirm it; otherwise {_FEET if one.steep.feet else _KINDS}",
            (one.session,),
            survey.exports[one.export].shown,
            one.row,
        )
        for one in survey.first_pass.implausible.cliffs
        if not one.steep.possible
    ]


def _hills(survey: Survey) -> Iterator[str]:
    for one in survey.first_pass.implausible.cliffs:
        if one.steep.possible:
            where = f"{survey.exports[one.export].shown}:{one.row}"
            yield f"{where}: {_cliff(survey, one)}; if there is no slope between them, {_FEET}"


def _cliff(survey: Survey, one: Cliff) -> str:
    count, by = len(one.steep.rows), one.steep.by
    return (
        f"session {survey.windows[one.session].session.name}: {counted(count, 'reading')} (first one here)"
        f" {plural(count, 'is', 'are')} {abs(by):,.0f} m {'above' if by > 0 else 'below'}"
        f" {counted(one.steep.others, 'other')} {one.steep.away:.0f} m away"
    )


def precision_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export of which most readings, or most of a session, state precision that cannot be.

    One also where many state so little of it that they are no fixed solutions, if the job sets no limit for it.
    """
    coarse = any(_accepted(survey))
    found = []
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        for noted, says, why in (
            (
                log.large,
                f"of more than {LARGE_SIGMA[0]:g} m in plan or {LARGE_SIGMA[1]:g} m in height",
                "millimetres or centimetres read as metres, or solutions that are not fixed",
            ),
            (
                log.least,
                f"of less than {LEAST_SIGMA * 1000:g} mm",
                "variances read as standard uncertainties, or another unit",
            ),
        ):
            if not noted.count or not _most(noted, log) or (noted is log.large and coarse):
                continue
            sessions = tuple(sorted(log.stated.by)) if _most_of_all(noted, log) else _mostly(noted, log)
            smaller = usual_unit(export, log) if noted is log.large else ""
            what = f"{_readings(noted, log)} {says}, which cannot be right: {why}{smaller}"
            found.append(Doubtful(Doubt.PRECISION, what, sessions, export.shown, noted.row))
        many = () if coarse or _most(log.large, log) else _many_large(log, survey.job.quality)
        if many:
            what = (
                f"{_readings(log.large, log)} of more than {LARGE_SIGMA[0]:g} m in plan or {LARGE_SIGMA[1]:g} m in"
                " height (first one here): no fixed solution is that uncertain, and checks on precise readings do not"
                " prove such; state max_sigma_horizontal and max_sigma_vertical in [quality], which hold them back"
            )
            found.append(Doubtful(Doubt.PRECISION, what, many, export.shown, log.large.row))
    return found
