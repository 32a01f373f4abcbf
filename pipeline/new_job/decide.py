"""Drafts a job from the files of a folder: one decision after the other, each from what the files hold."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pipeline.arrays import Integers
from pipeline.files.workbook import WORKBOOKS
from pipeline.geodesy.registry import Registered, crs_name, grids_at, separation
from pipeline.geodesy.units import FOOT
from pipeline.job.key_values import BLANKS
from pipeline.job.model import ControlSection, Points
from pipeline.job.toml_text import quoted, unquoted
from pipeline.near import listed, plain
from pipeline.new_job.axis_sigmas import asked_sigmas
from pipeline.new_job.base_logs import base_ids, base_log_question
from pipeline.new_job.clocks import ClockState, clock_of
from pipeline.new_job.column_places import other_places
from pipeline.new_job.decimal_signs import decimal_of
from pipeline.new_job.doubles import heading_of, told_apart
from pipeline.new_job.draft import Block, Draft
from pipeline.new_job.eastings import asked, other_sides, turned, used_as_easting, way_of
from pipeline.new_job.encodings import CodePages
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.folder import Contents, contents
from pipeline.new_job.frames import (
    FilePositions,
    Fit,
    GridState,
    export_state,
    fits,
    grid_question,
    height_question,
    of_rivals,
    own_crs,
    place_of,
    register_states,
    step_of,
)
from pipeline.new_job.headings import feet_of, is_known, rank
from pipeline.new_job.levels import read_as, why_meant, with_datum
from pipeline.new_job.occupations import Marks, likely
from pipeline.new_job.packed_question import packed_question
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.register_choice import ask_register, choose_register
from pipeline.new_job.rows import TimedRows, rows
from pipeline.new_job.session_tables import ask_clock, session_table
from pipeline.new_job.sessions import sessions
from pipeline.new_job.solutions import solutions
from pipeline.new_job.tables import RegisterRead, register_of, sample_of, tables_of, together
from pipeline.new_job.unread import left_unread, no_session, nuls, torn
from pipeline.new_job.values import decimals, given, with_unit, words
from pipeline.problems import JobError, Problem
from pipeline.read.findings import Unusable
from pipeline.read.heading_units import is_one, metres_in_heading, unit_in_heading
from pipeline.read.sources import JSON, PACKAGE, TEXT
from pipeline.words import counted, plural

#: What is said of a file where a key of a job file is a way out.
_KEY = re.compile(r"\b(?:state|map) |time_format|\[points")
#: Readings that are compared with a register's marks where none says that it stands on one.
_ANY = 3_000


def draft_of(folder: Path, base: Path, shown: str) -> Draft:
    """Look at a folder and draft a job, whose paths count from ``base``.

    Raises `JobError` where there is no export in the folder, which is ``shown`` so, and OSError.
    """
    inside = contents(folder, base)
    choice = choose_register(inside)
    draft = Draft(files=inside.told)
    if not inside.exports:
        raise JobError([_nothing(shown, inside)])
    bases = base_ids(inside.exports)
    logs = [one for one in inside.exports if base_log_question(one, bases) is not None]
    rovers = [one for one in inside.exports if one not in logs]
    inside.exports = [*rovers, *logs]
    register = _register(inside, choice, draft)
    table = session_table(inside.sessions)
    spans = table.spans if table is not None else None
    place = place_of([*(sample_of(one) for one in inside.exports), *([register.table] if register else [])])
    clocks = [clock_of(one, place, spans) for one in inside.exports]
    # what may be a log of bases makes no sessions beside those of readings, which it would contradict
    to_read = list(zip(rovers or logs, clocks, strict=False))
    read = rows([(one, _to_read(one, clock)) for one, clock in to_read])
    tables = tables_of(inside.exports, read)
    some = likely(read, Marks(register.names, None)) if register else likely(read, Marks([], None))
    grid, agreed = _grid(inside.exports, tables, register, some[0], place, len(read))
    if len(choice) > 1:
        rivals = [
            _grid(inside.exports, tables, one, _on_marks(read, one), place, len(read))[0] for one in _read(choice)
        ]
        grid = of_rivals(grid, rivals)
        ask_register(draft, choice, inside.exports)
    grid = _with_way(grid, tables, register, agreed, place)
    _target(draft, inside, register, grid, place)
    on_clock = _on_one_clock(clocks)
    datum_texts = [*(register.found.look.names if register else ()), *(shown for shown, _ in inside.geoids)]
    for one, clock, each in zip(inside.exports, clocks, tables, strict=True):
        crs = export_state(one, replace(each, kind=one.mapped.kind), grid, place)
        _add(draft, _block(one, clock, crs, base_log_question(one, bases), grid, place, datum_texts))
    _share(draft, on_clock)
    draft.solutions = solutions(Counter(word for word in read.solution if word))
    if table is not None:
        draft.sessions_file = table.file
        draft.notes += table.notes
        ask_clock(draft, table, place, read.time)
    else:
        marks = register.marks(grid.now, grid.turned) if register else Marks([], None)
        sessions(draft, read, together(tables, grid), marks, some, clocks, inside.exports, on_clock)
    for one in inside.exports:
        if twice := other_places(one.look, one.mapped):
            draft.notes.append(f"{one.look.called}: {twice}")
    draft.notes += [note for one in inside.exports if (note := torn(one.look)) is not None]
    every = [*inside.exports, *inside.registers]
    draft.notes += [note for one in every if (note := nuls(one.look)) is not None]
    if not draft.sessions and draft.sessions_file is None:
        draft.no_session = no_session([one.look.shown for one in inside.exports], len(read), list(read.unread.values()))
    elif read.unread:
        draft.notes += [f"no further readings: {why}" for why in read.unread.values()]
    for number in sorted(read.cut):
        name = inside.exports[number].look.called
        draft.notes.append(f"{name}: only its first rows were read; check that the sessions cover the rest")
    return draft


def _nothing(shown: str, found: Contents) -> Problem:
    told = "; ".join(f"{name}: {why}" for name, _, why in found.told[:6])
    what = "there is no export in this folder: no file with positions and times" + (f" ({told})" if told else "")
    *most, last = (*TEXT, *JSON, *PACKAGE, *WORKBOOKS)
    endings = f"{', '.join(most)} and {last} are read"
    fix = f"name the folder that the exports are in, or correct what is reported of each file and run again; {endings}"
    if _KEY.search(told):
        fix += (
            "; the keys named above belong in a job file, and none was written: export or rename as stated, or write"
            " one by hand, with the file and these keys in a [[points]] block"
        )
    return Problem(shown, 0, what, fix)


def _register(found: Contents, choice: Sequence[FileFound], draft: Draft) -> RegisterRead | None:
    if not found.registers:
        none = "no register of control marks was recognised in the folder: without one no shift can be derived"
        if found.unread:
            none += f"; {' and '.join(found.unread)} cannot be read, and may be it: check what is reported for it"
        draft.notes.append(none)
        return None
    if len(choice) > 1:
        return None
    one = choice[0]
    try:
        register = register_of(one)
    except (Unusable, OSError):
        return None
    draft.control["file"] = Known(quoted(one.look.shown), "names and positions without times")
    draft.control["angles"] = packed_question(register.table, one.mapped)
    for key, value in one.look.keys.items() | ({("angles", "dms")} if one.mapped.dms else set()):
        if key in ControlSection.model_fields:
            draft.control[key] = Known(_toml(" " if value == BLANKS else value))
    if one.look.pages is not None:
        draft.control["encoding"] = _encoding(one, one.look.pages, "control.encoding")
    if one.look.layer is not None:
        draft.control["layer"] = Known(quoted(one.look.layer))
    return register


def _read(choice: Sequence[FileFound]) -> Iterator[RegisterRead]:
    """Yield registers in a plane of those that may be it: any grid goes with degrees."""
    for one in choice:
        try:
            register = register_of(one)
        except (Unusable, OSError):
            continue
        if register.table.kind == "plane":
            yield register


def _on_marks(read: TimedRows, register: RegisterRead) -> Integers:
    return likely(read, Marks(register.names, None))[0]


def _to_read(one: FileFound, clock: ClockState) -> Points:
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


def _grid(
    exports: Sequence[FileFound],
    tables: Sequence[FilePositions],
    register: RegisterRead | None,
    some: Integers,
    place: tuple[float, float] | None,
    count: int,
) -> tuple[GridState, list[Fit]]:
    """Decide the grid: the register's own, the exports' own where the marks agree with it, or the one that fits.

    Also returns in which grids readings and marks agree.
    """
    marks = register.table if register is not None else None
    own = own_crs(register.found) if register is not None else (None, "")
    chosen = some if len(some) else np.arange(min(count, _ANY))
    if marks is not None and marks.kind == "plane" and own[0] is not None:
        known = _stated(own[0])
        agreed = [
            fit for table in tables if table.kind == "degrees" for fit in fits(_only(table, chosen), marks, [known])
        ]
        return GridState(
            Known(quoted(own[0]), f"{known.name}: the register's, {own[1]}"), own[0], step=step_of(agreed)
        ), agreed
    fitting = _fitting(tables, marks, chosen, place) if marks is not None else []
    if marks is not None and len({fit.grid.code for fit in fitting}) == 1:
        code = fitting[0].grid.code
        why = f"{fitting[0].grid.name}: the only grid in use there in which marks and readings on them agree"
        if any(table.crs == code for table in tables):
            why = f"{fitting[0].grid.name}: that of the exports, and the marks agree with readings on them"
        return GridState(Known(quoted(code), why), code, step=step_of(fitting)), fitting
    asks = grid_question(place, fitting, marks)
    now = unquoted(asks.candidates[0].value) if asks.candidates else None
    return GridState(asks, now, step=step_of(fitting)), fitting


def _with_way(
    grid: GridState,
    tables: Sequence[FilePositions],
    register: RegisterRead | None,
    agreed: Sequence[Fit],
    place: tuple[float, float] | None,
) -> GridState:
    """Say of a grid which of X and Y is the easting."""
    marks = register.table if register is not None else None
    every = [*tables, *([marks] if marks is not None else [])]
    told = place if any(table.kind == "degrees" and np.isfinite(table.first).any() for table in every) else None
    planes = [table for table in tables if table.kind == "plane"]
    way = way_of(planes, marks, agreed, grid.codes, told)
    return replace(grid, turned=bool(way.turned), turns=None if way.turned is None else way.why, alike=way.alike)


def _fitting(
    tables: Sequence[FilePositions],
    marks: FilePositions,
    chosen: Integers,
    place: tuple[float, float] | None,
) -> list[Fit]:
    """Return the grids in which readings and marks agree; of the exports' own CRSs alone where one does."""
    for table in tables:
        planes = table.kind == marks.kind == "plane"
        if planes and table.crs is not None and (fitting := fits(_only(table, chosen), marks, [_stated(table.crs)])):
            return fitting
    grids = grids_at(*place) if place is not None else []
    # of two that are in degrees, or in a plane each, every grid would fit
    for table in tables:
        if table.kind != marks.kind and (fitting := fits(_only(table, chosen), marks, grids)):
            return fitting
    return []


