"""Fixtures of the issue's tests."""

from collections.abc import Callable

import pytest
from issue_layers import written_to

from pipeline.issue.geopackage.written_counts import Written


@pytest.fixture
def make() -> Callable[..., tuple[Written, ...]]:
    """Write a GeoPackage with layers of the given names and numbers of points."""
    return written_to
