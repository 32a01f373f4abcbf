"""An invented job with known truth, for the end-to-end tests and the benchmarks. It shares no code with the pipeline.

Truth is in geographic coordinates. A base set at a wrong position moves every export of its session by one geocentric
vector: raw = truth - shift. `simulate` gives everything as plain mutable arrays and dictionaries, so that a test can
plant its blunder (a function below, or its own hands) before `Simulation.write` lays down the files.

    job = simulate(Plan(sessions=2, points=50, noise=False))
    job.knock_base(0, part=0.5, east=0.1)
    path = job.write(tmp_path)           # runs with: tiedown run <path>
"""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from simulate_files import write_job
from simulate_plan import (
    CANTERBURY,
    CENTRAL_JAVA,
    ELLIPSOIDAL,
    Columns,
    Floats,
    Place,
    Plan,
    Truth,
    move,
    moved,
    naive_utc,
    placed,
    session_marks,
    session_times,
    to_geocentric,
    to_geographic,
    truth_of,
    turn_enu,
)

__all__ = [
    "CANTERBURY",
    "CENTRAL_JAVA",
    "ELLIPSOIDAL",
    "Place",
    "Plan",
    "Simulation",
    "Truth",
    "session_marks",
    "session_times",
    "simulate",
]


@dataclass
class Simulation:
    """Truth and everything that the office receives. The last three may be changed before writing.

    ``truth`` is that of every row; ``shifts`` is (sessions, 3) geocentric metres; ``bases`` is where the bases stood,
    ``broadcast`` what they gave out. ``rows`` holds one array per column of the exports, in the order of observation,
    and beside the exported ones ``session`` (number) and ``kind`` (point, tie, check); ``register`` one per column of
    the register of control marks; ``job`` the job file as nested dictionaries.
    """

    plan: Plan
    truth: Truth
    marks: Truth
    temporary: Truth
    shifts: Floats
    bases: Truth
    broadcast: Truth
    rows: Columns
    register: Columns
    job: dict[str, Any]

    def write(self, folder: Path, form: str = "csv", files: int = 1, session_file: bool = False) -> Path:
        """Write exports, register and job file into a folder and return the job file's path.

        Args:
            folder: made if it is not there; the job's issues go to its ``out``.
            form: "csv", "geojson" or "gpkg".
            files: into how many files the rows are spread, in order.
            session_file: keep the sessions in a CSV file of their own instead of the job file.
        """
        return write_job(folder, self.rows, self.register, self.job, form, files, session_file)

    def shift_enu(self, session: int) -> Floats:
        """Return (3,) the session's true shift in east, north, up at its base, metres."""
        east = turn_enu(self.bases.longitude[session], self.bases.latitude[session], np.eye(3))
        return np.asarray(east @ self.shifts[session])

    def displace(self, chosen: NDArray[np.bool_], xyz: Floats) -> None:
        """Move the exported positions of the chosen rows by geocentric vectors, (3,) or (k, 3) metres."""
        position = ("longitude", "latitude", "height")
        lon, lat, height = (self.rows[name][chosen] for name in position)
        for name, values in zip(position, move(lon, lat, height, xyz, self.plan.place.ellipsoid), strict=True):
            self.rows[name] = self.rows[name].copy()
            self.rows[name][chosen] = values

    def knock_base(self, session: int, part: float, east: float = 0.0, north: float = 0.0, up: float = 0.0) -> None:
        """Let the base be knocked by (east, north, up) after a part (0 to 1) of the session's rows.

        The base goes on broadcasting its old position, so that the exports move the other way.
        """
        mine = np.flatnonzero(self.rows["session"] == session)
        chosen = np.zeros(len(self.rows["name"]), bool)
        chosen[mine[int(len(mine) * part) :]] = True
        at = self.bases
        self.displace(chosen, -turn_enu(at.longitude[session], at.latitude[session], np.array([east, north, up])))

    def correct_in_field(self, session: int, start: dt.datetime, east: float, north: float, up: float) -> None:
        """Let the field apply (east, north, up), taken at the mark of the session's first tie, from a time on."""
        mark = self.job["session"][session]["ties"][0]["mark"]
        longitude, latitude, _ = self.marks.geographic(mark)
        chosen = (self.rows["session"] == session) & (self.rows["time"] >= np.datetime64(naive_utc(start), "ms"))
        self.displace(chosen, turn_enu(longitude, latitude, np.array([east, north, up])))

    def raise_pole(self, session: int, metres: float) -> None:
        """Let the pole be this much longer than the controller was told: the exports come out higher."""
        chosen = self.rows["session"] == session
        up = np.zeros((int(chosen.sum()), 3))
        up[:, 2] = metres
        self.displace(chosen, turn_enu(self.rows["longitude"][chosen], self.rows["latitude"][chosen], up))

    def mistype(self, mark: str, column: str, change: float) -> None:
        """Change one coordinate of one mark in the register by so many metres."""
        at = list(self.register["mark"]).index(mark)
        self.register[column] = self.register[column].copy()
        self.register[column][at] += change

    def keep(self, chosen: NDArray[Any]) -> None:
        """Keep only the chosen rows (a mask), or put rows into another order or twice (an array of row numbers)."""
        self.rows = {name: values[chosen] for name, values in self.rows.items()}


