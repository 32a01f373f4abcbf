"""Values as a file stores them, of any mixture of classes, into one column of one type; nothing is made to fit.

A number among texts is written as text and an odd value stands there as it was found. What is no text at all (bytes,
text in another encoding, with a NUL character) is written so that it can be seen, and is told as a fault of its row.
"""

from collections.abc import Iterable, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.job.model import Points
from pipeline.read.delimited import trimmed
from pipeline.read.mapping import mapped
from pipeline.tables import TIME

#: A double counts whole numbers up to here.
_WHOLE = 1 << 53
_SHOWN = 20

#: Which classes of values each type of column takes as they are.
_TAKES: dict[pa.DataType, set[type]] = {
    pa.float64(): {float, int},
    pa.int64(): {int},
    pa.bool_(): {bool},
    pa.string(): {str},
    pa.date32(): {str},
    TIME: {str},
}

_NUL = "a NUL character in"

Faults = dict[int, str]


def column_type(classes: Iterable[type], least: int = 0, most: int = 0) -> pa.DataType:
    """Return the type of a column that keeps values of these classes; ``least`` and ``most`` of its whole numbers."""
    found = set(classes) - {type(None)}
    if found == {int} and least >= -(1 << 63) and most < 1 << 63:
        return pa.int64()
    if found and found <= {int, float} and least >= -_WHOLE and most <= _WHOLE:
        return pa.float64()
    return pa.bool_() if found == {bool} else pa.string()


def column_of(
    values: Sequence[object], kind: pa.DataType, decimal: str = ".", encoding: str | None = None
) -> tuple[pa.Array, Faults]:
    """Return a column of this type, and per row what is wrong with its value; what does not fit must be for text.

    Args:
        values: None, int, float, bool, str (undecodable bytes as lone surrogates) or bytes.
        kind: one that `column_type` gave for these and other values, or a date or `tables.TIME` for ISO texts.
        decimal: the sign with which numbers among texts are written.
        encoding: of texts that are not UTF-8, where it is stated.
    """
    classes = set(map(type, values)) - {type(None)}
    if not pa.types.is_string(kind) or classes <= {str}:
        found = _as_it_is(values, kind, classes)
        if found is not None:
            return found, {}
    faults: Faults = {}
    texts = [_text(value, row, decimal, encoding, faults) for row, value in enumerate(values)]
    return trimmed(pa.array(texts, pa.string())), faults


def _as_it_is(values: Sequence[object], kind: pa.DataType, classes: set[type]) -> pa.Array | None:
    """Return the column where every value fits it, None where one is to be looked at."""
    if not classes <= _TAKES.get(kind, {int}):
        raise ValueError(f"values of {classes} are not for a column of {kind}")
    if not pa.types.is_string(kind):
        return pa.array(values, pa.string()).cast(kind) if kind in (TIME, pa.date32()) else pa.array(values, kind)
    try:
        text = pa.array(values, pa.string())
    except UnicodeEncodeError:
        return None
    return None if pc.any(pc.match_substring(text, "\0")).as_py() else trimmed(text)


def _text(value: object, row: int, decimal: str, encoding: str | None, faults: Faults) -> str | None:
    if value is None:
        return None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value).removesuffix(".0").replace(".", decimal)
    if isinstance(value, bytes):
        faults[row] = f"bytes ({_hex(value)}), not text"
        return value.hex()
    text = str(value)
    try:
        text.encode()
    except UnicodeEncodeError:
        text = _decoded(text, row, encoding, faults)
    if "\0" in text:
        faults[row] = f'{_NUL} "{text[:_SHOWN]}"'.replace("\0", "␀")
        text = text.replace("\0", "␀")
    return text


def _decoded(text: str, row: int, encoding: str | None, faults: Faults) -> str:
    """Return a text that is not UTF-8 in the stated encoding, or its strange bytes spelled out."""
    try:
        stored = text.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:  # half of a pair of surrogates, as JSON can spell it
        faults[row] = "a character that does not exist (half of a surrogate pair)"
        return text.encode("utf-8", "replace").decode()
    if encoding is not None:
        try:
            return stored.decode(encoding)
        except UnicodeDecodeError:
            pass
    shown = stored.decode("utf-8", "backslashreplace")
    faults[row] = f'text that is not {(encoding or "utf-8").upper()}: "{shown[:_SHOWN]}"'
    return shown


def _hex(value: bytes) -> str:
    return value[:_SHOWN].hex(" ") + ("…" if len(value) > _SHOWN else "")


def without(column: pa.Array, faults: Faults) -> pa.Array:
    """Return a column with null for the values that are faulty: bytes spelled out could pass for a number."""
    if not faults:
        return column
    wrong = np.zeros(len(column), dtype=bool)
    wrong[list(faults)] = True
    return pc.if_else(pa.array(wrong), pa.scalar(None, column.type), column)


def nuls(faults: Faults) -> Faults:
    """Return what spoils a row also where its column is not mapped: a text that would be cut or altered on its way."""
    return {row: what for row, what in faults.items() if what.startswith(_NUL)}


def stored_columns(
    stored: Iterable[tuple[pa.Field, Sequence[object]]], points: Points, encoding: str | None = None
) -> tuple[dict[str, pa.Array], list[tuple[str, Faults]]]:
    """Return columns by their names, and the faults of each that spoil their rows, by our word for a mapped one.

    Any fault of a mapped column does, of others only what would be cut or altered on its way. ``encoding`` as in
    `column_of`.
    """
    words = {name: word for word, name in mapped(points.columns).items()}
    arrays: dict[str, pa.Array] = {}
    faults: list[tuple[str, Faults]] = []
    for field, values in stored:
        arrays[field.name], wrong = column_of(values, field.type, points.decimal or ".", encoding)
        if field.name in words:
            arrays[field.name] = without(arrays[field.name], wrong)
            faults.append((words[field.name], wrong))
        elif wrong:
            faults.append((field.name, nuls(wrong)))
    return arrays, faults


def faults_of(rows: int, by_column: Iterable[tuple[str, Faults]]) -> pa.Array | None:
    """Return per row what is wrong with it, each column under its word; None where nothing is."""
    told: dict[int, list[str]] = {}
    for word, faults in by_column:
        for row, what in faults.items():
            told.setdefault(row, []).append(f"{word}: {what}")
    if not told:
        return None
    return pa.array(["; ".join(told[row]) if row in told else None for row in range(rows)], pa.string())
