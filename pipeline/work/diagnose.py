"""The hypotheses of one job about its failing occupations, and the sentence that stands in ``cause``."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pipeline.geodesy.frames import geocentric_to_local
from pipeline.proof.causes import Hypothesis, Kind, agreeing, fitting, misread_numbers
from pipeline.words import Role
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes
from pipeline.work.settle import Settled
from pipeline.work.sift import clock

Floats = NDArray[np.float64]

_AXES = {
    "projected": ("easting", "northing", "height"),
    "geographic": ("longitude", "latitude", "ellipsoidal height"),
}
_FEET = {"feet": 0.3048, "US survey feet": 1200 / 3937}
#: How many readings of one failing occupation are named; further ones hardly help anybody.
_NAMED = 3


def causes(prepared: Prepared, routes: Routes, settled: Settled) -> list[str | None]:
    """Return, per occupation in the order of `settled`, what a failing one may mean; None for one that passes."""
    on_marks, checks = settled.occupations, prepared.loaded.job.checks
    differences = np.column_stack([on_marks.compared.east, on_marks.compared.north, on_marks.compared.height])
    failing = on_marks.compared.judged & ~on_marks.compared.passed
    told: list[str | None] = [None] * len(on_marks.marks)
    for row in np.flatnonzero(failing).tolist():
        hypotheses = list(_hypotheses(prepared, routes, settled, row))
        fits = fitting(differences[row], hypotheses, checks.horizontal, checks.vertical)
        sentences = [
            f"{fit.text} (leaves {fit.misfit_horizontal:.3f} m horizontally, {fit.misfit_vertical:.3f} m in height)"
            for fit in fits[:_NAMED]
        ]
        moved = _moved(prepared, settled, differences, failing, row)
        sentences = ([moved] if moved else []) + sentences
        if not sentences:
            sentences = ["no single cause among those known fits; occupy the mark again, and another one"]
        elif on_marks.roles[row] is Role.TIE:
            sentences.append("a tie cannot accuse itself: a check on another mark decides")
        told[row] = f"{len(hypotheses)} causes tried: " + "; or ".join(sentences)
    return told


def _moved(
    prepared: Prepared, settled: Settled, differences: Floats, failing: NDArray[np.bool_], row: int
) -> str | None:
    """Return that the base seems to have moved, where all failing occupations of the session agree on one vector."""
    on_marks, checks = settled.occupations, prepared.loaded.job.checks
    here = (on_marks.session == on_marks.session[row]) & on_marks.compared.judged
    late = np.flatnonzero(here & failing)
    before = here & ~failing & (on_marks.time < on_marks.time[late].min())
    after = here & ~failing & (on_marks.time > on_marks.time[late].min())
    if not before.any() or after.any():
        return None
    vector = differences[late[0]] if len(late) == 1 else agreeing(differences[late], checks.horizontal, checks.vertical)
    marks = {on_marks.marks[number] for number in late.tolist()}
    passed = {on_marks.marks[number] for number in np.flatnonzero(before).tolist()}
    # One failing occupation says so only where the same mark passed before; otherwise the mark itself may be wrong.
    if vector is None or (len(marks) == 1 and not marks & passed):
        return None
    since, until = int(on_marks.time[before].max()), int(on_marks.time[late].min())
    east, north, up = vector
    return (
        f"the base appears to have moved by ({east:+.3f}, {north:+.3f}, {up:+.3f}) m east, north, up"
        f" between {clock(since)} and {clock(until)} UTC"
    )


def _hypotheses(prepared: Prepared, routes: Routes, settled: Settled, row: int) -> Iterator[Hypothesis]:
    on_marks = settled.occupations
    known = on_marks.known[row]
    yield from _other_marks(settled, on_marks.marks[row], known)
    yield from _of_the_register(prepared, routes, settled, row)
    yield from _of_the_sessions(prepared, routes, settled, row)
    separation = on_marks.corrected.ellipsoid_height[row] - on_marks.corrected.height[row]
    if abs(separation) > 0:
        text = f"the register's height is {{}} (geoid separation {separation:+.3f} m)"
        yield Hypothesis(
            Kind.ELLIPSOIDAL_HEIGHT, text.format("an ellipsoidal one"), np.array([0.0, 0.0, -separation])
        )
        yield Hypothesis(
            Kind.ELLIPSOIDAL_HEIGHT,
            text.format("reduced for the geoid twice, or the point's not at all"),
            np.array([0.0, 0.0, separation]),
        )


def _other_marks(settled: Settled, mark: str, known: Floats) -> Iterator[Hypothesis]:
    for name, grid in zip(settled.reference.names, settled.reference.grid, strict=True):
        if name != mark:
            yield Hypothesis(Kind.OTHER_MARK, f"the rover stood on {name}, not on {mark}", grid - known)


def _of_the_register(prepared: Prepared, routes: Routes, settled: Settled, row: int) -> Iterator[Hypothesis]:
    """Yield what a mistyped register coordinate would show: digits, axes swapped, feet taken for metres."""
    register, mark = prepared.register, settled.occupations.marks[row]
    number = register.find(mark) if register is not None else None
    if register is None or number is None or routes.register is None:
        return
    axes = _AXES[register.kind]
    given = np.array([register.first[number], register.second[number], register.third[number]])
    others: list[tuple[Kind, str, Floats]] = []
    for misread in misread_numbers(register.written[number]):
        try:
            value = float(misread.meant.replace(",", "."))
        except ValueError:
            continue
        meant = given.copy()
        meant[misread.component] = value
        how = "with two digits swapped" if misread.kind is Kind.DIGITS_SWAPPED else "with one digit wrong"
        text = f"{mark}'s {axes[misread.component]} was typed {how}: {misread.written} for {misread.meant}"
        others.append((misread.kind, text, meant))
    others.append((Kind.AXES_SWAPPED, f"{mark}'s {axes[0]} and {axes[1]} are swapped", given[[1, 0, 2]]))
    for unit, factor in _FEET.items():
        meant = given * np.array([1.0, 1.0, factor])
        others.append((Kind.FEET, f"{mark}'s height is in {unit}", meant))
    filled = np.array([other[2] for other in others])
    now = _in_grid(routes, np.where(np.isnan(given), 0.0, given)[None])[0]
    grid = _in_grid(routes, np.where(np.isnan(filled), 0.0, filled))
    for (kind, text, _), there in zip(others, grid, strict=True):
        if np.isfinite(there).all():
            yield Hypothesis(kind, text, there - now)


def _in_grid(routes: Routes, register: Floats) -> Floats:
    """Return (n, 3) register coordinates in the issued frame."""
    assert routes.register is not None
    xyz = routes.register.forward(*register.T)
    return np.column_stack(routes.frames.to_issued.forward(*xyz))


def _of_the_sessions(prepared: Prepared, routes: Routes, settled: Settled, row: int) -> Iterator[Hypothesis]:
    """Yield what another session's shift, or a field shift taken out once too often or not at all, would show."""
    on_marks = settled.occupations
    own = int(on_marks.session[row])
    lon, lat = on_marks.corrected.longitude[row], on_marks.corrected.latitude[row]
    for window in prepared.windows:
        shift = settled.shifts.shift[window.index]
        if window.index != own and np.isfinite(shift).all():
            local = geocentric_to_local(settled.shifts.shift[own] - shift, lon, lat)
            yield Hypothesis(
                Kind.OTHER_SESSION, f"the point belongs to the base of session {window.session.name}", local.ravel()
            )
    field = geocentric_to_local(settled.field.geocentric[own], lon, lat).ravel() + settled.field.grid[own]
    if field.any():
        yield Hypothesis(Kind.FIELD_SHIFT_TWICE, "the export does not carry the field shift here", -field)
        yield Hypothesis(Kind.FIELD_SHIFT_TWICE, "the export carries the field shift twice", field)
