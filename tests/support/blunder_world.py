"""Clean jobs drawn at random, for planting blunders in: places, registers, sessions, ties, checks, noise all vary."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from simulate import CANTERBURY, CENTRAL_JAVA, Place, Plan, Simulation, simulate
from simulate_plan import GRS80, Floats, move, turn_enu, utm

__all__ = ["BORDER", "CANTERBURY", "CENTRAL_JAVA", "GRS80", "Floats", "World", "draw", "move", "turn_enu", "utm"]

#: Near the edge of a UTM zone, where the neighbouring one is used too; heights above the ellipsoid.
BORDER = Place(
    17.85, 47.40, 160.0, GRS80, utm(33, south=False, ellipsoid=GRS80), "EPSG:25833", "EPSG:4937", "ellipsoid", None,
)  # fmt: skip

#: The 3D geographic CRS of each place, which its geographic register is in.
_GEOGRAPHIC = {place.grid: place.source for place in (CANTERBURY, CENTRAL_JAVA, BORDER)}

#: Metres, pole heights that rovers are used with, and the radius of the 95 % circle and the 95 % height of registers.
_POLES, _HU95, _VU95 = (1.5, 1.8, 2.0), (0.005, 0.008), (0.010, 0.015)
#: Decimals of a register: millimetres on the grid, a tenth of one in degrees.
_METRES, _DEGREES = 3, 9


@dataclass
class World:
    """One job with what the simulator does not know: pole heights, and the register as text.

    ``poles`` is the height that the export states for every row; ``register`` maps each mark to its three coordinates
    as printed, first, second, third; ``geographic`` says which kind they are, ``ellipsoidal`` whether the third is an
    ellipsoidal height, ``second`` which rows stand in a second file.
    """

    job: Simulation
    random: np.random.Generator
    poles: Floats
    register: dict[str, list[str]]
    geographic: bool
    ellipsoidal: bool
    second: NDArray[np.bool_] | None = None

    @property
    def axes(self) -> tuple[str, str, str]:
        """The names of the register's coordinate columns."""
        height = "ellipsoid_height" if self.ellipsoidal else "height"
        return ("longitude", "latitude", height) if self.geographic else ("easting", "northing", height)

    @property
    def place(self) -> Place:
        """Where the job lies."""
        return self.job.plan.place

    def row(self, point: str) -> int:
        """Return the row of a point."""
        return int(np.flatnonzero(self.job.rows["name"] == point)[0])

    def sessions(self) -> range:
        """Return the numbers of the sessions."""
        return range(len(self.job.shifts))

    def ties(self, session: int) -> list[dict[str, str]]:
        """Return the ties of a session as the job file has them."""
        return list(self.job.job["session"][session].get("ties", []))

    def checks(self, session: int) -> list[dict[str, str]]:
        """Return the checks of a session, by their times."""
        found = list(self.job.job["session"][session]["checks"])
        return sorted(found, key=lambda one: self.job.rows["time"][self.row(one["point"])])

    def displace(self, point: str, enu: Floats) -> None:
        """Move one exported position by (3,) metres east, north, up."""
        chosen = self.job.rows["name"] == point
        lon, lat, _ = self.job.truth.geographic(point)
        self.job.displace(chosen, turn_enu(lon, lat, np.asarray(enu, float)))

    def hours(self, session: int) -> Floats:
        """Return (n,) hours of all rows since the first row of a session."""
        times = self.job.rows["time"]
        since = times - times[self.job.rows["session"] == session].min()
        return np.asarray(since / np.timedelta64(1, "h"))

    def write(self, folder: Path) -> Path:
        """Write the job's files and return the job file's path."""
        marks = list(self.register)
        said = [self.register[mark] for mark in marks]
        keep = {name: self.job.register[name] for name in ("hu95", "vu95")}
        self.job.register = {"mark": np.array(marks, object)} | {
            axis: np.array([one[column] for one in said], object) for column, axis in enumerate(self.axes)
        } | keep  # fmt: skip
        path = self.job.write(folder)
        export = folder / "rover001.csv"
        head, *lines = export.read_text(encoding="utf-8").splitlines()
        with_poles = [f"{line},{pole:.3f}" for line, pole in zip(lines, self.poles, strict=True)]
        first = np.zeros(len(with_poles), bool) if self.second is None else self.second
        for number, chosen in enumerate((~first, first) if first.any() else (~first,), 1):
            text = [f"{head},Pole", *(line for line, mine in zip(with_poles, chosen, strict=True) if mine)]
            (folder / f"rover{number:03d}.csv").write_text("\n".join(text) + "\n", encoding="utf-8")
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace('base = "Base"', 'base = "Base", antenna_height = "Pole"'), encoding="utf-8")
        return path


