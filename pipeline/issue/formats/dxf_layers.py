"""The layers of a drawing: four per code, others for each code's points that are not proven, and the marks' own."""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from hashlib import blake2b
from itertools import chain

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.file_facts import CodeDrawn
from pipeline.issue.formats.dxf_former import Former
from pipeline.issue.formats.figures import LENGTHS, floats, rounded
from pipeline.issue.formats.layer_names import cleaned, signs_in_words
from pipeline.issue.formats.unproven import UNKNOWN
from pipeline.limits import DRAWN_CODES
from pipeline.replace import replace
from pipeline.words import OWN_LAYERS, Proof, counted

MARKS, CHECKS, FAILED, LIST, NOTE = OWN_LAYERS[2:]

#: Colours by the index that every program knows: red, orange and yellow warn, and no code has them by the rule.
RED, ORANGE, YELLOW, WHITE, GREEN = 1, 30, 50, 7, 3
_WARNING = {str(Proof.SUSPECT): RED, str(Proof.UNCLOSED): ORANGE, str(Proof.UNCHECKED): YELLOW}

# What a layer's name cannot have, and the comma, which lists of layers are separated by.
_UNWANTED = re.compile(r'[<>/\\":;?*|=`,]+')
_BRACES = re.compile("[{}]")
_LONGEST = 100
_NO_CODE = "no_code"

#: A code (None for points without one) and a proof word (None for bracketed).
Key = tuple[str | None, str | None]


class Layer(Struct, frozen=True):
    """One layer: its name, colour index, and a description for the reader."""

    name: str
    colour: int
    description: str


class Group(Struct, frozen=True):
    """The layers of one code: its symbols' own, and one for each kind of text at them; each can be turned off."""

    symbol: Layer
    parts: tuple[str, ...] = ("number", "height", "code")

    def of(self, tag: str) -> str:
        """Return the layer of an attribute by the attribute's name: the symbol's own where it has none."""
        part = _PARTS.get(tag)
        return f"{self.symbol.name}_{part}" if part in self.parts else self.symbol.name

    @property
    def layers(self) -> list[Layer]:
        """Return all of them, the symbols' first."""
        own = self.symbol
        return [own, *(replace(own, name=f"{own.name}_{part}", description=f"{part}s, {own.description}")
                       for part in self.parts)]  # fmt: skip


_PARTS = {"NAME": "number", "HEIGHT": "height", "CODE": "code"}

#: The groups that are no code's.
OWN = {
    name: Group(Layer(name, colour, described), ("number", "height")[:parts])
    for name, colour, described, parts in (
        (MARKS, WHITE, "control marks: in the adjustment, and as published where checks stood on them", 2),
        (CHECKS, GREEN, "occupations of control marks", 2),
        (FAILED, RED, "occupations of control marks that failed", 2),
        (LIST, GREEN, "occupations of marks with more of them than can stand beside the mark", 0),
        (NOTE, WHITE, "title note", 0),
    )
}


def key_of(code: str | None, proof: str | None) -> Key:
    """Return the layer's key of a point: what is not bracketed has its word, a missing word is not proven."""
    word = None if proof == str(Proof.BRACKETED) else (proof or UNKNOWN)
    return code or None, word


