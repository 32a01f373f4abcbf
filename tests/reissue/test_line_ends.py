"""Whether a text that changed is the same but for its line ends, by sums of texts written out here."""

import hashlib
from pathlib import Path

import pytest

from pipeline.reissue.line_ends import line_ends_alone

MARK = b"\xef\xbb\xbf"


@pytest.mark.parametrize(
    ("before", "after", "alone"),
    [
        (b"a,b\n1,2\n", b"a,b\r\n1,2\r\n", True),
        (b"a,b\r\n1,2\r\n", b"a,b\n1,2\n", True),
        (b"a,b\n1,2\n", MARK + b"a,b\n1,2\n", True),
        (MARK + b"a,b\r\n1,2", b"a,b\n1,2", True),
        (b"a,b\n1,2\n", b"a,b\r\n1,3\r\n", False),
        (b"a,b\n1,2\n", b"a,b\n1,2", False),
        (b"a,b\n1,2\n", b"a,b\n\n1,2\n", False),
    ],
)
def test_only_other_line_ends_are_none(before: bytes, after: bytes, alone: bool, tmp_path: Path) -> None:
    path = tmp_path / "day.csv"
    path.write_bytes(after)
    assert line_ends_alone(path, hashlib.sha256(before).hexdigest()) is alone
