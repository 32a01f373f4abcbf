"""What is drawn at a point: a block with its attributes, as ezdxf defines it and as lines of tags for each insertion.

ezdxf's document takes some 6 kB of memory an insertion with its attributes, so that a million points would not go into
it. It makes everything of the drawing but the insertions; they are written as tags, in the same form as ezdxf's own.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.issue.formats.names import one_line, shortened

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.blocklayout import BlockLayout

#: Bytes of an attribute that are kept: readers cut what is longer than 255.
LONGEST = 250


@dataclass(frozen=True)
class Tag:
    """An attribute: its name, where its text stands from the point, in text heights, and whether it is seen."""

    name: str
    right: float
    up: float
    hidden: bool = False
    from_right: bool = False


@dataclass(frozen=True)
class Symbol:
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


#: What programs that draw take for a sign of their own: %%c for a diameter, %%u for a line below, \U+2205 for any.
_ACTS = re.compile(r"%(?=%)|\\(?=[UuMm]\+)")


def value(text: str | None) -> str:
    """Return a text as an attribute can hold it: on one line, with a caret written as the format wants it.

    The two signs that begin a code of the format are written with a blank between, so that what follows stays text.
    """
    given = one_line(text or "")
    if "%%" in given or "\\" in given:
        given = _ACTS.sub(lambda found: f"{found[0]} ", given)
    return shortened(given.replace("^", "^ "), LONGEST).removesuffix("^")


@dataclass(frozen=True)
class Insertion:
    """One insertion to be written: symbol, layer, place as text, and the attributes' layers, places and values."""

    symbol: Symbol
    layer: str
    place: tuple[str, str, str]
    texts: tuple[tuple[str, str, str, str], ...]


class Tags:
    """Writes insertions as lines of tags, with handles from a first one on."""

    def __init__(self, owner: str, size: float, first: int) -> None:
        self.next = first
        self._forms = {symbol: _form(symbol, owner, size) for symbol in SYMBOLS}

    def lines(self, insertions: Iterator[Insertion]) -> Iterator[str]:
        """Yield the tags of each insertion."""
        for insertion in insertions:
            symbol, layer, (x, y, z) = insertion.symbol, insertion.layer, insertion.place
            own = f"{self.next:X}"
            fields = [own, layer, x, y, z]
            for number, (on, right, up, text) in enumerate(insertion.texts, start=self.next + 1):
                fields += (f"{number:X}", own, on, right, up, z, text)
                if symbol.tags[number - self.next - 1].from_right:
                    fields += (right, up, z)
            self.next += symbol.handles
            yield self._forms[symbol] % (*fields, f"{self.next - 1:X}", own, layer)


def _form(symbol: Symbol, owner: str, size: float) -> str:
    """Return an insertion's tags with places for handles, layer, coordinates and values."""
    entity = "  0\n{}\n  5\n%s\n330\n{}\n100\nAcDbEntity\n  8\n%s\n"
    parts = [
        entity.format("INSERT", owner),
        f"100\nAcDbBlockReference\n 66\n1\n  2\n{symbol.block}\n 10\n%s\n 20\n%s\n 30\n%s\n",
    ]
    for tag in symbol.tags:
        parts.append(entity.format("ATTRIB", "%s"))
        parts.append(f"100\nAcDbText\n 10\n%s\n 20\n%s\n 30\n%s\n 40\n{size}\n  1\n%s\n")
        parts.append(" 72\n2\n 11\n%s\n 21\n%s\n 31\n%s\n" if tag.from_right else "")
        parts.append(f"100\nAcDbAttribute\n  2\n{tag.name}\n 70\n{int(tag.hidden)}\n")
    parts.append(entity.format("SEQEND", "%s"))
    return "".join(parts)
