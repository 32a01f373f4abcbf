"""A site's own coordinates against those of a grid, from marks known in both: least squares, in plan and in height.

In plan, with de, dn the grid coordinates and dx, dy those of the site, each counted from the mean of the marks,

    x = X + a de - b dn,   y = Y + b de + a dn,   a = scale cos(turn), b = scale sin(turn)

so that the best a and b are sums: a = sum(de dx + dn dy) / S, b = sum(de dy - dn dx) / S with S = sum(de2 + dn2). With
the scale held at 1 the best turn is atan2(b, a) of the same sums. A height is the grid's and a step, or a plane.

What is over tells how well: s2 = sum of squared residuals / degrees of freedom. An s from few degrees of freedom is
itself uncertain, so covariances are widened by what Fisher's (plan) or Student's (height) distribution is wider than
the normal one at 95 %: what is made of them as 95 % figures then holds 95 %.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.replace import replace


class PlanFit(Struct, frozen=True):
    """How easting and northing of the site come from those of the grid.

    Args:
        scale: metres of the site in a metre of the grid.
        turn: from the grid's axes to the site's numbers, radians anticlockwise.
        grid, site: (2,) the mean of the marks, easting and northing [m], in each.
        residuals: (n, 2) from the grid minus the site's own, easting and northing [m].
        spread: sum of the squared distances of the marks from their mean [m2].
        over: degrees of freedom.
        held: whether the scale was held at 1.
    """

    scale: float
    turn: float
    grid: Floats
    site: Floats
    residuals: Floats
    spread: float
    over: int
    held: bool

    @property
    def matrix(self) -> Floats:
        """(2, 2) from differences in the grid to those in the site's system."""
        a, b = self.scale * np.cos(self.turn), self.scale * np.sin(self.turn)
        return np.array([[a, -b], [b, a]])

    @property
    def offset(self) -> Floats:
        """(2,) easting and northing of the site at the grid's origin [m]."""
        found: Floats = self.site - self.matrix @ self.grid
        return found

    @property
    def sigma(self) -> float | None:
        """Standard deviation of one coordinate of a mark [m], None where nothing is over."""
        return float(np.sqrt(np.sum(self.residuals**2) / self.over)) if self.over else None

    def forward(self, grid: Floats) -> Floats:
        """Return (k, 2) easting and northing of the site of (k, 2) in the grid [m]."""
        moved: Floats = self.site + (grid - self.grid) @ self.matrix.T
        return moved

    def covariance(self, site: Floats) -> Floats:
        """Return (k, 2, 2) of the localisation at places (k, 2) of the site, along the grid's axes [m2]."""
        away = (site - self.site) @ self.matrix / self.scale**2
        made = np.zeros((len(site), 2, 2))
        if not self.over:
            return made
        variance = np.sum(self.residuals**2) / self.over * _wider_plan(self.over)
        across = np.column_stack([-away[:, 1], away[:, 0]])
        made[:] = np.eye(2) / len(self.residuals)
        made += np.einsum("ki,kj->kij", across, across) / self.spread
        if not self.held:
            made += np.einsum("ki,kj->kij", away, away) / self.spread
        return made * variance


class HeightFit(Struct, frozen=True):
    """How heights of the site come from those of the height datum.

    Args:
        step: what is added at ``middle`` [m].
        slope: (2,) what it grows by to the east and north of the grid, metres a metre; zero without a tilt.
        middle: (2,) the mean of the marks in the grid [m].
        residuals: (n,) from the datum minus the site's own [m].
        cofactor: (3, 3) of step and slopes, without unit of weight.
        over: degrees of freedom.
        tilted: whether slopes were estimated.
    """

    step: float
    slope: Floats
    middle: Floats
    residuals: Floats
    cofactor: Floats
    over: int
    tilted: bool

    @property
    def sigma(self) -> float | None:
        """Standard deviation of a mark's height [m], None where nothing is over."""
        return float(np.sqrt(np.sum(self.residuals**2) / self.over)) if self.over else None

    def added(self, grid: Floats) -> Floats:
        """Return (k,) what is added to heights at (k, 2) of the grid [m]."""
        found: Floats = self.step + (grid - self.middle) @ self.slope
        return found

    def variance(self, grid: Floats) -> Floats:
        """Return (k,) of what is added at (k, 2) of the grid [m2]."""
        if not self.over:
            return np.zeros(len(grid))
        row = np.column_stack([np.ones(len(grid)), grid - self.middle])
        squares = np.einsum("ki,ij,kj->k", row, self.cofactor, row)
        found: Floats = squares * (np.sum(self.residuals**2) / self.over * _wider_height(self.over))
        return found


