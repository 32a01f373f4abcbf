"""Particulars are kept as they were written, and refused where a report could not show them."""

import tomllib
from typing import Any

import pytest
from pydantic import ValidationError

from pipeline.job.model import Particulars


def given(text: str) -> dict[str, Any]:
    return dict(Particulars.model_validate(tomllib.loads(text)).given)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ('a = "Bee & Dee"', "Bee & Dee"),
        ('a = ""', ""),
        ('a = """two\nlines"""', "two\nlines"),
        ("a = 12", 12),
        ("a = 1.612", 1.612),
        ("a = true", True),
        ("a = 2026-03-05", "2026-03-05"),
        ("a = 07:30:00", "07:30:00"),
        ("a = 2026-03-05T07:30:00+13:00", "2026-03-05 07:30:00+13:00"),
        ("a = 2026-03-05T07:30:00", "2026-03-05 07:30:00"),
        ('a = ["x", 1, 2026-03-05]', ["x", 1, "2026-03-05"]),
        ("a = []", []),
        ('[a]\nserial = "007"\nsince = 2024-01-01', {"serial": "007", "since": "2024-01-01"}),
        ('a = { list = ["x", "y"] }', {"list": ["x", "y"]}),
        ('[[a]]\nserial = "1"\n[[a]]\nserial = "2"', [{"serial": "1"}, {"serial": "2"}]),
    ],
)
def test_a_value_is_kept(text: str, value: object) -> None:
    assert given(text) == {"a": value}


def test_any_key_may_stand_there_in_the_order_of_the_file() -> None:
    """Also those that a class of Python has for itself."""
    keys = ["Zeichen §", "client", "given", "copy", "model_config", "model_fields", "_private", "2026"]
    assert list(given("\n".join(f'"{key}" = 1' for key in keys))) == keys


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = { b = { c = 1 } }", "'b' in it is nested too deeply"),
        ("a = [[1]]", "an item of it is nested too deeply"),
        ("[[a]]\nb = [1]", "'b' in a table of a list is nested too deeply"),
        ("a = [1, { b = 2 }]", "use one kind"),
        ("a = nan", "is not a number that can be shown"),
        ("a = { b = -inf }", "'b' in it is not a number"),
        ('a = "x\\u0000"', "holds a NUL"),
        ('"" = 1', "a key without a name"),
        ('a = { " " = 1 }', "a key without a name"),
        (f'a = "{"x" * 20_001}"', "over 20,000 characters"),
        (f"a = {[1] * 1001}", "1,001 values are more than a report can show"),
    ],
)
def test_what_cannot_be_shown_is_refused(text: str, said: str) -> None:
    with pytest.raises(ValidationError) as caught:
        given(text)
    assert said in str(caught.value)
