"""A dense adjustment of a network's files: the export is read as text, the normal equations are built row by row.

Everything stands in local east, north and up at each mark (of a stated shift: at its session's first occupation); the
unknowns are X, Y, Z. Residuals are observed minus adjusted: of an occupation the corrected position minus the mark, of
control the register minus the mark, of a stated shift the adjusted minus the stated one.
"""

import csv
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from network_jobs import Network
from simulate_plan import Floats, to_geocentric, turn_enu

#: hu95 and vu95 of the register over the standard uncertainty of one component.
CIRCLE, INTERVAL = np.sqrt(-2 * np.log(0.05)), 1.959963984540054
_HELD = {"3d": (0, 1, 2), "position": (0, 1), "height": (2,)}


def axes(longitude: float, latitude: float) -> Floats:
    """Return (3, 3) east, north, up as rows in X, Y, Z."""
    return turn_enu(longitude, latitude, np.eye(3))


@dataclass
class Dense:
    """The adjustment: a row of the design per observed component, ``of`` names its observation and component."""

    sessions: int
    marks: int
    design: list[Floats] = field(default_factory=list)
    observed: list[float] = field(default_factory=list)
    sigma: list[float] = field(default_factory=list)
    of: list[tuple[str, int]] = field(default_factory=list)

    def add(
        self, name: str, session: int | None, mark: int | None, turn: Floats, value: Floats, sigma: Any,
        held: str = "3d",
    ) -> None:  # fmt: skip
        """Add an observation of shift minus correction of a mark, of either alone, in directions ``turn``."""
        for axis in _HELD[held]:
            row = np.zeros((self.sessions + self.marks, 3))
            if session is not None:
                row[session] = turn[axis]
            if mark is not None:
                row[self.sessions + mark] = -turn[axis]
            self.design.append(row.ravel())
            self.observed.append(float(value[axis]))
            self.sigma.append(float(sigma[axis]))
            self.of.append((name, axis))

    def solve(self) -> None:
        """Adjust: x = (A'PA)^-1 A'Pl, v = Ax - l, Q_v = P^-1 - A (A'PA)^-1 A'."""
        a, sigma = np.array(self.design), np.array(self.sigma)
        weight = np.diag(sigma**-2)
        normal = a.T @ weight @ a
        self.cofactor: Floats = np.linalg.inv(normal)
        self.unknowns: Floats = self.cofactor @ a.T @ weight @ np.array(self.observed)
        self.residuals: Floats = a @ self.unknowns - np.array(self.observed)
        spread = np.diag(sigma**2) - a @ self.cofactor @ a.T
        self.redundancy: Floats = np.diag(spread @ weight)
        self.standardised: Floats = self.residuals / np.sqrt(np.abs(np.diag(spread)))
        self.freedom = len(a) - a.shape[1]
        self.square_sum = float(self.residuals @ weight @ self.residuals)

    def row(self, name: str, axis: int) -> int | None:
        """Return the row of a component of an observation, None where it is not observed."""
        return self.of.index((name, axis)) if (name, axis) in self.of else None


def dense(work: Network, folder: Path) -> Dense:
    """Adjust the written job of a network."""
    builder = _Builder(work, folder)
    builder.ties()
    builder.setups()
    builder.control()
    builder.stated()
    builder.found.solve()
    return builder.found


class _Builder:
    """Makes the observations, one kind after the other."""

    def __init__(self, work: Network, folder: Path) -> None:
        self.work, self.sessions, self.quality = work, work.job["session"], work.job["quality"]
        self.names, self.places = list(work.marks.names), work.marks.places
        self.said = {number: self.sessions[number].get("setup") or work.setup(number) for number in work.bases}
        self.export, self.register = (_by(folder / name, key) for name, key in _FILES)
        self.first: dict[int, tuple[float, float]] = {
            number: (at["longitude"], at["latitude"]) for number, at in self.said.items()
        }
        self.found = Dense(len(self.sessions), len(self.names))

    def xyz(self, longitude: float, latitude: float, height: float) -> Floats:
        return to_geocentric(longitude, latitude, height, self.work.plan.place.ellipsoid)

    def on_mark(self, name: str, session: int | None, mark: str, at: Floats, sigma: Any, held: str = "3d") -> None:
        """Add a position ``at`` (3,) of a mark; the mark's unknown is a correction to its true place."""
        number = self.names.index(mark)
        turn = axes(*self.places[number, :2])
        self.found.add(name, session, number, turn, turn @ (self.work.xyz(mark) - at), sigma, held)

    def ties(self) -> None:
        centring, ppm = self.quality.get("centring", 0.003), self.quality.get("ppm", 1.0)
        for number, session in enumerate(self.sessions):
            for tie in session.get("ties", []):
                row = self.export[tie["point"]]
                place = float(row["Lon"]), float(row["Lat"]), float(row["EllHt"])
                self.first.setdefault(number, place[:2])
                sigma = np.array([float(row[name]) for name in ("sE", "sN", "sU")])
                if number in self.said:
                    at = self.said[number]
                    base = self.xyz(at["longitude"], at["latitude"], at["ellipsoid_height"])
                    sigma = np.hypot(sigma, ppm * 1e-6 * np.linalg.norm(self.xyz(*place) - base))
                sigma = np.hypot(sigma, [centring, centring, 0.0])
                self.on_mark(tie["point"], number, tie["mark"], self.xyz(*place), sigma)

    def setups(self) -> None:
        centring = self.quality.get("centring", 0.003)
        for number, said in self.said.items():
            under = said["ellipsoid_height"] - said["antenna_height"]
            at = self.xyz(said["longitude"], said["latitude"], under)
            self.on_mark(f"setup {self.sessions[number]['name']}", number, said["mark"], at, [centring] * 3)

    def control(self) -> None:
        place = self.work.plan.place
        for name, row in self.register.items():
            lon, lat = place.projection.inverse(float(row["easting"]), float(row["northing"]))
            up = float(row["height"]) + float(place.separation(lon, lat))
            sigma = [float(row["hu95"]) / CIRCLE] * 2 + [float(row["vu95"]) / INTERVAL]
            self.on_mark(f"control {name}", None, name, self.xyz(float(lon), float(lat), up), sigma, row["holds"])

    def stated(self) -> None:
        for number, session in enumerate(self.sessions):
            said = session.get("shift")
            if said is None:
                continue
            if said == "none":
                said = {"east": 0.0, "north": 0.0, "up": 0.0}
            horizontal = said.get("sigma_horizontal", self.quality.get("sigma_horizontal", 0.008))
            vertical = said.get("sigma_vertical", self.quality.get("sigma_vertical", 0.015))
            value, sigma = np.array([said[axis] for axis in ("east", "north", "up")]), [horizontal] * 2 + [vertical]
            self.found.add(f"shift {session['name']}", number, None, axes(*self.first[number]), value, sigma)


_FILES = (("rover001.csv", "Point"), ("register.csv", "mark"))


def _by(path: Path, key: str) -> dict[str, dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return {row[key]: row for row in csv.DictReader(file)}
