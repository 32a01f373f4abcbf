"""The points as CSV: UTF-8, comma, quotes where needed (RFC 4180), a header of the columns of ``points``.

Read back by Arrow's reader, which shares nothing with the writer.
"""

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as arrow_csv

from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.figures import DECIMALS, fixed_or, floats, joined
from pipeline.issue.geopackage.layer_stream import Differs, Package, first_difference, side_by_side
from pipeline.tables import bytes_of, iso_texts

# What a spreadsheet would take for a formula that does something, in wide and small signs and behind blanks too; a
# plain plus or minus needs a call, a command or another sheet for it, or numbers or cells that are computed with:
# "+1-2" would become -1. Numbers and codes such as "-FE1" stay as they are. Python's expressions and Arrow's read it
# alike.
_PASSED = "['\" \t\r\n\x0b\x0c\x85\xa0\u1680\u180e\u2000-\u200f\u2028-\u202f\u205f-\u2064\u3000\ufeff]*"
_WIDE = "\uff1d\uff20\uff0b\uff0d\ufe66\ufe6b\ufe62\ufe63"  # equals, at, plus, minus
_OPERAND = r"[ +-]*(?:[0-9.,]+|\$?[A-Za-z]{1,3}\$?[0-9]+)[ %\r\n]*"
_COMPUTED = rf"[+-]{_OPERAND}(?:[-+*/^&<>=:]{_OPERAND})+$"
_FORMULA = rf"(?s)^(?:'*[\t\r]|{_PASSED}(?:[=@{_WIDE}]|[+-].*[(|!]|{_COMPUTED}))"

#: What stands in quotes.
_QUOTED = '[,"\r\n]'

#: Bytes that Arrow reads at once; no row may be longer.
_BLOCK = 1 << 25


def write(path: Path, package: Package, about: FileFacts) -> dict[str, int]:
    """Write the points of a package to a new file and return the rows by layer. Raises OSError."""
    names = package.schema("points").names
    with path.open("xb") as file:
        file.write(_header(names).encode())
        for batch in package.batches("points"):
            columns = [_cells(name, batch.column(place)) for place, name in enumerate(names)]
            file.write(bytes_of(joined(pc.binary_join_element_wise(*columns, ","), "\r\n"))[0])
    return {"points": package.rows["points"]}


def _header(names: Sequence[str]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerow([guarded(name) for name in names])
    return text.getvalue()


def guarded(text: str) -> str:
    """Return a text with an apostrophe before it where a spreadsheet would run or compute it as a formula.

    So that it can be undone, a text that looks as if it had been guarded already gets one more.
    """
    return f"'{text}" if re.search(_FORMULA, text) else text


def _cells(name: str, column: pa.Array) -> pa.StringArray:
    """Return a column as text: nothing for a null or what is no number, and numbers with all digits that they have."""
    kind = column.type
    if pa.types.is_string(kind):
        return _texts(column)
    if name in DECIMALS:
        return fixed_or(floats(column), DECIMALS[name], "")
    if pa.types.is_floating(kind):
        figures = floats(column)
        return pc.if_else(pa.array(np.isfinite(figures)), pa.array(map(repr, figures.tolist()), pa.string()), "")
    return pc.fill_null(iso_texts(column) if pa.types.is_timestamp(kind) else column.cast(pa.string()), "")


def _texts(column: pa.StringArray) -> pa.StringArray:
    """Return texts in quotes where these are needed, and guarded."""
    formula = pc.fill_null(pc.match_substring_regex(column, _FORMULA), False)
    texts = pc.fill_null(column, "")
    texts = pc.if_else(formula, joined("'", texts), texts) if pc.any(formula).as_py() else texts
    quoted = pc.match_substring_regex(texts, _QUOTED)
    if not pc.any(quoted).as_py():
        return texts
    return pc.if_else(quoted, joined('"', pc.replace_substring(texts, '"', '""'), '"'), texts)


def read_back(path: Path, package: Package, about: FileFacts) -> None:
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
