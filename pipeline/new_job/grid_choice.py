"""Decides the grid of a job: the register's own, that of the exports, or the one in which marks and readings agree."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Integers
from pipeline.geodesy.other_meridians import from_greenwich
from pipeline.geodesy.registry import Registered, crs_name, earth_centred, grids_at
from pipeline.job.toml_text import quoted, unquoted
from pipeline.letter_case import folded
from pipeline.new_job.eastings import way_of
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead, register_of
from pipeline.new_job.frames import GridState, grid_question, own_crs
from pipeline.new_job.grid_fits import FilePositions, Fit, fits, step_of
from pipeline.new_job.grids_otherwise import Otherwise, beyond, grids_beside, otherwise
from pipeline.new_job.occupations import Marks, likely
from pipeline.new_job.plain_grids import plain_first
from pipeline.new_job.questions import Known
from pipeline.new_job.timed_rows import TimedRows
from pipeline.new_job.zone_prefixes import zone_apart
from pipeline.read.findings import Unusable
from pipeline.replace import replace

#: Readings that are compared with a register's marks where none says that it stands on one.
_ANY = 3_000


def choose_grid(
    tables: Sequence[FilePositions],
    register: RegisterRead | None,
    some: tuple[Integers, Integers],
    place: tuple[float, float] | None,
) -> tuple[GridState, list[Fit]]:
    """Decide the grid: the register's own, the exports' own where the marks agree with it, or the one that fits.

    Args:
        tables: positions of the exports' rows, each (n,) long.
        register: None where there is none, or it is not known which it is.
        some: rows (k,) that say that they stand on a mark, and (k,) which they name, -1 for none.
        place: longitude and latitude of the job, degrees.

    Returns:
        The grid, known or asked for, and the grids in which readings and marks agree.
    """
    marks = _marks_named(register) if register is not None else None
    own = own_crs(register.found) if register is not None else (None, "")
    chosen = some[0] if len(some[0]) else np.arange(min(len(tables[0].first), _ANY))
    tables = [_named(table, *some) for table in tables]
    if marks is not None and marks.kind == "plane" and own[0] is not None:
        known = _stated(own[0])
        agreed = [
            fit for table in tables if table.kind == "degrees" for fit in fits(_only(table, chosen), marks, [known])
        ]
        state = GridState(
            Known(quoted(own[0]), f"{known.name}: the register's, {own[1]}"), own[0], step=step_of(agreed)
        )
        other = None if agreed else _otherwise(tables, marks, chosen, place, [known])
        if other is None:
            return replace(state, misread=_zone_apart(tables, marks)), agreed
        return replace(state, misread=_misread(other), place=other.place), agreed
    fitting = _usual_first(_fitting(tables, marks, chosen, place), place) if marks is not None else []
    unexplained = _unexplained(fitting, place)
    if marks is not None and not fitting:
        return _without_fit(tables, marks, chosen, place)
    if marks is not None and len({fit.grid.code for fit in fitting}) == 1 and not unexplained:
        code = fitting[0].grid.code
        why = f"{fitting[0].grid.name}: the only grid in use there in which marks and readings on them agree"
        if any(table.crs == code for table in tables):
            why = f"{fitting[0].grid.name}: that of the exports, and the marks agree with readings on them"
        return GridState(Known(quoted(code), why), code, step=step_of(fitting)), fitting
    asks = grid_question(place, fitting, marks, *([_off] if unexplained else []))
    now = unquoted(asks.candidates[0].value) if asks.candidates else None
    return GridState(asks, now, step=step_of(fitting)), fitting


def _unexplained(fitting: Sequence[Fit], place: tuple[float, float] | None) -> bool:
    """Tell whether degrees of GNSS lie beside the marks in grids that fit although these are of datums like theirs.

    Then the register is likelier in a grid of another datum than those in use there.
    """
    return step_of(fitting) is not None and all(earth_centred(fit.grid.code, place) for fit in fitting)


def _off(_: Registered) -> str:
    return "marks lie beside readings as if one kind were in an older datum: if the marks are, write the grid of that"


def _usual_first(fitting: Sequence[Fit], place: tuple[float, float] | None) -> list[Fit]:
    """Return grids that fit in the order in which surveys at a place [deg] are issued in them.

    Degrees of GNSS lie beside marks of a datum from the earth's centre without a step, and beside others with one: the
    one kind comes before the other.
    """
    if place is None or len(fitting) < 2:
        return list(fitting)
    order = [one.code for one in plain_first(list({fit.grid.code: fit.grid for fit in fitting}.values()), place)]
    stepped = step_of(fitting) is not None
    beside = place if stepped else None  # without a step none of them is beside it
    return sorted(
        fitting, key=lambda fit: (earth_centred(fit.grid.code, beside) == stepped, order.index(fit.grid.code))
    )


def _without_fit(
    tables: Sequence[FilePositions], marks: FilePositions, chosen: Integers, place: tuple[float, float] | None
) -> tuple[GridState, list[Fit]]:
    """Ask for the grid where none in use there fits: with those of the next zones, or of another reading, that do."""
    others = [table for table in tables if table.kind != marks.kind]
    counted = from_greenwich(*place) if others and place is not None else []
    fitting = [fit for table in others for fit in fits(_only(table, chosen), marks, counted)]
    if fitting:
        asks = grid_question(place, fitting, marks)
        return GridState(asks, unquoted(asks.candidates[0].value), step=step_of(fitting)), fitting
    beside = grids_beside(place) if others and place is not None else []
    fitting = [fit for table in others for fit in fits(_only(table, chosen), marks, beside)]
    other = None if fitting else _otherwise(tables, marks, chosen, place, [])
    if other is None:
        asks = grid_question(place, fitting, marks, lambda grid: _outside(grid, place))
        other = Otherwise("", [], None)
    else:
        fitting, place = other.fits, other.place
        asks = grid_question(place, fitting, marks, lambda _: f"the marks agree with the readings if {other.what}")
    now = unquoted(asks.candidates[0].value) if asks.candidates else None
    misread = _misread(other) or _zone_apart(tables, marks)
    return GridState(asks, now, step=step_of(fitting), misread=misread, place=other.place), fitting


def _outside(grid: Registered, place: tuple[float, float] | None) -> str:
    far = beyond(grid.code, place) / 1000.0 if place is not None else 0.0
    return f"the marks agree with the readings on them, {far:,.0f} km outside the area in which it is used"


def _otherwise(
    tables: Sequence[FilePositions],
    marks: FilePositions,
    chosen: Integers,
    place: tuple[float, float] | None,
    stated: Sequence[Registered],
) -> Otherwise | None:
    """Return how readings and marks agree otherwise; None where those of one file agree as they stand."""
    found = (otherwise(_only(table, chosen), marks, place, stated) for table in tables)
    return next(filter(None, found), None)


def _zone_apart(tables: Sequence[FilePositions], marks: FilePositions) -> str:
    return next(filter(None, (zone_apart(table, marks) for table in tables)), "")


def _misread(found: Otherwise) -> str:
    """Return what to do about columns that are misread, "" where none are."""
    if not found.what:
        return ""
    return (
        f"as their columns stand, marks and readings lie apart, but they agree if {found.what}: if that"
        " is so, correct the file or its headings, and run `tiedown new` again"
    )


def grids_of_rivals(
    choice: Sequence[FileFound], tables: Sequence[FilePositions], read: TimedRows, place: tuple[float, float] | None
) -> list[GridState]:
    """Return the grid for each table in a plane that may be the register: any grid goes with degrees."""
    grids = []
    for one in choice:
        try:
            register = register_of(one)
        except (Unusable, OSError):
            continue
        if register.table.kind == "plane":
            on_marks = likely(read, Marks(register.names, None))
            grids.append(choose_grid(tables, register, on_marks, place)[0])
    return grids


def with_axis_order(
    grid: GridState,
    tables: Sequence[FilePositions],
    register: RegisterRead | None,
    agreed: Sequence[Fit],
) -> GridState:
    """Say of a grid which of X and Y is the easting."""
    marks = register.table if register is not None else None
    every = [*tables, *([marks] if marks is not None else [])]
    told = grid.place if any(table.kind == "degrees" and np.isfinite(table.first).any() for table in every) else None
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
    named = None if table.named is None else table.named[chosen]
    return replace(table, first=table.first[chosen], second=table.second[chosen], named=named)


def _named(table: FilePositions, some: Integers, which: Integers) -> FilePositions:
    """Return readings with the marks that some of them name."""
    named = np.full(len(table.first), -1, np.int64)
    named[some] = which
    return replace(table, named=named)


def _marks_named(register: RegisterRead) -> FilePositions:
    """Return the marks, each with the first that has its name."""
    first: dict[str, int] = {}
    named = [first.setdefault(folded(name), number) for number, name in enumerate(register.names)]
    return replace(register.table, named=np.array(named, np.int64))
