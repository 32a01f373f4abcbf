"""What tests of the adjustment have in common."""

import pytest


@pytest.fixture(params=[64, 0], ids=["few", "many"])
def either_way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of few unknowns the sessions or the marks are eliminated first, of many as many as never meet, kept sparse."""
    for room in ("network", "inverse"):
        monkeypatch.setattr(f"pipeline.adjust.{room}.FEW", request.param)
