"""A site's own system as a step behind the grid: found from the marks that the site and the register have in common."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct, field

from pipeline.adjust.localise import HeightFit, PlanFit, fit_height, fit_plan, width_of
from pipeline.arrays import Flags, Floats
from pipeline.control.register import Register
from pipeline.control.site_marks import SiteMarks
from pipeline.geodesy import crs, pipelines
from pipeline.geodesy.site_crs import affine_step, derived_height, derived_plan, site_definition
from pipeline.geodesy.transform import Operation
from pipeline.intake.prepare import Prepared
from pipeline.job.model import Job
from pipeline.near import listed, nearest
from pipeline.problems import Problems
from pipeline.replace import replace
from pipeline.words import counted

#: Metres: marks closer together than this give no direction.
_APART = 1.0
#: Marks whose extent across their line is a smaller part of that along it hold no tilt across.
_LINE = 1e-3


class Site(Struct, frozen=True):
    """The localisation of a job.

    Args:
        names: (n,) the marks that the site and the register have in common.
        own: (n, 3) easting, northing, height of the site; NaN without a height.
        grid: (n, 3) the same marks by the register, in the grid and the height datum.
        plan: how the site's easting and northing come from the grid's.
        height: how its heights come from the datum's; None where they stay.
        levelled: (n,) which marks took part in ``height``.
        alone: the site's marks that the register does not have.
        unused: (k, 2) heights by the register and by the site of marks that have both, where heights stay.
    """

    names: tuple[str, ...]
    own: Floats
    grid: Floats
    plan: PlanFit
    height: HeightFit | None
    levelled: Flags
    alone: tuple[str, ...]
    unused: Floats = field(default_factory=lambda: np.zeros((0, 2)))

    @property
    def step(self) -> str:
        """The PROJ step from easting, northing, height of grid and height datum to the site's."""
        slope = np.zeros(2) if self.height is None else self.height.slope
        return affine_step(self.plan.matrix, self.plan.offset, slope, self._added_at_origin)

    @property
    def _added_at_origin(self) -> float:
        return 0.0 if self.height is None else float(self.height.added(np.zeros((1, 2)))[0])

    def behind(self, to_issued: Operation) -> Operation:
        """Return the operation to the grid and height datum as one to the site's own system."""
        definition = pipelines.join((*pipelines.steps(to_issued.definition), self.step))
        return replace(to_issued, name=f"{to_issued.name} + site localisation", definition=definition)

    def uncertainty(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """Return (k, 2, 2) along the grid's axes and (k,) of heights [m2], of the localisation at places of the site.

        Both are widened for few degrees of freedom, so that 95 % figures hold 95 %; zero where nothing is over.
        """
        own = np.column_stack([easting, northing])
        plan = self.plan.covariance(own)
        if self.height is None:
            return plan, np.zeros(len(own))
        grid = self.plan.grid + (own - self.plan.site) @ np.linalg.inv(self.plan.matrix).T
        return plan, self.height.variance(grid)

    def plain_values(self) -> list[object]:
        """Return the marks in both systems as plain values: what the localisation follows from."""
        return [list(self.names), np.nan_to_num(self.own).tolist(), np.nan_to_num(self.grid).tolist()]

    def residuals(self) -> Floats:
        """Return (n, 3) easting, northing, height from the register minus the site's own; NaN where not fitted."""
        found = np.full((len(self.names), 3), np.nan)
        found[:, :2] = self.plan.residuals
        if self.height is not None:
            found[self.levelled, 2] = self.height.residuals
        return found

    def definitions(self, job: Job) -> tuple[str, str | None, str]:
        """Return the WKT2 of the plan, of the heights (None where they are ellipsoidal), and of both together."""
        grid, datum = crs.target_grid(job.target.grid), crs.vertical_of(job.target.height)
        plan = derived_plan(grid, self.plan.matrix, self.plan.offset)
        up = datum if self.height is None else derived_height(datum, self.height.step, self.height.tilted)
        return site_definition(plan, None), None if up is None else site_definition(up, None), site_definition(plan, up)


def localise(prepared: Prepared, register: Operation, to_issued: Operation, problems: Problems) -> Site | None:
    """Find the site's system by least squares; None, with what is wrong among ``problems``.

    ``register`` leads from the register to the working frame, ``to_issued`` from there to grid and height datum.
    """
    own, marks, wanted = prepared.site, prepared.register, prepared.loaded.job.target.site
    if own is None or marks is None or wanted is None:
        return None
    if not _plain_grid(prepared.loaded.job):
        problems.add(
            *prepared.loaded.where("target", "grid"),
            "a site's own system is found from a projected grid in metres to the east and north, and heights upwards",
            "name the same grid and height datum in metres; the site's marks are in metres too",
        )
        return None
    where, before = prepared.loaded.where("target", "site", "marks"), len(problems.found)
    common = _in_common(own, marks, register, to_issued, where, problems)
    if common is None:
        return None
    if width_of(common.grid[:, :2])[0] < _APART or width_of(common.own[:, :2])[0] < _APART:
        problems.add(*where, "the common marks are all at one place", "give marks around the work")
    height = _height(common, wanted.height == "tilt", where, problems) if wanted.height != "none" else None
    if len(problems.found) > before:
        return None
    return Site(
        names=common.names,
        own=common.own,
        grid=common.grid,
        plan=fit_plan(common.grid[:, :2], common.own[:, :2], hold_scale=wanted.plan == "rigid"),
        height=height,
        levelled=common.levelled,
        alone=common.alone,
        unused=common.unused,
    )


class _Common(Struct, frozen=True):
    """What site and register have in common; all as `Site` has it, but that ``levelled`` (n,) have both heights."""

    names: tuple[str, ...]
    own: Floats
    grid: Floats
    levelled: Flags
    alone: tuple[str, ...]
    unused: Floats


def _in_common(
    own: SiteMarks,
    marks: Register,
    register: Operation,
    to_issued: Operation,
    where: tuple[str, int],
    problems: Problems,
) -> _Common | None:
    """Return the marks that site and register have in common; None where they are too few, or not in the grid."""
    at = [marks.find(name) for name in own.names]
    common = [number for number, found in enumerate(at) if found is not None and marks.holds_position[found]]
    alone = tuple(name for name, found in zip(own.names, at, strict=True) if found is None)
    if len(common) < 2:
        problems.add(*where, *_too_few(len(common), alone, marks))
        return None
    rows = np.array([at[number] for number in common], np.int64)
    grid = _in_grid(marks.first[rows], marks.second[rows], marks.third[rows], register, to_issued)
    names, places = tuple(own.names[number] for number in common), own.places[common]
    if not np.isfinite(grid[:, :2]).all():
        lost = [name for name, place in zip(names, grid, strict=True) if not np.isfinite(place[:2]).all()]
        problems.add(*where, f"no coordinates in target.grid for {listed(lost)}", "check these marks in the register")
        return None
    held = marks.holds_height[rows]
    heights = np.column_stack([np.where(held, grid[:, 2], np.nan), own.unused_heights[common]])
    return _Common(
        names=names,
        own=places,
        grid=grid,
        levelled=np.isfinite(places[:, 2]) & held & np.isfinite(grid[:, 2]),
        alone=alone,
        unused=heights[np.isfinite(heights).all(axis=1)],
    )


def _too_few(common: int, alone: Sequence[str], marks: Register) -> tuple[str, str]:
    """Return that site and register have too few marks in common and what to do; ``alone`` the register has not."""
    near = [f"{name}: {nearest(name, marks.names, 1)[0]}?" for name in alone if nearest(name, marks.names, 1)]
    return (
        f"the site and the register have {counted(common, 'mark')} with a position in common; two are needed",
        "name the marks as the register does" + (f" ({listed(near)})" if near else ""),
    )


def _plain_grid(job: Job) -> bool:
    axes = crs.target_axes(job.target.grid, job.target.height)
    return axes.plain and bool(crs.target_grid(job.target.grid).is_projected)


def _in_grid(first: Floats, second: Floats, third: Floats, register: Operation, to_issued: Operation) -> Floats:
    """Return (n, 3) marks of the register in grid and height datum; the height NaN where there is none.

    What a mark without a height is given instead moves its position by nothing that counts.
    """
    there = np.isfinite(third)
    filled = np.where(there, third, np.median(third[there]) if there.any() else 0.0)
    grid = np.column_stack(to_issued.forward(*register.forward(first, second, filled)))
    grid[~there, 2] = np.nan
    return grid


def _height(common: _Common, tilt: bool, where: tuple[str, int], problems: Problems) -> HeightFit | None:
    grid, levelled = common.grid, common.levelled
    needed, there = (3 if tilt else 1), int(levelled.sum())
    if there < needed:
        problems.add(
            *where,
            f"{counted(there, 'common mark')} with a height, and a {'tilt' if tilt else 'step'} needs {needed}",
            'give heights of more marks, or write height = "step"' if tilt else 'or write height = "none" in it',
        )
        return None
    long, wide = width_of(grid[levelled, :2])
    if tilt and wide < _LINE * long:
        problems.add(
            *where,
            f"the marks with a height are on a line ({long:.0f} m long, {wide:.2f} m wide): the tilt across it is"
            " unknown",
            'add a mark off the line, or write height = "step"',
        )
        return None
    return fit_height(grid[levelled, :2], grid[levelled, 2], common.own[levelled, 2], tilt=tilt)