def _stated(crs: str) -> Registered:
    """Return a CRS that a file states as one of the registry."""
    return Registered(crs, crs_name(crs) or crs, 0.0)


def _only(table: FilePositions, chosen: Integers) -> FilePositions:
    return replace(table, first=table.first[chosen], second=table.second[chosen])


def _target(
    draft: Draft,
    found: Contents,
    register: RegisterRead | None,
    grid: GridState,
    place: tuple[float, float] | None,
) -> None:
    """Decide grid and heights, of the target and of the register alike."""
    draft.target["grid"] = grid.state
    geoids = _covering(found.geoids, place)
    height: State = None
    if register is not None:
        has_heights = np.isfinite(register.heights).any() or register.found.mapped.kind == "geocentric"
        if not has_heights and not any(map(_holds, register.found.look.names)):
            draft.notes.append(_without_heights(register.found))
        crs, datum = register_states(register.found, register.table, grid, place)
        draft.control["crs"] = crs
        ellipsoidal = _is_ellipsoidal(register)
        if datum is not None:
            height = Known(quoted(datum), f"{crs_name(datum)}: the register's")
            draft.control["height"] = height
        elif ellipsoidal:
            draft.control["units"] = _units(register.found)
            draft.control["height"] = Known('"ellipsoid"', "the register's heights are above the ellipsoid")
            height = None if geoids else Known('"ellipsoid"', "as the register's")
    if height is None:
        headings = [*_heads_of(register), *register.found.look.above] if register is not None else []
        also = ("control.height",) if register is not None and "height" not in draft.control else ()
        height = height_question(place, headings, also, geoids)
        if also:
            draft.control["height"] = replace(
                height, key="height", asks="the same answer as target.height", also=(), repeats=True
            )
    draft.target["height"] = height
    if register is not None:
        _register_columns(draft, register, ellipsoidal, grid, any(one.mapped.turned for one in found.exports))
    if len(geoids) == 1 and not (isinstance(height, Known) and height.value == '"ellipsoid"'):
        draft.target["geoid"] = Known(quoted(geoids[0]), "lies in the folder" + (", covers the job" if place else ""))
    elif len(geoids) > 1:
        candidates = tuple(Candidate(quoted(one), "") for one in geoids)
        draft.target["geoid"] = Question("target.geoid", "which of these geoid grids is the datum's?", candidates)