def simulate(plan: Plan) -> Simulation:
    """Return the truth of an invented job and what its exports say."""
    if plan.marks <= plan.ties and plan.checks:
        raise ValueError("checks need a mark that does not tie the session: give more marks than ties")
    rng = np.random.default_rng(plan.seed)
    marks = _marks(plan)
    temporary = placed(plan, np.array(["TM1"]), np.array([[0.21 * plan.reach, -0.17 * plan.reach, 0.4]]))
    ring = rng.uniform(-0.1, 0.1, (plan.sessions, 2)) * plan.reach
    bases = placed(
        plan,
        np.array([f"BASE-{number:02d}" for number in range(1, plan.sessions + 1)]),
        np.column_stack([ring, np.full(plan.sessions, 2.0)]),
    )
    sizes = np.array([plan.base_horizontal, plan.base_horizontal, plan.base_vertical]) / 2
    shifts = turn_enu(bases.longitude, bases.latitude, rng.normal(0, sizes, (plan.sessions, 3)))
    rows, truth = _rows(plan, marks, temporary, rng)
    _export(plan, rows, truth, shifts, rng)
    broadcast = moved(plan, bases, -shifts)
    register, job = _register(plan, marks), _job(plan, rows)
    return Simulation(plan, truth, marks, temporary, shifts, bases, broadcast, rows, register, job)


def _marks(plan: Plan) -> Truth:
    """Return the control marks CM1, CM2 ...: the first in the middle, the others around it."""
    turn = 2.4 * np.arange(plan.marks)
    far = np.minimum(0.4 * plan.reach, 1_500.0) * (np.arange(plan.marks) > 0)
    offsets = np.column_stack([far * np.sin(turn), far * np.cos(turn), np.zeros(plan.marks)])
    return placed(plan, np.array([f"CM{number}" for number in range(1, plan.marks + 1)]), offsets)


def _rows(plan: Plan, marks: Truth, temporary: Truth, rng: np.random.Generator) -> tuple[Columns, Truth]:
    """Return the rows without their positions, and the truth of every row."""
    drafted = placed(plan, np.zeros(plan.sessions * plan.points), _spread(plan, rng)).places.reshape(
        plan.sessions, plan.points, 3
    )
    parts = [_session_rows(plan, number, marks, temporary, drafted[number]) for number in range(plan.sessions)]
    rows = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return rows, truth_of(plan, rows["name"], *rows.pop("at").T)


