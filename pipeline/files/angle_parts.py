"""Angles whose degrees, minutes and seconds stand in columns of their own, put together as one text for each row.

What the text says is read, and refused, as any other angle in degrees, minutes and seconds (`files/angles.py`).
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence

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
_WHOLE = re.compile(r"[.,]0+$")


class AngleParts(Struct, frozen=True):
    """The columns of an angle: its degrees, what is behind them, and its hemisphere or sign, "" for none."""

    degrees: str
    rest: tuple[str, ...]
    side: str = ""

    def joined(self, cells: Mapping[str, str]) -> str:
        """Return the angle of a row, by its cells: "36 50 12.345 S"; "" where it has none.

        A part that is not there, where others are, is a question mark, so that nothing is read.
        """
        degrees, *rest = ((cells.get(name) or "").strip() for name in (self.degrees, *self.rest))
        if not degrees and not any(rest):
            return ""
        whole = len(rest) > 1
        parts = [_WHOLE.sub("", degrees), *(_WHOLE.sub("", part) if whole and not at else part
                                             for at, part in enumerate(rest))]  # fmt: skip
        text = " ".join(part or _LACKING for part in parts)
        if not self.side:
            return text
        said = letter_of(cells.get(self.side) or "") or _LACKING
        return f"{said}{text}" if said in _SIGNS else f"{text} {said}"


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
    for cells in rows:
        texts = {parts.degrees: parts.joined(cells) for parts in angles.values()}
        yield {**cells, **{name: text for name, text in texts.items() if text}}


def joined_texts(columns: Mapping[str, Sequence[str]], angles: Sequence[AngleParts]) -> dict[str, list[str]]:
    """Return the texts of columns with whole angles in those of their degrees, and without those of their parts."""
    rows = [dict(zip(columns, texts, strict=True)) for texts in zip(*columns.values(), strict=True)]
    whole = {one.degrees: [one.joined(cells) for cells in rows] for one in angles}
    parts = {name for one in angles for name in (*one.rest, one.side)}
    return {name: whole.get(name, list(texts)) for name, texts in columns.items() if name not in parts}


def _says_side(texts: Sequence[str], axis: str, *, signs: bool) -> bool:
    there = {letter_of(text) for text in texts if text}
    return bool(there) and (there <= _LETTERS[axis] or (signs and there <= _SIGNS))
