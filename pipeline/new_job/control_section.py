"""Drafts ``[target]`` and ``[control]``, whose grid and heights are decided together."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from pipeline.geodesy.crs import registered_code
from pipeline.geodesy.grid_metadata import height_named
from pipeline.geodesy.registry import crs_name, separation
from pipeline.geodesy.unit_words import is_one
from pipeline.job.model import ControlSection
from pipeline.job.toml_text import quoted, value_text
from pipeline.near import plain
from pipeline.new_job.column_places import may_be_heights
from pipeline.new_job.column_questions import POSITION, height_question_of, meaning_questions, rival_questions
from pipeline.new_job.dated_column import dated_column
from pipeline.new_job.draft import Draft
from pipeline.new_job.eastings import easting_questions, other_sides, turned, used_as_easting
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead, register_of
from pipeline.new_job.folder import Contents
from pipeline.new_job.frames import GridState, register_states
from pipeline.new_job.headings import rank
from pipeline.new_job.height_datums import height_question
from pipeline.new_job.packed_question import packed_question
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.register_pairs import pair_question, pairs_of
from pipeline.new_job.stated_above import headed, unit_stated
from pipeline.new_job.units_and_encoding import encoding_of, units_of
from pipeline.new_job.unread import unread_heights
from pipeline.new_job.values import given
from pipeline.read.findings import Unusable
from pipeline.read.heading_units import metres_in_heading, unit_in_heading
from pipeline.replace import replace

#: What to do about a register without heights.
_ADD = "add a height column, or state in a column holds that the marks hold position only"
#: Columns of a register beside its position that go by these names.
_BESIDE = ("hu95", "vu95", "holds", "source")
#: What a job file calls heights above the ellipsoid.
_ELLIPSOID = '"ellipsoid"'
#: Files of which it is said why none is the register.
_FILES = 3


def draft_register(draft: Draft, found: Contents, choice: Sequence[FileFound]) -> RegisterRead | None:
    """Draft the register's file and how it is read; return it, None where there is none or it is not known which.

    ``choice`` are the tables that may be it.
    """
    if not found.registers:
        none = "no register of control marks was recognised in the folder: without one no shift can be derived"
        if found.unread:
            none += f"; {' and '.join(found.unread)} cannot be read, and may be it: check what is reported for it"
        elif others := [
            (name, why)
            for name, role, why in found.told
            if role == "neither" and ("positions" in why or "degrees" in why)
        ]:
            told = ((name, f" has {why}" if why.startswith("no ") else f": {why}") for name, why in others[:_FILES])
            none += "".join(f"; {name}{why}" for name, why in told)
        draft.lacking = none
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
            draft.control[key] = Known(value_text(value))
    if one.look.pages is not None:
        draft.control["encoding"] = encoding_of(one, one.look.pages, "control.encoding")
    if one.look.layer is not None:
        draft.control["layer"] = Known(quoted(one.look.layer))
    return register


def draft_target(
    draft: Draft,
    found: Contents,
    register: RegisterRead | None,
    grid: GridState,
) -> None:
    """Decide grid and heights, of the target and of the register alike."""
    place = grid.place
    draft.target["grid"] = grid.state
    covering = _covering(found.geoids, place)
    geoids = [shown for shown, _ in covering]
    height: State = None if register is None else _register_heights(draft, register, grid, geoids)
    if height is None:
        height = _ask_height(draft, register, place, geoids, _named(covering))
    draft.target["height"] = height
    if register is not None:
        _register_columns(draft, register, grid, any(one.mapped.turned for one in found.exports))
    if len(geoids) == 1 and not (isinstance(height, Known) and height.value == _ELLIPSOID):
        draft.target["geoid"] = Known(quoted(geoids[0]), "lies in the folder" + (", covers the job" if place else ""))
    elif len(geoids) > 1:
        candidates = tuple(Candidate(quoted(one), "") for one in geoids)
        draft.target["geoid"] = Question("target.geoid", "which of these geoid grids is the datum's?", candidates)


def _register_heights(
    draft: Draft,
    register: RegisterRead,
    grid: GridState,
    geoids: Sequence[str],
) -> Known | None:
    """Draft the CRS and heights of a register; return the heights of the target where those of the register say it."""
    has_heights = np.isfinite(register.heights).any() or register.found.mapped.kind == "geocentric"
    lacking = not has_heights and not any(map(_holds, register.found.look.names))
    if lacking and not _heights_asked(register.found):
        draft.notes.append(_without_heights(register.found))
    draft.control["crs"], datum = register_states(register.found, register.table, grid)
    if datum is not None:
        draft.control["height"] = height = Known(quoted(datum), f"{crs_name(datum)}: the register's")
        return height
    if not is_ellipsoidal(register):
        return None
    draft.control["units"] = units_of(register.found)
    if register.found.mapped.levels:
        return None
    draft.control["height"] = Known(_ELLIPSOID, "the register's heights are above the ellipsoid")
    return None if geoids else Known(_ELLIPSOID, "as the register's")


def _ask_height(
    draft: Draft,
    register: RegisterRead | None,
    place: tuple[float, float] | None,
    geoids: list[str],
    named: Sequence[str],
) -> Question:
    """Return the question after the heights of the target; those of a register that says nothing take its answer.

    ``named`` are the height datums that the geoid grids say that they lead to.
    """
    headings = [*_heads_of(register), *register.found.look.above] if register is not None else []
    also = ("control.height",) if register is not None and "height" not in draft.control else ()
    height = height_question(place, headings, also, geoids, named)
    if also and register is not None and register.found.mapped.levels:
        height = _of_two_columns(height, register.found)
    if also:
        draft.control["height"] = replace(
            height, key="height", asks="the same answer as target.height", also=(), repeats=True
        )
    return height


def _of_two_columns(height: Question, register: FileFound) -> Question:
    """Return the question after the heights of a register that has those above the ellipsoid and others beside them.

    Its answer takes the column, too: the draftsman's drawing may count from either.
    """
    look, levels = register.look, [quoted(name) for name in register.mapped.levels]
    first = register.mapped.columns.get("height", "")
    own = quoted(first) if first else "the geometry (Z)"
    asks = (
        f"which heights are to be issued: those above the ellipsoid, which {look.called} has in {own}, or those above"
        f" which height datum, which it has in {' and '.join(levels)}? the answer takes the marks' heights from there"
    )
    told = [
        replace(each, why=f"{each.why}: {own if each.value == _ELLIPSOID else levels[0]}") for each in height.candidates
    ]
    return replace(height, asks=asks, candidates=tuple(told))


def with_levels(above: State, now: State, register: RegisterRead) -> State:
    """Return the state of ``control.height``: ``above`` which ellipsoid its heights are, None where that is not open.

    Where the register has other heights beside them, ``now`` asks which are meant: they stay to be chosen.
    """
    if not register.found.mapped.levels or not isinstance(now, Question):
        return above or now
    if not isinstance(above, Question):
        return now
    asks = f"{above.asks}; where the answer to target.height is a height datum, it is the answer here too"
    others = (each for each in now.candidates if each.value != _ELLIPSOID)
    return replace(above, asks=asks, candidates=(*above.candidates, *others))


def _without_heights(register: FileFound) -> str:
    """Return what to do about a register of which no column is known to hold heights; they may be in another."""
    look = register.look
    if unreadable := [why for name, why in unread_heights(look) if given(look.columns[name])]:
        return f"{look.shown} has no heights that can be read: {'; '.join(unreadable)}"
    return f"{look.shown} has no heights, and every register needs a height column: {_ADD}"


def _heights_asked(register: FileFound) -> list[Question]:
    """Return the question which column of a register holds the heights, where no heading shows it and some may."""
    look, mapped = register.look, register.mapped
    if "height" in mapped.columns or any(map(_holds, look.names)) or unread_heights(look):
        return []
    if mapped.kind == "geocentric" or (look.place is not None and np.isfinite(look.place[2]).any()):
        return []
    names = may_be_heights(look, [name for name in look.names if name not in mapped.columns.values()])
    asks = f"which column holds the heights of the marks? no heading shows it; if none does, {_ADD}"
    return height_question_of(register, names, asks)


def _heads_of(register: RegisterRead) -> list[str]:
    """Return the headings of a register, each with the unit that a row below it says, or a line above the header."""
    height = register.found.mapped.columns.get("height", "")
    words = {name: "height" if name == height else "easting" for name in register.found.look.names}
    return [headed(register.found.look, name, word) for name, word in words.items()]


def _other_unit(register: RegisterRead) -> Iterator[str]:
    """Yield that heights are not in metres, which only a height datum can say beside eastings and northings."""
    name = register.found.mapped.columns.get("height", "")
    head = headed(register.found.look, name, "height")
    metres = metres_in_heading(head)
    if register.table.kind == "plane" and metres and not any(is_one(1.0, each) for each in metres):
        stated = unit_stated(register.found.look, name, "height")
        where = "its heading" if head == name else "the row of units below the header"
        where = where if stated is None else f"{stated.said.shown}, {register.found.look.stands},"
        yield (
            f'heights in "{name}" are in {unit_in_heading(head)}, as {where} says: a height datum in that unit reads'
            " them correctly; for any other, or ellipsoidal heights with a crs in metres, give them in metres"
        )


def _holds(heading: str) -> bool:
    return rank("holds", heading) is not None


def _covering(geoids: Sequence[tuple[str, Path]], place: tuple[float, float] | None) -> Sequence[tuple[str, Path]]:
    if place is None:  # that they lie here is all that is known
        return geoids
    return [(shown, path) for shown, path in geoids if separation(path, *place) is not None]


def _named(geoids: Sequence[tuple[str, Path]]) -> list[str]:
    """Return the codes of the height datums that geoid grids say that they lead to, of those that say one."""
    named = [height_named(path) for _, path in geoids]
    return list(dict.fromkeys(code for one in named if one is not None and (code := registered_code(one)) is not None))


def is_ellipsoidal(register: RegisterRead) -> bool:
    """Tell whether a register's heights are above the ellipsoid: its heading says so, or its geometry is in degrees."""
    mapped = register.found.mapped
    if "height" in mapped.columns:
        return mapped.height == "ellipsoid"
    return register.table.kind == "degrees" and bool(np.isfinite(register.heights).any())


