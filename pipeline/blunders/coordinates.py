"""What the register's coordinates of a mark may have been meant to be: typing, axes, zones, datums, heights, feet."""

from collections import Counter

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.blunders.outlook import Outlook
from pipeline.blunders.scope import Former, Scope
from pipeline.blunders.score import Hypothesis, Kind
from pipeline.control import Register
from pipeline.control.register_rows import POSITION
from pipeline.geodesy.crs import ELLIPSOID
from pipeline.geodesy.misread_coordinates import left_out, neighbouring_zones, other_datums
from pipeline.geodesy.transform import Operation
from pipeline.geodesy.units import FOOT, SURVEY_FOOT
from pipeline.job.model import ControlSection
from pipeline.plausible.digits import Slip, misread_numbers
from pipeline.plausible.misreadings import EXCHANGED, FIRST_SIGN, NORTHERN, SECOND_SIGN, SOUTHERN, Misreading

#: A datum is a reading only where its offset is this many times what its operation is good to.
_TOLD_APART = 3.0
#: Metres, a geoid separation below which the two kinds of height are one.
_SAME_HEIGHT = 0.001
_SLIPS = {
    Slip.SWAPPED: (Kind.DIGITS_SWAPPED, "with two digits swapped"),
    Slip.DIGIT: (Kind.DIGIT_WRONG, "with one digit wrong"),
}
_AXES = {
    "projected": ("easting", "northing", "height"),
    "geographic": ("longitude", "latitude", "ellipsoidal height"),
}


class _Meant(Struct):
    """Coordinates that may have been meant, in the register's CRS, with what would have happened to them.

    In the end ``grid`` and ``xyz`` (k, 3) are the same in the issued and the working frame, NaN where out of reach.
    """

    kinds: list[Kind] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    coordinates: list[Floats] = field(default_factory=list)
    slacks: list[float] = field(default_factory=list)
    grid: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    xyz: Floats = field(default_factory=lambda: np.zeros((0, 3)))

    def add(self, kind: Kind, text: str, coordinates: Floats, slack: float = 0.0) -> None:
        """Take one up."""
        self.kinds.append(kind)
        self.texts.append(text)
        self.coordinates.append(coordinates)
        self.slacks.append(slack)


def typed(scope: Scope, mark: str, outlook: Outlook) -> tuple[Counter[Kind], list[Hypothesis]]:
    """Return every hypothesis that a mark's coordinates in the register are not what they were meant to be.

    All of them are counted by kind; those that cannot fit are told by a few rows, and left out.
    """
    reference = scope.case.solved.reference
    meant = scope.case.once(("typed", mark), lambda: _meant(scope, mark))
    if meant is None:
        return Counter(), []
    at = scope.case.number[mark]
    written = np.nan_to_num(reference.grid[at])
    kinds, slacks = np.array(meant.kinds, object), np.array(meant.slacks)
    whole = np.flatnonzero(np.isfinite(meant.grid).all(axis=1) & (meant.grid != written).any(axis=1))

    def shapes(chosen: Integers, rows: Integers | None = None) -> Floats:
        grid, xyz = meant.grid[chosen], meant.xyz[chosen]
        return scope.influence.typed(mark, written, grid, reference.xyz[at], xyz, rows)

    some = shapes(whole, outlook.rows)
    finite = np.isfinite(some).all(axis=(1, 2))
    whole, some = whole[finite], some[finite]
    near = whole[outlook.may_fit(some, slacks[whole])]
    shown = shapes(near)
    finite = np.isfinite(shown).all(axis=(1, 2))
    decide = f"an occupation of another mark, or {mark}'s published coordinates"
    found = [
        Hypothesis(meant.kinds[place], meant.texts[place], shape, decide=decide, slack=meant.slacks[place])
        for place, shape in zip(near[finite].tolist(), shown[finite], strict=True)
    ]
    return Counter(kinds[whole].tolist()), found


def _meant(scope: Scope, mark: str) -> _Meant | None:
    """Return everything that the coordinates of a mark may have been meant to be, None for a mark of no register."""
    case = scope.case
    register, control, operation = case.survey.register, case.survey.job.control, case.survey.operations.register
    number = register.find(mark) if register is not None else None
    if register is None or control is None or operation is None or number is None:
        return None
    at = case.number[mark]
    given = _given(register, number, case.solved.reference.xyz[at], operation)
    meant = _Meant()
    _former(meant, mark, register, number, given, case.former)
    _misread(meant, mark, register, number, given)
    _turned(meant, mark, register, given)
    _otherwise(meant, mark, register.kind, control, scope, given)
    _heights(meant, mark, control, scope, given, operation)
    meant.xyz = np.column_stack(operation.forward(*np.array(meant.coordinates).T))
    meant.grid = np.column_stack(case.survey.operations.frames.to_issued.forward(*meant.xyz.T))
    # what the register does not give is not compared either
    meant.grid[:, np.isnan(register_row(register, number))] = 0.0
    offset = np.hypot(*(meant.grid - case.solved.reference.grid[at])[:, :2].T)
    meant.grid[offset < _TOLD_APART * np.array(meant.slacks)] = np.nan
    return meant


def register_row(register: Register, number: int) -> Floats:
    """Return (3,) the register's coordinates of a mark, NaN where it has none."""
    return np.array([register.first[number], register.second[number], register.third[number]])


def _given(register: Register, number: int, xyz: Floats, operation: Operation) -> Floats:
    """Return (3,) the register's coordinates, and where it has none those of the place that stands in for it."""
    given = register_row(register, number)
    instead = np.array([float(part) for part in operation.inverse(*xyz)])
    return np.nan_to_num(np.where(np.isnan(given), instead, given))


