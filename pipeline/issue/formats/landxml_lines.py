"""Lines as LandXML 1.2 has them: a PlanFeature each, its CoordGeom a Line from every vertex to the next.

Of the schema's elements for lines this is the plainest: Start and End are points, northing, easting, height.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from xml.etree import ElementTree

from pipeline.arrays import Floats
from pipeline.geodesy.axes import Axes
from pipeline.issue.formats.figures import LENGTHS, fixed
from pipeline.issue.formats.hashed_names import HashedNames
from pipeline.issue.formats.unproven import UNKNOWN
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.issue.geopackage.layers import each_of
from pipeline.words import Proof

LAYER = "lines"
#: Name, description and the texts of the vertices of a line.
LineGiven = tuple[str, str, list[str]]


class LinePlan:
    """The lines of a package by their proof words; ``words`` are those that there are, None being not proven."""

    def __init__(self, package: Package, axes: Axes, factors: Floats) -> None:
        """Look at all lines once; ``factors`` (3,) make easting, northing and height count in the file's unit."""
        self._package, self._axes, self._factors = package, axes, factors
        self._names, self._given, seen = HashedNames(), 0, set[str | None]()
        for batch, _, _ in package.lines(LAYER, axes):
            self._names.see(batch.column("name").to_pylist())
            seen |= set(batch.column("proof").unique().to_pylist())
        self.words: list[str | None] = sorted(seen, key=lambda word: (word != str(Proof.BRACKETED), word or "~"))

    def lines(self, word: str | None) -> Iterator[list[LineGiven]]:
        """Yield the lines that have one proof word; to be asked for each word once, in order."""
        for batch, vertices, many in self._package.lines(LAYER, self._axes):
            chosen = [row for row, proof in enumerate(batch.column("proof").to_pylist()) if proof == word]
            each = each_of(vertices, many)
            names, codes, told = (batch.column(name).to_pylist() for name in ("name", "code", "description"))
            unique = self._names.give([names[row] for row in chosen], self._given)
            self._given += len(chosen)
            yield [
                (name, told[row] or codes[row], self._texts(each[row]))
                for name, row in zip(unique, chosen, strict=True)
            ]

    def _texts(self, vertices: Floats) -> list[str]:
        """Return vertices as the format writes points."""
        east, north, up = (fixed(vertices[:, axis] * self._factors[axis], LENGTHS) for axis in range(3))
        return [f"{y} {x} {z}" for y, x, z in zip(north, east, up, strict=True)]


def collection_of(word: str | None) -> str:
    """Return the name of the collection of the lines with a proof word."""
    return LAYER if word == str(Proof.BRACKETED) else f"{LAYER} {word or UNKNOWN}"


def legs(vertices: Sequence[str]) -> str:
    """Return the geometry of a line."""
    lines = (f"<Line><Start>{one}</Start><End>{other}</End></Line>\n" for one, other in pairwise(vertices))
    return f"<CoordGeom>\n{''.join(lines)}</CoordGeom>\n"


def vertices_read(feature: ElementTree.Element, space: str) -> list[str]:
    """Return the texts of the vertices of a PlanFeature; a Line that begins elsewhere than the last ends adds both."""
    found: list[str] = []
    for line in feature.iter(f"{space}Line"):
        start, end = (line.findtext(f"{space}{part}", "") for part in ("Start", "End"))
        found += [end] if found and found[-1] == start else [start, end]
    return found
