"""Columns of hemispheres that no block maps: degrees without the signs that they say lie on the wrong side of zero."""

from collections.abc import Callable, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.intake.positions import raw_positions
from pipeline.problems import Problems
from pipeline.read.exports import Export
from pipeline.read.hemispheres import BOTH, against_signs, axis_of_letters, is_hemisphere
from pipeline.tables import READING

#: Different texts of a column from which on it holds no letters of hemispheres.
_FEW = 6


class _Letters(Struct):
    """The first row in the file with each text and each sign of the degrees of one axis, and the least degrees."""

    first: dict[str, dict[tuple[str, int], int]] = field(default_factory=lambda: {"longitude": {}, "latitude": {}})
    least: dict[str, float] = field(default_factory=lambda: {"longitude": np.inf, "latitude": np.inf})
    many: bool = False


class Hemispheres(Struct):
    """Collects, batch by batch, what unmapped columns with such headings say of degrees."""

    columns: dict[tuple[int, str], _Letters] = field(default_factory=dict)

    def take(self, batch: pa.RecordBatch, number: int, degrees: bool) -> None:
        """Look at one batch of export ``number``; ``degrees`` tells whether its positions are in degrees."""
        if not degrees:
            return
        for at, column in enumerate(batch.schema):
            if column.name in READING.names or not pa.types.is_string(column.type) or not is_hemisphere(column.name):
                continue
            letters = self.columns.setdefault((number, column.name), _Letters())
            coding = pc.dictionary_encode(pc.fill_null(batch.column(at), ""))
            texts = [text.strip().casefold() for text in coding.dictionary.to_pylist()]
            letters.many |= len(set(texts)) > _FEW
            if not letters.many:
                _note(letters, batch, texts, np.asarray(coding.indices, np.int64))

    def report(self, exports: Sequence[Export], may_be_mirrored: Callable[[str], bool], problems: Problems) -> None:
        """Refuse exports whose degrees lack the signs that such a column says.

        Both letters in one job are of degrees near zero alone: elsewhere they are whatever somebody noted, and so is
        one where the job cannot lie on the other side. ``may_be_mirrored`` tells that of the "longitude" or "latitude".
        """
        for (number, name), letters in self.columns.items():
            texts = sorted({text for first in letters.first.values() for text, _ in first if text})
            axis = axis_of_letters(texts) if texts and not letters.many else None
            if axis is None or (len(texts) > 1 and letters.least[axis] >= BOTH) or not may_be_mirrored(axis):
                continue
            wrong = [
                row
                for (text, sign), row in letters.first[axis].items()
                if against_signs(np.array([sign, *np.zeros(len(texts))]), [text, *texts])
            ]
            if wrong:
                what = f"column {name!r} gives the hemisphere of a {axis} that has the sign of the other one"
                fix = (
                    "a hemisphere in a column of its own is not read: export signed degrees, negative in the west and"
                    " south; if the column says something else, rename it"
                )
                problems.add(exports[number].shown, min(wrong), what, fix)


def _note(letters: _Letters, batch: pa.RecordBatch, texts: list[str], of_row: Integers) -> None:
    rows = np.asarray(batch.column("source_row"), np.int64)
    for axis, degrees in zip(("longitude", "latitude"), raw_positions(batch), strict=False):
        sign = np.nan_to_num(np.sign(degrees)).astype(np.int64)
        with_text = np.isfinite(degrees) & np.array([bool(text) for text in texts], bool)[of_row]
        letters.least[axis] = min(letters.least[axis], float(np.abs(degrees[with_text]).min(initial=np.inf)))
        keys, places = np.unique((of_row * 3 + sign + 1)[with_text], return_index=True)
        for key, row in zip(keys.tolist(), rows[with_text][places].tolist(), strict=True):
            letters.first[axis].setdefault((texts[key // 3], key % 3 - 1), row)