def _without_heights(register: FileFound) -> str:
    """Return what to do about a register of which no column is known to hold heights; they may be in another."""
    look = register.look
    others = [
        name for name, texts in look.columns.items()
        if name not in register.mapped.columns.values() and not is_known(name) and decimals(texts) is not None
    ]  # fmt: skip
    add = "add a height column, or state in a column holds that the marks hold position only"
    if not others:
        return f"{look.shown} has no heights, and every register needs a height column: {add}"
    shown = listed(others, '"')
    named = look.named({others[-1]: others[-1]})[others[-1]]
    name = _toml(named)
    by_number = isinstance(named, int) and not look.numbered
    why = " (by its number, as its name differs by code page)" if by_number else ""
    return (
        f"{look.shown} has no column that is recognised as heights by its heading; {shown}"
        f" {plural(len(others), 'holds', 'hold')} numbers too: if they are heights, write ellipsoid_height = {name} in"
        f" [control.columns], or height = {name} if they are above a height datum{why}; else {add}"
    )


def _heads_of(register: RegisterRead) -> list[str]:
    """Return the headings of a register, each with the unit that a row below it says."""
    return [with_unit(name, texts) for name, texts in register.found.look.columns.items()]


def _other_unit(register: RegisterRead) -> Iterator[str]:
    """Yield that heights are not in metres, which only a height datum can say beside eastings and northings."""
    name = register.found.mapped.columns.get("height", "")
    head = with_unit(name, register.found.look.columns.get(name, []))
    metres = metres_in_heading(head)
    if register.table.kind == "plane" and metres and not any(is_one(1.0, each) for each in metres):
        where = "its heading" if head == name else "the row of units below the header"
        yield (
            f'heights in "{name}" are in {unit_in_heading(head)}, as {where} says: a height datum in that unit reads'
            " them correctly; for any other, or ellipsoidal heights with a crs in metres, give them in metres"
        )


