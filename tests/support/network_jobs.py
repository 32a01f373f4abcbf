"""Jobs of many sessions and marks, put together one occupation at a time, with known truth; nothing of the pipeline.

Truth is geographic. Each session has one geocentric shift, raw = truth - shift; a base over a mark broadcasts the true
place of its antenna less the shift. `Network.write` lays down the files of the job as `simulate_files` does.

    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("TM1", 400, -300, known=False)
    work.session("day-1", ties=["CM1", "TM1"], points=[(900, 100)])
    work.session("day-2", over="TM1", antenna=1.612, points=[(20_000, 0)])
    path = work.write(tmp_path)
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from simulate_files import write_job
from simulate_plan import (
    CANTERBURY,
    Columns,
    Floats,
    Place,
    Plan,
    Truth,
    move,
    naive_utc,
    placed,
    to_geocentric,
    truth_of,
    turn_enu,
)

#: Standard uncertainty (horizontal component, height), metres: points, and occupations of marks.
POINT, OCCUPATION = (0.008, 0.015), (0.004, 0.007)
START = dt.datetime(2026, 3, 1, 19, 30, tzinfo=dt.UTC)
SESSION = dt.timedelta(hours=9)
STEP = dt.timedelta(minutes=5)


class Network:
    """A job under construction. Offsets are metres east and north of the place and above its ground.

    ``job`` is the job file as nested dictionaries and ``register`` the register's columns, both open to changes until
    `write`; ``rows`` are the rows of the export in the order of observation, made when first asked for; change
    nothing in the network after that but those rows.
    """

    def __init__(self, place: Place = CANTERBURY, seed: int = 1, shift: Sequence[float] = (1.2, 1.2, 5.0)) -> None:
        self.plan = Plan(place=place, start=START)
        self.random = np.random.default_rng(seed)
        self.size = np.array(shift)
        self.shifts: list[Floats] = []
        self.bases: dict[int, tuple[str, float]] = {}
        self._marks: dict[str, Floats] = {}
        self._taken: list[dict[str, Any]] = []
        self._rows: Columns | None = None
        self._truth: Truth | None = None
        self._named: set[str] = set()
        self._visits: Counter[tuple[int, str]] = Counter()
        height = "ellipsoid_height" if place.geoid is None else "height"
        self._columns = ("mark", "easting", "northing", height, "hu95", "vu95", "holds")
        self.register: Columns = {name: np.zeros(0, object) for name in self._columns}
        target: dict[str, Any] = {"grid": place.grid, "height": place.height_datum}
        if place.geoid is not None:
            target["geoid"] = str(place.geoid)
        self.job: dict[str, Any] = {
            "job": {"name": "network", "folder": "out"},
            "target": target,
            "source": {"crs": place.source, "time_zone": "UTC"},
            "quality": {"ppm": 0.0},
            "control": {"file": "register.csv", "crs": place.grid, "height": place.height_datum},
            "session": [],
        }

    def mark(
        self, name: str, east: float, north: float, up: float = 0.0, *, known: bool = True, holds: str = "3d",
        hu95: float = 0.010, vu95: float = 0.020,
    ) -> None:  # fmt: skip
        """Put a mark on the ground, and into the register where it is known."""
        at = placed(self.plan, np.array([name]), np.array([[east, north, up]]))
        self._marks[name] = at.places[0]
        if known:
            given = (name, at.easting[0], at.northing[0], at.height[0], hu95, vu95, holds)
            for column, value in zip(self._columns, given, strict=True):
                self.register[column] = np.append(self.register[column], np.array([value], object))

    def revise(self, mark: str, by: float) -> None:
        """Add metres to the easting of a mark of the register."""
        self.register["easting"] = self.register["easting"].copy()
        self.register["easting"][list(self.register["mark"]).index(mark)] += by

    def session(
        self,
        name: str,
        *,
        ties: Iterable[str] = (),
        checks: Iterable[str] = (),
        points: Iterable[Sequence[float]] = (),
        closing: Iterable[str] = (),
        over: str | None = None,
        antenna: float = 0.0,
        start: dt.datetime | None = None,
        shift: Sequence[float] | None = None,
        stated: Any = None,
        **more: Any,
    ) -> int:
        """Add a session, a day after the one before, and return its number.

        Args:
            name: of the session; rows are called <name>-<mark>-<count> and <name>-<count>.
            ties, checks: marks that the rover occupies at its opening; ``closing`` are checks at its close.
            points: offsets (east, north, or east, north, up) of drafted points.
            over: the mark under the base; ``antenna`` is the height of its antenna above it.
            start: when it starts.
            shift: (3,) east, north, up at the place of the job; drawn at random where it is not given.
            stated: the ``shift`` of the session in the job file.
            more: further keys of the session in the job file.
        """
        number = len(self.shifts)
        local = self.random.normal(0, self.size) if shift is None else np.array(shift, float)
        self.shifts.append(turn_enu(self.plan.place.longitude, self.plan.place.latitude, local))
        begins = start or START + number * dt.timedelta(days=1)
        table: dict[str, Any] = {"name": name, "start": begins, "end": begins + SESSION, "base": f"B{number:04d}"}
        told: dict[str, list[dict[str, str]]] = {"ties": [], "checks": []}
        for role, marks in (("ties", ties), ("checks", checks)):
            told[role] += [{"point": self._occupy(number, name, mark), "mark": mark} for mark in marks]
        offsets = np.array([[*offset, 0.0][:3] for offset in points]).reshape(-1, 3)
        for count, at in enumerate(placed(self.plan, offsets[:, 0], offsets).places, start=1):
            self._take(number, f"{name}-{count}", at, "")
        told["checks"] += [{"point": self._occupy(number, name, mark), "mark": mark} for mark in closing]
        table |= {role: some for role, some in told.items() if some} | more
        self.job["session"].append(table if stated is None else table | {"shift": stated})
        if over is not None:
            self.bases[number] = (over, antenna)
        return number

    def occupy_later(self, session: int, mark: str) -> None:
        """Let a session tie one more mark, at its close."""
        table = self.job["session"][session]
        point = self._occupy(session, table["name"], mark)
        table["ties"] = [*table.get("ties", []), {"point": point, "mark": mark}]

    def _occupy(self, session: int, name: str, mark: str) -> str:
        self._visits[session, mark] += 1
        point = f"{name}-{mark}-{self._visits[session, mark]}"
        self._take(session, point, self._marks[mark], mark)
        return point

    def _take(self, session: int, name: str, at: Floats, mark: str) -> None:
        if name in self._named:
            raise ValueError(f"two rows are called {name}")
        self._named.add(name)
        self._taken.append({"session": session, "name": name, "at": at, "mark": mark})

    @property
    def truth(self) -> Truth:
        """Truth of every row."""
        if self._truth is None or len(self._truth.names) != len(self._taken):
            at = np.array([row["at"] for row in self._taken]).reshape(-1, 3)
            self._truth = truth_of(self.plan, np.array([row["name"] for row in self._taken]), *at.T)
        return self._truth

    @property
    def marks(self) -> Truth:
        """Truth of every mark."""
        at = np.array(list(self._marks.values()))
        return truth_of(self.plan, np.array(list(self._marks)), *at.T)

    def xyz(self, mark: str) -> Floats:
        """Return (3,) geocentric X, Y, Z of a mark."""
        return to_geocentric(*self._marks[mark], self.plan.place.ellipsoid)

    @property
    def rows(self) -> Columns:
        """The rows of the export."""
        if self._rows is None:
            session = np.array([row["session"] for row in self._taken], int)
            mark = np.array([row["mark"] for row in self._taken])
            place, true = self.plan.place, self.truth
            raw = move(*true.places.T, -np.array(self.shifts)[session], place.ellipsoid)
            size = np.where((mark != "")[:, None], OCCUPATION, POINT)
            begins = [np.datetime64(naive_utc(one["start"]), "ms") for one in self.job["session"]]
            order = np.argsort(session, kind="stable")
            within = np.empty(len(session), int)
            within[order] = np.arange(len(session)) - np.searchsorted(session[order], session[order]) + 1
            self._rows = {
                "name": true.names.copy(), "session": session, "mark": mark,
                "time": np.array(begins)[session] + within * np.timedelta64(STEP),
                "longitude": raw[0], "latitude": raw[1], "height": raw[2],
                "sigma_east": size[:, 0].copy(), "sigma_north": size[:, 0].copy(), "sigma_up": size[:, 1].copy(),
                "solution": np.full(len(session), "fix"), "code": np.where(mark == "", "P", "CM"),
                "base": np.array([self.job["session"][one]["base"] for one in session]),
            }  # fmt: skip
        return self._rows

    def displace(self, chosen: NDArray[np.bool_], enu: Any) -> None:
        """Move the exported positions of the chosen rows by (3,) or (k, 3) metres east, north, up at their places."""
        rows, true = self.rows, self.truth
        xyz = turn_enu(true.longitude[chosen], true.latitude[chosen], np.broadcast_to(enu, (int(chosen.sum()), 3)))
        names = ("longitude", "latitude", "height")
        there = move(*(rows[name][chosen] for name in names), xyz, self.plan.place.ellipsoid)
        for name, values in zip(names, there, strict=True):
            rows[name] = rows[name].copy()
            rows[name][chosen] = values

    def row(self, name: str) -> NDArray[np.bool_]:
        """Return which row has a name, as a mask."""
        return np.asarray(self.rows["name"] == name)

    def setup(self, session: int, enu: Sequence[float] = (0.0, 0.0, 0.0)) -> dict[str, Any]:
        """Return the set-up of a session's base, displaced by (3,) metres east, north, up, as the job file has it."""
        mark, antenna = self.bases[session]
        lon, lat, height = self._marks[mark]
        xyz = turn_enu(lon, lat, np.array(enu, float)) - self.shifts[session]
        there = move(lon, lat, height + antenna, xyz, self.plan.place.ellipsoid)
        said = zip(("longitude", "latitude", "ellipsoid_height"), map(float, there), strict=True)
        return {"mark": mark, **dict(said), "antenna_height": antenna}

    def write(self, folder: Path) -> Path:
        """Write the export, the register and the job file into a folder and return the job file's path."""
        sessions = [dict(one) for one in self.job["session"]]
        for number in self.bases:
            sessions[number].setdefault("setup", self.setup(number))
        return write_job(folder, self.rows, self.register, {**self.job, "session": sessions}, "csv", 1, False)
