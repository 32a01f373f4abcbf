"""Doubts a site's localisation: marks that do not agree or that nothing proves, an odd scale or tilt.

Checks prove nothing of it: what the register says of their marks goes through the localisation as the points do, so
that an error in it moves both alike. Only marks that are over do.
"""

import numpy as np

from pipeline.adjust.localise import fit_height, fit_plan, redundancy_in_height, redundancy_in_plan, width_of
from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.site_uncertainty import uncertain_site
from pipeline.geodesy.site_crs import point_scale
from pipeline.intake.site import Site
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.sphere import RADIUS
from pipeline.words import Doubt, counted, plural

#: A scale is explained where it is within this part of one that is expected: instruments and their air corrections
#: make some 30 parts in a million (common practice, no source).
_EXPLAINED = 50e-6
#: Marks of a tilt whose extent across their line is a smaller part of that along it hold it badly.
_NARROW = 0.1
#: The work may reach this many times as far from the middle of the marks as the farthest of them.
_BEYOND = 1.5
#: Of an error in a mark its own residual has this share (its redundancy, 1 minus leverage) where others prove it. With
#: less the residuals of all together have less than a twentieth of the error: half a metre would pass as 25 mm.
_SHOWS = 0.0025
#: Metres a metre that a height datum, or the ellipsoid, is inclined to another at the most: geoids seldom slope by more
#: than 100 to 150 mm/km. From memory, no source.
_STEEPEST = 150e-6


def site_doubts(survey: Survey) -> list[Doubtful]:
    """Return what of the localisation may put all points off alike."""
    site = survey.operations.site
    if site is None:
        return []
    file, line = survey.prepared.loaded.recorded_at("target", "site", "marks")
    told = [*_plan_apart(site, survey), *_heights_apart(site, survey), *_odd_scale(site, survey), *_narrow(site)]
    told += [*_steep(site, survey), *_unproven(site), *_mirrored(site, survey)]
    return [Doubtful(Doubt.SITE, what, None, file, line) for what in told]


def site_notes(survey: Survey) -> list[str]:
    """Return in words what of the localisation deserves a look and makes no number wrong."""
    site = survey.operations.site
    if site is None:
        return []
    told = []
    if site.alone:
        some = f"{listed(site.alone[:6])}{' and others' if len(site.alone) > 6 else ''}"
        told.append(f"{some} of the site's marks are not in the register and take no part in the localisation")
    file, line = survey.prepared.loaded.recorded_at("target", "site", "marks")
    places = _over_work(site, survey)
    told += [*_heights_unused(site, survey), *_outside(site, places)]
    told += uncertain_site(site, places[np.isfinite(places).all(axis=1)], survey)
    return [f"{file}:{line}: {what}" for what in told]


def _heights_unused(site: Site, survey: Survey) -> list[str]:
    """The site's heights where they are not asked for and are others than the register's, all by about one step."""
    if not len(site.unused):
        return []
    known, own = site.unused.T
    step = known - own
    if len(own) > 1 and np.ptp(own) == 0.0:
        return []  # filled in with one number, as plans without heights are
    mean, allowed = float(step.mean()), survey.job.checks.vertical
    if abs(mean) <= allowed:
        return []
    spread = f", each to within {np.abs(step - mean).max():.3f} m of that" if len(own) > 1 else ""
    return [
        f"the site's heights are {abs(mean):.3f} m {'below' if mean > 0 else 'above'} the register's by"
        f" {counted(len(own), 'common mark')}{spread}, and are not used: heights are issued in"
        f" {survey.target['height_name']};"
        ' if the work is drawn in the site\'s heights, write height = "step"'
    ]