def _holds(heading: str) -> bool:
    return rank("holds", heading) is not None


def _covering(geoids: Sequence[tuple[str, Path]], place: tuple[float, float] | None) -> list[str]:
    if place is None:  # that they lie here is all that is known
        return [shown for shown, _ in geoids]
    return [shown for shown, path in geoids if separation(path, *place) is not None]


def _is_ellipsoidal(register: RegisterRead) -> bool:
    """Tell whether a register's heights are above the ellipsoid: its heading says so, or its geometry is in degrees."""
    mapped = register.found.mapped
    if "height" in mapped.columns:
        return mapped.height == "ellipsoid"
    return register.table.kind == "degrees" and bool(np.isfinite(register.heights).any())


def _register_columns(draft: Draft, register: RegisterRead, ellipsoidal: bool, grid: GridState, again: bool) -> None:
    """Say which columns of the register are what, where they are not called as a register's are.

    Where it is asked what heights are above, their column goes by both names: the answer takes the one that it needs.
    ``again`` tells that which of X and Y is the easting is asked of an export too, where it is.
    """
    columns = dict(register.found.mapped.columns)
    draft.control_notes += [*register.found.mapped.notes, *(() if ellipsoidal else _other_unit(register))]
    if register.found.mapped.turned:
        if grid.turns is None:
            shown = register.found.look.named(columns)
            draft.control_asks += asked(shown, "the marks", "for the readings" if again and grid.alike else "")
        elif grid.turns:
            draft.control_notes.append(used_as_easting(turned(columns, grid)["easting"], grid))
        columns = turned(columns, grid)
    draft.control_notes += other_sides(columns, grid)
    draft.control_asks += _meant(register.found)
    for each in _rivals(register.found, columns):
        word = "ellipsoid_height" if ellipsoidal and each.key == "height" else each.key
        draft.control_asks += [replace(each, key=word)] if each.key == "height" else []
        draft.control_asks += [replace(each, key="mark")] if each.key in ("name", "mark") else []
        if word == "height" and isinstance(draft.control.get("height"), Question):
            also = 'the same answer as for height here, used if [control] has height = "ellipsoid"'
            draft.control_asks.append(replace(each, key="ellipsoid_height", asks=also, repeats=True))
    asked_after = any(each.key == "mark" for each in draft.control_asks)
    named_as = {"mark": "" if asked_after else columns.get("mark", columns.get("name", ""))}
    plan = ("easting", "northing") if register.table.kind == "plane" else ("longitude", "latitude")
    open_ones = {each.key for each in register.found.mapped.asks}
    named_as |= {word: columns[word] for word in plan if word in columns and word not in open_ones}
    if "height" in columns:
        named_as["ellipsoid_height" if ellipsoidal else "height"] = columns["height"]
    other = {word: name for word, name in named_as.items() if name and plain(name) != word}
    if "height" in columns and isinstance(draft.control.get("height"), Question):
        other |= {word: columns["height"] for word in ("height", "ellipsoid_height")}
    if other:
        draft.control_columns = register.found.look.named(other)


