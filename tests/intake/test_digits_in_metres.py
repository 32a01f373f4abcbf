"""How many metres the last digit of a column is worth, and a unit along its axes, whatever the export counts in.

Readings are in metres, converted from what the export says: a number to d decimals of a unit of u metres has a last
digit of u * 10^-d metres. Codes of roundings are 16 to a decade, so this is known to a sixteenth of one.
"""

from pathlib import Path

import numpy as np
import pytest

from pipeline.arrays import Floats
from pipeline.geodesy.axes import FOOT, SURVEY_FOOT
from pipeline.intake.pasted_cells import pasted_series
from pipeline.intake.positions import axis_metres, finest_digit, local_metres
from pipeline.job.key_values import Units
from pipeline.job.model import Columns, Points
from pipeline.read.exports import Export

#: Illinois East in metres and in US survey feet, Arizona Central in feet; and the second with heights in metres.
GRIDS = {"EPSG:6454": 1.0, "EPSG:6455": SURVEY_FOOT, "EPSG:2223": FOOT, "EPSG:6455+5703": SURVEY_FOOT}
#: Metres that are a sixteenth of a decade apart, as a share.
SIXTEENTH = 10.0 ** (1.0 / 16.0) - 1.0


def export(crs: str, geometry: bool = False) -> Export:
    mapped = {} if geometry else {"easting": "E", "northing": "N", "height": "H"}
    units: dict[str, Units] = {"EPSG:6454": "metre", "EPSG:6455": "us-survey-foot", "EPSG:2223": "foot"}
    points = Points(
        files=("rover.csv",), crs=crs, units=units.get(crs), columns=Columns(name="Name", time="Time", **mapped)
    )
    return Export(Path("rover.csv"), "rover.csv", 0, points, "", ())


def written(unit: float, decimals: int, middle: float = 1_000_000.0) -> Floats:
    """Numbers of a column, in metres, that were written to so many decimals of a unit."""
    counted = np.random.default_rng(decimals).uniform(-900.0, 900.0, 40) + middle
    return np.round(counted, decimals) * unit


@pytest.mark.parametrize("geometry", [False, True])
@pytest.mark.parametrize("decimals", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("crs", GRIDS)
def test_the_last_digit_is_worth_what_the_unit_makes_it(crs: str, decimals: int, geometry: bool) -> None:
    plan, up = GRIDS[crs], 1.0 if crs.endswith("+5703") else GRIDS[crs]
    for axis, unit in enumerate((plan, plan, up)):
        found = finest_digit(written(unit, decimals, 300.0 if axis == 2 else 1e6), axis, export(crs, geometry))
        # a whole unit and more counts as a metre at the most
        assert found == pytest.approx(min(unit * 10.0**-decimals, 1.0), rel=SIXTEENTH, abs=0.0)


@pytest.mark.parametrize("crs", GRIDS)
def test_a_metre_of_a_grid_in_feet_is_a_metre(crs: str) -> None:
    place = np.array([1e5, 1e5 + 3.0]), np.array([2e5, 2e5 + 4.0]), np.array([30.0, 42.0])
    assert axis_metres(place[1], export(crs)) == (1.0, 1.0, 1.0)
    east, north, up = (np.ptp(metres) for metres in local_metres(place, export(crs)))
    assert (east, north, up) == (3.0, 4.0, 12.0)


def test_of_no_known_number_no_digit_is_known() -> None:
    assert finest_digit(np.full(3, np.nan), 2, export("EPSG:6454")) == np.inf


@pytest.mark.parametrize(("crs", "decimals"), [("EPSG:6454", 1), ("EPSG:6455", 0), ("EPSG:2223", 0)])
def test_heights_that_are_alike_by_chance_are_no_pasted_cells(crs: str, decimals: int) -> None:
    """On a level field heights to a decimetre, or to a foot, come again in the same order now and then."""
    random, unit, source = np.random.default_rng(11), GRIDS[crs], export(crs)
    plan = np.array([300_000.0, 400_000.0]) + np.cumsum(random.normal(0.0, 10.0, (300, 2)), axis=0)
    up = np.round(random.normal(100.0, 2.0 * unit * 10.0**-decimals, 300) / unit, decimals) * unit
    place = np.column_stack([plan, up])
    scale = np.array(axis_metres(place[:, 1], source))
    assert pasted_series(place, scale, lambda values, axis: finest_digit(values, axis, source)) == []