def point_layers(
    counts: Counter[Key],
    colours: Mapping[str | None, int],
    given: Mapping[str, CodeDrawn],
    before: Sequence[tuple[str, str]] = (),
) -> dict[Key, Group]:
    """Return the layers of each key.

    A code's layer bears the code's name, cleaned, or that which the job gives it. Where two codes would have the same,
    the one that is written so has it, and the other's has four digits behind it that hang on the code alone. A layer of
    drawings ``before`` (`dxf_former.former_drawings`) stays the code's that had it: no name changes or holds another
    code because a further one comes or one goes. A code such as "*", of which nothing is left, is named last, by what
    its signs are called. Names of points without a code go to no code.
    """
    former = Former(before)
    had = {key: _had(key, former) for key in counts if _given(key[0], given) is None}
    keys = sorted(counts, key=lambda key: (*_stands(key, given, had.get(key)), key[0] or "", key[1] or ""))
    taken = {name.casefold() for name in OWN_LAYERS} | {n.name.casefold() for g in OWN.values() for n in g.layers}
    groups: dict[Key, Group] = {}
    shared: dict[str, str] = {}
    for key in keys:
        colour = colours[key[0]] if key[1] is None else _WARNING.get(key[1], YELLOW)
        layer = _given(key[0], given)
        if layer is not None:
            name = _with_word(shared.setdefault(layer.casefold(), layer), key[1])
        else:
            free_of = taken if key[0] is None or had[key] is not None else taken | _of_no_code()
            name = _free(had[key] or _name(key), key, free_of, former)
        told = f"{_described(key, given)}: {counted(counts[key], 'point')}"
        groups[key] = Group(Layer(name, colour, told))
        taken |= {layer.name.casefold() for layer in groups[key].layers}
    return groups


def _given(code: str | None, given: Mapping[str, CodeDrawn]) -> str | None:
    """Return the layer that the job gives a code."""
    return given[code].layer if code is not None and code in given else None


def _had(key: Key, former: Former) -> str | None:
    """Return the layer that a key had before, where a code of which nothing is left was once an underscore."""
    name = former.of(told_of(key), _name(key))
    return name if name or key[0] is None or _stem(key[0]) else former.of(told_of(key), _with_word("_", key[1]))


def _stands(key: Key, given: Mapping[str, CodeDrawn], had: str | None) -> tuple[int, ...]:
    """Return the order in which names are given out: the job's, those of before, codes that are names themselves.

    Codes of which nothing is left come last.
    """
    by_job, itself = _given(key[0], given) is not None, key[1] is None and _name(key) == key[0]
    signs = key[0] is not None and not _stem(key[0])
    return (0 if by_job else 1, 0 if had is not None else 1, 0 if itself else 1, 1 if signs else 0)


def _free(name: str, key: Key, taken: set[str], former: Former) -> str:
    """Return a name of which no layer is there yet, nor one of its texts, and none was another code's before."""
    for one in chain([name], (f"{_name(key)}~{_digits(key, turn)}" for turn in range(DRAWN_CODES))):
        names = [layer.name for layer in Group(Layer(one, 0, "")).layers]
        if not {each.casefold() for each in names} & taken and not former.are_anothers(names, told_of(key)):
            return one
    raise RuntimeError(f"there is no name left for the layer of {key}")


def _of_no_code() -> set[str]:
    """Return the names of all layers that points without a code may have, in small letters."""
    words = (None, UNKNOWN, *_WARNING)
    groups = (Group(Layer(_name((None, word)), WHITE, "")) for word in words)
    return {layer.name.casefold() for group in groups for layer in group.layers}


def _digits(key: Key, turn: int) -> str:
    return blake2b(repr((*key, *([turn] if turn else []))).encode(), digest_size=2).hexdigest()


def distinct(layers: Iterable[Layer]) -> list[Layer]:
    """Return each layer once; several codes on one are told together."""
    found: dict[str, Layer] = {}
    for layer in layers:
        there = found.get(layer.name.casefold())
        told = layer.description if there is None else f"{there.description}; {layer.description}"
        found[layer.name.casefold()] = replace(there or layer, description=told[:250])
    return list(found.values())


def _name(key: Key) -> str:
    code = key[0] or ""
    return _with_word(_stem(code) or signs_in_words(code, _LONGEST) or _NO_CODE, key[1])


def _stem(code: str) -> str:
    """Return what a name can have of a code: nothing of one of signs alone that no name may have."""
    return cleaned(code, _UNWANTED, _LONGEST) if _UNWANTED.sub("", code).strip() else ""


def _with_word(stem: str, word: str | None) -> str:
    return stem if word is None else f"{stem}_{word}"


def told_of(key: Key) -> str:
    """Return how a layer says of what it is, without what a table of codes says of the code."""
    return _described(key, {})


