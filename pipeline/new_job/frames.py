"""Decides the grid, datum and heights of the files, each with its reason, or asks with candidates."""

import re
from collections.abc import Callable, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.geodesy.crs_comparison import is_wgs84
from pipeline.geodesy.registry import (
    Registered,
    crs_kind,
    crs_name,
    crs_parts,
    frames_at,
    geocentric,
    grids_at,
    projected,
    with_heights,
)
from pipeline.job.toml_text import quoted, unquoted
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.grid_fits import NEAR, FilePositions, Fit
from pipeline.new_job.plain_grids import WORLD, frames_offered, plain_first
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.stated_above import with_datum_stated
from pipeline.replace import replace
from pipeline.words import counted, plural

#: A code in a file's name, in a line above its header or in a heading.
_CODE = re.compile(r"epsg[\s:_\-/]*(\d{4,5})", re.IGNORECASE)

#: Grids that a question lists.
_GRIDS = 8


class GridState(Struct, frozen=True):
    """The state of the grid, the one that positions are compared in for now, and how they are.

    ``turned`` tells whether X is the northing in it, ``turns`` what says so, None where nothing does; ``alike``
    whether readings and marks stand the same way then. ``step`` is what degrees that are projected without a change of
    datum lie beside it, (2,) metres, where that is more than a base's error: they are on another datum then.
    ``misread`` is with which misreading of the columns alone readings and marks agree, "" for none, ``place`` the
    longitude and latitude of the job [deg], with any such misreading.
    """

    state: State
    now: str | None
    turned: bool = False
    step: Floats | None = None
    turns: str | None = ""
    alike: bool = True
    misread: str = ""
    place: tuple[float, float] | None = None

    @property
    def codes(self) -> list[str]:
        """The grid, or those that it may be."""
        if isinstance(self.state, Question):
            return [unquoted(one.value) for one in self.state.candidates]
        return [self.now] if self.now is not None else []


def of_rivals(free: GridState, rivals: Sequence[GridState]) -> GridState:
    """Return the question after the grid where any of some tables may be the register, each with its own grid.

    It lists what fits any of them; ``free`` is the state without a register, for all candidates of one that is unknown.
    """
    if not isinstance(free.state, Question) or not rivals:
        return free
    found: dict[str, Candidate] = {}
    for one in rivals:
        known = [Candidate(one.state.value, one.state.why)] if isinstance(one.state, Known) else []
        for each in one.state.candidates if isinstance(one.state, Question) else known:
            found.setdefault(each.value, each)
    if not found:
        return free
    codes = [unquoted(value) for value in found]
    same = all(one.codes == rivals[0].codes for one in rivals)
    question = replace(free.state, candidates=tuple(found.values()))
    return GridState(question, codes[0], step=rivals[0].step if same else None)


def stated_code(one: FileFound) -> str | None:
    """Return the code that a file's name, the lines above its header or its headings state, if one alone does."""
    texts = [one.look.path.name, *one.look.above, *one.look.names]
    codes = dict.fromkeys(
        code for text in texts for code in _CODE.findall(text) if crs_name(f"EPSG:{code}") is not None
    )
    return f"EPSG:{next(iter(codes))}" if len(codes) == 1 else None


def own_crs(one: FileFound) -> tuple[str | None, str]:
    """Return the CRS that a file says of its positions, and where; none for WGS 84 of a layer, written unasked.

    One of another kind is not theirs: a layer's geometries may be in degrees and its columns in metres.
    """
    if (code := stated_code(one)) is not None and _fits_kind(code, one.mapped.kind):
        return code, "as the file says"
    own = one.look.crs
    if own is not None and not is_wgs84(own) and _fits_kind(own, one.mapped.kind):
        return own, "the layer's own"
    return None, ""


def grid_question(
    place: tuple[float, float] | None,
    found: Sequence[Fit],
    marks: FilePositions | None,
    why: Callable[[Registered], str] = lambda _: "the marks agree with the readings on them",
) -> Question:
    """Return the question after the grid, with those that fit, or that are in use at the job's place [deg].

    ``why`` says what speaks for one that fits.
    """
    also = ("control.crs",) if marks is not None and marks.kind == "plane" else ()
    asks = "which grid are the coordinates of the register in, and those to be issued?"
    if not also:
        asks = "which grid are coordinates to be issued in?"
    if found:
        once = {fit.grid.code: fit.grid for fit in found}
        candidates = [Candidate(quoted(code), f"{grid.name}: {why(grid)}") for code, grid in once.items()]
    else:
        near = plain_first(grids_at(*place), place) if place is not None else []
        near = _by_numbers(near, place, marks) if marks is not None and marks.kind == "plane" and place else near
        candidates = [Candidate(quoted(grid.code), f"{grid.name}, in use there") for grid in near]
    if not candidates and place is None:
        asks += (
            " no file has longitudes and latitudes, or says its grid, so none can be named here: write its EPSG code or"
            " a file that defines it (.prj, .wkt). If they are local site coordinates of no such grid: export readings"
            " as longitude, latitude and ellipsoidal height, give a register in a grid, and the marks' local"
            " coordinates in the file that [target.site] names"
        )
    if (left := len(candidates) - _GRIDS) > 0:
        why_left = plural(left, "fits", "fit") if found else f"{plural(left, 'is', 'are')} in use there"
        asks += f" {counted(left, 'more grid')} {why_left}: if it is none of these, write its EPSG code"
    return Question("target.grid", asks, tuple(candidates[:_GRIDS]), also)


