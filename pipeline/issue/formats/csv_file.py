"""The points as CSV: UTF-8, comma, quotes where needed (RFC 4180), a header of the columns of ``points``.

Read back by Arrow's reader, which shares nothing with the writer.
"""

import csv
import re
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as arrow_csv

from pipeline.issue.about import About
from pipeline.issue.formats.figures import DECIMALS, fixed, floats, plain
from pipeline.issue.geopackage.streamed import Differs, Package, first_difference, side_by_side

# What a spreadsheet would take for a formula that does something, in wide and small signs and behind blanks too; a
# plain plus or minus needs a call, a command or another sheet for it: numbers and codes such as "-FE" stay as they are.
# Python's expressions and Arrow's read it alike.
_PASSED = "['\" \t\r\n\x0b\x0c\x85\xa0\u1680\u180e\u2000-\u200f\u2028-\u202f\u205f-\u2064\u3000\ufeff]*"
_WIDE = "\uff1d\uff20\uff0b\uff0d\ufe66\ufe6b\ufe62\ufe63"  # equals, at, plus, minus
_FORMULA = rf"(?s)^(?:'*[\t\r]|{_PASSED}(?:[=@{_WIDE}]|[+-].*[(|!]))"

#: Bytes that Arrow reads at once; no row may be longer.
_BLOCK = 1 << 25


def write(path: Path, package: Package, about: About) -> dict[str, int]:
    """Write the points of a package to a new file and return the rows by layer. Raises OSError."""
    names = package.schema("points").names
    with path.open("x", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        writer.writerow([guarded(name) for name in names])
        for batch in package.batches("points"):
            columns = [_cells(name, batch.column(place)) for place, name in enumerate(names)]
            writer.writerows(zip(*columns, strict=True))
    return {"points": package.rows["points"]}


def guarded(text: str) -> str:
    """Return a text with an apostrophe before it where a spreadsheet would run it as a formula.

    So that it can be undone, a text that looks as if it had been guarded already gets one more.
    """
    return f"'{text}" if re.search(_FORMULA, text) else text


def _cells(name: str, column: pa.Array) -> list[Any]:
    """Return a column as the writer takes it: it writes None as nothing, and numbers with all digits they have."""
    if name in DECIMALS:
        figures = floats(column)
        texts = fixed(np.nan_to_num(figures), DECIMALS[name])
        return [text if known else None for text, known in zip(texts, np.isfinite(figures).tolist(), strict=True)]
    values = plain(name, column)
    if pa.types.is_boolean(column.type):
        return [None if value is None else str(value).lower() for value in values]
    if pa.types.is_string(column.type) and _any_formula(column):
        return [None if text is None else guarded(text) for text in values]
    return values


def _any_formula(column: pa.Array) -> bool:
    return bool(pc.any(pc.match_substring_regex(column, _FORMULA)).as_py())


def read_back(path: Path, package: Package, about: About) -> None:
    """Compare every value with the package's. Raises Differs at the first that is not the same, or OSError."""
    kinds = package.schema("points")
    names = [guarded(name) for name in kinds.names]
    texts = arrow_csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False)
    try:
        reader = arrow_csv.open_csv(
            path,
            read_options=arrow_csv.ReadOptions(block_size=_BLOCK, use_threads=False),
            parse_options=arrow_csv.ParseOptions(newlines_in_values=True),
            convert_options=texts,
        )
        if reader.schema.names != names:
            raise Differs(f"its columns are {reader.schema.names}, given were {names}")
        for before, given, found in side_by_side(package.batches("points"), reader):
            for place, field in enumerate(kinds):
                _compare(field.name, given.column(place), found.column(place).combine_chunks(), before)
    except pa.ArrowInvalid as error:
        raise Differs(f"it cannot be read as CSV: {error}") from error


def _compare(name: str, given: pa.Array, found: pa.Array, before: int) -> None:
    """Compare a column with the texts found for it, read as its type by Arrow; an empty text and none are alike."""
    if pa.types.is_string(given.type):
        expected = pc.fill_null(given, "")
        if not found.equals(expected):
            first_difference(name, expected.to_pylist(), [_unguarded(text) for text in found.to_pylist()], before)
        return
    values = pc.if_else(pc.equal(found, ""), pa.scalar(None, pa.string()), found).cast(given.type)
    if not pa.types.is_floating(given.type):
        if not values.equals(given):
            first_difference(name, given.to_pylist(), values.to_pylist(), before)
        return
    off = 0.5 * 10.0 ** -DECIMALS[name] * 1.001 if name in DECIMALS else 0.0
    wanted = np.where(np.isfinite(floats(given)), floats(given), np.nan)
    apart = np.flatnonzero(~np.isclose(floats(values), wanted, rtol=1e-15 if off else 0.0, atol=off, equal_nan=True))
    if len(apart):
        row = int(apart[0])
        raise Differs(f"row {before + row + 1}: {name} is {found[row]}, given was {given[row]}")


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and re.search(_FORMULA, text) else text