def _add(draft: Draft, block: Block) -> None:
    """Put an export's block into a draft, or the export into a block of others that are read alike."""
    same = next((each for each in draft.blocks if _alike(each, block)), None)
    if same is not None:
        same.files += block.files
    else:
        draft.blocks.append(block)


def _block(
    one: FileFound,
    clock: ClockState,
    crs: State,
    log: State,
    grid: GridState,
    place: tuple[float, float] | None,
    said: Sequence[str],
) -> Block:
    """Return how one export is read; ``said`` are texts that may name the height datum of its ``crs``.

    ``log`` is the question whether it is a base's log.
    """
    columns, asks = _columns(one, grid)
    states = _states(one, clock, with_datum(crs, one.mapped, place, [*one.look.above, *said]), log)
    notes = [*_notes(one), *_notes_as_read(one, columns, grid, read_as(crs, one.mapped, place))]
    instead = [*_still(one), *_halves(one, clock), *_heights(one), *_meant(one)]
    for question in instead:
        columns.pop(question.key, None)
    asks += [*instead, *(_poles(one) if log is None else ())]
    return Block([one.look.shown], one.look.named(columns), states, one.look.layer, notes, asks)


def _columns(one: FileFound, grid: GridState) -> tuple[dict[str, str], list[Question]]:
    """Return the columns of an export that are known, and the questions after others."""
    columns, asks = dict(one.mapped.columns), list[Question]()
    if one.mapped.turned:
        if grid.turns is None:
            asks = [*asked(one.look.named(columns), "the readings"), *asked_sigmas(one.look.named(columns), columns)]
        columns = turned(columns, grid)
    return columns, [*_rivals(one, columns), *asks]


