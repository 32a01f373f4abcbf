"""Blunders planted in clean jobs, each at least twice as large as the tolerances, and the readings that are right.

A planter changes a `World` and says what a right reading's kind is and which words its sentence must have; or it
returns None where the job that was drawn has no room for its blunder, and another one is drawn.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from blunder_field import APPLIED, Applied
from blunder_world import BORDER, CANTERBURY, CENTRAL_JAVA, GRS80, Floats, World, chosen, move, set_up, turn_enu, utm
from simulate_plan import Ellipsoid, to_geocentric, to_geographic

#: Metres: the default tolerances of [checks], and twice them.
TOLERANCE = (0.030, 0.050)
LEAST = (0.060, 0.060, 0.100)
FOOT, SURVEY_FOOT = 0.3048, 1200 / 3937


@dataclass(frozen=True)
class Planted:
    """What a right reading says: one of ``kinds``, with all of ``says`` in its sentence. Without kinds: a note.

    ``moved`` are the metres east, north, up by which the failing occupations must be said to be off; ``size`` is how
    large an error without a reason was made, in tolerances.
    """

    kinds: tuple[str, ...]
    says: tuple[str, ...] = ()
    moved: tuple[float, float, float] | None = None
    size: float = 0.0


Planter = Callable[[World], Planted | None]

# --- the register ---------------------------------------------------------------------------------------------------


def _check_mark(world: World) -> str | None:
    """Return a mark that checks a session and ties none."""
    tied = {tie["mark"] for session in world.sessions() for tie in world.ties(session)}
    tied |= {table["setup"]["mark"] for table in world.job.job["session"] if "setup" in table}
    marks = {check["mark"] for session in world.sessions() for check in world.checks(session)} - tied
    return str(world.random.choice(sorted(marks))) if marks else None


def _tie_mark(world: World) -> str | None:
    """Return a mark that ties a session."""
    marks = {tie["mark"] for session in world.sessions() for tie in world.ties(session)}
    return str(world.random.choice(sorted(marks))) if marks else None


Which = Callable[[World], str | None]


def _metres(world: World, mark: str, column: int) -> float:
    """Return how many metres one unit of a register's coordinate is."""
    if column == 2 or not world.geographic:
        return 1.0
    latitude = world.job.marks.geographic(mark)[1]
    return 111_000.0 * (1.0 if column else float(np.cos(np.radians(latitude))))


def _retype(which: Which, columns: tuple[int, ...], swapped: bool, most: float = 1e9) -> Planter:
    """Return a planter that swaps two neighbouring digits of a coordinate, or gets one of them wrong.

    ``most`` limits the error in metres: a tie on a mark that is half the earth away leaves no job to read.
    """

    def plant(world: World) -> Planted | None:
        mark, column = which(world), chosen(world, list(columns))
        if mark is None:
            return None
        true = world.register[mark][column]
        size = _metres(world, mark, column)
        wrong = []
        for text in _swaps(true) if swapped else _replaced(true):
            off = abs(float(text) - float(true)) * size
            if LEAST[column] <= off <= most and _on_earth(world, text, column):
                wrong.append(text)
        if not wrong:
            return None
        world.register[mark][column] = str(world.random.choice(wrong))
        kind = "digits swapped" if swapped else "digit wrong"
        return Planted((kind,), (f"{mark}'s", f"{world.register[mark][column]} for {true}"))

    return plant


def _on_earth(world: World, text: str, column: int) -> bool:
    """Whether a register reader would take the number at all."""
    return not world.geographic or column == 2 or abs(float(text)) <= (360, 90)[column]


def _swaps(text: str) -> list[str]:
    places = [n for n, character in enumerate(text) if character.isdigit()]
    found = []
    for one, two in pairwise(places):
        changed = list(text)
        changed[one], changed[two] = text[two], text[one]
        found.append("".join(changed))
    return found


