"""Columns of bases, rovers, solutions and settings, by heading or content, that no job file maps: what is in them.

Of a column of texts whose heading says nothing it is kept, too, what is in it, as long as that is few values.
"""

from collections import Counter
from collections.abc import Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.intake.base_like_columns import base_like_columns
from pipeline.letter_case import folded
from pipeline.read.correction_headings import (
    correction_heading,
    says_base_antenna,
    says_other_place,
    says_rover,
)
from pipeline.read.exports import Export
from pipeline.read.mapping import mapped
from pipeline.read.setting_headings import SETTINGS, setting_heading
from pipeline.sessions.attach import spelling

#: Different values that are kept of a column; one with more is none of these.
MOST = 32
#: Decimals to which two numbers are one: degrees and lengths [m] of a position, and heights of an antenna [m].
_DEGREES, _METRES, _ANTENNA = 7, 2, 3
#: The words of a column whose heading says nothing, so that its values are to be judged, and of what readings lack.
VALUES, BLANKS = "values", "blanks"
#: Rows by which a column is seen to have many values.
_FIRST = 1000
#: Words of which it is kept which reading has what.
_BY_ROW = frozenset(
    (
        "base",
        "solution",
        "rover",
        "base_longitude",
        "base_latitude",
        "base_easting",
        "base_northing",
        *SETTINGS,
        VALUES,
        BLANKS,
    )
)


class LeftColumn(Struct):
    """A column that says ``word`` by its heading and is carried along: what its sound readings have, by session.

    ``counts`` are by session and value, blanks left out; ``row`` is the first row with a value, ``written`` how it
    stands there. ``many`` tells that there are more different values than are kept. ``turns`` are the rows where
    another value begins than the reading before has, and that value's number among ``written``; -1 is a blank.
    """

    word: str
    counts: dict[int, Counter[str]] = field(default_factory=dict)
    row: dict[tuple[int, str], int] = field(default_factory=dict)
    written: dict[str, str] = field(default_factory=dict)
    many: bool = False
    turns: list[tuple[Integers, NDArray[np.int8]]] = field(default_factory=list)

    def take(self, cells: pa.Array, session: NDArray[np.int32], rows: Integers) -> None:
        """Take sound readings: (n,) texts, their sessions and numbers in the file."""
        coded = pc.dictionary_encode(cells)
        texts = [(text or "").strip() for text in coded.dictionary.to_pylist()]
        self.many = self.many or len(texts) > MOST
        if self.many:
            return
        code = np.asarray(pc.fill_null(coded.indices, -1), np.int64)
        for of_session, at, count, row in _each(code, session, rows):
            key = _key(self.word, texts[at])
            if key:
                self.written.setdefault(key, texts[at])
                self.counts.setdefault(of_session, Counter())[key] += count
                self.row.setdefault((of_session, key), row)
        self.many = len(self.written) > MOST
        if not self.many and self.word in _BY_ROW and len(rows):
            order = list(self.written)
            of_text = [order.index(key) if (key := _key(self.word, text)) else -1 for text in texts]
            of_row = np.array([*of_text, -1], np.int8)[code]
            begins = np.flatnonzero(np.diff(of_row, prepend=-2))
            self.turns.append((rows[begins], of_row[begins]))

    def of_rows(self, rows: Integers) -> list[str]:
        """Return which value the sound readings of (k,) rows of the file have, "" for none."""
        if self.many or not self.turns:
            return [""] * len(rows)
        begins, number = (np.concatenate(parts) for parts in zip(*self.turns, strict=True))
        keys = [*self.written, ""]
        return [keys[one] for one in number[np.searchsorted(begins, rows, side="right") - 1].tolist()]

    def stretches(self) -> int:
        """Return how often a value begins that the sound reading with one before it has not."""
        return len(self._begun())

    def comes_back(self, key: str) -> bool:
        """Tell whether sound readings have a value before and after those with another."""
        return key in self.written and int((self._begun() == list(self.written).index(key)).sum()) > 1

    def _begun(self) -> NDArray[np.int8]:
        """Return (k,) the values that begin, by their places in ``written``, in the order of the sound readings."""
        number = np.concatenate([of for _, of in self.turns]) if self.turns else np.zeros(0, np.int8)
        number = number[number >= 0]
        return np.asarray(number[np.diff(number, prepend=-2) != 0], np.int8)


