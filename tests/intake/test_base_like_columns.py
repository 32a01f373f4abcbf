"""Columns without a telling heading that hold where a base stood, in whatever unit their export counts."""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.intake.base_like_columns import base_like_columns
from pipeline.job.model import Columns, Points

#: Metres in a US survey foot, by definition.
_FOOT = 1200 / 3937


def looked_at(crs: str, unit: float, first: tuple[float, float], second: tuple[float, float]) -> dict[str, str]:
    """What is found in a walk over a site on a grid, beside two places [m] where a base stood one after the other."""
    count = 60
    along = np.arange(count) * 9.0
    there = np.arange(count) >= 30
    places = np.where(there[:, None], second, first) / unit
    batch = pa.RecordBatch.from_pydict(
        {
            "first": 300_000.0 + along,  # readings are in metres
            "second": 520_000.0 + 0.4 * along,
            "third": np.full(count, 210.0),
            "Info 1": [f"{east:.3f}" for east in places[:, 0]],
            "Info 2": [f"{north:.3f}" for north in places[:, 1]],
        }
    )
    columns = Columns(name="Name", time="Time", easting="E", northing="N", height="H")
    stated = "us-survey-foot" if crs == "EPSG:6455" else None
    points = Points(files=["rover.csv"], crs=crs, units=stated, columns=columns)
    return base_like_columns(batch, ["Info 1", "Info 2"], np.ones(count, bool), points)


@pytest.mark.parametrize(("crs", "unit"), [("EPSG:6454", 1.0), ("EPSG:6455", _FOOT), ("EPSG:6455+6360", _FOOT)])
def test_a_base_is_known_by_its_position_in_the_unit_of_its_export(crs: str, unit: float) -> None:
    found = looked_at(crs, unit, (300_117.313, 520_441.927), (300_521.119, 519_877.653))
    assert found == {"Info 1": "base_easting", "Info 2": "base_northing"}


@pytest.mark.parametrize(("crs", "unit"), [("EPSG:6454", 1.0), ("EPSG:6455", _FOOT)])
def test_numbers_that_are_no_position_there_are_none(crs: str, unit: float) -> None:
    """Metres beside feet, and places tens of kilometres away."""
    assert looked_at(crs, unit, (355_117.313, 520_441.927), (355_521.119, 519_877.653)) == {}
    other = _FOOT if unit == 1.0 else 1.0
    assert looked_at(crs, other, (300_117.313, 520_441.927), (300_521.119, 519_877.653)) == {}