def _plan_apart(site: Site, survey: Survey) -> list[str]:
    """The marks whose plan residual is beyond the tolerance of checks, and the one that explains it."""
    off, allowed = np.hypot(*site.plan.residuals.T), survey.job.checks.horizontal
    if off.max() <= allowed:
        return []
    worst = int(np.argmax(off))
    told = f"the site's marks do not fit the register in plan: {site.names[worst]} by {off[worst]:.3f} m"
    swapped = fit_plan(site.grid[:, :2], site.own[:, 1::-1], hold_scale=site.plan.held)
    if len(site.names) > 2 and np.hypot(*swapped.residuals.T).max() <= allowed:
        return [f"{told}; with easting and northing of the site swapped they fit"]
    left = _without_each(site, allowed)
    if left is not None:
        return [f"{told}; without {site.names[left[0]]} the others agree to {left[1]:.3f} m, so check it first"]
    hint = '; if the site\'s distances are measured on the ground, write plan = "similarity"' if site.plan.held else ""
    return [f"{told}, and no single mark explains it{hint}"]


def _without_each(site: Site, allowed: float) -> tuple[int, float] | None:
    """Return the one mark without which the others, still proving one another, agree, and how well."""
    best = None
    for number in range(len(site.names)):
        rest = np.arange(len(site.names)) != number
        if width_of(site.grid[rest, :2])[0] < 1.0:
            continue
        fit = fit_plan(site.grid[rest, :2], site.own[rest, :2], hold_scale=site.plan.held)
        off = float(np.hypot(*fit.residuals.T).max())
        if fit.over and off <= allowed and (best is None or off < best[1]):
            best = (number, off)
    return best


def _heights_apart(site: Site, survey: Survey) -> list[str]:
    if site.height is None:
        return []
    off, names = np.abs(site.height.residuals), np.array(site.names)[site.levelled]
    allowed = survey.job.checks.vertical
    if off.max() <= allowed:
        return []
    worst = int(np.argmax(off))
    told = f"the site's marks do not fit the register in height: {names[worst]} by {off[worst]:.3f} m"
    rest = np.arange(len(off)) != worst
    grid, datum, own = site.grid[site.levelled, :2], site.grid[site.levelled, 2], site.own[site.levelled, 2]
    if not site.height.tilted and rest.sum() > 1:
        without = np.abs(fit_height(grid[rest], datum[rest], own[rest], tilt=False).residuals).max()
        if without <= allowed:
            return [f"{told}; without it the others agree to {without:.3f} m, so check it first"]
    return [f"{told}, and not that mark alone is wrong"]


def _odd_scale(site: Site, survey: Survey) -> list[str]:
    """A scale that is neither the grid's, nor that of distances on the ellipsoid or on the ground."""
    if site.plan.held:
        return []
    scale = point_scale(survey.job.target.grid, *survey.operations.area.centre)
    heights = site.grid[np.isfinite(site.grid[:, 2]), 2]
    ground = (1.0 + (float(heights.mean()) if len(heights) else 0.0) / RADIUS) / scale
    off = min(abs(site.plan.scale / expected - 1.0) for expected in (1.0, 1.0 / scale, ground))
    long, allowed = width_of(site.grid[:, :2])[0], survey.job.checks.horizontal
    if off <= max(_EXPLAINED, allowed / long):
        return []
    return [
        f"the site's scale relative to the grid is {site.plan.scale:.7f} ({1e6 * (site.plan.scale - 1.0):+,.0f} ppm):"
        f" ground distances would give {ground:.7f}, grid distances 1; over the {long:.0f} m between the"
        f" marks that is {off * long:.3f} m. Check the marks' coordinates, feet for metres, and the projection"
    ]


def _unproven(site: Site) -> list[str]:
    """Where nothing is over to prove the localisation, or one mark of it."""
    told = []
    fits = [("plan", site.plan.over, redundancy_in_plan(site.grid[:, :2]), site.names)]
    # with the scale held the distances of the marks are proven, however they lie
    across = " across the line to the middle of the marks" if site.plan.held else ""
    if site.height is not None:
        levelled = tuple(np.array(site.names)[site.levelled].tolist())
        shares = redundancy_in_height(site.grid[site.levelled, :2], tilt=site.height.tilted)
        fits.append(("heights", site.height.over, shares, levelled))
    for what, over, shares, names in fits:
        hidden = [name for name, share in zip(names, shares, strict=True) if share < _SHOWS]
        if not hidden:
            continue
        proves = "checks go through it too and so cannot prove it; add another common mark"
        if over == 0:
            told.append(
                f"nothing proves the localisation in {what}: {counted(len(names), 'common mark')}"
                f" {plural(len(names), 'is', 'are')} only just enough, so an error in one shows nowhere, and hu95 and"
                f" vu95 do not include its uncertainty; {proves}"
            )
        else:
            some = f"one of {listed(hidden)}" if len(hidden) > 1 else hidden[0]
            if what == "plan" and site.plan.held and len(names) == 2:
                told.append(
                    f"only the distance between {listed(hidden)} proves the localisation in plan: an error in one of"
                    f" them along the line shows, one across it does not; {proves}, off the line"
                )
                continue
            way = across if what == "plan" else ""
            told.append(
                f"nothing proves the localisation in {what}: with the common marks placed as they are, an error in"
                f" {some}{way} shows nowhere; {proves}, far from the others"
            )
    return told


