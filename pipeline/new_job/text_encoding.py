"""Finds the encoding of a text: by its mark, by its bytes, or as a code page that may be another."""

from itertools import islice
from pathlib import Path

from pipeline.new_job.encodings import CodePages, code_pages
from pipeline.new_job.headings import is_known
from pipeline.new_job.look import BYTES, LINES
from pipeline.new_job.text_header import DELIMITERS
from pipeline.read.findings import Unusable
from pipeline.read.sources import TEXT
from pipeline.read.text_blocks import blocks, encoding_of

#: What a text is read in that makes sense in no code page.
_PLAINEST = "cp1252"


def pages_of(path: Path) -> CodePages | None:
    """Return the code pages that a text may be in; None of UTF-8, and where it makes sense in none."""
    try:
        return find_encoding(path, None)[2] if path.suffix.lower() in TEXT else None
    except OSError:
        return None


def find_encoding(path: Path, page: str | None) -> tuple[str | None, str, CodePages | None]:
    """Return the encoding to state, None where the reader finds it, what to say of it, and code pages if several do."""
    marked, mark = encoding_of(path, None)
    with path.open("rb") as file:
        head = file.read(BYTES)
    if mark:
        return None, f"{marked.upper()} by its mark", None
    if (wide := _wide(head)) is not None:
        return wide, "UTF-16", None
    head = head[: head.rfind(b"\n") + 1 or len(head)]
    try:
        head.decode("utf-8")
        return None, "UTF-8", None
    except UnicodeDecodeError:
        pages = code_pages(head, _known_in)
        pages = None if pages is None else pages.first(page)
        best = _PLAINEST if pages is None else pages.names[0]
        return best, f"{best}, as it is not UTF-8", pages


#: The share of every other byte that is NUL, at least, in a text of two bytes a sign; and of how many of these there
#: are, at most, among the others: a stray NUL, or what pads the end of a file, makes no such text.
_WIDE, _OTHERS = 0.2, 0.25


def _wide(head: bytes) -> str | None:
    """Return which UTF-16 a text without a mark is in; None where it is in none."""
    text = head.rstrip(b"\0")
    even, odd = text[::2].count(0), text[1::2].count(0)
    most, least = max(even, odd), min(even, odd)
    if not text or most < _WIDE * len(text) / 2 or least > _OTHERS * most:
        return None
    return "utf-16-le" if odd > even else "utf-16-be"


def _known_in(text: str) -> int:
    first = text.splitlines()[:LINES]
    return max((sum(map(is_known, line.split(sign))) for line in first for sign in DELIMITERS), default=0)


def beginning_of(path: Path, encoding: str | None) -> list[bytes]:
    """Return the first lines of a text, as UTF-8. Raises `Unusable` where its encoding is another, and OSError."""
    try:
        return [line for block in islice(blocks(path, encoding, BYTES), 1) for line in block.split(b"\n")]
    except UnicodeDecodeError as error:
        what = f"its encoding cannot be recognised: it is neither UTF-8 nor {encoding}"
        raise Unusable(1, what, "save it with the encoding UTF-8, and run `tiedown new` again") from error
