"""Long notes of a drawing, whose pieces are read one by one."""

import re

import pytest
from ezdxf.tools.text import split_mtext_string

from pipeline.issue.formats.dxf_drawing import in_whole_signs

#: A new line, a backslash, braces: the signs of the format that begin with a backslash.
_SIGN = re.compile(r"\\[P\\{}]")


@pytest.mark.parametrize("sign", [r"\P", r"\\", r"\{", r"\\\P", r"\\\\", "^ \\P"])
def test_no_piece_of_a_note_ends_within_a_sign(sign: str) -> None:
    for before in range(254):
        text = sign.join(["x" * before, *("CM1: 3 occupations" * 7 for _ in range(6)), "end"])
        whole = in_whole_signs(text)
        pieces = split_mtext_string(whole)  # ezdxf's own, which cuts what is written
        assert "".join(pieces) == whole and len(pieces) > 3
        assert not any("\\" in _SIGN.sub("", piece) for piece in pieces)
        assert whole.replace(" ", "") == text.replace(" ", "")


def test_a_note_that_needs_nothing_is_as_it_was() -> None:
    text = r"\P".join(["a line of a note"] * 13)
    assert len(text) < 250 and in_whole_signs(text) == text
