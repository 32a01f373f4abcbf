"""The points as LandXML's CgPoints: in a collection per proof word, each with a name of its own, column by column."""

from collections.abc import Iterator
from xml.sax.saxutils import quoteattr

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.geodesy.axes import NAMES
from pipeline.issue.formats.figures import joined
from pipeline.issue.formats.hashed_names import HashedNames
from pipeline.issue.formats.landxml_text import legal_column, named_column, positions, quoted_column
from pipeline.issue.formats.unproven import UNKNOWN
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.tables import bytes_of, iso_texts
from pipeline.words import Proof

#: Attributes of a CgPoint, in the order in which they are written; the text follows them.
Row = tuple[dict[str, str], str]

#: The columns of ``points`` that are written.
_OF_POINT = ("name", "code", *NAMES, "observed", "proof")


def collection_of_points(word: str | None) -> str:
    """Return the name of the collection of the points with a proof word."""
    return "points" if word == str(Proof.BRACKETED) else f"points {word or UNKNOWN}"


_END = "</CgPoint>\n"


class Points(Struct, frozen=True):
    """Some points of one collection, as columns of what is written; ``observed`` may be null."""

    names: pa.StringArray
    codes: pa.StringArray
    described: str
    observed: pa.StringArray
    texts: pa.StringArray

    def elements(self) -> memoryview:
        """Return them as elements, a line each, in UTF-8."""
        stamps = pc.if_else(self.observed.is_valid(), joined(' timeStamp="', pc.fill_null(self.observed, ""), '"'), "")
        rest = f' desc={quoteattr(self.described)} role="measured"'
        codes = quoted_column(self.codes)
        names = quoted_column(self.names)
        return bytes_of(joined("<CgPoint name=", names, " code=", codes, rest, stamps, ">", self.texts, _END))[0]

    def __iter__(self) -> Iterator[Row]:
        columns = (column.to_pylist() for column in (self.names, self.codes, self.observed, self.texts))
        for name, code, observed, text in zip(*columns, strict=True):
            found = {"name": name, "code": code, "desc": self.described, "role": "measured"}
            yield found if observed is None else {**found, "timeStamp": observed}, text


class PointPlan:
    """The collections of points, and the names: given out once, in the order of writing."""

    def __init__(self, package: Package, factors: tuple[float, float, float]) -> None:
        """Look at all points once; ``factors`` make easting, northing and height count in the file's unit."""
        self._factors = factors
        self._package, self._names = package, HashedNames()
        self._given, seen = 0, set()
        for batch in package.batches("points", _OF_POINT):
            self._names.see(named_column(batch.column("name")).to_pylist())
            seen |= set(batch.column("proof").unique().to_pylist())
        self.words: list[str | None] = [str(Proof.BRACKETED), *sorted(seen - {str(Proof.BRACKETED), None})]
        self.words += [None] if None in seen else []

    def points(self, word: str | None) -> Iterator[Points]:
        """Yield the points that have one proof word, batch by batch; to be asked for each word once, in order.

        Those without a position are left out.
        """
        for whole in self._package.batches("points", _OF_POINT):
            proof = whole.column("proof")
            batch = whole.filter(proof.is_null() if word is None else pc.equal(proof, word))
            names = self._names.give(named_column(batch.column("name")).to_pylist(), self._given)
            self._given += batch.num_rows
            texts = positions(batch, self._factors)
            placed, observed = texts.is_valid(), iso_texts(batch.column("observed"))
            columns = (pa.array(names, pa.string()), legal_column(batch.column("code")), observed, texts)
            name, code, observed, text = (column.filter(placed) for column in columns)
            yield Points(name, code, word or UNKNOWN, observed, text)