def _mirrored(site: Site, survey: Survey) -> list[str]:
    """Whether the marks would fit as well with the site's easting and northing exchanged: all on one line."""
    allowed = survey.job.checks.horizontal
    if len(site.names) < 3 or np.hypot(*site.plan.residuals.T).max() > allowed:
        return []  # of two that is said already, they prove nothing
    swapped = fit_plan(site.grid[:, :2], site.own[:, 1::-1], hold_scale=site.plan.held)
    if np.hypot(*swapped.residuals.T).max() > allowed:
        return []
    return [
        "all marks of the site are on one line, so they would fit equally well with its easting and northing swapped,"
        " which would mirror the work about that line; add a mark off the line"
    ]


def _steep(site: Site, survey: Survey) -> list[str]:
    """A tilt that is more than one height datum is inclined to another, and more than errors of its marks make."""
    if site.height is None or not site.height.tilted:
        return []
    slope, wide = float(np.hypot(*site.height.slope)), width_of(site.grid[site.levelled, :2])[1]
    if slope <= _STEEPEST + survey.job.checks.vertical / wide:
        return []
    return [
        f"the localisation tilts heights by {1e6 * slope:,.0f} mm/km: a geoid seldom slopes by more than"
        f" {1e6 * _STEEPEST:.0f}; over the {wide:.0f} m between the marks that is {slope * wide:.3f} m, so check the"
        ' height of each mark in both files, or write height = "step"'
    ]


def _narrow(site: Site) -> list[str]:
    if site.height is None or not site.height.tilted:
        return []
    long, wide = width_of(site.grid[site.levelled, :2])
    if wide >= _NARROW * long:
        return []
    return [
        f"the marks of the tilt are nearly on a line, {long:.0f} m long and {wide:.1f} m wide: across it an error in"
        f' their heights grows {long / wide:.0f}-fold; write height = "step", or add a mark off the line'
    ]


def _over_work(site: Site, survey: Survey) -> Floats:
    """Return (n, 2) places of the work on the site: its middle, corners and middles of sides; none without an area."""
    area = survey.first_pass.area
    if area is None:
        return np.zeros((0, 2))
    lon, lat = area.samples()
    frames = survey.operations.frames
    xyz = frames.to_geographic.inverse(lon, lat, np.full_like(lon, _mean_height(site)))
    return np.column_stack(frames.to_issued.forward(*xyz))[:, :2]


def _outside(site: Site, places: Floats) -> list[str]:
    """How far the work, (n, 2) places over it, reaches beyond the marks, by the middles of its sides."""
    sides = places[[0, 5, 6, 7]] if len(places) else places
    sides = sides[np.isfinite(sides).all(axis=1)]
    if not len(sides):
        return []
    work = float(np.hypot(*(sides - site.plan.site).T).max())
    marks = float(np.hypot(*(site.own[:, :2] - site.plan.site).T).max())
    if work <= _BEYOND * marks:
        return []
    return [
        f"the marks of the site do not surround the work: it reaches {work:,.0f} m from their middle, the farthest mark"
        f" only {marks:,.0f} m; add marks around the work"
    ]


def _mean_height(site: Site) -> float:
    heights: Floats = site.grid[np.isfinite(site.grid[:, 2]), 2]
    return float(heights.mean()) if len(heights) else 0.0
