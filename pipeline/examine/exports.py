"""All that should be looked at in each export, and what of it needs no module of its own: limits, ends, cells."""

from collections.abc import Iterator

from pipeline.examine.beside import beside_notes
from pipeline.examine.cliffs import hill_notes
from pipeline.examine.exchanged_sigmas import exchanged_sigma_notes
from pipeline.examine.height_datums_named import height_datum_notes
from pipeline.examine.much_held import much_held, without_rows
from pipeline.examine.odd_names import date_notes, marked_name_notes, nameless_notes, power_notes
from pipeline.examine.old_corrections import old_correction_notes
from pipeline.examine.other_positions import doubted_beside, other_position_notes
from pipeline.examine.said_otherwise import said_otherwise_notes
from pipeline.examine.stated_precisions import (
    coarse_sigma_notes,
    coarse_solution_notes,
    unused_precision_notes,
)
from pipeline.examine.stretches_beside import stretch_notes
from pipeline.examine.uncorrected import uncorrected_notes
from pipeline.intake.file_log import FileLog
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export
from pipeline.words import counted, plural

#: Rows that lack one coordinate up to which cells of its column may have moved; more are how the export is made.
_MOVED = 3


def file_notes(survey: Survey) -> list[str]:
    """Return in words what should be looked at in each export."""
    told = [
        *coarse_solution_notes(survey),
        *hill_notes(survey),
        *beside_notes(survey.prepared),
        *said_otherwise_notes(survey),
        *height_datum_notes(survey),
    ]
    told += [f"{file}: {what}: {fix}" for file, what, fix in without_rows(survey.prepared, survey.first_pass)]
    held = much_held(survey.prepared, survey.first_pass, survey.clock_offset)
    told += [f"{file}:{row}: {what}: {fix}" for file, row, what, fix in held]
    for number, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        told += [
            *_passed_over(export),
            *_apart(survey, number),
            *coarse_sigma_notes(export, log, survey.job.quality),
            *exchanged_sigma_notes(export, log),
            *old_correction_notes(export, log, survey.job.quality),
            *uncorrected_notes(export),
            *_unjudged(export, log),
            *unused_precision_notes(export, log, survey),
            *_ends(export, log),
            *date_notes(export, log),
            *power_notes(export, log),
            *nameless_notes(export, log),
            *marked_name_notes(export),
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