def _states(one: FileFound, clock: ClockState, crs: State, log: State) -> dict[str, State]:
    """Return the keys of an export's block, ``log`` being the question whether it is a base's log."""
    states: dict[str, State] = {} if log is None else {"files": log}
    states |= {key: Known(_toml(value)) for key, value in one.look.keys.items()}
    states |= {
        "crs": crs,
        "time_zone": clock.zone,
        "time_format": clock.format,
        "angles": Known('"dms"', "degrees, minutes and seconds")
        if one.mapped.dms
        else packed_question(sample_of(one), one.mapped),
        "units": _units(one),
        "decimal": decimal_of(one),
    }
    if one.look.pages is not None:
        states["encoding"] = _encoding(one, one.look.pages, "encoding")
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
    if not one.look.numbered and any(isinstance(name, int) for name in one.look.named(columns).values()):
        yield "columns whose names differ by code page are mapped by number"
    if "solution" not in one.mapped.columns:
        yield "no column shows how positions were solved, so float solutions would count as fixed"
    if one.look.no_place and one.look.place is not None:
        yield f"some rows have no position: {one.look.no_place}"
    yield from other_sides(columns, grid)
    if one.mapped.turned and grid.turns:
        yield used_as_easting(columns["easting"], grid)


#: What is asked where several columns may be meant.
_WHICH = {
    "solution": "which of these columns shows how a position was solved? they differ, and float must not pass as fixed",
    "height": "which of these columns holds the heights? they differ",
}


def _rivals(one: FileFound, columns: dict[str, str]) -> list[Question]:
    """Return the questions after columns of which any may be meant, and take them out of those that are known."""
    asks = []
    for word, names in one.mapped.rivals.items():
        word = next((each for each, name in columns.items() if name == names[0]), word)  # X and Y may be turned
        columns.pop(word, None)
        shown = one.look.named({name: name for name in names})
        first = told_apart(one.look, names)
        if word == "height":
            heads = [heading_of(name) if one.look.numbered else name for name in names]
            first = [f"{why}, {at}" if (why := why_meant(name)) else at for name, at in zip(heads, first, strict=True)]
        candidates = [Candidate(_toml(shown[name]), why) for name, why in zip(names, first, strict=True)]
        which = f'which of these columns is the {word.replace("_", " ")}? they are called "{names[0]}", and differ'
        which += "; start and end of the sessions go with it" if word in ("time", "date") else ""
        if word in ("name", "mark") and heading_of(names[0]) != heading_of(names[1]):
            which = "which of these columns holds the names? both may; ties and checks below use the first"
        asks.append(Question(word, _WHICH.get(word, which), tuple(candidates)))
    return asks


def _on_one_clock(clocks: Sequence[ClockState]) -> bool:
    """Tell whether sessions may be written on a clock that is still asked for: the same for all that lack one."""
    asked = [clock.zone for clock in clocks if isinstance(clock.zone, Question)]
    return bool(asked) and all(_meaning(one) == _meaning(asked[0]) for one in asked)


