"""Columns of base ids, base positions and solutions, by heading or content, that no job file maps: what is in them."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.intake.base_like_columns import base_like_columns
from pipeline.letter_case import folded
from pipeline.read.correction_headings import correction_heading, says_other_place
from pipeline.read.exports import Export
from pipeline.read.mapping import mapped
from pipeline.sessions.attach import spelling

#: Different values that are kept of a column; one with more is none of these.
MOST = 32
#: Decimals to which two numbers of a position are one: of degrees, and of lengths [m].
_DEGREES, _METRES = 6, 1


@dataclass
class LeftCorrection:
    """A column that says ``word`` by its heading and is carried along: what its sound readings have, by session.

    ``counts`` are by session and value, blanks left out; ``row`` is the first row with a value, ``written`` how it
    stands there. ``many`` tells that there are more different values than are kept.
    """

    word: str
    counts: dict[int, Counter[str]] = field(default_factory=dict)
    row: dict[tuple[int, str], int] = field(default_factory=dict)
    written: dict[str, str] = field(default_factory=dict)
    many: bool = False

    def take(self, cells: pa.Array, session: NDArray[np.int32], rows: Integers) -> None:
        """Take sound readings: (n,) texts, their sessions and numbers in the file."""
        coded = pc.dictionary_encode(cells)
        texts = [(text or "").strip() for text in coded.dictionary.to_pylist()]
        self.many = self.many or len(texts) > MOST
        if self.many:
            return
        code = np.asarray(pc.fill_null(coded.indices, -1), np.int64)
        for at, text in enumerate(texts):
            key = _key(self.word, text)
            if not key:
                continue
            which = code == at
            self.written.setdefault(key, text)
            for number in np.unique(session[which]).tolist():
                here = which & (session == number)
                self.counts.setdefault(number, Counter())[key] += int(here.sum())
                self.row.setdefault((number, key), int(rows[int(np.argmax(here))]))
        self.many = len(self.written) > MOST


def note_left_corrections(
    found: dict[str, LeftCorrection], batch: pa.RecordBatch, export: Export, sound: Flags, session: NDArray[np.int32]
) -> None:
    """Take a batch of an export: its sound readings, into what was found of it by the columns' headings and contents.

    Contents say what no heading says: a position that stays while the readings go on.
    """
    columns = export.points.columns
    taken = set(mapped(columns).values())
    says = {each.name: correction_heading(each.name) for each in export.carried if each.name not in taken}
    if columns.base_height is None and not any(word.startswith("base_") for word in says.values()):
        known = {name: left.word for name, left in found.items() if left.word.startswith("base_")}
        silent = [name for name, word in says.items() if not word and not says_other_place(name)]
        says |= known or base_like_columns(batch, silent, sound, columns)
    for name, word in says.items():
        cells = batch.column(name) if word else None
        if cells is None or not (pa.types.is_string(cells.type) or pa.types.is_primitive(cells.type)):
            continue
        rows = np.asarray(batch.column("source_row"), np.int64)
        which = pa.array(sound)
        texts = cells.filter(which).cast(pa.string())
        found.setdefault(name, LeftCorrection(word)).take(texts, session[sound], rows[sound])


def _key(word: str, text: str) -> str:
    """Return a value as two are compared."""
    if word == "base":
        return spelling(text)
    if not word.startswith("base_"):
        return folded(text)
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return folded(text)
    # zeros are what a controller logs as long as it knows no position
    return f"{number:.{_DEGREES if word.endswith('tude') else _METRES}f}" if number else ""
