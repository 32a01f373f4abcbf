"""The points as CSV: UTF-8, comma, quotes where needed (RFC 4180), a header of the columns of ``points``.

Read back by Arrow's reader, which shares nothing with the writer.
"""

import csv
import re
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv

from pipeline.issue.about import About
from pipeline.issue.figures import DECIMALS, fixed, floats, plain
from pipeline.issue.streamed import Differs, Package, first_difference, side_by_side

# What a spreadsheet would take for a formula that does something. A plus or minus needs a call, a command or another
# sheet to be one: numbers and codes such as "-FE" stay as they are.
_FORMULA = re.compile(r"'*(?:[=@\t\r]|[+-](?=.*[(|!]))", re.DOTALL)


def write(path: Path, package: Package, about: About) -> dict[str, int]:
    """Write the points of a package to a new file and return the rows by layer. Raises OSError."""
    names = package.schema("points").names
    with path.open("x", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        writer.writerow([guarded(name) for name in names])
        for batch in package.batches("points"):
            columns = [_texts(name, batch.column(place)) for place, name in enumerate(names)]
            writer.writerows(zip(*columns, strict=True))
    return {"points": package.rows["points"]}


def guarded(text: str) -> str:
    """Return a text with an apostrophe before it where a spreadsheet would run it as a formula.

    So that it can be undone, a text that looks as if it had been guarded already gets one more.
    """
    return f"'{text}" if _FORMULA.match(text) else text


def _texts(name: str, column: pa.Array) -> list[str | None]:
    if name in DECIMALS:
        values = floats(column)
        texts = fixed(np.nan_to_num(values), DECIMALS[name])
        return [text if known else None for text, known in zip(texts, np.isfinite(values).tolist(), strict=True)]
    return [None if value is None else _text(value) for value in plain(name, column)]


def _text(value: Any) -> str:
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value)


def read_back(path: Path, package: Package, about: About) -> None:
    """Compare every value with the package's. Raises Differs at the first that is not the same, or OSError."""
    kinds = package.schema("points")
    names = [guarded(name) for name in kinds.names]
    try:
        reader = arrow_csv.open_csv(
            path,
            read_options=arrow_csv.ReadOptions(block_size=1 << 24, use_threads=False),
            parse_options=arrow_csv.ParseOptions(newlines_in_values=True),
            convert_options=arrow_csv.ConvertOptions(
                column_types={name: pa.string() for name in names}, strings_can_be_null=False
            ),
        )
        if reader.schema.names != names:
            raise Differs(f"its columns are {reader.schema.names}, given were {names}")
        for before, given, found in side_by_side(package.batches("points"), reader):
            for place, field in enumerate(kinds):
                _compare(field.name, given.column(place), found.column(place).combine_chunks(), before)
    except pa.ArrowInvalid as error:
        raise Differs(f"it cannot be read as CSV: {error}") from error


def _compare(name: str, given: pa.Array, found: pa.Array, before: int) -> None:
    texts = [_unguarded(text) for text in found.to_pylist()]
    if pa.types.is_floating(given.type):
        values = np.array([float(text) if text else np.nan for text in texts])
        off = 0.5 * 10.0 ** -DECIMALS[name] * 1.001 if name in DECIMALS else 0.0
        expected = np.where(np.isfinite(floats(given)), floats(given), np.nan)
        same = np.isclose(values, expected, rtol=1e-15 if off else 0.0, atol=off, equal_nan=True)
        if not same.all():
            row = int(np.flatnonzero(~same)[0])
            raise Differs(f"row {before + row + 1}: {name} is {texts[row]}, given was {expected[row]}")
        return
    if pa.types.is_boolean(given.type):
        expected_texts = [("" if value is None else str(value).lower()) for value in given.to_pylist()]
    elif pa.types.is_timestamp(given.type):
        known = [text.removesuffix("Z") or None for text in texts]
        first_difference(name, given.cast(pa.timestamp("ms")).to_pylist(),
                         pa.array(known, pa.string()).cast(pa.timestamp("ms")).to_pylist(), before)  # fmt: skip
        return
    else:
        expected_texts = ["" if value is None else str(value) for value in given.to_pylist()]
    first_difference(name, expected_texts, texts, before)


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text