def _meaning(state: State) -> object:
    return state.value if isinstance(state, Known) else None if state is None else state.candidates


def _share(draft: Draft, on_clock: bool) -> None:
    """Put what all blocks have in common into ``[source]``, and a clock that is asked for where sessions need it."""
    for key in ("crs", "time_zone"):
        states = [block.states.get(key) for block in draft.blocks]
        if all(_meaning(state) == _meaning(states[0]) for state in states):
            if states[0] is not None:
                draft.source[key] = states[0]
            for block in draft.blocks:
                block.states[key] = None
        elif key == "time_zone" and on_clock:
            draft.source[key] = next(state for state in states if isinstance(state, Question))
            for block, state in zip(draft.blocks, states, strict=True):
                said = Known('"UTC"', "its times say their own offset")
                block.states[key] = None if isinstance(state, Question) else state or said


def _alike(one: Block, other: Block) -> bool:
    def shape(block: Block) -> list[object]:
        said = [(key, _meaning(state)) for key, state in block.states.items()]
        return [block.columns, said, block.layer, block.notes, block.asks]

    return shape(one) == shape(other)


def _still(one: FileFound) -> list[Question]:
    """Return the question after the time of observation where all rows have one and the same; none elsewhere."""
    name = one.mapped.still
    if name is None:
        return []
    (text,) = words(one.look.columns[name])
    asks = f'when were the readings made? "{name}" has "{text}" in all rows'
    asks += ", like the time of an export or a date alone"
    named = one.look.named({"time": name})["time"]
    why = "if that is right; else export the time of each reading, and map its column"
    return [Question("time", asks, (Candidate(_toml(named), why),))]


def _halves(one: FileFound, clock: ClockState) -> list[Question]:
    """Return the question whether times are of a 12-hour clock that says no half of the day; none elsewhere."""
    if not clock.half or one.mapped.still is not None:
        return []
    named = one.look.named({"time": one.mapped.columns["time"]})["time"]
    why = "if a 24-hour clock: the rows are out of order; else export the times again, as above"
    return [Question("time", clock.half, (Candidate(_toml(named), why),))]


def _meant(one: FileFound) -> list[Question]:
    """Return the questions after columns of which only the meaning is open, with the columns as they are mapped."""
    shown = one.look.named(one.mapped.columns)
    return [
        replace(each, candidates=tuple(replace(way, value=_toml(shown[each.key])) for way in each.candidates))
        for each in one.mapped.asks
    ]


def _heights(one: FileFound) -> list[Question]:
    """Return the question which column holds the heights where no heading says it; none elsewhere."""
    asks = "which column holds the heights? no heading shows it; if none does, export the heights too"
    candidates = []
    for name in one.mapped.heights:
        value = one.look.named({"height": name})["height"]
        which = f"{quoted(name)}, " if isinstance(value, int) and not one.look.numbered else ""
        candidates.append(Candidate(_toml(value), f'{which}the first is "{given(one.look.columns[name])[0]}"'))
    return [Question("height", asks, tuple(candidates))] if candidates else []