def _replaced(text: str) -> list[str]:
    places = [n for n, character in enumerate(text) if character.isdigit()]
    return [text[:n] + digit + text[n + 1 :] for n in places for digit in "0123456789"]


def axes_swapped(world: World) -> Planted | None:
    """Easting and northing, on a grid."""
    mark = _check_mark(world)
    if mark is None or world.geographic:
        return None
    first, second, third = world.register[mark]
    world.register[mark] = [second, first, third]
    return Planted(("axes swapped",), (f"{mark}'s easting and northing",))


def latitude_longitude_swapped(world: World) -> Planted | None:
    """Where the longitude is one that could be a latitude; elsewhere the register's reader refuses it."""
    mark = _check_mark(world)
    if mark is None or not world.geographic or world.place is not BORDER:
        return None
    first, second, third = world.register[mark]
    world.register[mark] = [second, first, third]
    return Planted(("axes swapped",), (f"{mark}'s longitude and latitude",))


def hemisphere(world: World) -> Planted | None:
    """The sign of a latitude or a longitude, or the false northing of the other hemisphere."""
    mark = _check_mark(world)
    if mark is None or (not world.geographic and world.place is CANTERBURY):
        return None
    text = world.register[mark]
    if world.geographic:
        column = chosen(world, [0, 1])
        text[column] = text[column][1:] if text[column].startswith("-") else f"-{text[column]}"
        return Planted(("hemisphere",), (f"{mark}'s {world.axes[column]}",))
    text[1] = f"{float(text[1]) + (-1e7 if world.place is CENTRAL_JAVA else 1e7):.3f}"
    return Planted(("hemisphere",), (f"{mark}'s northing",))


def neighbouring_zone(world: World) -> Planted | None:
    """Coordinates of the next UTM zone in a register of this one."""
    mark = _check_mark(world)
    if mark is None or world.geographic or world.place is not BORDER:
        return None
    lon, lat, _ = world.job.marks.geographic(mark)
    east, north = utm(34, south=False, ellipsoid=GRS80).forward(lon, lat)
    world.register[mark][:2] = [f"{float(east):.3f}", f"{float(north):.3f}"]
    return Planted(("neighbouring zone",), (f"{mark}'s",))


#: False easting and northing of the places' grids, from the EPSG dataset.
_FALSE = {CANTERBURY.grid: (1.6e6, 1e7), CENTRAL_JAVA.grid: (5e5, 0.0), BORDER.grid: (5e5, 0.0)}


def false_easting(world: World) -> Planted | None:
    """An easting without what the grid adds to it."""
    mark = _check_mark(world)
    if mark is None or world.geographic:
        return None
    text, added = world.register[mark], _FALSE[world.place.grid][0]
    text[0] = f"{float(text[0]) - added:.3f}"
    return Planted(("false origin",), (f"{mark}'s", "false easting", "added"))


def _ground(origin: bool) -> Planter:
    """Return a planter that scales the whole register, about one of its marks or about the origin of the numbers.

    Only where a session's checks on two marks or more show it, for a scale is not told from one of them otherwise.
    """

    def plant(world: World) -> Planted | None:
        if world.geographic:
            return None
        scale = float(world.random.choice([-1.0, 1.0]) * world.random.uniform(40e-6, 250e-6))
        names = list(world.register)
        plan = np.array([[float(text) for text in world.register[name][:2]] for name in names])
        at = dict(zip(names, plan, strict=True))
        for number in world.sessions():
            table = world.job.job["session"][number]
            tied = [tie["mark"] for tie in table.get("ties", [])] or [table["setup"]["mark"]]
            middle = np.mean([at[mark] for mark in tied], axis=0)
            checked = {check["mark"] for check in world.checks(number)} - set(tied)
            shown = [mark for mark in checked if abs(scale) * float(np.hypot(*(at[mark] - middle))) > LEAST[0]]
            if len(shown) < 2:
                return None
        about = np.zeros(2) if origin else plan[0]
        for name, (east, north) in zip(names, about + (plan - about) * (1.0 + scale), strict=True):
            world.register[name][:2] = [f"{east:.3f}", f"{north:.3f}"]
        return Planted(("one scale",), ("longer" if scale > 0.0 else "shorter", "combined scale factor"))

    return plant


