"""Shifts that the field applied and the job does not state, planted in clean jobs in all the ways in which it happens.

What the field does is worked out from what it had: its own raw reading of a mark as exported, and the coordinates that
it was given, by the simulator's closed forms.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from blunder_world import Floats, World, chosen, move, turn_enu
from numpy.typing import NDArray
from simulate_plan import to_geocentric


@dataclass(frozen=True)
class Applied:
    """What a right reading says: all of ``says`` in its sentence."""

    says: tuple[str, ...]


Planter = Callable[[World], Applied | None]
Rows = NDArray[np.bool_]

#: Metres that a shift has at least, in position and in height, so that carrying it shows.
LEAST = (0.15, 0.25)


@dataclass(frozen=True)
class Day:
    """One session: its rows of occupations by time, the raw tie among them, and (3,) the shift that it gives, ENU."""

    session: int
    occupied: NDArray[np.int64]
    tie: int
    shift: Floats

    @property
    def after(self) -> NDArray[np.int64]:
        """The occupations later than the tie."""
        return self.occupied[list(self.occupied).index(self.tie) + 1 :]


def day(world: World, least: int = 2, ties: int = 1, session: int | None = None) -> Day | None:
    """Return a session tied by rovers with so many occupations after its last tie, None where the one drawn is not."""
    number = chosen(world, world.sessions()) if session is None else session
    table, rows = world.job.job["session"][number], world.job.rows
    if "setup" in table or len(table.get("ties", [])) != ties:
        return None
    here = np.flatnonzero((rows["session"] == number) & np.isin(rows["kind"], ["tie", "check"]))
    here = here[np.argsort(rows["time"][here], kind="stable")]
    tie = int(here[rows["kind"][here] == "tie"][-1])
    shift = given(world, tie)
    large = np.hypot(*shift[:2]) > LEAST[0] and abs(shift[2]) > LEAST[1]
    found = Day(number, here, tie, shift)
    return found if large and len(found.after) >= least else None


def mark_of(world: World, row: int) -> str:
    """Return the mark that a reading stands on."""
    name = world.job.rows["name"][row]
    return next(
        one["mark"] for number in world.sessions() for one in (*world.ties(number), *world.checks(number))
        if one["point"] == name
    )  # fmt: skip


def registered(world: World, mark: str) -> tuple[float, float, float]:
    """Return longitude, latitude and ellipsoidal height of a mark as the register has it printed."""
    first, second, third = (float(text) for text in world.register[mark])
    lon, lat = (first, second) if world.geographic else world.place.projection.inverse(first, second)
    separation = 0.0 if world.ellipsoidal else float(world.place.separation(np.array([lon]), np.array([lat]))[0])
    return float(lon), float(lat), third + separation


def given(world: World, row: int, at: tuple[float, float, float] | None = None) -> Floats:
    """Return (3,) east, north, up: what the field works out from its raw reading of a mark with its coordinates."""
    at = registered(world, mark_of(world, row)) if at is None else at
    rows, ellipsoid = world.job.rows, world.place.ellipsoid
    raw = to_geocentric(rows["longitude"][row], rows["latitude"][row], rows["height"][row], ellipsoid)
    vector = to_geocentric(*at, ellipsoid) - raw
    return np.asarray(turn_enu(at[0], at[1], np.eye(3)) @ vector)


def apply(world: World, carrying: Rows, row: int, shift: Floats) -> None:
    """Let the field add (3,) east, north, up, meant at the mark of a reading, to the readings that carry it."""
    lon, lat, _ = registered(world, mark_of(world, row))
    world.job.displace(carrying, turn_enu(lon, lat, shift))


def since(world: World, session: int, first: int, until: int | None = None) -> Rows:
    """Return which rows of a session lie from five minutes before one reading to five before another."""
    rows = world.job.rows
    five = np.timedelta64(300, "s")
    later = (rows["session"] == session) & (rows["time"] > rows["time"][first] - five)
    return later if until is None else later & (rows["time"] < rows["time"][until] - five)


def _told(world: World, row: int) -> str:
    return f"the shift that {world.job.rows['name'][row]} on {mark_of(world, row)} gives"


def _on(world: World, before: int, first: int) -> str:
    """Return the words for the time between two readings."""
    one, two = (str(world.job.rows["time"][row].astype("datetime64[s]")).replace("T", " ") for row in (before, first))
    return f"from between {one} and {two if one[:10] != two[:10] else two[11:]} UTC"


def _whole(factors: tuple[float, float, float], *says: str) -> Planter:
    """Return a planter of everything after the tie carrying its shift so many times in each component."""

    def plant(world: World) -> Applied | None:
        one = day(world)
        if one is None:
            return None
        first = int(one.after[0])
        apply(world, since(world, one.session, first), one.tie, one.shift * factors)
        return Applied((_told(world, one.tie), f"{_on(world, one.tie, first)} on", *says))

    return plant


def _rounded(world: World) -> Applied | None:
    one = day(world)
    if one is None:
        return None
    first = int(one.after[0])
    apply(world, since(world, one.session, first), one.tie, np.round(one.shift, 2))
    return Applied((_told(world, one.tie), f"{_on(world, one.tie, first)} on", "they differ by"))


def _in_grid(world: World) -> Applied | None:
    """Easting, northing and height, each by what the tie's raw reading lacks on the grid."""
    one = day(world)
    if one is None:
        return None
    first, rows, place = int(one.after[0]), world.job.rows, world.place
    carrying = since(world, one.session, first)

    def on_grid(lon: Floats, lat: Floats, up: Floats) -> Floats:
        return np.column_stack([*place.projection.forward(lon, lat), up - place.separation(lon, lat)])

    lon, lat, up = (np.array([value]) for value in registered(world, mark_of(world, one.tie)))
    raw = [rows[axis][[one.tie]] for axis in ("longitude", "latitude", "height")]
    added = on_grid(lon, lat, up) - on_grid(*raw)
    east, north, height = (on_grid(*(rows[axis][carrying] for axis in ("longitude", "latitude", "height"))) + added).T
    lon, lat = place.projection.inverse(east, north)
    for axis, values in zip(("longitude", "latitude", "height"), (lon, lat, height + place.separation(lon, lat)),
                            strict=True):  # fmt: skip
        rows[axis] = rows[axis].copy()
        rows[axis][carrying] = values
    return Applied((_told(world, one.tie), f"{_on(world, one.tie, first)} on"))