def fit_plan(grid: Floats, site: Floats, *, hold_scale: bool) -> PlanFit:
    """Return the best two shifts and turn, and the scale unless it is held at 1, for (n, 2) marks in both [m].

    Raises `ValueError` for fewer than two marks, or where all are at one place.
    """
    if len(grid) < 2:
        raise ValueError("a localisation in plan needs two marks")
    middle, own = grid.mean(axis=0), site.mean(axis=0)
    (de, dn), (dx, dy) = (grid - middle).T, (site - own).T
    spread = float(np.sum(de**2 + dn**2))
    if spread == 0.0:
        raise ValueError("the marks are all at one place")
    a, b = float(np.sum(de * dx + dn * dy)) / spread, float(np.sum(de * dy - dn * dx)) / spread
    turn, scale = float(np.arctan2(b, a)), 1.0 if hold_scale else float(np.hypot(a, b))
    fit = PlanFit(
        scale=scale,
        turn=turn,
        grid=middle,
        site=own,
        residuals=np.zeros_like(grid),
        spread=spread,
        over=2 * len(grid) - 4 + hold_scale,
        held=hold_scale,
    )
    return replace(fit, residuals=fit.forward(grid) - site)


def fit_height(grid: Floats, datum: Floats, site: Floats, *, tilt: bool) -> HeightFit:
    """Return the best step, or plane with ``tilt``, from heights (n,) of the datum to the site's, at (n, 2) [m].

    Raises `ValueError` for fewer marks than there are unknowns, or marks on a line for a tilt.
    """
    unknowns = 3 if tilt else 1
    if len(grid) < unknowns:
        raise ValueError("fewer marks than unknowns")
    middle = grid.mean(axis=0)
    rows = np.column_stack([np.ones(len(grid)), grid - middle])[:, :unknowns]
    wide = np.abs(rows).max(axis=0)
    if np.linalg.matrix_rank(rows / np.where(wide > 0.0, wide, 1.0), tol=1e-6) < unknowns:
        raise ValueError("the marks lie on a line")
    inverse = np.linalg.pinv(rows)
    found, cofactor = np.zeros(3), np.zeros((3, 3))
    found[:unknowns], cofactor[:unknowns, :unknowns] = inverse @ (site - datum), inverse @ inverse.T
    fit = HeightFit(
        step=float(found[0]),
        slope=found[1:],
        middle=middle,
        residuals=site - datum,
        cofactor=cofactor,
        over=len(grid) - unknowns,
        tilted=tilt,
    )
    return replace(fit, residuals=datum + fit.added(grid) - site)


def redundancy_in_plan(grid: Floats) -> Floats:
    """Return (n,) what share of an error in each of (n, 2) marks its own residual has, 0 to 1, where that is least.

    That is 1 - 1/n - d2/S, in any direction with the scale, and across the way to the middle with the scale held.
    """
    away = grid - grid.mean(axis=0)
    square = np.sum(away**2, axis=1)
    return np.asarray(1.0 - 1.0 / len(grid) - square / square.sum())


def redundancy_in_height(grid: Floats, *, tilt: bool) -> Floats:
    """Return (n,) what share of an error in the height of each of (n, 2) marks its own residual has, 0 to 1."""
    rows = np.column_stack([np.ones(len(grid)), grid - grid.mean(axis=0)])[:, : 3 if tilt else 1]
    return np.asarray(1.0 - np.einsum("ij,ji->i", rows, np.linalg.pinv(rows)))


def width_of(places: Floats) -> tuple[float, float]:
    """Return how long and how wide (n, 2) places lie: their extents along and across their best line [m]."""
    reduced = places - places.mean(axis=0)
    axes = np.linalg.svd(reduced, full_matrices=False)[2]
    along = reduced @ axes.T
    extents = [float(np.ptp(values)) for values in along.T] + [0.0, 0.0]
    return extents[0], extents[1]


def _wider_plan(over: int) -> float:
    """Return Fisher's F(0.95; 2, over) by that of the normal distribution, in closed form for two components."""
    share = 0.05
    return float(over / 2.0 * (share ** (-2.0 / over) - 1.0) / -np.log(share))


def _wider_height(over: int) -> float:
    """Return the square of Student's t(0.975; over) by that of the normal distribution."""
    from scipy.special import ndtri, stdtrit

    return float((stdtrit(over, 0.975) / ndtri(0.975)) ** 2)