#: Per place: name of a datum of the area, its ellipsoid, the seven parameters to the job's datum (metres, arc seconds,
#: parts per million; position vector rotations, EPSG method 9606) from the EPSG dataset, and metres they are good to.
_DATUMS = {
    # NZGD49 to NZGD2000 (2)
    CANTERBURY.grid: ("NZGD49", Ellipsoid(6378388.0, 297.0),
                      (59.47, -5.04, 187.44, 0.47, -0.1, 1.024, -4.5993), 1.0),
    # ID74 to DGN95 (1), followed by less than a metre to SRGI2013
    CENTRAL_JAVA.grid: ("ID74", Ellipsoid(6378160.0, 298.247),
                        (-1.977, -13.06, -9.993, 0.364, 0.254, 0.689, -1.037), 0.5),
    # HD72 to ETRS89 (2)
    BORDER.grid: ("HD72", Ellipsoid(6378160.0, 298.247167427),
                  (52.684, -71.194, -13.975, -0.312, -0.1063, -0.3729, 1.0191), 0.1),
}  # fmt: skip


def other_datum(world: World) -> Planted | None:
    """Position of an older datum of the area, with distortions about as large as its parameters leave."""
    mark = _check_mark(world)
    if mark is None:
        return None
    name, ellipsoid, parameters, distortion = _DATUMS[world.place.grid]
    lon, lat, up = world.job.marks.geographic(mark)
    xyz = to_geocentric(lon, lat, up, world.place.ellipsoid)
    lon, lat, _ = (float(v) for v in to_geographic(_back(xyz, parameters), ellipsoid))
    off = turn_enu(lon, lat, np.append(world.random.normal(0, distortion, 2), 0.0))
    lon, lat, _ = (float(v) for v in move(lon, lat, 0.0, off, ellipsoid))
    first, second = (lon, lat) if world.geographic else world.place.projection.forward(lon, lat)
    digits = 9 if world.geographic else 3
    world.register[mark][:2] = [f"{float(first):.{digits}f}", f"{float(second):.{digits}f}"]
    return Planted(("other datum",), (f"{mark}'s", name))


def _back(xyz: Floats, parameters: tuple[float, ...]) -> Floats:
    """Take (3,) X, Y, Z back through a position vector transformation (EPSG method 1033)."""
    x, y, z, rx, ry, rz, scale = parameters
    a, b, c = np.radians(np.array([rx, ry, rz]) / 3600)
    turn = np.array([[1, -c, b], [c, 1, -a], [-b, a, 1]])
    return np.asarray(np.linalg.solve((1 + scale * 1e-6) * turn, xyz - np.array([x, y, z])))


def _height_system(which: Which, most: float = 1e9) -> Planter:
    def plant(world: World) -> Planted | None:
        mark = which(world)
        if mark is None or world.place.geoid is None:
            return None
        lon, lat, _ = world.job.marks.geographic(mark)
        separation = float(world.place.separation(np.array([lon]), np.array([lat]))[0])
        if not LEAST[2] <= abs(separation) <= most:
            return None
        way = -1 if world.ellipsoidal else 1
        world.register[mark][2] = f"{float(world.register[mark][2]) + way * separation:.3f}"
        return Planted(("height system",), (f"{mark}'s height",))

    return plant


def height_in_feet(world: World) -> Planted | None:
    """A height in feet, international or US survey: they differ by less than a millimetre here."""
    mark = _check_mark(world)
    if mark is None:
        return None
    foot = (FOOT, SURVEY_FOOT)[chosen(world, [0, 1])]
    world.register[mark][2] = f"{float(world.register[mark][2]) / foot:.3f}"
    return Planted(("feet",), (f"{mark}'s height",))


