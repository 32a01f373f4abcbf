"""The grid and the height datum of a job's coordinates, as its record names them, or the site's own system."""

import math

from pipeline.geodesy import crs
from pipeline.geodesy.axes import Axes, Axis
from pipeline.intake.site import Site
from pipeline.issue.record_types import AxesWritten, AxisWritten, SiteFit, SiteMark, Target
from pipeline.job.model import Job


def axes_issued(job: Job, *, on_site: bool) -> Axes:
    """Return how a job's issued coordinates are written; a site's own system counts in metres."""
    return Axes() if on_site else crs.target_axes(job.target.grid, job.target.height)


def target(job: Job, site: Site | None = None) -> Target:
    """Return the record's ``target``: grid and height datum by code and name, and both together as WKT."""
    grid, datum = crs.target_grid(job.target.grid), crs.vertical_of(job.target.height)
    axes = crs.target_axes(job.target.grid, job.target.height)
    plain: Target = {
        "grid": crs.registered_code(grid) or grid.to_wkt(),
        "grid_name": grid.name,
        "height": job.target.height if datum is None else (crs.registered_code(datum) or datum.to_wkt()),
        "height_name": "ellipsoidal" if datum is None else datum.name,
        "definition": crs.compound_definition(job.target.grid, job.target.height),
        "epoch": job.target.epoch,
        "axes": _axes(axes),
        "site": None,
    }
    return plain if site is None else _of_site(job, site, plain)


def _of_site(job: Job, site: Site, plain: Target) -> Target:
    """Return the target of a site's own system, derived of the grid and the height datum."""
    plan, up, both = site.definitions(job)
    return {
        **plain,
        "grid": plan,
        "grid_name": f"site on {plain['grid_name']}",
        "height": plain["height"] if site.height is None or up is None else up,
        "height_name": plain["height_name"] + ("" if site.height is None else ", of the site"),
        "definition": both,
        "axes": _axes(Axes()),
        "site": _fit(job, site, plain),
    }


def _fit(job: Job, site: Site, plain: Target) -> SiteFit:
    plan, height = site.plan, site.height
    wanted = job.target.site
    assert wanted is not None
    tilted = height is not None and height.tilted
    return {
        "grid": plain["grid"],
        "grid_name": plain["grid_name"],
        "height": plain["height"],
        "height_name": plain["height_name"],
        "definition": f"+{site.step.replace(' ', ' +')}",
        "plan": wanted.plan,
        "scale": plan.scale,
        "scale_ppm": 1e6 * (plan.scale - 1.0),
        "turn": math.degrees(plan.turn),
        "sigma_plan": plan.sigma,
        "over_plan": plan.over,
        "heights": wanted.height,
        "step": None if height is None else height.step,
        "slope_east": float(height.slope[0]) if height is not None and tilted else None,
        "slope_north": float(height.slope[1]) if height is not None and tilted else None,
        "sigma_height": None if height is None else height.sigma,
        "over_height": None if height is None else height.over,
        "marks": _marks(site),
    }


def _marks(site: Site) -> list[SiteMark]:
    rows = zip(site.names, site.own.tolist(), site.residuals().tolist(), strict=True)
    return [
        {
            "mark": name,
            "easting": own[0],
            "northing": own[1],
            "height": _known(own[2]),
            "residual_east": off[0],
            "residual_north": off[1],
            "residual_height": _known(off[2]),
        }
        for name, own, off in rows
    ]


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _axes(axes: Axes) -> AxesWritten:
    return {"easting": _axis(axes.easting), "northing": _axis(axes.northing), "height": _axis(axes.height)}


def _axis(axis: Axis) -> AxisWritten:
    return {"unit": axis.unit, "metres": axis.metres, "direction": axis.direction}
