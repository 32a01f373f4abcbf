"""What the report's drawings share: round steps, the width of a text, labels that do not lie on each other."""

import math
import unicodedata
from collections.abc import Iterable, Sequence

from msgspec import Struct, field

#: Left, top, right, bottom in drawing units.
Box = tuple[float, float, float, float]


def round_step(span: float, parts: int) -> float:
    """Return the smallest of 1, 2 or 5 times a power of ten that parts ``span`` into at most ``parts`` steps."""
    least = span / parts
    power = 10.0 ** math.floor(math.log10(least))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= least * (1 - 1e-9))


def ticks(low: float, high: float, step: float) -> list[float]:
    """Return the multiples of ``step`` from ``low`` to ``high``."""
    return [number * step for number in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def text_width(text: str, size: float) -> float:
    """Return about how wide a text is, in the unit of its size: rather too wide than too narrow."""
    wide = sum(unicodedata.east_asian_width(character) in "WF" for character in text)
    broad = sum(
        0.2 if character.isupper() else 0.06 for character in text if character.isupper() or character.isdigit()
    )
    return size * (0.58 * (len(text) - wide) + wide + broad)


def shortened(text: str, most: int = 24) -> str:
    """Return a label that is not too long for a drawing."""
    return text if len(text) <= most else f"{text[: most - 1]}\u2026"


def dots(places: Iterable[tuple[float, float]], shape: str = "h0") -> str:
    """Return the data of one SVG path with a dot, or another shape, at every place, each place once."""
    return "".join(dict.fromkeys(f"M{x:.1f} {y:.1f}{shape}" for x, y in places))


class Label(Struct, frozen=True):
    """A text where it is drawn; ``anchor`` is start, middle or end, ``y`` its base line."""

    x: float
    y: float
    anchor: str
    text: str
    failing: bool = False


class Labels(Struct):
    """Places labels beside their symbols, the first ones first, and leaves out those that have no room.

    Args:
        bounds: the box that labels stay within.
        size: height of the letters.
        taken: boxes that labels keep off, such as the symbols themselves.
    """

    bounds: Box
    size: float = 11.0
    taken: list[Box] = field(default_factory=list)
    placed: list[Label] = field(default_factory=list)
    left_out: int = 0

    def place(self, x: float, y: float, text: str, off: float = 7.0, failing: bool = False) -> None:
        """Place one label around a symbol at (x, y), ``off`` from its middle."""
        text = shortened(text)
        width, high = text_width(text, self.size), self.size
        third = high * 0.35
        for dx, dy, anchor in (
            (off, third, "start"), (-off, third, "end"), (0, -off, "middle"), (0, off + high * 0.75, "middle"),
            (off * 0.7, -off * 0.7, "start"), (off * 0.7, off * 0.7 + third, "start"),
            (-off * 0.7, -off * 0.7, "end"), (-off * 0.7, off * 0.7 + third, "end"),
        ):  # fmt: skip
            left = x + dx - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
            box = (left, y + dy - high * 0.8, left + width, y + dy + high * 0.2)
            if self._free(box):
                self.taken.append(box)
                self.placed.append(Label(round(x + dx, 1), round(y + dy, 1), anchor, text, failing))
                return
        self.left_out += 1

    def keep_off(self, places: Sequence[tuple[float, float]], half: float) -> None:
        """Keep labels off symbols of half-width ``half``."""
        self.taken += [(x - half, y - half, x + half, y + half) for x, y in places]

    def _free(self, box: Box) -> bool:
        left, top, right, bottom = box
        if left < self.bounds[0] or top < self.bounds[1] or right > self.bounds[2] or bottom > self.bounds[3]:
            return False
        return all(right <= one[0] or left >= one[2] or bottom <= one[1] or top >= one[3] for one in self.taken)
