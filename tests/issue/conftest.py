"""Fixtures of the issue's tests."""

from collections.abc import Callable
from pathlib import Path

import pytest
from issue_layers import CRS, DATA_TO, source

from pipeline.issue.geopackage.tally import Written
from pipeline.issue.geopackage.write import write_geopackage


@pytest.fixture
def make() -> Callable[..., tuple[Written, ...]]:
    """Write a GeoPackage with layers of the given names and numbers of points."""

    def write(path: Path, **counts: int) -> tuple[Written, ...]:
        layers = [source(count, name) for name, count in counts.items()]
        return write_geopackage(path, layers, crs=CRS, data_to=DATA_TO, metadata={"height_datum": "NZVD2016 height"})

    return write