def draw(seed: int, *, noise: bool = True) -> World:
    """Return a clean job: one to four sessions on four to seven marks, in one of three places.

    Without noise readings and the register are the truth, to the last digit written.
    """
    random = np.random.default_rng(seed)
    place = (CANTERBURY, CENTRAL_JAVA, BORDER)[random.integers(3)]
    ties = int(random.integers(1, 3))
    sessions = int(random.integers(1, 5))
    plan = Plan(
        sessions=sessions,
        points=int(random.integers(6, 13)),
        ties=ties,
        checks=int(random.integers(2, 5)),
        marks=int(random.integers(ties + 3, 8)),
        reach=float(random.choice([800.0, 2000.0, 4000.0])),
        overlap=bool(sessions > 1 and random.random() < 0.3),
        place=place,
        noise=noise,
        seed=seed,
    )
    job = simulate(plan)
    geographic = bool(random.random() < 0.4)
    ellipsoidal = place.geoid is None or bool(geographic and random.random() < 0.5)
    if geographic:
        job.job["control"]["crs"] = _GEOGRAPHIC[place.grid]
    job.job["control"]["height"] = "ellipsoid" if ellipsoidal else place.height_datum
    poles = np.full(len(job.rows["name"]), random.choice(_POLES))
    world = World(job, random, poles, {}, geographic, ellipsoidal)
    _print_register(world)
    _move_checks(world)
    for session in world.sessions():
        if random.random() < 0.2:
            set_up(world, session)
    return world


def _print_register(world: World) -> None:
    """Print the register as published: true coordinates with errors as large as it states."""
    marks, random = world.job.marks, world.random
    hu95, vu95 = random.choice(_HU95), random.choice(_VU95)
    count = len(marks.names)
    world.job.register = {"hu95": np.full(count, hu95), "vu95": np.full(count, vu95)}
    # 2.4477 and 1.9600: FGDC-STD-007.3-1998, 3-A
    size = np.array([hu95 / 2.4477, hu95 / 2.4477, vu95 / 1.9600]) * (1.0 if world.job.plan.noise else 0.0)
    xyz = turn_enu(marks.longitude, marks.latitude, random.normal(0, size, (count, 3)))
    ellipsoid, projection = world.place.ellipsoid, world.place.projection
    lon, lat, up = move(marks.longitude, marks.latitude, marks.ellipsoid_height, xyz, ellipsoid)
    height = up if world.ellipsoidal else up - world.place.separation(lon, lat)
    first, second = (lon, lat) if world.geographic else projection.forward(lon, lat)
    digits = _DEGREES if world.geographic else _METRES
    for name, one, two, three in zip(marks.names, first, second, height, strict=True):
        world.register[str(name)] = [f"{one:.{digits}f}", f"{two:.{digits}f}", f"{three:.{_METRES}f}"]


def _move_checks(world: World) -> None:
    """Let the last opening check of some sessions be made in the course of the day instead."""
    rows = world.job.rows
    for session in world.sessions():
        checks = world.checks(session)
        if len(checks) > 2 and world.random.random() < 0.5:
            mine = rows["time"][rows["session"] == session]
            part = world.random.uniform(0.3, 0.7)
            at = mine.min() + ((mine.max() - mine.min()) * part).astype("timedelta64[s]")
            rows["time"][world.row(checks[-2]["point"])] = at


def set_up(world: World, session: int) -> None:
    """Let the base of a session stand over the mark of its first tie, which then ties it in place of rovers."""
    job = world.job
    table = job.job["session"][session]
    mark = table["ties"][0]["mark"]
    tied = [tie["point"] for tie in table.pop("ties")]
    antenna = round(float(world.random.uniform(1.3, 1.9)), 3)
    lon, lat, height = job.marks.geographic(mark)
    off = turn_enu(lon, lat, world.random.normal(0, 0.003 if job.plan.noise else 0.0, 3)) - job.shifts[session]
    there = move(lon, lat, height + antenna, off, world.place.ellipsoid)
    said = dict(zip(("longitude", "latitude", "ellipsoid_height"), map(float, there), strict=True))
    table["setup"] = {"mark": mark, **said, "antenna_height": antenna}
    keep = ~np.isin(job.rows["name"], tied)
    world.poles = world.poles[keep]
    job.keep(keep)


def crowd(world: World, count: int) -> None:
    """Add marks that nobody occupies, within the job's reach: the more marks, the more can be taken for one another."""
    reach, given = world.job.plan.reach, np.array([[float(text) for text in row] for row in world.register.values()])
    degree = 111_000.0 * np.cos(np.radians(given[0, 1]))
    unit = np.array([1 / degree, 1 / 111_000.0, 1.0]) if world.geographic else np.ones(3)
    off = world.random.uniform(-1, 1, (count, 3)) * [reach, reach, 20.0]
    digits = [_DEGREES, _DEGREES, _METRES] if world.geographic else [_METRES] * 3
    for number, row in enumerate(given.mean(axis=0) + off * unit):
        world.register[f"R{number:04d}"] = [f"{value:.{kept}f}" for value, kept in zip(row, digits, strict=True)]
    for name in ("hu95", "vu95"):
        world.job.register[name] = np.full(len(world.register), world.job.register[name][0])


def chosen(world: World, values: NDArray[np.int64] | range | list[int]) -> int:
    """Return one of the values at random."""
    return int(world.random.choice(list(values)))