def _session_rows(plan: Plan, session: int, marks: Truth, temporary: Truth, drafted: Floats) -> Columns:
    """Return one session's rows in the order of observation; ``at`` is (n, 3) longitude, latitude, height."""
    ties, opening, closing = session_marks(plan, session)
    extra = int(plan.temporary)
    head, first, last = len(ties) + extra, len(opening), len(closing)
    names = [f"T{mark + 1}" for mark in ties] + ["TM1"] * extra + [f"C{k}" for k in range(1, first + 1)]
    numbers = np.char.zfill(np.arange(1, plan.points + 1).astype(str), 5)
    labels = [names, numbers, [f"C{k}" for k in range(first + 1, first + last + 1)]]
    count = head + first + plan.points + last
    begins, length = session_times(plan)
    step = 1000 * (length // (count + 1))
    return {
        "name": np.char.add(f"S{session + 1:02d}-", np.concatenate([np.array(part, str) for part in labels])),
        "time": begins[session] + (np.arange(1, count + 1) * step).astype("timedelta64[ms]"),
        "code": np.concatenate([np.repeat(["CM", "CHK"], [head, first]), _codes(plan.points), ["CHK"] * last]),
        "base": np.full(count, f"BASE-{session + 1:02d}"),
        "solution": np.full(count, "fix"),
        "kind": np.repeat(["tie", "check", "point", "check"], [head, first, plan.points, last]),
        "session": np.full(count, session),
        "at": np.concatenate(
            [marks.places[ties], temporary.places[:extra], marks.places[opening], drafted, marks.places[closing]]
        ),
    }


def _spread(plan: Plan, rng: np.random.Generator) -> Floats:
    """Return offsets spread evenly over the disc of radius ``reach``; each session's last point at its very edge."""
    count = plan.sessions * plan.points
    far = plan.reach * np.sqrt(rng.random(count))
    far[plan.points - 1 :: plan.points] = plan.reach
    turn = rng.uniform(0, 2 * np.pi, count)
    return np.column_stack([far * np.sin(turn), far * np.cos(turn), rng.uniform(-2, 2, count)])


def _codes(count: int) -> NDArray[Any]:
    return np.array(["ROAD-EDGE", "ROAD-CL", "DRAIN-INV", "FENCE"])[np.arange(count) // 7 % 4]


def _export(plan: Plan, rows: Columns, truth: Truth, shifts: Floats, rng: np.random.Generator) -> None:
    """Add the exported positions and their sigmas to the rows: raw = truth + noise - shift of the session."""
    place, count = plan.place, len(truth.names)
    xyz = to_geocentric(truth.longitude, truth.latitude, truth.ellipsoid_height, place.ellipsoid)
    on_mark = (rows["kind"] != "point")[:, None]
    spread = 1 + 0.25 * rng.uniform(-1, 1, (count, 3))
    usual = np.array([plan.sigma_horizontal, plan.sigma_horizontal, plan.sigma_vertical]) * spread
    sigmas = np.round(np.where(on_mark, 0.4 * usual, usual), 4)  # occupations are observed for longer
    if plan.noise:
        centring = on_mark * np.array([plan.centring, plan.centring, 0.0])
        enu = rng.normal(size=(count, 3)) * sigmas + rng.normal(size=(count, 3)) * centring
        xyz = xyz + turn_enu(truth.longitude, truth.latitude, enu)
    raw = to_geographic(xyz - shifts[rows["session"]], place.ellipsoid)
    rows["longitude"], rows["latitude"], rows["height"] = raw
    rows["sigma_east"], rows["sigma_north"], rows["sigma_up"] = sigmas.T


def _register(plan: Plan, marks: Truth) -> Columns:
    height = "ellipsoid_height" if plan.place.geoid is None else "height"
    return {
        "mark": marks.names.astype(object),
        "easting": marks.easting,
        "northing": marks.northing,
        height: marks.height,
        "hu95": np.full(len(marks.names), 0.010),
        "vu95": np.full(len(marks.names), 0.020),
    }


def _job(plan: Plan, rows: Columns) -> dict[str, Any]:
    """Return the job file as nested dictionaries, in the terms of the job file."""
    place = plan.place
    target: dict[str, Any] = {"grid": place.grid, "height": place.height_datum}
    if place.geoid is not None:
        target["geoid"] = str(place.geoid)
    return {
        "job": {"name": "simulated", "folder": "out"},
        "target": target,
        "source": {"crs": place.source, "time_zone": "UTC"},
        "quality": {"max_sigma_horizontal": 0.05},
        "control": {"file": "register.csv", "crs": place.grid, "height": place.height_datum},
        "session": [_session(plan, rows, session) for session in range(plan.sessions)],
    }


def _session(plan: Plan, rows: Columns, session: int) -> dict[str, Any]:
    begins, length = session_times(plan)
    start = begins[session].astype("datetime64[us]").item().replace(tzinfo=dt.UTC)
    ties, opening, closing = session_marks(plan, session)
    mine = rows["session"] == session
    tied = [str(name) for name in rows["name"][mine & (rows["kind"] == "tie")]]
    checked = [str(name) for name in rows["name"][mine & (rows["kind"] == "check")]]
    tie_marks = [f"CM{m + 1}" for m in ties] + (["TM1"] if plan.temporary else [])
    return {
        "name": f"session-{session + 1:02d}",
        "start": start,
        "end": start + dt.timedelta(seconds=length),
        "base": f"BASE-{session + 1:02d}",
        "ties": [{"point": point, "mark": mark} for point, mark in zip(tied, tie_marks, strict=True)],
        "checks": [{"point": point, "mark": f"CM{m + 1}"} for point, m in zip(checked, opening + closing, strict=True)],
    }
