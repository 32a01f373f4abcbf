"""What is drawn at a point: a block with its attributes, as ezdxf defines it and as lines of tags for each insertion.

ezdxf's document takes some 6 kB of memory an insertion with its attributes, so that a million points would not go into
it. It makes everything of the drawing but the insertions; they are written as tags, in the same form as ezdxf's own.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.issue.formats.figures import joined
from pipeline.issue.formats.layer_names import one_line, shortened
from pipeline.replace import replace

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.blocklayout import BlockLayout

#: Bytes of an attribute that are kept: readers cut what is longer than 255.
LONGEST = 250


class Tag(Struct, frozen=True):
    """An attribute: its name, where its text stands from the point, in text heights, and whether it is seen."""

    name: str
    right: float
    up: float
    hidden: bool = False
    from_right: bool = False


class Symbol(Struct, frozen=True):
    """A block: its name and its attributes."""

    block: str
    tags: tuple[Tag, ...]

    @property
    def handles(self) -> int:
        """Return how many handles an insertion takes: its own, one per attribute, and that of the end."""
        return len(self.tags) + 2


_NAME, _HEIGHT, _CODE = Tag("NAME", 0.6, 0.25), Tag("HEIGHT", 0.6, -1.25), Tag("CODE", 0.6, -2.75)
_PROOF = Tag("PROOF", 0.6, 1.75)

POINT = Symbol("tiedown_point", (_NAME, _HEIGHT, _CODE))
UNPROVEN = Symbol("tiedown_unproven", (_NAME, _HEIGHT, _CODE, _PROOF))
SUSPECT = Symbol("tiedown_suspect", (_NAME, _HEIGHT, _CODE, _PROOF))
MARK = Symbol(
    "tiedown_mark", (Tag("NAME", 1.0, 0.25), Tag("HEIGHT", 1.0, -1.25), Tag("STATUS", 1.0, 1.75, hidden=True))
)
CHECK = Symbol(
    "tiedown_check",
    (
        Tag("NAME", -1.0, 0.25, from_right=True),
        Tag("HEIGHT", -1.0, -1.25, from_right=True),
        Tag("DIFFERENCE", -1.0, -2.75, from_right=True),
        Tag("MARK", -1.0, 1.75, hidden=True, from_right=True),
        Tag("ROLE", -1.0, 3.25, hidden=True, from_right=True),
        Tag("MORE", -1.0, -4.25, from_right=True),
    ),
)
#: The same without texts to be seen: an occupation of a mark that has too many, which are listed elsewhere.
QUIET = Symbol(CHECK.block, tuple(replace(tag, hidden=True) for tag in CHECK.tags))
#: Lines that one occupation's texts take; those on the same mark stand one below the other, so many of them.
CHECK_LINES, CHECKS_SHOWN = 3, 3
LINE = 1.5

SYMBOLS = (POINT, UNPROVEN, SUSPECT, MARK, CHECK, QUIET)


def define(drawing: "Drawing", size: float) -> None:
    """Define the blocks, with texts ``size`` units high. A node in each is what object snaps find.

    All of a block lies on layer 0, and so takes the layer and colour of what it is inserted on.
    """
    from ezdxf.enums import TextEntityAlignment

    for symbol in {symbol.block: symbol for symbol in reversed(SYMBOLS)}.values():
        block = drawing.blocks.new(symbol.block)
        block.add_point((0, 0))
        _SHAPES[symbol.block](block, size)
        for tag in symbol.tags:
            place = (tag.right * size, tag.up * size)
            text = block.add_attdef(tag.name, place, height=size)
            text.is_invisible = tag.hidden
            if tag.from_right:
                text.set_placement(place, align=TextEntityAlignment.RIGHT)


def _ring(block: "BlockLayout", size: float) -> None:
    block.add_circle((0, 0), 0.2 * size)


def _square(block: "BlockLayout", size: float) -> None:
    _closed(block, size, ((-0.3, -0.3), (0.3, -0.3), (0.3, 0.3), (-0.3, 0.3)))


def _crossed(block: "BlockLayout", size: float) -> None:
    _square(block, size)
    for end in (1, -1):
        block.add_line((-0.5 * size, -0.5 * size * end), (0.5 * size, 0.5 * size * end))


def _triangle(block: "BlockLayout", size: float) -> None:
    _closed(block, size, ((-0.7, -0.4), (0.7, -0.4), (0.0, 0.8)))


def _two_rings(block: "BlockLayout", size: float) -> None:
    block.add_circle((0, 0), 0.35 * size)
    block.add_circle((0, 0), 0.9 * size)


def _closed(block: "BlockLayout", size: float, corners: Sequence[tuple[float, float]]) -> None:
    block.add_lwpolyline([(size * x, size * y) for x, y in corners], close=True)


_SHAPES = {
    POINT.block: _ring,
    UNPROVEN.block: _square,
    SUSPECT.block: _crossed,
    MARK.block: _triangle,
    CHECK.block: _two_rings,
}


#: Stands in a form for what is another one for each insertion: no character of a text.
_PLACE = "\0"
#: What `attribute_text` looks at more closely, as Arrow reads it.
_ODD = "[\\x00-\\x1f\\x7f-\\x9f\u2028\u2029%\\\\^]"

#: What programs that draw take for a sign of their own: %%c for a diameter, %%u for a line below, \U+2205 for any.
_ACTS = re.compile(r"%(?=%)|\\(?=[UuMm]\+)")


def attribute_text(text: str | None) -> str:
    """Return a text as an attribute can hold it: on one line, with a caret written as the format wants it.

    The two signs that begin a code of the format are written with a blank between, so that what follows stays text.
    """
    given = one_line(text or "")
    if "%%" in given or "\\" in given:
        given = _ACTS.sub(lambda found: f"{found[0]} ", given)
    return shortened(given.replace("^", "^ "), LONGEST).removesuffix("^")


def attribute_texts(texts: pa.StringArray) -> pa.StringArray:
    """Return each text as `attribute_text` does; nearly always none of many has anything to be changed."""
    given = pc.fill_null(texts, "")
    odd = pc.or_(pc.greater(pc.utf8_length(given), LONGEST // 4), pc.match_substring_regex(given, _ODD))
    if pc.any(odd).as_py():
        return pa.array(map(attribute_text, given.to_pylist()), pa.string())
    return given


class Tags:
    """Writes insertions as lines of tags, with handles from a first one on."""

    def __init__(self, owner: str, size: float, first: int) -> None:
        self.next = first
        self.size = size
        self._forms = {symbol: _form(symbol, owner, size).split(_PLACE) for symbol in SYMBOLS}

    def filled(self, symbol: Symbol, columns: Sequence[pa.StringArray]) -> pa.StringArray:
        """Return the lines of insertions of one symbol, with the columns that `fields` gives for them."""
        first, *pieces = self._forms[symbol]
        return joined(first, *chain.from_iterable(zip(columns, pieces, strict=True)))

    def handles(self, taken: Integers) -> Integers:
        """Return (n,) the first handle of each of the next insertions, which take so many each."""
        first = self.next + np.concatenate([np.zeros(1, np.int64), np.cumsum(taken)])
        self.next = int(first[-1])
        return first[:-1]


def fields(
    symbol: Symbol, first: Integers, layers: Callable[[str], pa.StringArray], place: Sequence[pa.StringArray],
    texts: Sequence[pa.StringArray], at: Mapping[tuple[float, float], tuple[pa.StringArray, pa.StringArray]],
) -> list[pa.StringArray]:  # fmt: skip
    """Return the columns that fill the forms of insertions of one symbol, a value of each for every insertion.

    Args:
        symbol: the symbol.
        first: (n,) the first handle of each.
        layers: gives the column of layers, of an attribute by its name, or of the symbols themselves by "".
        place: columns of X, Y, Z.
        texts: a column for each attribute, in order.
        at: columns of X and Y so many text heights to the right and above.
    """
    own, *handles, last = (_hexadecimal(first + step) for step in range(symbol.handles))
    columns = [own, layers(""), *place]
    for tag, number, text in zip(symbol.tags, handles, texts, strict=False):
        right, up = at[tag.right, tag.up]
        columns += [number, own, layers(tag.name), right, up, place[2], text]
        if tag.from_right:
            columns += [right, up, place[2]]
    return [*columns, last, own, layers("")]


def _hexadecimal(numbers: Integers) -> pa.StringArray:
    """Return numbers above zero in hexadecimal digits, put together of four that are looked up and those before."""
    high, low = np.divmod(numbers, len(_four_digits()))
    known, which = np.unique(high, return_inverse=True)
    before = pa.array([f"{number:X}" for number in known.tolist()], pa.string()).take(pa.array(which))
    texts = joined(before, _four_digits().take(pa.array(low)))
    return texts if high.all() else pc.ascii_ltrim(texts, "0")


@cache
def _four_digits() -> pa.StringArray:
    return pa.array([f"{number:04X}" for number in range(1 << 16)], pa.string())


def _form(symbol: Symbol, owner: str, size: float) -> str:
    """Return an insertion's tags with places for handles, layers, coordinates and values."""
    entity = "  0\n{}\n  5\n\0\n330\n{}\n100\nAcDbEntity\n  8\n\0\n"
    parts = [
        entity.format("INSERT", owner),
        f"100\nAcDbBlockReference\n 66\n1\n  2\n{symbol.block}\n 10\n\0\n 20\n\0\n 30\n\0\n",
    ]
    for tag in symbol.tags:
        parts.append(entity.format("ATTRIB", _PLACE))
        parts.append(f"100\nAcDbText\n 10\n\0\n 20\n\0\n 30\n\0\n 40\n{size}\n  1\n\0\n")
        parts.append(" 72\n2\n 11\n\0\n 21\n\0\n 31\n\0\n" if tag.from_right else "")
        parts.append(f"100\nAcDbAttribute\n  2\n{tag.name}\n 70\n{int(tag.hidden)}\n")
    parts.append(entity.format("SEQEND", _PLACE))
    return "".join(parts)