def wrong_foot(world: World) -> Planted | None:
    """Easting and northing taken from feet to metres with the other foot: two millionths."""
    mark = _check_mark(world)
    if mark is None or world.geographic:
        return None
    factor = (FOOT / SURVEY_FOOT, SURVEY_FOOT / FOOT)[chosen(world, [0, 1])]
    world.register[mark][:2] = [f"{float(text) * factor:.3f}" for text in world.register[mark][:2]]
    return Planted(("feet",), (f"{mark}'s easting and northing",))


# --- occupations ----------------------------------------------------------------------------------------------------


def _stand_on(world: World, point: str, mark: str) -> str:
    """Let a rover stand on another mark than the job file says; return that mark."""
    other = str(world.random.choice(sorted(set(world.register) - {mark})))
    at = [np.array(world.job.marks.geographic(name)) for name in (mark, other)]
    here, there = (to_geocentric(*place, world.place.ellipsoid) for place in at)
    world.job.displace(world.job.rows["name"] == point, there - here)
    return other


def another_mark_at_check(world: World) -> Planted | None:
    """A check on another mark than it says."""
    check = _a_check(world)[1]
    other = _stand_on(world, check["point"], check["mark"])
    return Planted(("other mark",), (f"{check['point']} was on {other}",))


def another_mark_at_tie(world: World) -> Planted | None:
    """A tie on another mark than it says."""
    ties = [tie for session in world.sessions() for tie in world.ties(session)]
    if not ties:
        return None
    tie = ties[chosen(world, range(len(ties)))]
    other = _stand_on(world, tie["point"], tie["mark"])
    return Planted(("other mark",), (f"{tie['point']} was on {other}",))


def _a_check(world: World) -> tuple[int, dict[str, str]]:
    session = chosen(world, world.sessions())
    checks = world.checks(session)
    return session, checks[chosen(world, range(len(checks)))]


#: How much too high a position is for a stated height of one metre, and what a right reading calls it.
_WRONG = {"left out": 1.0, "applied twice": -1.0, "in feet": -(1 - FOOT)}


def _pole(how: str) -> Planter:
    def plant(world: World) -> Planted | None:
        _, check = _a_check(world)
        pole = world.poles[world.row(check["point"])]
        world.displace(check["point"], np.array([0.0, 0.0, pole * _WRONG[how]]))
        return Planted(("antenna or pole height",), (f"{check['point']}'s", how))

    return plant


def _base_antenna(how: str) -> Planter:
    """Return a planter for the antenna height of a base over a mark: the position broadcast is that much too high."""

    def plant(world: World) -> Planted | None:
        session = chosen(world, world.sessions())
        if "setup" not in world.job.job["session"][session]:
            set_up(world, session)
        table = world.job.job["session"][session]
        if table.get("ties"):
            return None
        up = table["setup"]["antenna_height"] * _WRONG[how]
        # what was broadcast is off, and not the rovers' positions against it: the antenna's height is used only here
        table["setup"]["ellipsoid_height"] += up
        return Planted(("antenna or pole height",), ("the base's antenna", how))

    return plant


# --- in time --------------------------------------------------------------------------------------------------------


def _field_shift(times: int) -> Planter:
    """Return a planter of a field shift from the middle of a session, which the export has so many times, not once."""

    def plant(world: World) -> Planted | None:
        session = chosen(world, world.sessions())
        table, rows = world.job.job["session"][session], world.job.rows
        if "setup" in table or not table.get("ties"):
            return None
        late = _late(world, session, 1)
        if late is None:
            return None
        start = rows["time"][world.row(late[0])] - np.timedelta64(600, "s")
        moment = start.astype("datetime64[us]").item().replace(tzinfo=dt.UTC)
        vector = world.random.normal(0, [1.0, 1.0, 3.0])
        vector += np.sign(vector) * 0.1
        table["field_shift"] = {"from": moment, **dict(zip(("east", "north", "up"), map(float, vector), strict=True))}
        for _ in range(times):
            world.job.correct_in_field(session, moment, *vector)
        return Planted(("field shift",), ("does not carry the field shift" if times == 0 else "twice",))

    return plant


