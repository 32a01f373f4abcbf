"""Drafts a job from files whose times, positions or heights are asked for: all else that follows from what is read.

Without times there are no sessions: what can be said of each is written as a block to be filled in. Without positions
no grid is found by comparing.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.clock import MINUTE
from pipeline.files.no_values import is_no_value
from pipeline.job.toml_text import value_text
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.clocks import ClockState, clock_of, clock_of_unread
from pipeline.new_job.control_section import draft_register, draft_target, is_ellipsoidal, with_levels
from pipeline.new_job.draft import Block, Draft, SessionSketch
from pipeline.new_job.export_block import block_of
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import register_of, together
from pipeline.new_job.folder import Contents
from pipeline.new_job.frames import GridState, export_state
from pipeline.new_job.grid_choice import choose_grid, with_axis_order
from pipeline.new_job.grid_fits import FilePositions, place_of
from pipeline.new_job.half_read import HalfRead
from pipeline.new_job.look_at_files import whole
from pipeline.new_job.occupations import Marks, ReadingsAndMarks, likely, occupied
from pipeline.new_job.other_ellipsoid import ellipsoid_state
from pipeline.new_job.questions import Known, Question, State
from pipeline.new_job.register_choice import ask_register
from pipeline.new_job.sessions import sessions
from pipeline.new_job.solutions import solutions
from pipeline.new_job.source_section import add_block, draft_source, on_one_clock
from pipeline.new_job.stretches import Stretch
from pipeline.new_job.time_notation import day_and_time
from pipeline.new_job.timed_rows import MOST, Texts, TimedRows
from pipeline.new_job.values import given
from pipeline.read.findings import Findings, Unusable
from pipeline.read.times import clock as read_by
from pipeline.replace import replace
from pipeline.tables import milliseconds

#: By how much one block of rows is taken to be later than the one before: as far apart as occupations are.
_LATER = 20 * MINUTE


def draft_half_read(draft: Draft, inside: Contents, some: Sequence[HalfRead], choice: Sequence[FileFound]) -> Draft:
    """Draft a job from files that are exports but for what is asked for; ``choice`` are those that may be the register.

    Raises OSError.
    """
    register = draft_register(draft, inside, choice)
    if len(choice) > 1:
        ask_register(draft, choice, inside.exports)
    read = [_read(one) for one in some]
    rows, tables = _rows([each for each, _ in read], [table for _, table in read])
    place = place_of([table for table in (*tables, *([register.table] if register else [])) if len(table.first)])
    marks = Marks(register.names if register else [], None)
    grid, agreed = choose_grid(tables, register, likely(rows, marks), place)
    grid = replace(grid, place=grid.place or place)
    grid = with_axis_order(grid, tables, register, agreed)
    draft_target(draft, inside, register, grid)
    if register and is_ellipsoidal(register):
        above = ellipsoid_state(register, rows, likely(rows, marks), inside.exports, grid)
        draft.control["height"] = with_levels(above, draft.control["height"], register)
    clocks = [_clock(one, place) for one in some]
    for one, clock, table in zip(some, clocks, tables, strict=True):
        add_block(draft, _block(one, clock, table, grid))
    draft_source(draft, on_clock := on_one_clock(clocks))
    draft.solutions = solutions(Counter(word for word in rows.solution if word), [])
    marks = register.marks(grid.now, grid.turned) if register is not None else Marks([], None)
    if all(one.times is None and "time" in one.found.mapped.columns for one in some):
        timed = _timed(rows, [each["time"] for each, _ in read], clocks)
        known = timed.time >= 0
        tables = [replace(table, first=table.first[known], second=table.second[known]) for table in tables]
        sessions(draft, _together(timed.at(known), tables, marks, grid), clocks, inside.exports, on_clock)
    else:
        _sketch_sessions(draft, some, _together(rows, tables, marks, grid))
    return draft


def _together(rows: TimedRows, tables: Sequence[FilePositions], marks: Marks, grid: GridState) -> ReadingsAndMarks:
    places = together(tables, grid)
    if places is not None and not np.isfinite(places).any():
        places = None  # ties go by names then
    return ReadingsAndMarks(rows, places, np.zeros(len(rows), bool), marks, likely(rows, marks))


def _timed(rows: TimedRows, texts: Sequence[Sequence[str]], clocks: Sequence[ClockState]) -> TimedRows:
    """Return rows with the times that their files' ``texts`` say by their clocks as they are likeliest; -1 for none."""
    found = []
    for each, clock in zip(texts, clocks, strict=True):
        cells = pa.array([text or None for text in each], pa.string())
        read = read_by(clock.zone_now, clock.format_now).read(cells, "time", Findings(len(cells)))
        found.append(milliseconds(pa.table({"time": read})))
    return replace(rows, time=np.concatenate([np.zeros(0, np.int64), *found]))


