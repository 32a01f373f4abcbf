"""The lines of a text that a block's ``comment`` passes over, below its header."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from pipeline.job.model import Points
from pipeline.read.text_blocks import blocks


def comment_lines(path: Path, points: Points, header: int) -> Iterator[tuple[int, bytes]]:
    """Yield them with their numbers in the file, from 1. Raises `Unusable` and OSError where it cannot be read."""
    before, sign = 0, (points.comment or "").encode()
    for block in blocks(path, points.encoding) if sign else ():
        if sign in block:
            yield from comments_of(enumerate(block.split(b"\n"), start=before + 1), sign, header)
        before += block.count(b"\n")


def comments_of(lines: Iterable[tuple[int, bytes]], sign: bytes, header: int) -> Iterator[tuple[int, bytes]]:
    """Yield those of some lines, with their numbers, that stand below the header and begin with a comment's sign."""
    return ((number, line) for number, line in lines if number > header and line.lstrip(b" \t").startswith(sign))


def said_in(line: bytes, sign: bytes) -> bytes:
    """Return what a comment says behind its sign."""
    return line.lstrip(b" \t").removeprefix(sign)
