"""The site's own system, as summary and report tell it: what was found, and how its marks fit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.tables import Table, difference, name, position_columns, table
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record, SiteFit, SiteMark

_MARKS = 500


def localisation(site: SiteFit) -> str:
    """Return what a localisation is, in one sentence."""
    held = ", held" if site["plan"] == "rigid" else ""
    plan = (
        f"{site['plan']} from {site['grid_name']} by {counted(len(site['marks']), 'mark')}, scale {site['scale']:.7f}"
        f" ({site['scale_ppm']:+.1f} ppm{held}), {_turn(site['turn'])}"
        f"{_spread(site['sigma_plan'])}"
    )
    if site["step"] is None:
        return f"{plan}; heights as they are"
    used = sum(mark["residual_height"] is not None for mark in site["marks"])
    tilt = ""
    if site["slope_east"] is not None and site["slope_north"] is not None:
        tilt = (
            f" and a tilt of {1e6 * site['slope_east']:+.1f} mm/km east, {1e6 * site['slope_north']:+.1f} mm/km north"
        )
    return (
        f"{plan}; heights by a step of {site['step']:+.4f} m{tilt}, of {counted(used, 'mark')}"
        f"{_spread(site['sigma_height'])}"
    )


def _turn(degrees: float) -> str:
    """Return a turn with its sense: the site's numbers are those of the grid turned so, so its axes turn back."""
    shown = round(degrees, 5) + 0.0  # no "-0.00000"
    sense = "anticlockwise" if shown > 0.0 else "clockwise"
    return f"turn {shown:+.5f} degrees" + (f" ({sense} from the grid's numbers to the site's)" if shown else "")


def _spread(sigma: float | None) -> str:
    return ", no mark over" if sigma is None else f", sigma of a mark {sigma:.4f} m"


def _off(mark: SiteMark) -> int:
    """Return a mark's residual in plan, tenths of a millimetre."""
    return round(1e4 * math.hypot(mark["residual_east"], mark["residual_north"]))


def site_table(record: Record) -> Table | None:
    """Return the marks that the site and the register have in common with their residuals, the worst first."""
    site = record["target"]["site"]
    if site is None:
        return None
    columns = [
        name("Mark", "mark", names=True),
        *position_columns(),
        difference("Residual easting", "residual_east"),
        difference("Residual northing", "residual_north"),
        difference("Residual height", "residual_height"),
    ]
    worst = choose(site["marks"], _off, most=_MARKS)
    caption = "Marks in the site's own system; residuals are register minus site, metres."
    return table(caption, columns, worst, "issue.json")
