"""What a drawing's own tags say of layers and of texts, which a reader of features does not tell: read as bytes."""

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from pipeline.files.regular_files import check_regular

#: Layer, height, name and "is not seen" of an attribute.
_TEXT = re.compile(
    rb"\nATTRIB\n  5\n.*\n330\n.*\n100\nAcDbEntity\n  8\n(.*)\n100\nAcDbText\n 10\n.*\n 20\n.*\n 30\n.*\n"
    rb" 40\n(.*)\n  1\n.*\n(?: 72\n2\n 11\n.*\n 21\n.*\n 31\n.*\n)?100\nAcDbAttribute\n  2\n(.*)\n 70\n(.)\n"
)
_LAYER = re.compile(rb"\n100\nAcDbLayerTableRecord\n  2\n(.*)\n 70\n.*\n 62\n *(.*)\n")
_DESCRIBED = re.compile(
    rb"\n100\nAcDbLayerTableRecord\n  2\n(.*)\n 70\n.*\n 62\n *(.*)\n"
    rb"(?:.*\n)*?1001\nAcAecLayerStandard\n1000\n.*\n1000\n(.*)\n"
)
_ENTITY, _ENTITIES = (b"\n  0\nINSERT\n", b"\n  0\nPOLYLINE\n"), b"\n  2\nENTITIES\n"
_PIECE = 1 << 20

#: Layer, height, name and whether it is hidden.
Text = tuple[str, str, str, bool]


def texts_of(path: Path) -> Counter[Text]:
    """Return how many attributes there are of each layer, height, name and kind. Raises OSError."""
    found: Counter[tuple[bytes, bytes, bytes, bytes]] = Counter()
    for piece in _pieces(path):
        found.update(_TEXT.findall(piece))
    told: Counter[Text] = Counter()
    for (layer, height, name, hidden), count in found.items():
        told[layer.decode(), height.decode(), name.decode(), hidden == b"1"] += count
    return told


def layers_of(path: Path) -> dict[str, int]:
    """Return the colour index of each layer of the drawing's table. Raises OSError."""
    return {name.decode(): int(colour) for name, colour in _LAYER.findall(_head(path))}


def described_layers(path: Path) -> dict[str, tuple[str, int]]:
    """Return description and colour index of each layer of the table that has both. Raises OSError, ValueError."""
    check_regular(path)
    entries = _head(path).split(b"\n  0\nLAYER\n")
    found = (_DESCRIBED.search(b"\n" + entry + b"\n") for entry in entries)
    return {one[1].decode(): (one[3].decode(), int(one[2])) for one in found if one is not None}


def _head(path: Path) -> bytes:
    """Return what stands before a drawing's entities."""
    with path.open("rb") as file:
        head = b""
        while _ENTITIES not in head and (more := file.read(_PIECE)):
            head += more
    return head[: head.find(_ENTITIES)]


def _pieces(path: Path) -> Iterator[bytes]:
    """Yield a file in pieces that begin with an insertion or a line."""
    rest = b""
    with path.open("rb") as file:
        while more := file.read(_PIECE):
            rest += more
            cut = max(rest.rfind(sign) for sign in _ENTITY)
            if cut > 0:
                yield rest[:cut]
                rest = rest[cut:]
    yield rest