def _poles(one: FileFound) -> list[Question]:
    """Return the question whether heights are of the pole's foot or of its top; none where all poles are one length.

    A length that is the same in all rows is taken up by the shift from the ties.
    """
    if one.mapped.poles is None or len(words(one.look.columns[one.mapped.poles])) < 2:
        return []
    heading = quoted(one.mapped.poles)
    asks = f"are heights those of the ground, or of the antenna on top of the pole, whose length is in {heading}?"
    if one.mapped.slant:
        which = "that" if one.mapped.slant == one.mapped.poles else quoted(one.mapped.slant)
        asks += (
            f" {which} is a slant measure, which needs the antenna dimensions to become a height, so it cannot be"
            " subtracted. If ground heights: delete these lines; if antenna heights: export vertical heights, and run"
            " `tiedown new` again"
        )
        return [Question("pole_height", asks)]
    texts = one.look.columns[one.mapped.poles]
    if decimals(texts) is None:
        odd = next(text for text in given(texts) if decimals([text]) is None)
        asks += (
            f' its cells, such as "{odd}", are not plain numbers, so it cannot be subtracted as it is. If ground'
            " heights: delete these lines; if antenna heights: export it without units in its cells, and run"
            " `tiedown new` again"
        )
        return [Question("pole_height", asks)]
    candidates = (
        Candidate(heading, "if antenna heights: the pole height is subtracted; if ground heights: delete this line"),
    )
    return [Question("pole_height", asks, candidates)]


def _encoding(one: FileFound, pages: CodePages, key: str) -> State:
    """Return the code page of a text that is no UTF-8, or the question after it, with words as each page reads them."""
    told = [f"reads {', '.join(words)}" for words in pages.words]
    if len(pages.names) == 1:
        return Known(quoted(pages.names[0]), f"as it is not UTF-8; {told[0]}")
    asks = f"which encoding is {one.look.shown} in? its letters beyond ASCII fit several code pages"
    also = "; names and words of it that are written below are as the first page reads them: for another page save the"
    asks += f"{also} file as UTF-8 and run `tiedown new` again" if _quotes_words(one) else ""
    candidates = tuple(Candidate(quoted(name), why) for name, why in zip(pages.names, told, strict=True))
    return Question(key, asks, candidates)


def _quotes_words(one: FileFound) -> bool:
    """Tell whether a job file repeats cells of a file that are spelt otherwise in each code page."""
    repeated = ("name", "mark", "code", "base", "solution")
    names = [one.mapped.columns[word] for word in repeated if word in one.mapped.columns]
    return any(not text.isascii() for name in names for text in one.look.columns[name])


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


def _toml(value: str | int) -> str:
    return quoted(value) if isinstance(value, str) else str(value)


def _in_two_units(heads: Mapping[str, str]) -> bool:
    """Tell whether headings say another unit of the heights than of the eastings and northings."""
    plan, up = (metres_in_heading(heads[word]) for word in ("easting", "height"))
    return bool(plan and up) and not any(is_one(each, other) for each in plan for other in up)


def _units(one: FileFound) -> State:
    names = {word: one.mapped.columns.get(word, "") for word in ("easting", "northing", "height")}
    heads = {word: with_unit(name, one.look.columns.get(name, [])) for word, name in names.items()}
    says = "as a heading says" if heads == names else "as the row of units below the header says"
    if _in_two_units(heads):
        if one.mapped.height == "level":
            return None  # the grid and the height datum say a unit each
        plan, up = (quoted(names[word]) for word in ("easting", "height"))
        asks = (
            f"which unit are lengths in? {plan} and {up} state two, and ellipsoidal heights are read in the unit of"
            " the eastings: export both in that unit, state it in the heading, and run `tiedown new` again"
        )
        return Question("units", asks)
    if one.mapped.feet == "us-survey-foot":
        return Known('"us-survey-foot"', says)
    if one.mapped.feet:
        stated = [metres_in_heading(head) for head in heads.values()]
        if all(metres == (FOOT,) for metres in stated if metres):
            return Known('"foot"', says)
        asks = f"{says.removeprefix('as ')} feet: which foot?"
        if feet_of(heads["easting"]):
            asks += (
                " eastings and northings in feet need a crs in that foot: beside one in metres, export them in metres"
            )
        elif one.mapped.kind == "plane":
            asks += (
                " beside eastings and northings in metres, give the heights in metres: each file is read in one unit"
            )
        candidates = (Candidate('"foot"', "0.3048 m"), Candidate('"us-survey-foot"', "1200/3937 m"))
        return Question("units", asks, candidates)
    return None