def _dated(draft: Draft, register: RegisterRead) -> str:
    """Return the column of dates of a register with several rows of one mark, and note that the newest is used."""
    several = len(set(register.names)) < len(register.names)
    dated = dated_column(register.found) if several else ""
    if dated and plain(dated) != "dated":
        draft.control_notes.append(f'"{dated}" holds dates: of several rows of one mark the newest is used')
    return dated


def _level_named(draft: Draft, register: FileFound) -> dict[str, str]:
    """Return the column of a register's heights above a datum beside those above the ellipsoid; ask where any may be.

    It is used unless the answer is the ellipsoid.
    """
    levels = register.mapped.levels
    if len(levels) < 2:
        return dict(zip(("height",), levels, strict=False))
    asks = "which of these columns holds the heights above the height datum? used unless the answer is the ellipsoid"
    shown = register.look.named({name: name for name in levels})
    draft.control_asks.append(
        Question("height", asks, tuple(Candidate(value_text(value), "") for value in shown.values()))
    )
    return {}


def _register_columns(draft: Draft, register: RegisterRead, grid: GridState, again: bool) -> None:
    """Say which columns of the register are what, where they are not called as a register's are.

    Where it is asked what heights are above, their column goes by both names: the answer takes the one that it needs.
    ``again`` tells that which of X and Y is the easting is asked of an export too, where it is.
    """
    columns, ellipsoidal = dict(register.found.mapped.columns), is_ellipsoidal(register)
    draft.control_notes += [*register.found.mapped.notes, *(() if ellipsoidal else _other_unit(register))]
    if register.found.mapped.turned:
        if grid.turns is None and not register.found.mapped.unheaded:
            shown = register.found.look.named(columns)
            draft.control_asks += easting_questions(
                shown, "the marks", "for the readings" if again and grid.alike else ""
            )
        elif grid.turns and not register.found.mapped.unheaded:
            draft.control_notes.append(used_as_easting(turned(columns, grid)["easting"], grid))
        columns = turned(columns, grid)
    draft.control_notes += other_sides(columns, grid)
    look, mapped = register.found.look, register.found.mapped
    pairs = [] if mapped.turned and grid.turns is None else pairs_of(look, mapped, register.texts)
    draft.control_asks += [pair_question(look, columns, mapped, pairs)] if pairs else []
    draft.control_asks += meaning_questions(register.found)
    for each in (*rival_questions(register.found, columns), *_heights_asked(register.found)):
        word = "ellipsoid_height" if ellipsoidal and each.key == "height" else each.key
        draft.control_asks += [replace(each, key=word)] if each.key in ("height", *POSITION) else []
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
    named_as |= {**_level_named(draft, register.found), "dated": _dated(draft, register)}
    two_rows = register.found.look.two_rows  # of which one alone would be looked at for these names
    other = {word: name for word, name in named_as.items() if name and (two_rows or plain(name) != word)}
    if two_rows:
        beside = {plain(name): name for name in register.found.look.names if plain(name) in _BESIDE}
        other |= {word: name for word, name in beside.items() if name not in other.values()}
    if "height" in columns and not ellipsoidal and isinstance(draft.control.get("height"), Question):
        other |= {word: columns["height"] for word in ("height", "ellipsoid_height")}
    if other:
        draft.control_columns = register.found.look.named(other)
