"""Explains which rows of a file cannot be split like its header, or hold NUL bytes, and what to do."""

import re
from itertools import islice

from pipeline.job.toml_text import quoted
from pipeline.new_job.look import FileLook
from pipeline.words import counted, plural

#: A number with a decimal comma that stands between commas too.
_COMMAS = re.compile(r"(?:^|,)[+-]?\d+,\d+,[+-]?\d+,\d+(?:,|$)")
#: Signs that may separate columns and that are not looked for, as they stand in headings and codes as well.
_OTHER_SIGNS = "^~!$@&*#"
#: Times that one stands in the header and in each row, at least.
_TWICE = 2
#: Rows below the header that are looked at for it.
_ROWS = 20


def mostly_torn(look: FileLook) -> str | None:
    """Return why most of the first rows have not as many cells as the header, and what to do; None where few are so."""
    rows = len(next(iter(look.columns.values()), []))
    if (sign := _other_sign(look)) is not None:
        return (
            f"'{sign}' seems to separate its columns, which is not looked for: export with another delimiter, such as"
            f" ';' or a tab, write the line sep={sign} above the header, or state delimiter = {quoted(sign)} in a job"
            " file"
        )
    if 2 * len(look.torn) <= rows:
        return None
    torn = f"{len(look.torn)} of the first {counted(rows, 'row')} cannot be split like the header"
    shown = look.fault.replace("\t", " ")
    torn += f", the first is line {look.torn[0]}: {shown}; "
    if look.blanks and (cells := _cells_of_each(look)):
        return (
            f"{torn}as every row has {counted(cells, 'cell')}, blanks within headings split them, or a column is"
            ' empty: write each heading as one word, as in "Point_name", leave empty columns out, or export with'
            " another delimiter, such as ';' or a tab"
        )
    if look.blanks:
        return (
            f"{torn}where blanks separate the columns, a name or code with a blank is split and an empty cell is"
            " lost: export with another delimiter, such as ';' or a tab"
        )
    with look.path.open("rb") as file:
        line = next(islice(file, look.torn[0] - 1, None), b"").decode("utf-8", "replace").strip()
    if _COMMAS.search(line):
        return (
            f"{torn}its decimal commas seem to be mixed with comma delimiters: export with decimal points, or with"
            " another delimiter, such as ';' or a tab"
        )
    return f"{torn}check that the rows have the columns of the header, and export it again"


def _other_sign(look: FileLook) -> str | None:
    """Return the sign, none of those that are looked for, that stands as often in each row as in the header.

    None of those that are looked for may stand in the header.
    """
    if look.form != "text" or not any(sign in name for name in look.names for sign in _OTHER_SIGNS):
        return None
    with look.path.open("rb") as file:
        lines = [line.decode("utf-8", "replace") for line in islice(file, look.header_line + _ROWS)][
            max(look.header_line - 1, 0) :
        ]
    header, *rows = [line for line in lines if line.strip()] or [""]
    for sign in "" if set(header) & set(",;\t|") else _OTHER_SIGNS:
        times = header.count(sign)
        if times >= _TWICE and rows and {line.count(sign) for line in rows} == {times}:
            return sign
    return None


def _cells_of_each(look: FileLook) -> int:
    """Return how many cells all rows have that blanks separate, where that is fewer than the header; 0 elsewhere."""
    with look.path.open("rb") as file:
        lines = list(islice(file, look.torn[-1]))
    counts = {len(lines[number - 1].split()) for number in look.torn}
    rows = len(next(iter(look.columns.values()), []))
    alike = len(counts) == 1 and len(look.torn) == rows
    return min(counts) if alike and min(counts) < len(look.names) else 0


def nul_note(look: FileLook) -> str | None:
    """Return what is to be told of lines with a NUL, each of which a run holds back; None of none."""
    if not look.nuls:
        return None
    lines = counted(len(look.nuls), "line holds", "lines hold")
    first = ", this one first," if len(look.nuls) > 1 else ""
    return (
        f"{look.shown}:{look.nuls[0]}: {lines} NUL bytes{first} and cannot be read: the file may be damaged or"
        " incomplete; export it again"
    )


def torn_note(look: FileLook) -> str | None:
    """Return what is to be told of rows between blanks with more or fewer cells, or in other columns; None of none."""
    if not look.torn or not look.blanks:
        return None
    many = counted(len(look.torn), "row")
    return (
        f"{look.shown}:{look.torn[0]}: {many} of the first {len(next(iter(look.columns.values()), []))}"
        f" {plural(len(look.torn), 'has', 'have')} not as many cells as the header, or some in other columns,"
        " this one first, and cannot be read: where blanks separate the columns an empty cell is lost, and a blank in a"
        " name parts it in two; export with another delimiter, such as ';' or a tab"
    )
