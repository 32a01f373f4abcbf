"""Says of a text that changed whether it is the same but for its line ends or its byte order mark."""

import hashlib
from collections.abc import Iterator
from itertools import product
from pathlib import Path

_MARK = b"\xef\xbb\xbf"
#: Bytes of a text beyond which it is not compared so.
_MOST = 1 << 26


def line_ends_alone(path: Path, before: str) -> bool:
    """Return whether a file had the SHA-256 ``before`` with other line ends, or with or without a byte order mark."""
    try:
        if path.stat().st_size > _MOST:
            return False
        data = path.read_bytes()
    except OSError:  # told by who reads it
        return False
    return any(hashlib.sha256(one).hexdigest() == before for one in _others(data))


def _others(data: bytes) -> Iterator[bytes]:
    """Yield a text with each kind of line end, with and without its mark."""
    plain = data.removeprefix(_MARK).replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    for mark, end in product((b"", _MARK), (b"\n", b"\r\n", b"\r")):
        yield mark + plain.replace(b"\n", end)