def _each(code: Integers, session: NDArray[np.int32], rows: Integers) -> Iterator[tuple[int, int, int, int]]:
    """Yield each session and code of readings (n,), -1 left out: how many have it and the row of the first."""
    # settings and bases stay for many readings, so that few stretches are looked at
    begins = np.flatnonzero((np.diff(code, prepend=-2) != 0) | (np.diff(session, prepend=-2) != 0))
    lengths = np.diff(begins, append=len(code))
    pair = session[begins].astype(np.int64) * (MOST + 2) + code[begins] + 1
    counts = np.bincount(pair, lengths).astype(np.int64)
    first = np.full(len(counts), len(code), np.int64)
    first[pair[::-1]] = begins[::-1]  # of several the last one stays
    for at, one in sorted(zip(first[counts > 0].tolist(), np.flatnonzero(counts).tolist(), strict=True)):
        number, which = divmod(one, MOST + 2)
        if which:
            yield number, which - 1, int(counts[one]), int(rows[at])


def note_left_columns(
    found: dict[str, LeftColumn], batch: pa.RecordBatch, export: Export, sound: Flags, session: NDArray[np.int32]
) -> None:
    """Take a batch of an export: its sound readings, into what was found of it by the columns' headings and contents.

    Contents say what no heading says: a position that stays while the readings go on. ``sound`` (n,) says which
    readings are, ``session`` (n,) has their sessions.
    """
    columns = export.points.columns
    taken = set(mapped(columns).values())
    says = {each.name: _said(each.name) for each in export.carried if each.name not in taken}
    if columns.base_height is None and not any(word.startswith("base_") for word in says.values()):
        known = {name: left.word for name, left in found.items() if left.word.startswith("base_")}
        silent = [name for name, word in says.items() if not word and not says_other_place(name)]
        says |= known or base_like_columns(batch, silent, sound, export.points)
    for name, word in says.items():
        if not word:
            _note_silent(found, name, batch, sound, session)
        elif name in found and found[name].word == VALUES:  # what a later batch shows to be a base's position
            del found[name]
        cells = batch.column(name) if word else None
        if cells is None or not (pa.types.is_string(cells.type) or pa.types.is_primitive(cells.type)):
            continue
        rows = np.asarray(batch.column("source_row"), np.int64)
        which = pa.array(sound)
        texts = cells.filter(which).cast(pa.string())
        found.setdefault(name, LeftColumn(word)).take(texts, session[sound], rows[sound])


def _note_silent(
    found: dict[str, LeftColumn], name: str, batch: pa.RecordBatch, sound: Flags, session: NDArray[np.int32]
) -> None:
    """Take a column of texts whose heading says nothing, unless it has many values."""
    cells = batch.column(name)
    if not pa.types.is_string(cells.type):
        return
    left = found.setdefault(name, LeftColumn(VALUES))
    left.many = left.many or len(pc.unique(cells.slice(0, _FIRST))) > MOST
    if not left.many:
        rows = np.asarray(batch.column("source_row"), np.int64)[sound]
        left.take(cells.filter(pa.array(sound)), session[sound], rows)


def _said(heading: str) -> str:
    """Return which of our words a heading says, "rover", "antenna", which is of the base's, or a setting; "" none."""
    if says_base_antenna(heading):
        return "antenna"
    return correction_heading(heading) or ("rover" if says_rover(heading) else setting_heading(heading))


def _key(word: str, text: str) -> str:
    """Return a value as two are compared."""
    if word == "base":
        return spelling(text)
    if not word.startswith("base_") and word != "antenna":
        return folded(text)
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return folded(text)
    # zeros are what a controller logs as long as it knows no position
    decimals = _ANTENNA if word == "antenna" else _DEGREES if word.endswith("tude") else _METRES
    return f"{number:.{decimals}f}" if number else ""
