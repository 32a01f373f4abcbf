"""Names with the sign of a spreadsheet's texts are told; names that begin with an apostrophe by themselves are not."""

import pytest

from pipeline.files.text_marks import text_mark


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["'CP1", "'0007", "'0008"], "begin with '"),
        (['="CP1"', '="0007"', '="0008"', None], 'are written ="..."'),
        (["'s-Hertogenbosch", "'t Harde", "'s-Gravenzande"], None),
        (["'CP1", "0007", "0008"], None),
        (["'1'", "'2'", "'3'"], None),
        (["'1", "'2"], None),
        (["CP1", "100", "101"], None),
        ([], None),
    ],
)
def test_marks_of_a_whole_column_are_told(names: list[str | None], told: str | None) -> None:
    assert text_mark(names) == told
