"""How many of a list are not told."""

import pytest

from pipeline.near import and_more, listed


@pytest.mark.parametrize(
    ("left", "before", "said"),
    [(-2, " ", ""), (0, " ", ""), (1, " ", " and 1 more"), (1500, "; ", "; and 1,500 more")],
)
def test_only_what_is_left_is_counted(left: int, before: str, said: str) -> None:
    assert and_more(left, before) == said


def test_a_list_of_names_ends_with_it() -> None:
    assert listed([f"P{n}" for n in range(12)]).endswith("P10, P11")
    assert listed([f"P{n}" for n in range(14)]).endswith("P10, P11 and 2 more")