def _by_numbers(grids: Sequence[Registered], place: tuple[float, float], marks: FilePositions) -> list[Registered]:
    """Return the grids in which the marks lie near the job, nearest first; all where they do in none."""
    where = np.array([np.nanmedian(marks.first), np.nanmedian(marks.second)])
    far = []
    for grid in grids:
        east, north = projected(grid.code, np.array([place[0]]), np.array([place[1]]))
        here = np.array([east[0], north[0]])
        far.append(min(float(np.hypot(*(where - here))), float(np.hypot(*(where[::-1] - here)))))
    near = [(at, grid) for at, grid in zip(far, grids, strict=True) if at <= NEAR]
    return [grid for _, grid in sorted(near, key=lambda pair: round(pair[0], -3))] or list(grids)


def frame_question(grid: GridState, key: str, asks: str) -> Question:
    """Return the question after a frame of degrees: those of the grid's datum first, then the region's."""
    place = grid.place
    own = [with_heights(code) for code in grid.codes] if grid.step is None else []
    first = list(dict.fromkeys(code for code in own if code is not None))
    its = with_heights(grid.now) if grid.now is not None else None
    near = [one for one in frames_at(*place) if one.code != its] if place is not None else []
    rest = frames_offered(near, first) if place is not None else []
    told = [Candidate(quoted(code), f"{crs_name(code)}, the datum of the grid") for code in first]
    return Question(key, asks, (*told, *(Candidate(quoted(one.code), one.name) for one in rest)))


def export_state(one: FileFound, table: FilePositions, grid: GridState) -> State:
    """Return the state of an export's ``crs``."""
    own, why = own_crs(one)
    if own is not None:
        return Known(quoted(own), f"{crs_name(own)}: {why}")
    if table.kind == "degrees" and _says_wgs84(one):
        return _wgs84_of_layer(one)
    if table.kind == "degrees":
        near = {one.code: one.name for one in frames_at(*grid.place)} if grid.place is not None else {}
        codes = [code for each in grid.codes if (code := with_heights(each)) is not None]
        named = {code: str(crs_name(code)) for code in (*codes, WORLD)}
        return with_datum_stated(_degrees_state(grid), one.look, named | near)
    if table.kind == "geocentric":
        return _geocentric_state(grid)
    grids = {code: str(crs_name(code)) for code in grid.codes}
    if isinstance(grid.state, Known):
        known = Known(grid.state.value, "metres that agree with the marks in the register's grid")
        return with_datum_stated(known, one.look, grids)
    asks = "the same answer as target.grid, unless the exports are in a different grid from the one to be issued"
    again = grid.state.candidates if isinstance(grid.state, Question) else ()
    return with_datum_stated(Question("crs", asks, again, repeats=True), one.look, grids)


def _says_wgs84(one: FileFound) -> bool:
    """Tell whether geometries stand in a layer that says WGS 84 of them: unlike GeoJSON a GeoPackage may say others."""
    from_geometry = "longitude" not in one.mapped.columns
    return one.look.form == "gpkg" and from_geometry and is_wgs84(one.look.crs)


def _wgs84_of_layer(one: FileFound) -> Known:
    whole = with_heights(str(one.look.crs)) or one.look.crs
    return Known(
        quoted(str(whole)), "WGS 84, as the layer states; if that is wrong, correct the layer where it was exported"
    )


def _degrees_state(grid: GridState) -> State:
    own = with_heights(grid.now) if grid.now is not None else None
    if isinstance(grid.state, Known) and grid.step is None and own is not None:
        return Known(
            quoted(own),
            f"{crs_name(own)}: the file gives degrees without a datum; that of the grid is used, since the shift from"
            " the ties absorbs the difference",
        )
    asks = "which datum are the degrees in? the file does not state it; that of the grid is usual"
    if grid.step is not None:
        far = float(np.hypot(*grid.step))
        asks = f"which datum are the degrees in? not that of the grid: they are {far:.0f} m off in it"
    return frame_question(grid, "crs", asks)


def _geocentric_state(grid: GridState) -> State:
    codes = [code for each in grid.codes if (code := geocentric(each)) is not None]
    if codes and isinstance(grid.state, Known) and grid.step is None:
        return Known(
            quoted(codes[0]), f"{crs_name(codes[0])}: X, Y, Z in the datum of the grid, as the file states none"
        )
    told = [Candidate(quoted(code), f"{crs_name(code)}, of the datum of the grid") for code in dict.fromkeys(codes)]
    return Question("crs", "which frame are X, Y, Z in? give a geocentric CRS", tuple(told))


def _fits_kind(crs: str, is_of: str) -> bool:
    of = {"degrees": "geographic", "plane": "projected", "geocentric": "geocentric"}.get(is_of)
    return of is not None and crs_kind(crs) == of


def register_states(one: FileFound, table: FilePositions, grid: GridState) -> tuple[State, str | None]:
    """Return the state of ``control.crs``, and the height datum that its CRS names."""
    own, why = own_crs(one)
    if own is not None:
        plan, height = crs_parts(own)
        return Known(quoted(plan or own), f"{crs_name(plan or own)}: {why}"), height
    if table.kind == "plane":
        if isinstance(grid.state, Known):
            return Known(grid.state.value, "as target.grid"), None
        again = getattr(grid.state, "candidates", ())
        return Question("crs", "the same answer as target.grid", again, repeats=True), None
    if one.mapped.kind == "geocentric":
        asks = "X, Y, Z of marks are not read: export longitude, latitude and ellipsoidal height, or grid coordinates"
        return Question("crs", asks, ()), None
    if _says_wgs84(one):
        return _wgs84_of_layer(one), None
    asks = "which datum are the degrees of the register in? the file does not state it"
    return frame_question(grid, "crs", asks), None
