"""Messages that are too long to be told whole: 1,000 characters of a problem, 1,500 of a text on the page."""

import pytest

from pipeline.issue.report.number_format import clipped
from pipeline.problems import told


@pytest.mark.parametrize(
    ("more", "left_out"),
    [
        (0, ""), (1, ""), (12, ""), (25, ""), (26, "26 characters"), (27, "27 characters"), (40, "40 characters"),
        (5000, "5,000 characters"),
    ],
)  # fmt: skip
def test_a_shortened_message_is_shorter(more: int, left_out: str) -> None:
    """What says how much is left out has 25 characters or more: where that is no less, nothing is left out."""
    text = "a" * 500 + "b" * more + "c" * 500
    assert told(text) == (f"{'a' * 500} ... ({left_out}) ... {'c' * 500}" if left_out else text)


@pytest.mark.parametrize(
    ("more", "left_out"),
    [(0, ""), (12, ""), (39, ""), (40, "40 more characters"), (5000, "5\u202f000 more characters")],
)
def test_a_clipped_text_is_shorter(more: int, left_out: str) -> None:
    """Here it has 39 or more."""
    text = "a" * 1500 + "b" * more
    assert clipped(text) == (f"{'a' * 1500} ... ({left_out} in issue.json)" if left_out else text)
