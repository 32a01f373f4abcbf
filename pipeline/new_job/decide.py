"""Drafts a job from the files of a folder: one decision after the other, each from what the files hold."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from pipeline.arrays import Integers
from pipeline.files.workbook import WORKBOOKS
from pipeline.near import and_more
from pipeline.new_job.base_columns import settle_bases
from pipeline.new_job.base_logs import base_ids, base_log_question
from pipeline.new_job.bases_above import with_bases_above
from pipeline.new_job.bases_unheaded import ask_unheaded_bases
from pipeline.new_job.clocks import ClockState, clock_of
from pipeline.new_job.column_places import other_places_note
from pipeline.new_job.control_section import draft_register, draft_target, is_ellipsoidal, with_levels
from pipeline.new_job.doubtful_register import ask_whether_register
from pipeline.new_job.draft import Draft
from pipeline.new_job.export_block import block_of, points_of
from pipeline.new_job.feature_heights import settle_heights
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import (
    RegisterRead,
    geometries_of,
    moved,
    read_again,
    sample_of,
    tables_of,
    together,
)
from pipeline.new_job.folder import Contents, contents
from pipeline.new_job.frames import GridState, export_state, of_rivals
from pipeline.new_job.grid_choice import choose_grid, grids_of_rivals, with_axis_order
from pipeline.new_job.grid_fits import FilePositions, Fit, place_of
from pipeline.new_job.half_read import HalfRead, take_half_read
from pipeline.new_job.half_read_draft import draft_half_read
from pipeline.new_job.left_out import left_out
from pipeline.new_job.occupations import Marks, ReadingsAndMarks, likely
from pipeline.new_job.other_ellipsoid import ellipsoid_state
from pipeline.new_job.positions_twice import (
    PositionsInDoubt,
    ask_positions,
    crs_asked,
    positions_in_doubt,
    with_finer,
)
from pipeline.new_job.questions import Question
from pipeline.new_job.register_choice import ask_register, choose_register
from pipeline.new_job.register_pairs import grid_of_pairs, named_first, pairs_note, pairs_of, with_pair
from pipeline.new_job.session_tables import ask_clock, session_table
from pipeline.new_job.sessions import sessions
from pipeline.new_job.sessions_of_table import fit, sessions_of_table
from pipeline.new_job.solutions import solutions
from pipeline.new_job.source_section import add_block, draft_source, on_one_clock
from pipeline.new_job.timed_rows import TimedRows, rows
from pipeline.new_job.torn_rows import nul_note, torn_note
from pipeline.new_job.unknown_solutions import words_that_may_mean_fixed
from pipeline.new_job.unread import no_session
from pipeline.problems import JobError, Problem
from pipeline.read.sources import JSON, PACKAGE, TEXT
from pipeline.replace import replace

#: What is said of a file where a key of a job file is a way out.
_KEY = re.compile(r"\b(?:state|map) |time_format|\[points")

#: What is said of a file where nothing can be done, and how many files are told where none is an export.
_NO_CURE, _TOLD = re.compile(r"is not read$"), 6


def draft_of(folder: Path, base: Path, shown: str) -> Draft:
    """Look at a folder and draft a job, whose paths count from ``base``.

    Raises `JobError` where there is no export in the folder, which is ``shown`` so, and OSError.
    """
    inside, half, choice = _looked_at(folder, base, shown)
    draft = Draft(files=inside.told, left_out=list(left_out(inside)))
    if half:
        return draft_half_read(draft, inside, half, choice)
    inside.exports, logs = _logs_last(inside.exports)
    register = draft_register(draft, inside, choice)
    settle_heights(inside.exports, register)
    table = session_table(inside.sessions, inside.session_lists)
    spans = table.spans if table is not None else None
    samples = [*(sample_of(one) for one in inside.exports), *([register.table] if register else [])]
    every = [*inside.exports, *([register.found] if register else [])]
    place = place_of([*samples, *filter(None, map(geometries_of, every))])
    clocks = [clock_of(one, place, spans) for one in inside.exports]
    # what may be a log of bases makes no sessions beside those of readings, which it would contradict
    rovers = logs.count(None) or len(logs)
    read = _timed(inside.exports[:rovers], clocks)
    tables = tables_of(inside.exports, read, register.found if register else None)
    some = likely(read, Marks(register.names if register else [], None))
    grid, agreed = _grid_of(tables, register, some, place)
    if len(choice) > 1:
        grid = of_rivals(grid, grids_of_rivals(choice, tables, read, place))
        ask_register(draft, choice, inside.exports)
    if grid.misread:
        draft.notes.append(grid.misread)
    grid = replace(grid, place=grid.place or place)
    if _use_finer(inside, grid):
        read = _timed(inside.exports[:rovers], clocks)
        tables = tables_of(inside.exports, read, register.found if register else None)
        some = likely(read, Marks(register.names if register else [], None))
    grid = with_axis_order(grid, tables, register, agreed)
    draft_target(draft, inside, register, grid)
    if register and is_ellipsoidal(register):
        above = ellipsoid_state(register, read, some, inside.exports, grid)
        draft.control["height"] = with_levels(above, draft.control["height"], register)
    twice = [positions_in_doubt(one) for one in inside.exports]
    marks = register.marks(grid.now, grid.turned) if register else Marks([], None)
    both = ReadingsAndMarks(read, together(tables, grid), moved(tables, grid), marks, some)
    ask_unheaded_bases(inside.exports[:rovers], clocks[:rovers], both)
    _add_blocks(
        draft, zip(inside.exports, clocks, tables, logs, twice, strict=True), grid, _datum_texts(register, inside)
    )
    draft_source(draft, on_clock := on_one_clock(clocks))
    draft.solutions = solutions(Counter(word for word in read.solution if word), _open_pages(inside.exports))
    draft.may_mean_fixed = words_that_may_mean_fixed(inside.exports) if draft.solutions is None else []
    if table is not None and (table := fit(draft, table, read, grid.place)) is not None:
        draft.notes += table.notes
        ask_clock(draft, table, grid.place, read.time)
        sessions_of_table(draft, table, both)
    if table is None or (not draft.sessions and draft.sessions_file is None):
        sessions(draft, both, clocks, inside.exports, on_clock)
    ask_whether_register(draft, inside, register, read, some)
    _note_unread(draft, inside, read, twice)
    return draft


def _grid_of(
    tables: Sequence[FilePositions],
    register: RegisterRead | None,
    some: tuple[Integers, Integers],
    place: tuple[float, float] | None,
) -> tuple[GridState, list[Fit]]:
    """Decide the grid; where the register has several positions, each may be in another, which is asked then."""
    grid, agreed = choose_grid(tables, register, some, place)
    pairs = pairs_of(register.found.look, register.found.mapped, register.texts) if register is not None else []
    if register is None or not pairs:
        return grid if register is None else named_first(grid, register.found), agreed
    others = [read_again(register, with_pair(register.found, pair)) for pair in pairs]
    states = [choose_grid(tables, other, some, place)[0] for other in others]
    return grid_of_pairs(grid, register.found, list(zip(pairs, states, strict=True))), agreed


def _looked_at(folder: Path, base: Path, shown: str) -> tuple[Contents, list[HalfRead], list[FileFound]]:
    """Return what a folder holds, its exports that are read but for some columns, and what may be the register."""
    inside = contents(folder, base)
    half = take_half_read(inside)
    choice = choose_register(inside)
    if not inside.exports:
        raise JobError([_nothing(shown, inside)])
    return inside, half, choice


def _datum_texts(register: RegisterRead | None, inside: Contents) -> list[str]:
    """Return the texts that may name a height datum: headings of the register, names of geoid grids."""
    return [*(register.found.look.names if register else ()), *(shown for shown, _ in inside.geoids)]


def _logs_last(exports: Sequence[FileFound]) -> tuple[list[FileFound], list[Question | None]]:
    """Return exports, what may be a log of bases last, and of each the question whether it is one."""
    bases = base_ids(exports)
    asked = [(one, base_log_question(one, bases)) for one in exports]
    asked.sort(key=lambda pair: pair[1] is not None)
    return [one for one, _ in asked], [log for _, log in asked]


def _open_pages(exports: Sequence[FileFound]) -> list[tuple[str, ...]]:
    """Return the code pages of each export of which it is open in which it is."""
    every = [one.look.pages.names for one in exports if one.look.pages is not None]
    return [names for names in every if len(names) > 1]


def _timed(exports: Sequence[FileFound], clocks: Sequence[ClockState]) -> TimedRows:
    """Return the readings of exports, each by its clock."""
    read = rows([(one, points_of(one, clock)) for one, clock in zip(exports, clocks, strict=False)])
    return with_bases_above(exports, settle_bases(exports, read))


def _use_finer(inside: Contents, grid: GridState) -> bool:
    """Map the other position of exports whose mapped one has fewer digits; tell whether there are any."""
    before, inside.exports = inside.exports, [with_finer(one, grid) for one in inside.exports]
    return any(one is not other for one, other in zip(before, inside.exports, strict=True))


def _add_blocks(
    draft: Draft,
    exports: Iterable[tuple[FileFound, ClockState, FilePositions, Question | None, PositionsInDoubt | None]],
    grid: GridState,
    said: Sequence[str],
) -> None:
    """Add the blocks of exports, each with its clock, its positions and the question whether it is a base's log.

    Last is what of a file's two positions is in doubt. ``said`` are texts that may name a height datum.
    """
    for one, clock, each, log, doubt in exports:
        crs = export_state(one, replace(each, kind=one.mapped.kind), grid)
        crs = crs if doubt is None else crs_asked(one, doubt, crs, grid)
        block = block_of(one, clock, crs, log, grid, said)
        if doubt is not None:
            ask_positions(one, doubt, block)
        add_block(draft, block)


def _note_unread(draft: Draft, inside: Contents, read: TimedRows, twice: Sequence[PositionsInDoubt | None]) -> None:
    """Note what is not read, or not there; without any session, ask for one with the reasons."""
    if not any("solution" in one.mapped.columns or "solution" in one.mapped.rivals for one in inside.exports):
        draft.notes.append(
            "no column of solutions was found, so every reading counts as fixed: if there is one, map it"
        )
    for one, doubt in zip(inside.exports, twice, strict=True):
        for stands_twice in (other_places_note(one.look, one.mapped), pairs_note(one.look, one.mapped)):
            draft.notes += [f"{one.look.called}: {stands_twice}"] if doubt is None and stands_twice else []
    draft.notes += [note for one in inside.exports if (note := torn_note(one.look)) is not None]
    every = [*inside.exports, *inside.registers]
    draft.notes += [note for one in every if (note := nul_note(one.look)) is not None]
    if not draft.sessions and draft.sessions_file is None:
        draft.no_session = no_session([one.look.shown for one in inside.exports], len(read), list(read.unread.values()))
    elif read.unread:
        draft.notes += [f"no further readings: {why}" for why in read.unread.values()]
    for number in sorted(read.cut):
        name = inside.exports[number].look.called
        draft.notes.append(f"{name}: only its first rows were read; check that the sessions cover the rest")


def _nothing(shown: str, found: Contents) -> Problem:
    """Return that a folder, which is ``shown`` so, has no export, with what is reported of its first files."""
    # what nothing can be done about, such as what a program writes beside its own files, comes last
    first = sorted(found.told, key=lambda each: _NO_CURE.search(each[2]) is not None)
    told = "; ".join(f"{name}: {why}" for name, _, why in first[:_TOLD]) + and_more(len(first) - _TOLD)
    what = "there is no export in this folder: no file with positions and times"
    if found.not_looked_at:
        what = f"there is no export in what was looked at of this folder; {found.not_looked_at}"
    what += f" ({told})" if told else ""
    *most, last = (*TEXT, *JSON, *PACKAGE, *WORKBOOKS)
    endings = f"{', '.join(most)} and {last} are read"
    fix = f"name the folder that the exports are in, or correct what is reported of each file and run again; {endings}"
    if _KEY.search(told):
        fix += (
            "; the keys named above belong in a job file, and none was written: export or rename as stated, or write"
            " one by hand, with the file and these keys in a [[points]] block"
        )
    return Problem(shown, 0, what, fix)