def _off_again(world: World) -> Applied | None:
    one = day(world, least=3)
    if one is None:
        return None
    first, last = int(one.after[0]), int(one.after[-1])
    apply(world, since(world, one.session, first, last), one.tie, one.shift)
    return Applied((_told(world, one.tie), _on(world, one.tie, first), "until between"))


def _part(key: str) -> Planter:
    """Return a planter of one receiver of two, or one file of two: every other row is of the second."""

    def plant(world: World) -> Applied | None:
        one = day(world, least=4)
        if one is None:
            return None
        rows = world.job.rows
        mine = rows["session"] == one.session
        second = np.zeros(len(mine), bool)
        second[np.flatnonzero(mine)[1::2]] = True
        second[one.occupied] = False
        second[one.after[::2]] = True
        if key == "base":
            rows["base"] = rows["base"].astype(object)
            rows["base"][second] = "ROVER-2"
            world.job.job["session"][one.session].pop("base", None)
            if world.job.plan.overlap:
                return None
        else:
            world.second = second
        apply(world, second & since(world, one.session, int(one.after[0])), one.tie, one.shift)
        who = "base id ROVER-2" if key == "base" else "rover002.csv"
        return Applied((_told(world, one.tie), who))

    return plant


def _once_more(world: World) -> Applied | None:
    """The tie is read once more, in the course of the day, with its shift on."""
    one = day(world, least=2)
    if one is None:
        return None
    row = int(one.after[int(world.random.integers(len(one.after) - 1))])
    table, rows = world.job.job["session"][one.session], world.job.rows
    check = next(check for check in table["checks"] if check["point"] == rows["name"][row])
    there = np.array(world.job.marks.geographic(mark_of(world, one.tie)))
    here = np.array(world.job.marks.geographic(check["mark"]))
    ellipsoid = world.place.ellipsoid
    chosen_row = np.arange(len(rows["name"])) == row
    world.job.displace(chosen_row, to_geocentric(*there, ellipsoid) - to_geocentric(*here, ellipsoid))
    check["mark"] = mark_of(world, one.tie)
    apply(world, chosen_row, one.tie, one.shift)
    return Applied((_told(world, one.tie), f"{rows['name'][row]} alone"))


def _another_mark(world: World) -> Applied | None:
    """The shift comes from a raw reading of a check mark; the job ties the day to another one."""
    one = day(world, least=3)
    if one is None:
        return None
    source, first = int(one.after[0]), int(one.after[1])
    shift = given(world, source)
    apply(world, since(world, one.session, first), source, shift)
    name = world.job.rows["name"][source]
    return Applied((f"{name}", f"{_on(world, source, first)} on"))


