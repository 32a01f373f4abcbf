"""Angles whose degrees, minutes and seconds stand in columns of their own, put together as one text for each row.

What the text says is read, and refused, as any other angle in degrees, minutes and seconds (`files/angles.py`).
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.files.angle_notations import split_into_parts
from pipeline.files.heading_words import plain_letters, run_together
from pipeline.files.hemisphere_headings import Side, words_for

#: What stands in a text for a part that a row lacks: no angle is read from it.
_LACKING = "?"
#: Letters of the hemispheres of an axis, with one that is east or west by the language, and how their words begin.
_LETTERS = {"latitude": frozenset("NS"), "longitude": frozenset("EWO")}
_WORDS = {word: letter for side, letter in zip(Side, "NSEW", strict=True) for word in words_for(side)}
_SIGNS = frozenset("+-")
_HEADED = re.compile(r".*hemi?s?.*|(?:lat(?:itude)?)?ns|(?:lon(?:g|gitude)?)?e[wo]")
#: What spreadsheets write behind a whole number.
_WHOLE = r"[.,]0+$"


class AngleParts(Struct, frozen=True):
    """The columns of an angle: its degrees, what is behind them, and its hemisphere or sign, "" for none."""

    degrees: str
    rest: tuple[str, ...]
    side: str = ""

    @property
    def columns(self) -> tuple[str, ...]:
        """All of its columns."""
        return (self.degrees, *self.rest, *([self.side] if self.side else []))

    def joined(self, columns: Mapping[str, pa.Array]) -> pa.Array:
        """Return the angles (n,) of rows as texts, by their columns (n,): "36 50 12.345 S"; null where there is none.

        A part that is not there, where others are, is a question mark, so that nothing is read.
        """
        degrees, *rest = (_bare(columns[name]) for name in (self.degrees, *self.rest))
        none = pc.and_kleene(pc.equal(degrees, ""), pc.equal(rest[0], ""))
        for part in rest[1:]:
            none = pc.and_(none, pc.equal(part, ""))
        whole = [degrees, *rest[:-1]]
        parts = [*(pc.replace_substring_regex(part, _WHOLE, "") for part in whole), rest[-1]]
        text = pc.binary_join_element_wise(*(pc.if_else(pc.equal(part, ""), _LACKING, part) for part in parts), " ")
        if self.side:
            said = _sides(_bare(columns[self.side]))
            before = pc.binary_join_element_wise(said, text, "")
            behind = pc.binary_join_element_wise(text, said, " ")
            text = pc.if_else(pc.is_in(said, pa.array(sorted(_SIGNS))), before, behind)
        return pc.if_else(none, pa.scalar(None, pa.string()), text)


def parts_of(
    heading: str, axis: str, columns: Mapping[str, Sequence[str]], taken: Collection[str] = ()
) -> AngleParts | None:
    """Return the columns of the angle whose degrees stand under a heading; None where it is not in parts.

    Args:
        heading: of the column of degrees.
        axis: "longitude" or "latitude".
        columns: the texts of all columns, in the file's order.
        taken: those that hold something else.
    """
    names = list(columns)
    rest = split_into_parts(heading, names)
    if not rest or set(rest) & set(taken):
        return None
    if len(rest) == 1 and not any(re.search(r"\d[.,]\d*[1-9]", text) for text in columns[rest[0]]):
        return None  # whole minutes alone: there may be seconds in a column that is called otherwise
    beside = {names.index(heading) - 1: True, names.index(rest[-1]) + 1: False}
    others = [name for name in names if name not in (heading, *rest, *taken)]
    sides = [
        name
        for name in others
        if (names.index(name) in beside or _HEADED.fullmatch(run_together(name)))
        and _says_side(columns[name], axis, signs=beside.get(names.index(name), False))
    ]
    if len(sides) > 1:
        return None
    return AngleParts(heading, rest, *sides)


def letter_of(text: str) -> str:
    """Return the letter, or the sign, of a hemisphere's cell in capitals: "S" of "south"."""
    plain = plain_letters(text.strip().replace("\u2212", "-")).casefold()
    return _WORDS.get(plain, plain.upper())


def joined_by(angles: Mapping[str, AngleParts], rows: Sequence[Mapping[str, str]]) -> Iterator[dict[str, str]]:
    """Yield the cells of rows with each angle in the column of its degrees."""
    names = {name for parts in angles.values() for name in parts.columns}
    columns = {name: pa.array([cells.get(name) for cells in rows], pa.string()) for name in names}
    whole = {parts.degrees: parts.joined(columns).to_pylist() for parts in angles.values()}
    for at, cells in enumerate(rows):
        yield {**cells, **{name: texts[at] for name, texts in whole.items() if texts[at]}}


def joined_texts(columns: Mapping[str, Sequence[str]], angles: Sequence[AngleParts]) -> dict[str, list[str]]:
    """Return the texts of columns with whole angles in those of their degrees, and without those of their parts."""
    arrays = {name: pa.array(texts, pa.string()) for name, texts in columns.items()}
    whole = {one.degrees: [text or "" for text in one.joined(arrays).to_pylist()] for one in angles}
    parts = {name for one in angles for name in one.columns} - whole.keys()
    return {name: whole.get(name, list(texts)) for name, texts in columns.items() if name not in parts}


def _bare(cells: pa.Array) -> pa.Array:
    return pc.fill_null(pc.utf8_trim_whitespace(cells), "")


def _sides(cells: pa.Array) -> pa.Array:
    """Return the letter, or the sign, of each cell of hemispheres, a question mark where there is none."""
    few = cells.dictionary_encode()
    said = pa.array([letter_of(text) or _LACKING for text in few.dictionary.to_pylist()], pa.string())
    return said.take(few.indices)


def _says_side(texts: Sequence[str], axis: str, *, signs: bool) -> bool:
    there = {letter_of(text) for text in texts if text}
    return bool(there) and (there <= _LETTERS[axis] or (signs and there <= _SIGNS))
