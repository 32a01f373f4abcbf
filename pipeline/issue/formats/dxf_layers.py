"""The layers of a drawing: one per code, another for each code's points that are not proven, and the marks' own."""

import re
import zlib
from collections import Counter
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.formats.figures import LENGTHS, floats, rounded
from pipeline.issue.formats.names import cleaned, told_apart
from pipeline.words import Proof, counted

MARKS, CHECKS, FAILED, NOTE = "marks", "check_marks", "check_marks_failed", "note"

#: Colours by the index that every program knows: red, orange and yellow warn, and no code has them.
RED, ORANGE, YELLOW, WHITE, GREEN = 1, 30, 50, 7, 3
_OWN = {MARKS: WHITE, CHECKS: GREEN, FAILED: RED, NOTE: WHITE}
_WARNING = {str(Proof.SUSPECT): RED, str(Proof.UNCLOSED): ORANGE, str(Proof.UNCHECKED): YELLOW}
_CALM = (70, 90, 110, 130, 150, 170, 190, 210, 74, 94, 114, 134, 154, 174, 194, 214)

_RESERVED = ("0", "Defpoints", *_OWN)
# What a layer's name cannot have, and the comma, which lists of layers are separated by.
_UNWANTED = re.compile(r'[<>/\\":;?*|=`,]+')
_LONGEST = 100
_NO_CODE = "no_code"
_UNKNOWN = "unproven"

#: Codes that may be layers of a drawing.
MOST_LAYERS = 5_000

#: Rows from the first on by which the usual distance between points is judged.
_JUDGED = 20_000
_SIZES = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0)

#: A code (None for points without one) and a proof word (None for bracketed).
Key = tuple[str | None, str | None]


@dataclass(frozen=True)
class Layer:
    """One layer: its name, colour index, and a description for the reader."""

    name: str
    colour: int
    description: str


def key_of(code: str | None, proof: str | None) -> Key:
    """Return the layer's key of a point: what is not bracketed has its word, a missing word is not proven."""
    word = None if proof == str(Proof.BRACKETED) else (proof or _UNKNOWN)
    return code or None, word


def point_layers(counts: Counter[Key]) -> dict[Key, Layer]:
    """Return the layer of each key, with names told apart; the same keys give the same names."""
    keys = sorted(counts, key=lambda key: ((key[0] or "").casefold(), key[0] or "", key[1] or ""))
    names = told_apart([_name(key) for key in keys], _RESERVED)
    return {
        key: Layer(name, _colour(key), f"{_described(key)}: {counted(counts[key], 'point')}")
        for key, name in zip(keys, names, strict=True)
    }


def own_layers() -> list[Layer]:
    """Return the layers that are no code's."""
    described = {
        MARKS: "marks in the adjustment",
        CHECKS: "occupations of control marks",
        FAILED: "occupations of control marks that failed",
        NOTE: "title note",
    }
    return [Layer(name, colour, described[name]) for name, colour in _OWN.items()]


def _name(key: Key) -> str:
    stem = cleaned(key[0] or "", _UNWANTED, _LONGEST) or _NO_CODE
    return stem if key[1] is None else f"{stem}_{key[1]}"


def _described(key: Key) -> str:
    code = "no code" if key[0] is None else f"code {cleaned(key[0], re.compile('[{}]'), _LONGEST)}"
    return code if key[1] is None else f"{code}, {key[1]}"


def _colour(key: Key) -> int:
    """Return a warning's colour, or the code's own: by the code alone, so that it stays from issue to issue."""
    if key[1] is not None:
        return _WARNING.get(key[1], YELLOW)
    return _CALM[zlib.crc32((key[0] or "").encode()) % len(_CALM)]


class Overview:
    """What must be known of all rows before the first is drawn: layers, extent, and how close points lie."""

    def __init__(self, axes: Axes) -> None:
        self.axes = axes
        self.counts: Counter[Key] = Counter()
        self.low, self.high = np.full(3, np.inf), np.full(3, -np.inf)
        self._steps: list[Floats] = []
        self._judged = 0

    def add_points(self, batch: pa.RecordBatch) -> None:
        """Take in the next rows of ``points``."""
        places = self.add_places(batch)
        drawn = batch.filter(pa.array(np.isfinite(places[:, :2]).all(axis=1)))
        grouped = pa.table({name: drawn.column(name) for name in ("code", "proof")}).group_by(["code", "proof"])
        for row in grouped.aggregate([([], "count_all")]).to_pylist():
            self.counts[key_of(row["code"], row["proof"])] += row["count_all"]
        if self._judged < _JUDGED:
            chosen = places[: _JUDGED - self._judged, :2]
            self._judged += len(chosen)
            self._steps.append(np.hypot(*np.diff(chosen, axis=0).T))

    def add_places(self, batch: pa.RecordBatch) -> Floats:
        """Widen the extent by the rows of a layer; return their places (n, 3) in the drawing's unit."""
        places = places_of(batch, self.axes)
        if len(places):
            self.low = np.fmin(self.low, np.fmin.reduce(places))
            self.high = np.fmax(self.high, np.fmax.reduce(places))
        return places

    @property
    def extent(self) -> tuple[Floats, Floats]:
        """Return lowest and highest coordinates (3,) in the drawing's unit; (0, 0, 0) and (1, 1, 0) of nothing."""
        low = np.where(np.isfinite(self.low), self.low, 0.0)
        high = np.where(np.isfinite(self.high), self.high, low + np.array([1.0, 1.0, 0.0]))
        return low, high

    @property
    def text_height(self) -> float:
        """Return the height of texts, a round size: a quarter of what a quarter of the steps keep below.

        Steps are from each point to the next. Half a unit (of metres, 2.5 mm at 1:200) where there are none.
        """
        steps = np.concatenate(self._steps) if self._steps else np.empty(0)
        steps = steps[np.isfinite(steps) & (steps > 0)]
        if len(steps) == 0:
            return 0.5
        room = float(np.percentile(steps, 25)) / 4
        return max((size for size in _SIZES if size <= room), default=_SIZES[0])


def places_of(batch: pa.RecordBatch, axes: Axes) -> Floats:
    """Return X, Y, Z (n, 3) as a drawing has them, NaN where unknown.

    In the unit of the eastings; the east lies to the right, the north above, also of a grid that counts to the west or
    to the south: its numbers would draw the ground turned or mirrored.
    """
    columns = [floats(batch.column(name)) for name in NAMES]
    factors = axes.upright(axes.easting.metres)
    return np.column_stack([rounded(values * by, LENGTHS) for values, by in zip(columns, factors, strict=True)])


def keys_of(batch: pa.RecordBatch) -> list[Key]:
    """Return the layers' keys of rows of ``points``."""
    pairs = zip(batch.column("code").to_pylist(), batch.column("proof").to_pylist(), strict=True)
    return [key_of(code, proof) for code, proof in pairs]