def _late(world: World, session: int, count: int) -> list[str] | None:
    """Return the last ``count`` checks of a session, where an earlier occupation stands before them."""
    checks = world.checks(session)
    if len(checks) <= count:
        return None
    return [check["point"] for check in checks[-count:]]


def _knocked(count: int) -> Planter:
    """Return a planter of a base that moves before the last ``count`` checks, by 0.1 to 0.5 m, mostly sideways."""

    def plant(world: World) -> Planted | None:
        session = chosen(world, world.sessions())
        late, rows = _late(world, session, count), world.job.rows
        if late is None:
            return None
        marks = {check["mark"] for check in world.checks(session)[-count:]}
        before = rows["time"][world.row(late[0])] > rows["time"][world.row(world.checks(session)[-count - 1]["point"])]
        if len(marks) < count or not before:
            return None
        size, turn = world.random.uniform(0.1, 0.5), world.random.uniform(0, 2 * np.pi)
        move = np.array([size * np.sin(turn), size * np.cos(turn), world.random.normal(0, 0.2 * size)])
        first = rows["time"][world.row(late[0])]
        _move_later(world, session, first - np.timedelta64(60, "s"), np.zeros(3), move)
        occupations = (rows["session"] == session) & np.isin(rows["kind"], ["tie", "check"])
        last = rows["time"][occupations & (rows["time"] < first)].max()
        window = f"between {_clock(last)} and {_clock(first)} UTC"
        return Planted(("base moved",), ("moved", window), moved=tuple(map(float, -move)))

    return plant


def _clock(time: np.datetime64) -> str:
    return str(time.astype("datetime64[s]")).replace("T", " ")


def _move_later(world: World, session: int, since: np.datetime64, rate: Floats, move: Floats) -> None:
    """Let a base move (3,) metres at a time, or so many an hour from it on: its points move against it."""
    rows, bases = world.job.rows, world.job.bases
    chosen = (rows["session"] == session) & (rows["time"] >= since)
    hours = (rows["time"][chosen] - since) / np.timedelta64(1, "h")
    enu = -(move + np.outer(hours, rate))
    world.job.displace(chosen, turn_enu(bases.longitude[session], bases.latitude[session], enu))


def drifting(world: World) -> Planted | None:
    """A tripod that settles and leans all day: at its last check at least twice the tolerances off."""
    session = chosen(world, world.sessions())
    rows, checks = world.job.rows, world.checks(session)
    hours = world.hours(session)
    at = [hours[world.row(check["point"])] for check in checks]
    if len(checks) < 3 or at[-1] - at[-2] < 1.0 or at[-2] < 1.0:
        return None  # opening and close alone cannot tell a drift from a knock
    turn = world.random.uniform(0, 2 * np.pi)
    level, down = world.random.uniform(1.0, 4.0) * LEAST[0], world.random.uniform(1.0, 3.0) * LEAST[2]
    whole = np.array([level * np.sin(turn), level * np.cos(turn), -down])
    _move_later(world, session, rows["time"][rows["session"] == session].min(), whole / at[-1], np.zeros(3))
    return Planted(("base drifts",), ("drift",))


def against_other_base(world: World) -> Planted | None:
    """A check corrected by another base that runs at the same time, under the base id of its session."""
    session, check = _a_check(world)
    if not world.job.plan.overlap:
        return None
    other = chosen(world, [number for number in world.sessions() if number != session])
    world.job.displace(world.job.rows["name"] == check["point"], world.job.shifts[session] - world.job.shifts[other])
    name = world.job.job["session"][other]["name"]
    return Planted(("other session",), (f"{check['point']} was observed against the base of session {name}",))