def _described(key: Key, given: Mapping[str, CodeDrawn]) -> str:
    code = "no code" if key[0] is None else f"code {cleaned(key[0], _BRACES, _LONGEST)}"
    stands = given[key[0]].description if key[0] in given and key[0] is not None else ""
    code = f"{code} ({cleaned(stands, _BRACES, _LONGEST)})" if stands else code
    return code if key[1] is None else f"{code}, {key[1]}"


class Overview:
    """What must be known of all rows before the first is drawn: layers and extent, and the height of texts."""

    def __init__(self, axes: Axes, text_height: float, named: Callable[[str], str] = str) -> None:
        self.axes, self.text_height, self.named = axes, text_height, named
        self.counts: Counter[Key] = Counter()
        self.codes: dict[str | None, None] = {}
        self.low, self.high = np.full(3, np.inf), np.full(3, -np.inf)

    def add_points(self, batch: pa.RecordBatch) -> None:
        """Take in the next rows of ``points``."""
        places = self.add_places(batch)
        drawn = batch.filter(pa.array(np.isfinite(places[:, :2]).all(axis=1)))
        grouped = pa.table({name: drawn.column(name) for name in ("code", "proof")}).group_by(["code", "proof"])
        for row in grouped.aggregate([([], "count_all")]).to_pylist():
            self.counts[self.key_of(row["code"], row["proof"])] += row["count_all"]
        codes = (self.named(code or "") or None for code in drawn.column("code").unique().to_pylist())
        self.codes.update(dict.fromkeys(codes))

    def add_lines(self, batch: pa.RecordBatch) -> None:
        """Take in the next rows of ``lines``, of which the points are known already."""
        for code, proof in zip(batch.column("code").to_pylist(), batch.column("proof").to_pylist(), strict=True):
            self.codes.setdefault(code)
            self.counts[key_of(code, proof)] += 0

    def key_of(self, code: str | None, proof: str | None) -> Key:
        """Return the layer's key of a point by its code in the export."""
        return key_of(self.named(code) if code else None, proof)

    def keys_of(self, batch: pa.RecordBatch) -> tuple[list[Key], Integers]:
        """Return layers' keys, and (n,) which of them each row of ``points`` has."""
        codes, proofs = (batch.column(name).dictionary_encode(null_encoding="encode") for name in ("code", "proof"))
        numbers = codes.indices.to_numpy().astype(np.int64) * len(proofs.dictionary) + proofs.indices.to_numpy()
        pairs, which = np.unique(numbers, return_inverse=True)
        of_code, of_proof = np.divmod(pairs, max(len(proofs.dictionary), 1))
        texts = codes.dictionary.take(pa.array(of_code)), proofs.dictionary.take(pa.array(of_proof))
        return [self.key_of(*pair) for pair in zip(*(one.to_pylist() for one in texts), strict=True)], which

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


def vertices_drawn(vertices: Floats, axes: Axes) -> Floats:
    """Return X, Y, Z (v, 3) of vertices as a drawing has them, by the rules of `places_of`."""
    return rounded(vertices * axes.upright(axes.easting.metres), LENGTHS)


def height_factor(axes: Axes) -> float:
    """Return what a height as issued is multiplied by to be read in a drawing, whose one unit is that of the eastings.

    One that counts downwards does so there too, although Z counts upwards.
    """
    return abs(axes.height.count) / axes.easting.metres


def places_of(batch: pa.RecordBatch, axes: Axes, prefix: str = "") -> Floats:
    """Return X, Y, Z (n, 3) as a drawing has them, NaN where unknown; of columns with a ``prefix`` before the axis.

    In the unit of the eastings; the east lies to the right, the north above, also of a grid that counts to the west or
    to the south: its numbers would draw the ground turned or mirrored.
    """
    columns = [floats(batch.column(f"{prefix}{name}")) for name in NAMES]
    factors = axes.upright(axes.easting.metres)
    return np.column_stack([rounded(values * by, LENGTHS) for values, by in zip(columns, factors, strict=True)])
