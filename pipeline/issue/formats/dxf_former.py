"""The layers of a job's drawings before: what a code was once drawn on stays its own, and so does its colour.

No record says on which layer a code is drawn; a drawing's layers say in their description of which code they are.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from msgspec import Struct, field

from pipeline.issue.folder.folder_names import numbered
from pipeline.issue.formats.dxf_tags import described_layers
from pipeline.issue.formats.unproven import UNKNOWN
from pipeline.words import Proof

#: The description of a layer of one code: which texts, if those, the code, how many points.
_OF_CODE = re.compile(r"(?:\w+s, )?((?:code |no code).*): [\d,]+ points?", re.DOTALL)
#: What a table of codes says of the code.
_STANDS = re.compile(r" \(.*\)")

#: Stands between two codes in the description of a layer that both are on.
_NEXT_CODE = re.compile(r"(?:(?<=points)|(?<=point)); (?=code |no code[:,])")

#: How the description of the layer of a code's symbols begins, and of those that are not proven.
_SYMBOLS = re.compile(r"code |no code[:,]")
_NOT_PROVEN = re.compile(rf".*?, (?:{'|'.join((UNKNOWN, *Proof))}): [\d,]+ points?(?:;|$)", re.DOTALL)

#: What stands behind the name that the rule gives first, if anything.
_DIGITS = re.compile("(?:~[0-9a-f]{4})?")


class FormerDrawings(Struct, frozen=True):
    """What drawings before say of codes.

    Args:
        layers: layers of codes, each with of what it is, the newest drawing's first.
        colours: the colour index of each code's proven points, by of what their layer is ("code TREE", "no code").
    """

    layers: tuple[tuple[str, str], ...] = ()
    colours: Mapping[str, int] = field(default_factory=dict)


def former_drawings(folder: Path) -> FormerDrawings:
    """Return what all drawings that a job's folder has say of codes, of two that differ the newer.

    A drawing that cannot be read is passed over.
    """
    found: dict[tuple[str, str], None] = {}
    colours: dict[str, int] = {}
    for _, place in sorted(numbered(folder), reverse=True):
        for path in sorted(place.glob(f"*-{place.name}.dxf")):
            with suppress(OSError, ValueError):
                layers = described_layers(path)
                for name, (told, _) in layers.items():
                    if (of := _OF_CODE.fullmatch(told)) is not None:
                        found.setdefault((name, of[1]))
                # a colour that a code of a newer drawing has is that one's
                taken = set(colours.values())
                fresh = {of: colour for of, colour in _colours(layers.values()) if colour not in taken}
                colours = fresh | colours
    return FormerDrawings(tuple(found), colours)


def _colours(layers: Iterable[tuple[str, int]]) -> Iterator[tuple[str, int]]:
    """Yield each code of layers of proven points, as their descriptions tell it, with the layer's colour."""
    for told, colour in layers:
        if _is_of_code(told):
            for one in _NEXT_CODE.split(told):
                if (of := _OF_CODE.fullmatch(one)) is not None:
                    yield _STANDS.sub("", of[1], count=1), colour
                    yield of[1], colour


def layers_of_codes(drawing: Path) -> tuple[str, ...]:
    """Return the layers of a drawing that have the symbols of a code's proven points; none where it cannot be read.

    A layer of points that are not proven comes and goes with their proof, and those of texts go with the symbols'.
    """
    with suppress(OSError, ValueError):
        return tuple(name for name, (told, _) in described_layers(drawing).items() if _is_of_code(told))
    return ()


def _is_of_code(told: str) -> bool:
    """Say whether a layer's description, of which the end may be missing, is that of a code's proven points."""
    return _SYMBOLS.match(told) is not None and _NOT_PROVEN.match(told) is None


class Former:
    """Layers of drawings before, by of what they are; of two that differ in case alone the newer one counts."""

    def __init__(self, layers: Sequence[tuple[str, str]]) -> None:
        self._of: dict[str, list[str]] = {}
        self._owners: dict[str, set[str]] = {}
        newest: dict[str, str] = {}
        for name, told in layers:
            if newest.setdefault(name.casefold(), told) == told:
                for of in {told, _STANDS.sub("", told, count=1)}:
                    self._of.setdefault(of, []).append(name)
                    self._owners.setdefault(name.casefold(), set()).add(of)

    def of(self, told: str, stem: str) -> str | None:
        """Return the layer on which something was drawn by the rule that gave it ``stem``; None where it was not."""
        found = (name for name in self._of.get(told, []) if name.startswith(stem))
        return next((name for name in found if _DIGITS.fullmatch(name, len(stem))), None)

    def are_anothers(self, names: Iterable[str], told: str) -> bool:
        """Say whether any of some layers was something else's, case making no difference."""
        owners = (self._owners.get(name.casefold()) for name in names)
        return any(those is not None and told not in those for those in owners)