def whole_hours(world: World) -> Planted | None:
    """The clock of the whole export is off by hours, so that readings fall outside all sessions."""
    if len(world.job.rows["name"]) < 10:
        return None  # too few to say anything of their clock
    hours = chosen(world, [n for n in range(-12, 14) if abs(n) > 8])  # sessions last eight hours
    world.job.rows["time"] = world.job.rows["time"] + np.timedelta64(hours, "h")
    return Planted((), (f"{abs(hours)} h {'earlier' if hours > 0 else 'later'}",))


def unexplained(level: bool = True, height: bool = True) -> Planter:
    """Return a planter of an error without a reason on one check: 1 to 100 tolerances, every octave and direction."""

    def plant(world: World) -> Planted | None:
        _, check = _a_check(world)
        vector = world.random.normal(0, 1, 3) * [level, level, height]
        size = float(100.0 ** world.random.uniform())
        across, up = float(np.hypot(*vector[:2])), abs(float(vector[2]))
        world.displace(check["point"], size * vector / max(across / TOLERANCE[0], up / TOLERANCE[1]))
        return Planted(("point unexplained",), (f"{check['point']} alone",), size=size)

    return plant


def _applied(plant: Callable[[World], Applied | None]) -> Planter:
    def planted(world: World) -> Planted | None:
        found = plant(world)
        return None if found is None else Planted(("field shift not stated",), found.says)

    return planted


#: Every kind of blunder that is planted.
BLUNDERS: dict[str, Planter] = {
    "check mark: two digits swapped in easting or longitude": _retype(_check_mark, (0,), True),
    "check mark: two digits swapped in northing or latitude": _retype(_check_mark, (1,), True),
    "check mark: two digits swapped in height": _retype(_check_mark, (2,), True),
    "check mark: one digit wrong": _retype(_check_mark, (0, 1, 2), False),
    "check mark: easting and northing swapped": axes_swapped,
    "check mark: latitude and longitude swapped": latitude_longitude_swapped,
    "check mark: hemisphere": hemisphere,
    "check mark: neighbouring zone": neighbouring_zone,
    "check mark: grid's false easting left out": false_easting,
    "check mark: other datum of the area": other_datum,
    "check mark: height in the other system": _height_system(_check_mark),
    "check mark: height in feet": height_in_feet,
    "check mark: US survey against international feet": wrong_foot,
    "tie mark: two digits swapped": _retype(_tie_mark, (0, 1, 2), True, 10_000.0),
    "tie mark: one digit wrong": _retype(_tie_mark, (0, 1, 2), False, 10_000.0),
    "tie mark: height in the other system": _height_system(_tie_mark),
    "register in ground distances, about a mark": _ground(origin=False),
    "register in ground distances, about the origin": _ground(origin=True),
    "another mark occupied at a check": another_mark_at_check,
    "another mark occupied at a tie": another_mark_at_tie,
    "pole height left out at a check": _pole("left out"),
    "pole height applied twice at a check": _pole("applied twice"),
    "pole height in feet at a check": _pole("in feet"),
    "base antenna height left out": _base_antenna("left out"),
    "base antenna height applied twice": _base_antenna("applied twice"),
    "base antenna height in feet": _base_antenna("in feet"),
    "field shift carried twice": _field_shift(2),
    "field shift not carried": _field_shift(0),
    "base moved before one late check": _knocked(1),
    "base moved before two late checks": _knocked(2),
    "base drifts": drifting,
    "check observed against another base": against_other_base,
    "export's clock off by whole hours": whole_hours,
    **{kind: _applied(plant) for kind, plant in APPLIED.items()},
}

#: Errors without a reason, to see how often a reason is made up.
RANDOM: dict[str, Planter] = {
    "any direction": unexplained(),
    "position only": unexplained(height=False),
    "height only": unexplained(level=False),
}
