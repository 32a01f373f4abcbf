"""Drafts the ``[[points]]`` block of an export: its columns and keys, what is told of it, and what is asked."""

from collections.abc import Iterator, Sequence

from pipeline.job.model import Points
from pipeline.job.toml_text import quoted, value_text
from pipeline.new_job.axis_sigmas import sigma_questions
from pipeline.new_job.clocks import ClockState
from pipeline.new_job.column_questions import (
    half_of_day_questions,
    height_questions,
    meaning_questions,
    pole_height_questions,
    rival_questions,
    single_time_questions,
)
from pipeline.new_job.decimal_signs import decimal_of
from pipeline.new_job.deleted_rows import deleted_questions
from pipeline.new_job.draft import Block
from pipeline.new_job.eastings import easting_questions, other_sides, places_either_way, turned, used_as_easting
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import sample_of
from pipeline.new_job.frames import GridState
from pipeline.new_job.height_references import read_as, with_datum
from pipeline.new_job.packed_question import packed_question
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.units_and_encoding import encoding_of, units_of
from pipeline.new_job.unknown_solutions import solution_questions
from pipeline.new_job.unread import left_unread
from pipeline.words import counted, plural


def points_of(one: FileFound, clock: ClockState) -> Points:
    """Return the block by which an export is read for its draft, open questions taken as they are likeliest."""
    columns = one.mapped.columns
    if one.mapped.naming:  # in a job it stays a column of the export's own
        columns = columns | {"mark": one.mapped.naming}
    return one.look.points(
        columns,
        time_zone=clock.zone_now,
        time_format=clock.format_now,
        angles="dms" if one.mapped.dms else None,
        units=one.mapped.feet or None,
        decimal="," if isinstance(decimal_of(one), Known) else None,
    )


def block_of(
    one: FileFound,
    clock: ClockState,
    crs: State,
    log: State,
    grid: GridState,
    said: Sequence[str],
) -> Block:
    """Return how one export is read; ``said`` are texts that may name the height datum of its ``crs``.

    ``log`` is the question whether it is a base's log.
    """
    columns, asks = _columns(one, grid)
    states = _states(one, clock, with_datum(crs, one.mapped, grid.place, [*one.look.above, *said]), log)
    notes = [*_notes(one), *_notes_as_read(one, columns, grid, read_as(crs, one.mapped, grid.place))]
    instead = [
        *single_time_questions(one),
        *half_of_day_questions(one, clock),
        *height_questions(one),
        *meaning_questions(one),
    ]
    for question in instead:
        columns.pop(question.key, None)
    if log is None:
        asks += solution_questions(one)
    asks += [*instead, *(pole_height_questions(one) if log is None else ()), *deleted_questions(one)]
    return Block([one.look.shown], one.look.named(columns), states, one.look.layer, notes, asks)


def _columns(one: FileFound, grid: GridState) -> tuple[dict[str, str], list[Question]]:
    """Return the columns of an export that are known, and the questions after others."""
    columns, asks = dict(one.mapped.columns), list[Question]()
    if one.mapped.turned:
        if grid.turns is None and not one.mapped.unheaded:
            pair = (one.look.columns[columns[word]] for word in ("easting", "northing"))
            places = places_either_way(grid.now, *pair)
            asks = [
                *easting_questions(one.look.named(columns), "the readings", places=places),
                *sigma_questions(one.look.named(columns), columns),
            ]
        columns = turned(columns, grid)
    return columns, [*rival_questions(one, columns), *asks]


def _states(one: FileFound, clock: ClockState, crs: State, log: State) -> dict[str, State]:
    """Return the keys of an export's block, ``log`` being the question whether it is a base's log."""
    states: dict[str, State] = {} if log is None else {"files": log}
    states |= {key: Known(value_text(value)) for key, value in one.look.keys.items()}
    states |= {
        "crs": crs,
        "time_zone": clock.zone,
        "time_format": clock.format,
        "angles": Known('"dms"', "degrees, minutes and seconds")
        if one.mapped.dms
        else packed_question(sample_of(one), one.mapped),
        "units": units_of(one),
        "decimal": decimal_of(one),
    }
    if one.look.pages is not None:
        states["encoding"] = encoding_of(one, one.look.pages, "encoding")
    if one.look.signed and "comment" not in one.look.keys:
        states["comment"] = _comment(one)
    return states


def _notes(one: FileFound) -> Iterator[str]:
    """Yield what is told of an export's rows and headings."""
    yield from (f"{name}: {why}, so it is not mapped" for name, why in one.mapped.left)
    yield from (f'"{name}" {why}; it is not mapped' for name, why in left_unread(one.look, one.mapped))
    yield from one.mapped.notes
    if one.look.signed and "comment" in one.look.keys:
        yield f"{_signed(one)}: they are skipped as comments; if they are readings, remove the sign from their names"


def _notes_as_read(one: FileFound, columns: dict[str, str], grid: GridState, heights: str | None) -> Iterator[str]:
    """Yield what is told of how an export is read, ``heights`` being that of its heights."""
    if heights is not None:
        yield heights
    named = {} if one.look.numbered else one.look.named(columns)
    by_number = {columns[word].isascii() for word, name in named.items() if isinstance(name, int)}
    if by_number and one.look.two_rows:
        rows = f"{one.look.header_line - 1} and {one.look.header_line}"
        yield f"the heading has two rows, {rows}: {_numbered(one, columns)}"
    elif True in by_number:
        yield "columns without a heading are mapped by number"
    if False in by_number and not one.look.two_rows:
        yield "columns whose names differ by code page are mapped by number"
    if "solution" not in one.mapped.columns:
        yield "no column shows how positions were solved, so float solutions would count as fixed"
    if one.look.no_place and one.look.place is not None:
        yield f"some rows have no position: {one.look.no_place}"
    yield from other_sides(columns, grid)
    if one.mapped.turned and grid.turns and not one.mapped.unheaded:
        yield used_as_easting(columns["easting"], grid)


def _numbered(one: FileFound, columns: dict[str, str]) -> str:
    """Return the numbers of mapped columns with the names that two rows give them."""
    shown = sorted((place, name) for place, name in enumerate(one.look.names, start=1) if name in columns.values())
    return ", ".join(f"{place} is {quoted(name)}" for place, name in shown)


def _signed(one: FileFound) -> str:
    lines = one.look.signed
    below, begin = counted(len(lines), "line"), plural(len(lines), "begins", "begin")
    has = plural(len(lines), "has", "have")
    return f'{below} below the header {begin} with "#" and {has} as many cells as it, the first is line {lines[0]}'


def _comment(one: FileFound) -> Question:
    """Return the question whether rows that begin with the sign of a comment were taken out, or are named so."""
    asks = f"{_signed(one)}: readings whose names begin with it, or rows that somebody commented out?"
    lines = counted(len(one.look.signed), "line")
    why = f"if commented out: the {lines} and all comments are skipped; if readings: delete this line"
    return Question("comment", asks, (Candidate(quoted("#"), why),))
