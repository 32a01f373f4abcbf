"""Which mark a reading says it stands on."""

import pyarrow as pa
import pytest

from pipeline.occupations.signs import MarkNames, said_mark

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


@pytest.mark.parametrize(
    ("name", "mark"),
    [
        ("KP2", "KP2"), ("kp2", "KP2"), ("KP2b", "KP2"), ("KP2-2", "KP2"), ("KP2_pm", "KP2"), ("KP2 closing", "KP2"),
        ("chk-KP2", "KP2"), ("Check KP2", "KP2"), ("closeKP2", "KP2"), ("KP2CHK", "KP2"), (" KP2 ", "KP2"),
        ("KP21", None), ("KP2-115", None), ("KP20b", None), ("XKP2", None), ("KP2 fence", None), ("KP2-RM1", None),
        ("1", "1"), ("10", None), ("1234", None), ("1a", None), ("1-2", None), ("11", None),
        ("A", "A"), ("A1", None), ("Ab", None), ("TRIG-2", "TRIG"), ("TRIGb", "TRIG"), ("TRIGGER", None),
        ("KP22", "KP22"), ("KP22a", "KP22"), ("c17", None), ("", None), (None, None), ("NAÏVE9", None),
    ],
)  # fmt: skip
def test_names_that_are_like_a_marks(name: str | None, mark: str | None) -> None:
    """Common practice, no source: what is written beside a mark's name; ordinary numbered points are not like one."""
    names = MarkNames.of(["KP2", "1", "A", "TRIG", "KP22"])
    assert names.like(name) == mark
    assert names.among(pa.array([name, "P17", None], pa.string())).tolist() == [mark is not None, False, False]


def test_no_mark_no_likeness() -> None:
    assert not MarkNames.of([]).among(pa.array(["KP2"], pa.string())).any() and MarkNames.of([]).like("KP2") is None


def test_numbers_are_alike_with_leading_zeros_and_without() -> None:
    """Spreadsheets drop them; where two marks are one number, each is known as it stands alone."""
    names = MarkNames.arranged(["007", "12", "0", "CM1"])
    assert [names.like(name) for name in ("7", "07", "0007", "012", "00", "70")] == ["007"] * 3 + ["12", None, None]
    both = MarkNames.arranged(["007", "7"])
    assert [both.like(name) for name in ("7", "007", "07")] == ["7", "007", None]
