"""How far readings of one point are from their mean is told with its unit."""

import re
from typing import Any

from pipeline.cli.issue_summary import _repeats


def test_distances_from_a_mean_have_their_unit() -> None:
    found: Any = {
        "pairs": 0, "failed": 0, "means": 2, "spread_horizontal": 0.037, "spread_vertical": 0.019, "failing": [],
    }  # fmt: skip
    (line,) = _repeats(found)
    assert re.findall(r"[\d.]+ m in (?:plan|height)", line) == ["0.037 m in plan", "0.019 m in height"]
