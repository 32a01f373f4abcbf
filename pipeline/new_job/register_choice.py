"""Chooses the register among tables of names and positions: the one whose marks readings name; asks if several."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from itertools import combinations

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.job.toml_text import quoted
from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.dated_column import dated_column, dates_alone
from pipeline.new_job.draft import Draft
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead, register_of
from pipeline.new_job.folder import Contents, register_looks
from pipeline.new_job.name_columns import (
    Named,
    is_of_points,
    mark_column,
    marks_named,
    of_exports,
    of_register,
    settle_alike,
    settle_export,
    settle_register,
)
from pipeline.new_job.questions import Candidate, Known, Question
from pipeline.new_job.same_places import SAME, rows_of, same_places
from pipeline.new_job.unread_times import unread_times
from pipeline.new_job.values import numbers_of
from pipeline.read.findings import Unusable

#: How many times the marks of a register the points are, at least, of a table of results that lists both. No source.
_MANY = 4
#: Marks of one table alone that a question lists.
_LISTED = 4
_PLAIN = "names and positions without times"


class _Likely(Struct, frozen=True):
    """A table that may be the register, with its marks that readings name; none where it is ``of_points`` instead."""

    table: Named
    named: frozenset[str]
    of_points: bool = False

    @property
    def found(self) -> FileFound:
        return self.table.found


def choose_register(contents: Contents) -> list[FileFound]:
    """Put the register first, say of each table what it is taken for, and settle which columns hold names.

    Returns those of which any may be the register, one alone where that is known.
    """
    exports = of_exports(contents.exports)
    tables = [of_register(table) for table in contents.registers]
    for table in tables:
        settle_register(table, exports)
    likely = _likely(tables, exports)
    likely.sort(key=lambda table: (not table.named, -register_looks(table.found), table.found.look.called))
    contents.registers = [table.found for table in likely]
    rivals = _rivals(likely)
    for each in likely:
        contents.told.append((each.found.look.called, *_taken_for(each, rivals)))
    contents.told.sort()
    for export in exports:
        for rival in rivals:
            settle_export(export, rival.table)
    settle_alike(exports)
    return [rival.found for rival in rivals]


def _likely(tables: Sequence[Named], exports: Sequence[Named]) -> list[_Likely]:
    """Return the tables with the marks that readings name: those with a letter alone, where there are any.

    Numbers are names of points in any table of points; one that has most of their names is of the points, beside
    another one that names marks which it lacks, and that looks more like a register.
    """
    named = [_named(table, exports) for table in tables]
    of_points = [
        (column := mark_column(table.found)) in table.columns and is_of_points(table, column, exports)
        for table in tables
    ]
    every = list(zip(tables, named, of_points, strict=True))
    others = [(table, marks) for table, marks, points in every if marks and not points]
    of_points = [
        points and bool(others) and not any(_may_be_instead(table, marks, *other) for other in others)
        for table, marks, points in every
    ]
    named = [set() if points else marks for marks, points in zip(named, of_points, strict=True)]
    lettered = [{mark for mark in marks if not mark.isdigit()} for marks in named]
    chosen = zip(tables, lettered if any(lettered) else named, of_points, strict=True)
    return [_Likely(table, frozenset(marks), points) for table, marks, points in chosen]


def _named(table: Named, exports: Sequence[Named]) -> set[str]:
    """Return the marks of a table that readings name, none where it has no column of them."""
    column = mark_column(table.found)
    return marks_named(table, column, exports) if column in table.columns else set()


def _may_be_instead(table: Named, marks: set[str], other: Named, named: set[str]) -> bool:
    """Tell whether a table with most names of the points may yet be the register instead of another.

    It may where it looks no less like a register than that, and where it has all marks that readings name of the other,
    as all readings may be on marks. Results list the marks with many more points, and look like no register beside one.
    """
    looks, looks_of_other = register_looks(table.found), register_looks(other.found)
    if _folded(named) <= _folded(marks):
        return looks > 0 or looks_of_other == 0 or len(marks) <= _MANY * len(named)
    return looks > 0 and looks >= looks_of_other


def _folded(marks: Iterable[str]) -> set[str]:
    return {folded(mark) for mark in marks if mark.strip()}


def _rivals(likely: Sequence[_Likely]) -> list[_Likely]:
    """Return the tables any of which may be the register; of those that say the same of the marks, the first.

    One with times that cannot be read is rather an export.
    """
    timeless = [table for table in likely if not unread_times(table.found.look, table.found.mapped)]
    likely = timeless or likely
    if not likely:
        return []
    first = likely[0]
    if not first.named:  # as nothing else tells, the one that looks most like one
        alike = [table for table in likely if register_looks(table.found) == register_looks(first.found)]
        most = max(alike, key=_says_most)
        return [table for table in alike if table is most or not _says_the_same(most, table)]
    naming = sorted((table for table in likely if table.named), key=lambda table: -len(table.named))
    widest = [table for table in naming if len(table.named) == len(naming[0].named)]
    kept = [max(widest, key=_says_most)]
    kept += [table for table in naming if table is not kept[0] and not _says_the_same(kept[0], table)]
    return [table for table in likely if table in kept]


def _says_most(table: _Likely) -> tuple[bool, bool, int]:
    """Return by what one of the tables that say the same of marks is taken: heights, a grid, headings of a register."""
    try:
        read = register_of(table.found)
    except (Unusable, OSError):
        return False, False, 0
    plane = read.table.kind == "plane"
    return bool(np.isfinite(read.heights).any()), plane, register_looks(table.found)


def _says_the_same(one: _Likely, other: _Likely) -> bool:
    """Tell whether a table has all marks that readings name of another, or all where they name none, at its places.

    They are compared by those that both have; heights say nothing where one has none. Those above the ellipsoid are
    others than those above a datum, unless the table has both.
    """
    try:
        here, there = register_of(one.found), register_of(other.found)
    except (Unusable, OSError):
        return False
    wanted = sorted(_folded(other.named or there.names))
    if not wanted or not set(wanted) <= _folded(one.named or here.names):
        return False
    if here.table.crs != there.table.crs and None not in (here.table.crs, there.table.crs):
        return False
    mine, theirs = (rows_of(register, wanted) for register in (here, there))
    if mine is None or theirs is None or not same_places(here, mine, there, theirs):
        return False
    return _has_heights(here, mine, there.heights[theirs])


def _has_heights(register: RegisterRead, rows: Sequence[int], wanted: Floats) -> bool:
    """Tell whether a register has heights (n,) of some of its rows, in whichever column, or none at all; NaN: none."""
    if not np.isfinite(register.heights).any():
        return True
    columns = [register.heights, *(read for each in register.texts.values() if (read := numbers_of(each)) is not None)]
    return any(not bool((np.abs(column[list(rows)] - wanted) > SAME["plane"]).any()) for column in columns)


def _taken_for(table: _Likely, rivals: Sequence[_Likely]) -> tuple[str, str]:
    """Return what a table is taken for, and why."""
    unread = unread_times(table.found.look, table.found.mapped)
    if table in rivals:
        more = f"; {dates_alone(table.found) or unread}" if unread and not dated_column(table.found) else ""
        return ("register", f"{_PLAIN}{more}") if len(rivals) == 1 else ("may be the register", f"{_PLAIN}{more}")
    if unread:
        return "neither", f"names and positions, but {unread}"
    if table.of_points:
        return "neither", "names and positions without times, of the points themselves"
    first = rivals[0].found.look.called
    if not rivals[0].named and register_looks(table.found) == register_looks(rivals[0].found):
        return "neither", f"{_PLAIN}: its marks are in {first} too, at the same places"
    if not rivals[0].named:
        return "neither", f"{_PLAIN}, like {first}, which looks more like a register"
    if table.named:
        return "neither", f"{_PLAIN}: the marks that readings name are also in {first}, at the same positions"
    return "neither", f"{_PLAIN}: readings do not name them, but marks of {first}"


def _differ_in_height(rivals: Sequence[FileFound]) -> bool:
    """Tell whether two tables give marks that both have the same positions and different heights."""
    read = []
    for rival in rivals:
        with suppress(Unusable, OSError):
            read.append(register_of(rival))
    for here, there in combinations(read, 2):
        both = sorted(_folded(here.names) & _folded(there.names))
        mine, theirs = (rows_of(register, both) for register in (here, there))
        if not both or mine is None or theirs is None or not same_places(here, mine, there, theirs):
            continue
        if not _has_heights(here, mine, there.heights[theirs]):
            return True
    return False


def _are_of_different_marks(rivals: Sequence[FileFound]) -> bool:
    """Tell whether no mark of one table is in another."""
    names: list[str] = []
    for rival in rivals:
        with suppress(Unusable, OSError):
            names += _folded(register_of(rival).names)
    return len(names) == len(set(names))


def ask_register(draft: Draft, rivals: Sequence[FileFound], exports: Sequence[FileFound]) -> None:
    """Ask which of some tables is the register: by its file, or by its layer where they lie in one file."""
    readings = of_exports(exports)
    named = [_named(of_register(rival), readings) for rival in rivals]
    asks = "which of these is the register of control marks?"
    if _differ_in_height(rivals):
        asks += (
            " their marks are at the same positions but have different heights, such as above the ellipsoid and above a"
            " datum: the job takes those of the one that is left;"
        )
    if sum(bool(marks) for marks in named) > 1:
        asks += " readings name marks from several;"
        alone = [
            f"{listed(sorted(own)[:_LISTED])} {'are' if len(own) > 1 else 'is'} in {rival.look.called} alone"
            for rival, marks in zip(rivals, named, strict=True)
            if (own := marks - set().union(*(other for other in named if other is not marks)))
        ]
        asks += f" {', '.join(alone)}: a job reads one register, so combine what belongs together;" if alone else ""
    elif _are_of_different_marks(rivals):
        asks += (
            " none of them has a mark of another, as where one list lies in several files or sheets: a job reads one"
            " register, so combine in one table what belongs together;"
        )
    asks += (
        " grid, heights, columns, ties and checks depend on it, and none of them is set yet: leave only the right one"
        " in the folder and run `tiedown new` again, or write them by hand"
    )
    if len({rival.look.shown for rival in rivals}) == 1:
        draft.control["file"] = Known(quoted(rivals[0].look.shown), _PLAIN)
        candidates = tuple(Candidate(quoted(str(rival.look.layer)), "") for rival in rivals)
        draft.control["layer"] = Question("control.layer", asks, candidates)
        return
    candidates = tuple(
        Candidate(quoted(rival.look.shown), f"with layer = {quoted(rival.look.layer)}" if rival.look.layer else "")
        for rival in rivals
    )
    draft.control["file"] = Question("control.file", asks, candidates)
