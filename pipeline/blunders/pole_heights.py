"""How an antenna or pole height as stated may have been applied otherwise."""

from collections.abc import Iterator

import numpy as np

from pipeline.geodesy.units import FOOT


def wrong_heights(stated: float | None) -> Iterator[tuple[float, str]]:
    """Yield how much too high a position is, and why, for an antenna or pole height as stated."""
    if stated is None or not np.isfinite(stated) or stated == 0.0:
        return
    yield stated, "left out"
    yield -stated, "applied twice"
    yield -stated * (1.0 - FOOT), "in feet but read as metres"
    yield stated * (1.0 / FOOT - 1.0), "in metres but read as feet"
