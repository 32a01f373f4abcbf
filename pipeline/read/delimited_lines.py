"""Lines of text as rows of cells want them: without comments, and one sign between the cells."""

import re


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