def _former(meant: _Meant, mark: str, register: Register, number: int, given: Floats, former: Former | None) -> None:
    """Take up the coordinates that the mark had when the issue was made that is drawn from, where they were others."""
    row = former.row(mark) if former is not None else None
    if former is None or row is None:
        return
    keys = POSITION[register.kind]
    before = [str(row.get(key, "")) for key in (*keys, "height")]
    coordinates, told = given.copy(), []
    for component, (text, written) in enumerate(zip(before, register.written[number], strict=True)):
        if text == written or not text or not written:
            continue
        try:
            coordinates[component] = float(text.replace(",", ".")) * register.unit[component]
        except ValueError:  # written in another way than as a plain number
            return
        told.append(f"{_AXES[register.kind][component]} {text} (now {written})")
    if told:
        agrees = "with it the check agrees" if len(told) == 1 else "with them the check agrees"
        text = f"the register of issue {former.issue:03d} had {mark}'s {', '.join(told)}; {agrees}"
        meant.add(Kind.REGISTER_BEFORE, text, coordinates)


def _misread(meant: _Meant, mark: str, register: Register, number: int, given: Floats) -> None:
    axes = _AXES[register.kind]
    for misread in misread_numbers(register.written[number]):
        try:
            value = float(misread.meant.replace(",", "."))
        except ValueError:
            continue
        coordinates = given.copy()
        coordinates[misread.component] = value * register.unit[misread.component]
        kind, how = _SLIPS[misread.how]
        text = f"{mark}'s {axes[misread.component]} was typed {how}: {misread.written} for {misread.meant}"
        meant.add(kind, text, coordinates)


def _turned(meant: _Meant, mark: str, register: Register, given: Floats) -> None:
    """Take up swapped axes, the other hemisphere, and feet."""
    axes = _AXES[register.kind]
    meant.add(Kind.AXES_SWAPPED, f"{mark}'s {axes[0]} and {axes[1]} are swapped", _instead(EXCHANGED, given))
    for factor, text in ((FOOT, "is in feet"), (1.0 / FOOT, "was converted from feet to metres twice")):
        meant.add(Kind.FEET, f"{mark}'s height {text}", given * np.array([1.0, 1.0, factor]))
    if register.kind == "geographic":
        for axis, sign in zip(axes, (FIRST_SIGN, SECOND_SIGN), strict=False):
            meant.add(Kind.HEMISPHERE, f"{mark}'s {axis} has the wrong sign", _instead(sign, given))
        return
    for factor, text in (
        (FOOT / SURVEY_FOOT, "as US survey feet instead of international feet"),
        (SURVEY_FOOT / FOOT, "as international feet instead of US survey feet"),
    ):
        other = _instead(Misreading(factors=(factor, factor)), given)
        meant.add(Kind.FEET, f"{mark}'s easting and northing were converted to metres {text}", other)
    for half in (SOUTHERN, NORTHERN):
        meant.add(Kind.HEMISPHERE, f"{mark}'s northing is that of the other hemisphere", _instead(half, given))


def _instead(misreading: Misreading, given: Floats) -> Floats:
    """Return (3,) coordinates as they were meant; the height as it is."""
    return np.append(misreading.meant(given[:2]), given[2])


def _otherwise(meant: _Meant, mark: str, kind: str, control: ControlSection, scope: Scope, given: Floats) -> None:
    """Take up other datums, neighbouring zones, and a false origin or digits in front; the height goes along."""
    for datum in other_datums(control.crs, scope.case.survey.operations.area, given[0], given[1]):
        text = f"{mark}'s coordinates are in {datum.name}"
        meant.add(Kind.DATUM, text, np.array([datum.first, datum.second, given[2]]), datum.accuracy)
    if kind == "projected":
        for zone in neighbouring_zones(control.crs, given[0], given[1]):
            text = f"{mark}'s easting and northing are those of a neighbouring zone, {zone.name}"
            meant.add(Kind.ZONE, text, np.array([zone.first, zone.second, given[2]]))
        centre = scope.case.survey.operations.area.centre
        for one in left_out(control.crs, (float(given[0]), float(given[1])), centre):
            text = f"{mark}'s easting and northing were meant {one.name}"
            meant.add(Kind.ORIGIN, text, given + np.array([one.east, one.north, 0.0]))


def _heights(
    meant: _Meant, mark: str, control: ControlSection, scope: Scope, given: Floats, operation: Operation
) -> None:
    """Take up an ellipsoidal height for a datum height or the other way, by the separation where the readings lie."""
    case, on_marks = scope.case, scope.case.solved.occupations
    rows = [row for row in scope.influence.rows if on_marks.marks[row] == mark] or [int(scope.influence.rows[0])]
    found = on_marks.corrected
    longitude, latitude, up = found.longitude[rows[0]], found.latitude[rows[0]], found.ellipsoid_height[rows[0]]
    ellipsoidal = control.height == ELLIPSOID
    if ellipsoidal:
        separation = float(up - found.height[rows[0]])
    else:
        xyz = case.survey.operations.frames.to_geographic.inverse(longitude, latitude, up)
        separation = float(up - operation.inverse(*xyz)[2])
    if not np.isfinite(separation) or abs(separation) < _SAME_HEIGHT:
        return
    told = f"(geoid separation {separation:+.3f} m)"
    ways = (1, "is a datum height, not an ellipsoidal one"), (-1, "has the geoid separation added twice")
    if not ellipsoidal:
        ways = (-1, "is an ellipsoidal one"), (1, "had the geoid separation subtracted twice")
    for way, what in ways:
        other = given + np.array([0.0, 0.0, way * separation])
        meant.add(Kind.HEIGHT_SYSTEM, f"{mark}'s height in the register {what} {told}", other)
