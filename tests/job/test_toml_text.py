"""Texts written as TOML are read again as they were, each on one line (tomllib is the judge)."""

import tomllib

import pytest

from pipeline.job.toml_text import listed, quoted

ODD = [
    "",
    "CM1",
    'the "old" peg',
    "C:\\marks",
    "a\tb",
    "a\nb",
    "a\rb",
    "\x00\x1f\x7f",
    "a\x85b\u2028c\u2029d",
    "Höhe 高 \U0001f4cd",
]


@pytest.mark.parametrize("text", ODD)
def test_a_text_is_read_again_as_it_was(text: str) -> None:
    written = f"name = {quoted(text)}"
    assert tomllib.loads(written) == {"name": text} and len(written.splitlines()) == 1


def test_a_list_is_read_again_as_it_was() -> None:
    assert tomllib.loads(f"names = {listed(ODD)}") == {"names": ODD}
    assert listed([]) == "[]"