def _revised(world: World) -> Applied | None:
    """The field had other coordinates of the mark: 0.08 to 0.3 m from those that the register has now."""
    one = day(world)
    if one is None:
        return None
    lon, lat, up = registered(world, mark_of(world, one.tie))
    size, turn = world.random.uniform(0.08, 0.3), world.random.uniform(0, 2 * np.pi)
    off = np.array([size * np.sin(turn), size * np.cos(turn), world.random.normal(0, size)])
    if np.linalg.norm(off) > 0.2 * np.linalg.norm(one.shift):
        return None
    old = move(lon, lat, up, turn_enu(lon, lat, off), world.place.ellipsoid)
    first = int(one.after[0])
    apply(world, since(world, one.session, first), one.tie, given(world, one.tie, tuple(map(float, old))))
    mark = mark_of(world, one.tie)
    return Applied((_told(world, one.tie), f"{mark} had other coordinates"))


def _yesterdays(world: World) -> Applied | None:
    """The shift of the day before is still on in the morning, until somebody notices."""
    if len(world.sessions()) < 2 or world.job.plan.overlap:
        return None
    number = chosen(world, range(1, len(world.sessions())))
    one, before = day(world, session=number), day(world, session=number - 1)
    if one is None or before is None or np.linalg.norm(before.shift - one.shift) < 0.5:
        return None
    noticed = int(one.after[int(world.random.integers(len(one.after)))])
    start = (world.job.rows["session"] == number) & (
        world.job.rows["time"] < world.job.rows["time"][noticed] - np.timedelta64(300, "s")
    )
    apply(world, start, before.tie, before.shift)
    name = world.job.job["session"][number - 1]["name"]
    return Applied((f"session {name} had", "from the start until between"))


def _and_moved(world: World) -> Applied | None:
    """After the shift was switched on, the base moves as well, by 0.1 to 0.5 m, before the last two occupations."""
    one = day(world, least=4)
    if one is None:
        return None
    first, late = int(one.after[0]), int(one.after[-2])
    apply(world, since(world, one.session, first), one.tie, one.shift)
    size, turn = world.random.uniform(0.1, 0.5), world.random.uniform(0, 2 * np.pi)
    lon, lat, _ = registered(world, mark_of(world, one.tie))
    move_by = np.array([size * np.sin(turn), size * np.cos(turn), world.random.normal(0, 0.2 * size)])
    world.job.displace(since(world, one.session, late), turn_enu(lon, lat, -move_by))
    return Applied((_told(world, one.tie), f"{_on(world, one.tie, first)} on", "the base appears to have moved"))


def _and_pole(world: World) -> Applied | None:
    """A pole height is left out at one of the checks that carry the shift."""
    one = day(world, least=3)
    if one is None:
        return None
    first, row = int(one.after[0]), int(one.after[int(world.random.integers(len(one.after)))])
    apply(world, since(world, one.session, first), one.tie, one.shift)
    name = str(world.job.rows["name"][row])
    world.displace(name, np.array([0.0, 0.0, world.poles[row]]))
    return Applied((_told(world, one.tie), f"{_on(world, one.tie, first)} on", f"{name}'s", "left out"))


#: Every way in which a shift that the field applied is planted.
APPLIED: dict[str, Planter] = {
    "field shift not stated: all after the tie": _whole((1, 1, 1)),
    "field shift not stated: switched off again": _off_again,
    "field shift not stated: one receiver of two": _part("base"),
    "field shift not stated: one file of two": _part("file"),
    "field shift not stated: the tie read once more": _once_more,
    "field shift not stated: derived at another mark": _another_mark,
    "field shift not stated: mark revised since": _revised,
    "field shift not stated: applied twice": _whole((2, 2, 2), "twice"),
    "field shift not stated: subtracted": _whole((-1, -1, -1), "opposite sign"),
    "field shift not stated: in position only": _whole((1, 1, 0), "in position only"),
    "field shift not stated: in height only": _whole((0, 0, 1), "in height only"),
    "field shift not stated: in the grid": _in_grid,
    "field shift not stated: rounded to centimetres": _rounded,
    "field shift not stated: kept from yesterday": _yesterdays,
    "field shift not stated: and the base moved later": _and_moved,
    "field shift not stated: and a pole height left out": _and_pole,
}
