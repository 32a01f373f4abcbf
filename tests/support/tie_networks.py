"""Invented networks of sessions and marks with known truth, and a dense adjustment of them by plain numpy.

Shares no code with the pipeline's solver: the reference works in X, Y, Z, builds the whole design row by row, and
inverts the whole normal matrix.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.adjust import Observations
from pipeline.replace import replace

Floats = NDArray[np.float64]


def directions(latitude: float, longitude: float) -> Floats:
    """East, north and up in X, Y, Z (rows) at a place in degrees: the textbook rotation."""
    phi, lam = np.radians(latitude), np.radians(longitude)
    east = [-np.sin(lam), np.cos(lam), 0.0]
    north = [-np.sin(phi) * np.cos(lam), -np.sin(phi) * np.sin(lam), np.cos(phi)]
    up = [np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)]
    return np.array([east, north, up])


def spread(random: np.random.Generator, sigma: float = 0.01) -> Floats:
    """A correlated 3 by 3 covariance of the size of ``sigma``."""
    root = sigma * (np.eye(3) + 0.4 * random.normal(size=(3, 3)))
    return root @ root.T + 1e-6 * np.eye(3)


@dataclass
class Network:
    """Observations gathered one by one; ``flat`` gives every mark the same local directions."""

    random: np.random.Generator
    sessions: int
    marks: int
    flat: bool = False

    def __post_init__(self) -> None:
        self.shifts = self.random.normal(size=(self.sessions, 3)) * 2.0
        self.corrections = self.random.normal(size=(self.marks, 3)) * 0.5
        turn = [directions(*place) for place in self.random.uniform([-37.1, 174.9], [-36.9, 175.1], (self.marks, 2))]
        self.rotation = np.array(turn) if not self.flat else np.tile(directions(-37, 175), (self.marks, 1, 1))
        self.rows: list[tuple[int, int, Floats, Floats, tuple[bool, bool, bool]]] = []

    def occupy(self, session: int, mark: int, holds: str = "3d", covariance: Floats | None = None) -> None:
        self._add(session, mark, self.rotation[mark], holds, covariance)

    def control(self, mark: int, holds: str = "3d", covariance: Floats | None = None) -> None:
        self._add(-1, mark, self.rotation[mark], holds, covariance)

    def state(self, session: int, covariance: Floats | None = None) -> None:
        self._add(session, -1, directions(-37, 175), "3d", covariance)

    def _add(self, session: int, mark: int, rotation: Floats, holds: str, covariance: Floats | None) -> None:
        present = (holds != "height", holds != "height", holds != "position")
        self.rows.append((session, mark, rotation, spread(self.random) if covariance is None else covariance, present))

    def observations(self, noise: float = 1.0) -> Observations:
        """The observations as true plus noise drawn from their covariances, in read-only arrays."""
        session = np.array([row[0] for row in self.rows], dtype=np.int64)
        mark = np.array([row[1] for row in self.rows], dtype=np.int64)
        rotation, covariance = np.array([row[2] for row in self.rows]), np.array([row[3] for row in self.rows])
        vector = np.where(session[:, None] >= 0, self.shifts[session], 0.0)
        vector = vector - np.where(mark[:, None] >= 0, self.corrections[mark], 0.0)
        error = np.einsum("nij,nj->ni", np.linalg.cholesky(covariance), self.random.normal(size=(len(mark), 3)))
        present = np.array([row[4] for row in self.rows])
        observed = np.where(present, np.einsum("nij,nj->ni", rotation, vector) + noise * error, np.nan)
        return read_only(Observations(session, mark, rotation, observed, covariance, present))


def read_only(observations: Observations) -> Observations:
    """The same in arrays that cannot be written to."""
    copies = {name: np.array(getattr(observations, name)) for name in Observations.__struct_fields__}
    for array in copies.values():
        array.setflags(write=False)
    return replace(observations, **copies)


def tied_network(seed: int, flat: bool = False) -> Network:
    """A network in which everything is tied, with every kind of observation in it.

    Marks 0 to 2 are control (in full, position, height); 3 and 4 temporary, chaining sessions 2, 3 and 4 to the rest;
    5 on control but occupied once only; session 5 has a stated shift and occupies a temporary mark.
    """
    random = np.random.default_rng(seed)
    network = Network(random, sessions=6, marks=6, flat=flat)
    for mark, holds in ((0, "3d"), (1, "position"), (2, "height"), (5, "3d")):
        network.control(mark, holds)
    network.state(5)
    for session, mark in (
        (0, 0),
        (0, 0),
        (0, 1),
        (1, 1),
        (1, 2),
        (1, 3),
        (2, 3),
        (2, 4),
        (3, 4),
        (4, 4),
        (4, 2),
        (5, 3),
    ):
        network.occupy(session, mark)
    network.occupy(3, 5, "position")
    for _ in range(8):
        network.occupy(
            int(random.integers(6)), int(random.integers(6)), str(random.choice(["3d", "position", "height"]))
        )
    return network


@dataclass(frozen=True)
class Reference:
    """A dense adjustment: unknowns (3 S + 3 M), their covariance, residuals and their covariance by present row."""

    unknowns: Floats
    covariance: Floats
    residuals: Floats
    residual_covariance: Floats
    weight: Floats
    rows: NDArray[np.int64]  # (r, 2) observation and component of each row


def dense(observations: Observations, sessions: int, marks: int) -> Reference:
    """Adjust by x = (A' P A)^+ A' P l in X, Y, Z, pseudo-inverse for what is not determined."""
    rows = np.argwhere(observations.present)
    design = np.zeros((len(rows), 3 * (sessions + marks)))
    covariance = np.zeros((len(rows), len(rows)))
    for place, (row, component) in enumerate(rows):
        direction = observations.rotation[row, component]
        session, mark = observations.session[row], observations.mark[row]
        if session >= 0:
            design[place, 3 * session : 3 * session + 3] = direction
        if mark >= 0:
            design[place, 3 * (sessions + mark) : 3 * (sessions + mark) + 3] = -direction
        for other, (other_row, other_component) in enumerate(rows):
            if other_row == row:
                covariance[place, other] = observations.covariance[row, component, other_component]
    observed = observations.observed[rows[:, 0], rows[:, 1]]
    weight = np.asarray(np.linalg.inv(covariance), np.float64)
    inverse: Floats = np.asarray(np.linalg.pinv(design.T @ weight @ design, rcond=1e-11, hermitian=True), np.float64)
    unknowns = inverse @ design.T @ weight @ observed
    residuals = design @ unknowns - observed
    return Reference(unknowns, inverse, residuals, covariance - design @ inverse @ design.T, weight, rows)
