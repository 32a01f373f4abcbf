"""Which mark a reading says it stands on."""

import pytest

from pipeline.occupations import said_mark

MARKS = ("CM1", "CM1-2", "CM10", "PIN A")


@pytest.mark.parametrize(
    ("name", "column", "mark"),
    [
        ("CM1", None, "CM1"),
        ("CM1-AM", None, "CM1"),
        ("CM1_closing", None, "CM1"),
        ("CM1-2", None, "CM1-2"),
        ("CM1-2 again", None, "CM1-2"),
        ("CM100", None, None),
        ("CM10.b", None, "CM10"),
        ("PIN A/1", None, "PIN A"),
        ("P17", None, None),
        ("P17", " CM10 ", "CM10"),
        ("CM1-AM", "CM10", "CM10"),
        ("CM1-AM", "not a mark", "CM1"),
        (None, None, None),
    ],
)
def test_the_mark_column_decides_then_the_name(name: str | None, column: str | None, mark: str | None) -> None:
    assert said_mark(name, column, MARKS) == mark
