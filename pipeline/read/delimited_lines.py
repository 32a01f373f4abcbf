"""Lines of text as rows of cells want them: without comments, and one sign between the cells."""

import re
from collections.abc import Sequence


def plain_lines(block: bytes, comment: str | None, blanks: bool) -> bytes:
    """Return whole lines with comments emptied, and with a tab for every run of ``blanks`` that parts cells."""
    if comment is not None and (sign := comment.encode()) in block:
        block = re.sub(rb"^[ \t]*%s[^\n]*" % re.escape(sign), b"", block, flags=re.MULTILINE)
    if not blanks:
        return block
    if b'"' not in block:
        return b"\n".join([b"\t".join(line.split()) for line in block.split(b"\n")])
    block = re.sub(rb"^[ \t]+|[ \t]+$", b"", block, flags=re.MULTILINE)
    return re.sub(rb'((?:^|(?<=[ \t]))"[^"\n]*")|[ \t]+', lambda run: run[1] or b"\t", block, flags=re.MULTILINE)


#: Lines over which one cell in quotes may go, as headings of a spreadsheet do, before its quote is taken as stray.
_LINES = 6
#: A cell whose quote is open at the end of a line, and one that ends there; what was doubled is no quote.
_OPEN = re.compile(rb'(?:^|[,;\t|])[ ]*"[^"]*$')
_CLOSED = re.compile(rb'[^"]*"[ ]*(?=[,;\t|]|$)')


def whole_lines(lines: Sequence[bytes]) -> list[bytes]:
    """Return as many lines, of which those that a cell in quotes goes over stand in the last one of them, with blanks.

    The others are empty then. A quote that does not end its cell within a few lines leaves them as they are.
    """
    found = list(lines)
    at = 0
    while at < len(found):
        end = _last_of(lines, at) if b'"' in found[at] else at
        if end > at:
            found[end] = b" ".join(line.strip(b" ") for line in found[at : end + 1])
            found[at:end] = [b""] * (end - at)
        at = end + 1
    return found


def _last_of(lines: Sequence[bytes], at: int) -> int:
    """Return on which line the cells end that begin on one."""
    if not _OPEN.search(_single(lines[at])):
        return at
    begun, end = at, at + 1
    while end < min(begun + _LINES, len(lines)):
        line = _single(lines[end])
        if b'"' in line:
            closed = _CLOSED.match(line)
            if closed is None:
                return at
            if not _OPEN.search(line[closed.end() :]):
                return end
            begun = end  # of another cell, as each heading may have several lines
        end += 1
    return at


def _single(line: bytes) -> bytes:
    return line.replace(b'""', b"")
