"""Messages that are too long to be told whole."""

import pytest

from pipeline import limits
from pipeline.issue.report.written import clipped
from pipeline.problems import told


@pytest.mark.parametrize("more", [0, 1, 12, 26, 27, 28, 40, 5000])
def test_a_shortened_text_is_shorter(more: int) -> None:
    """What says how much is left out may be longer than what is: then nothing is left out."""
    text = "x" * (limits.MESSAGE + more)
    assert len(told(text)) <= len(text)
    assert (told(text) == text) == ("characters) ..." not in told(text))
    assert told("x" * (limits.MESSAGE + 12)) == "x" * (limits.MESSAGE + 12)
    assert len(told("x" * (limits.MESSAGE + 5000))) < limits.MESSAGE + 50
    assert len(clipped("x" * (1500 + more))) <= 1500 + more
    assert clipped("x" * 1512) == "x" * 1512
