"""Finds the line of a text that is its header, and the sign between its columns."""

import re
from collections.abc import Sequence

from pipeline.job.key_values import BLANKS
from pipeline.new_job.headings import bare, is_known
from pipeline.read.records import Stray, Unclosed, cells

#: Signs that may stand between columns, blanks apart.
DELIMITERS = ",;\t|"
#: So many headings that are known make a header.
LEAST_KNOWN = 2
#: What begins a comment in most texts that have any.
COMMENT = b"#"
#: What begins a comment in texts of any program.
_REMARKS = (b"#", b"%", b";", b"//", b"!")
#: A number with decimals, as no column is called, and how many of these are a position.
_BROKEN, _PLAN = re.compile(r"[+-]?\d+[.,]\d{2,}"), 2
#: Words by which columns are named where only the header is to be found.
COLUMN_WORDS = ("name", "code", "time", "solution", "base", "mark")


def is_comment(line: bytes) -> bool:
    """Tell whether a line begins with the sign that most texts have before a comment."""
    return line.lstrip(b" \t").startswith(COMMENT)


def is_headed_by_sign(line: bytes) -> bool:
    """Tell whether a line begins with a heading that is a comment's sign alone, as numbers of points have it."""
    return re.match(rb"[ \t]*#[ ]*[,;|\t]", line) is not None


def width_of(names: list[str]) -> int:
    """Return how many columns a header has, empty ones at its end left out."""
    return max((place for place, name in enumerate(names, start=1) if name), default=0)


def has_coordinates(names: Sequence[str]) -> bool:
    """Tell whether cells are those of a row, with a label before each number: CP1, E, 2605007.869, N, 1194149.078."""
    return sum(_BROKEN.fullmatch(name) is not None for name in names) >= _PLAN


def find_header(lines: list[bytes]) -> tuple[int | None, str]:
    """Return which line names most columns that are known (else the first with most cells), and its delimiter.

    Blanks part columns only where no other sign does: headings may have some within.
    """
    sep = re.match(rb'"?sep=([^\n"])', lines[0], re.IGNORECASE) if lines else None
    if sep is not None:
        return _likeliest(lines, (sep[1].decode("utf-8", "replace"),), 1)[:2]
    at, sign, worth = _likeliest(lines, DELIMITERS, 0)
    if worth[0] >= LEAST_KNOWN or (not worth[0] and worth[1] > LEAST_KNOWN):
        return at, sign
    other, blanks, apart = _likeliest(lines, (BLANKS,), 0)
    if at is not None and other == at and _all_part(lines, at, sign):
        return at, sign
    return (other, blanks) if apart > worth else (at, sign)


def _all_part(lines: Sequence[bytes], at: int, sign: str) -> bool:
    """Tell whether a sign parts a header and all lines below it into equally many cells, three at least."""
    width = len(cells_of(lines[at], sign))
    below = [line for line in lines[at + 1 :] if line.strip()]
    return width > LEAST_KNOWN and bool(below) and all(len(cells_of(line, sign)) == width for line in below)


def _likeliest(lines: list[bytes], signs: Sequence[str], first: int) -> tuple[int | None, str, tuple[int, int]]:
    """Return the likeliest header below the first lines, its delimiter, and how many known and other names it has."""
    best, found, sign = (0, 0), None, ","
    for at, line in enumerate(lines):
        for delimiter in signs if line.strip() and at >= first else ():
            names = cells_of(line, delimiter)
            headings = () if has_coordinates(names) else names
            worth = (len({bare(name) for name in headings if is_known(name)}), len(names))
            wider = not best[0] and worth[1] > best[1] and _may_head(lines, at, delimiter, len(names))
            plainer = worth[0] == best[0] and found is not None and _is_remark(lines[found]) and not _is_remark(line)
            if worth[0] >= max(LEAST_KNOWN, best[0] + (0 if plainer else 1)) or wider:
                best, found, sign = worth, at, delimiter
    return found, sign, best


def _is_remark(line: bytes) -> bool:
    return line.lstrip(b" \t").startswith(_REMARKS) and not is_headed_by_sign(line)


def sign_before(lines: Sequence[bytes], at: int, delimiter: str) -> str:
    """Return the sign of a comment, apart from the first name, that makes a header one cell wider than its rows; ""."""
    names = cells_of(lines[at], delimiter) if delimiter == BLANKS else []
    if not names or names[0].encode() not in _REMARKS or names[0].encode() == COMMENT:
        return ""
    below = next((line for line in lines[at + 1 :] if line.strip() and not _is_remark(line)), b"")
    return names[0] if len(cells_of(below, delimiter)) == len(names) - 1 else ""


def _may_head(lines: Sequence[bytes], at: int, delimiter: str, width: int) -> bool:
    """Tell whether a line of unknown names may be the header: none that is a comment, unless rows are as wide."""
    if not _is_remark(lines[at]):
        return True
    below = next((line for line in lines[at + 1 :] if line.strip() and not _is_remark(line)), b"")
    return len(cells_of(below, delimiter)) == width


def cells_of(line: bytes, delimiter: str) -> list[str]:
    """Return the cells of a line, without a comment's sign before them; none where its quotes do not close."""
    line = line.lstrip(b" \t").removeprefix(COMMENT) if is_comment(line) and not is_headed_by_sign(line) else line
    if delimiter == BLANKS:
        return line.decode("utf-8", "replace").split()
    try:
        return [cell.decode("utf-8", "replace").strip() for cell in cells(line, delimiter.encode())]
    except (Stray, Unclosed):
        return []