def _read(one: HalfRead) -> tuple[dict[str, list[str]], FilePositions]:
    """Return the texts of a file by our words, and its positions: none where they are asked for."""
    kind, columns = one.found.mapped.kind, one.found.mapped.columns
    try:
        texts, _ = whole(one.found.look, MOST)
        table = register_of(one.found).table if one.placed else None
    except (Unusable, OSError):
        texts, table = one.found.look.columns, None
    count = max(map(len, texts.values()), default=0)
    if table is None or len(table.first) != count:
        kind = "plane" if kind == "plane" else "degrees"
        table = FilePositions(kind, np.full(count, np.nan), np.full(count, np.nan))
    words = ("name", "code", "base", "mark", "solution", "time")
    found = {word: texts.get(columns.get(word, ""), [""] * count) for word in words}
    if "date" in columns and "time" in columns:
        found["time"] = day_and_time(texts[columns["date"]], texts[columns["time"]])
    return found, table


def _rows(
    read: Sequence[dict[str, list[str]]], tables: Sequence[FilePositions]
) -> tuple[TimedRows, list[FilePositions]]:
    """Return the rows of all files, and the positions of each file's, all (n,) long: NaN for the rows of others.

    Their times are none: they are as far apart as the names in a row are, so that rows of one name that follow one
    another are of one occupation.
    """
    counts = [len(table.first) for table in tables]
    export = np.repeat(np.arange(len(tables)), counts)
    every: list[str] = [name for texts in read for name in texts["name"]]
    again = np.array([at > 0 and every[at] == every[at - 1] for at in range(len(every))], bool)
    total = len(every)

    def spread(number: int, values: Floats) -> Floats:
        found = np.full(total, np.nan)
        found[export == number] = values
        return found

    def column(word: str) -> Texts:
        texts = [text for each in read for text in each[word]]
        return np.array(["" if is_no_value(text) else text for text in texts], object)

    spreads = [
        FilePositions(table.kind, spread(number, table.first), spread(number, table.second), table.crs, table.turned)
        for number, table in enumerate(tables)
    ]
    first = np.concatenate([np.zeros(0), *(table.first for table in tables)])
    second = np.concatenate([np.zeros(0), *(table.second for table in tables)])
    row = np.concatenate([np.zeros(0, np.int64), *(np.arange(1, count + 1) for count in counts)])
    time = np.cumsum(np.where(again, 1, _LATER)).astype(np.int64)
    rows = TimedRows(
        export=export, row=row, name=column("name"), code=column("code"), base=column("base"), mark=column("mark"),
        solution=column("solution"), time=time, first=first, second=second, third=np.full(total, np.nan),
        cut=frozenset(),
    )  # fmt: skip
    return rows, spreads


def _clock(one: HalfRead, place: tuple[float, float] | None) -> ClockState:
    if one.times is None:
        return clock_of(one.found, place, None)
    columns = one.times.columns
    column = columns.get("time", columns.get("date", ""))
    if not column or "gps_week" in columns:
        return ClockState(None, None, None, "UTC")
    form = (
        Question("time_format", f"how are the times written? times are not recognised: {one.times.why}")
        if one.times.statable
        else None
    )
    text = next(iter(given(one.found.look.columns[column])), "")
    return clock_of_unread(column, columns.get("date"), text, place, form)


def _block(one: HalfRead, clock: ClockState, table: FilePositions, grid: GridState) -> Block:
    crs = export_state(one.found, table, grid)
    if one.placed:
        block = block_of(one.found, clock, crs, None, grid, [])
        block.asks += one.asks
        return block
    look = one.found.look
    states: dict[str, State] = {key: Known(value_text(value)) for key, value in look.keys.items()}
    states |= {"crs": crs, "time_zone": clock.zone, "time_format": clock.format}
    return Block([look.shown], look.named(one.found.mapped.columns), states, look.layer, [], list(one.asks))


def _sketch_sessions(draft: Draft, some: Sequence[HalfRead], both: ReadingsAndMarks) -> None:
    """Ask for the sessions, with a block for each base that the rows name, and the readings on marks in their order."""
    rows = both.rows
    keys = np.array([folded(base) for base in rows.base], object)
    for number, key in enumerate(dict.fromkeys(keys.tolist()), start=1):
        members = np.flatnonzero(keys == key)
        stretch = Stretch(rows.base[members[0]], members, 0, 0)
        ties, checks = occupied(stretch, both).named(rows)
        draft.sketches.append(SessionSketch(f"session-{number}", stretch.base, len(members), ties, checks))
    files = listed(one.found.look.shown for one in some if one.times is not None)
    asks = (
        f"when did which base run? the times of {files} cannot be read, so no session can be made. Best export again as"
        " asked above and run `tiedown new` again, which fills in start and end; else take the # off one block for each"
        f" base that stood still, and write when {'it' if len(draft.sketches) == 1 else 'each'} did"
    )
    if draft.sketches:
        asks += ". The first reading on a mark, as the rows stand, is a tie; those on other marks are checks"
    draft.no_session = Question("sessions", asks)
