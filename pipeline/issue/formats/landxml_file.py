"""The points and the marks as LandXML 1.2: collections of CgPoint, northing before easting before height; then lines.

From the open schema and its documentation (landxml.org, LandXML-1.2). Points stand in a collection per proof word, so
that none that is not proven stands among those that are. The schema wants names to be unique within a collection; here
they are over all points. Read back by the expat parser, which has no part in writing.
"""

from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import quoteattr

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.geodesy.axes import Axes
from pipeline.issue.about import About
from pipeline.issue.formats.control_told import control_told
from pipeline.issue.formats.figures import LENGTHS, fixed, floats, moments
from pipeline.issue.formats.landxml_lines import LAYER, LinePlan, collection_of, legs, vertices_read
from pipeline.issue.formats.names import one_line
from pipeline.issue.formats.unique_names import UniqueNames
from pipeline.issue.geopackage.streamed import Differs, Package
from pipeline.words import Proof, counted

_SPACE = "http://www.landxml.org/schema/LandXML-1.2"
_POINT, _POINTS = f"{{{_SPACE}}}CgPoint", f"{{{_SPACE}}}CgPoints"
_FEATURE, _FEATURES = f"{{{_SPACE}}}PlanFeature", f"{{{_SPACE}}}PlanFeatures"
_NOT_IN_XML = str.maketrans(dict.fromkeys("\ufffe\uffff", "\ufffd"))

#: What the format says of its units, by the metres in one: of all other quantities there are none.
_UNITS = {
    1.0: '<Metric areaUnit="squareMeter" linearUnit="meter" volumeUnit="cubicMeter" '
    'temperatureUnit="celsius" pressureUnit="milliBars"/>',
    0.3048: '<Imperial areaUnit="squareFoot" linearUnit="foot" volumeUnit="cubicFeet" '
    'temperatureUnit="fahrenheit" pressureUnit="inHG"/>',
    1200 / 3937: '<Imperial areaUnit="squareFoot" linearUnit="USSurveyFoot" volumeUnit="cubicFeet" '
    'temperatureUnit="fahrenheit" pressureUnit="inHG"/>',
}

#: Attributes of a CgPoint, in the order in which they are written; the text follows them.
_Row = tuple[dict[str, str], str]


def write(path: Path, package: Package, about: About) -> dict[str, int]:
    """Write points and marks of a package to a new file and return the rows by layer. Raises OSError."""
    plan, rows = _Plan(package, about.axes), {"points": 0, "marks": 0}
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(_head(about))
        for word in plan.words:
            file.write(f"<CgPoints name={_quoted(_collection(word))}>\n")
            for found in plan.points(word):
                file.write("".join(map(_element, found)))
                rows["points"] += len(found)
            file.write("</CgPoints>\n")
        file.write('<CgPoints name="marks">\n')
        for found in _marks(package, about.axes):
            file.write("".join(map(_element, found)))
            rows["marks"] += len(found)
        file.write("</CgPoints>\n")
        for name, lines in _lines(package, about.axes):
            file.write(f"<PlanFeatures name={_quoted(name)}>\n")
            for some in lines:
                file.write("".join(map(_feature, some)))
                rows[LAYER] = rows.get(LAYER, 0) + len(some)
            file.write("</PlanFeatures>\n")
        file.write("</LandXML>\n")
    if rows["points"] != package.rows["points"]:
        raise RuntimeError("a point without a position was issued")
    return rows


def read_back(path: Path, package: Package, about: About) -> None:
    """Compare every element with the package's rows. Raises Differs at the first that is not the same, or OSError."""
    found = _elements(path)
    plan = _Plan(package, about.axes)
    given = ((_collection(word), row) for word in plan.words for rows in plan.points(word) for row in rows)
    marks = (("marks", row) for rows in _marks(package, about.axes) for row in rows)
    drawn = ((name, row) for name, lines in _lines(package, about.axes) for some in lines for row in some)
    number = 0
    for rows in (given, marks, drawn):
        for collection, (attributes, text) in rows:
            number += 1
            wanted = (collection, attributes, text)
            if (there := next(found, None)) != wanted:
                raise Differs(f"element {number} is {there}, given was {wanted}")
    if next(found, None) is not None:
        raise Differs(f"it goes on after {counted(number, 'element')}")


def _elements(path: Path) -> Iterator[tuple[str, dict[str, str], str]]:
    """Yield collection, attributes and text of every CgPoint and of every line, keeping none of them."""
    collected: ElementTree.Element | None = None
    try:
        for event, element in ElementTree.iterparse(path, events=("start", "end")):
            if event == "start" and element.tag in (_POINTS, _FEATURES):
                collected = element
            elif event == "end" and element.tag in (_POINT, _FEATURE) and collected is not None:
                text = element.text or ""
                if element.tag == _FEATURE:
                    text = "\n".join(vertices_read(element, f"{{{_SPACE}}}"))
                yield collected.get("name", ""), dict(element.attrib), text
                collected.remove(element)
    except ElementTree.ParseError as error:
        raise Differs(f"it is no XML: {error}") from error


def _head(about: About) -> str:
    about_data = f"last observation {about.data_to_text}; {about.caution}"
    date, _, time = about.data_to_text.partition("T")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<LandXML xmlns="{_SPACE}" version="1.2" date="{date}" time="{time}" language="English" readOnly="false">\n'
        f"<Units>{_UNITS[_linear(about.axes)]}</Units>\n"
        f"<CoordinateSystem name={_quoted(about.grid_name)}{_defined(about)} "
        f"horizontalDatum={_quoted(about.datum_name)} verticalDatum={_quoted(about.height_name)} "
        f"desc={_quoted(_described(about))}/>\n"
        f"<Project name={_quoted(about.title)} desc={_quoted(about_data)}/>\n"
        '<Application name="tiedown"/>\n'
    )


def _defined(about: About) -> str:
    """Return what tells programs the grid, and the whole as WKT: so far as numbers stand here as these have them."""
    authority, _, code = (about.grid or "").partition(":")
    *plan, up = about.axes.upright(_linear(about.axes))
    if plan != [1.0, 1.0]:
        return ""
    told = f" epsgCode={_quoted(code)}" if authority == "EPSG" else ""
    return told + (f" ogcWktCode={_quoted(about.definition)}" if about.definition and up == 1.0 else "")


def _linear(axes: Axes) -> float:
    """Return the metres in the file's one unit: the grid's, where the format has it, else the metre."""
    return axes.easting.metres if axes.easting.metres in _UNITS else 1.0


def _described(about: About) -> str:
    """Return what the coordinates are, and where they are not as the grid writes them."""
    axes, told = about.axes, f"heights: {about.height_name}"
    if axes.upright(_linear(axes)) == (1.0, 1.0, 1.0):
        return told
    unit = {1.0: "metres", 0.3048: "feet", 1200 / 3937: "US survey feet"}[_linear(axes)]
    return f"{told}; northing, easting and height to the north, to the east and upwards in {unit}; {_own(axes)}"


def _own(axes: Axes) -> str:
    return f"in the grid and height datum themselves {axes.described}"


def _collection(word: str | None) -> str:
    return "points" if word == str(Proof.BRACKETED) else f"points {word or 'unproven'}"


class _Plan:
    """The collections of points, and the names: given out once, in the order of writing."""

    def __init__(self, package: Package, axes: Axes) -> None:
        self._axes = axes
        self._package, self._names = package, UniqueNames()
        self._given, seen = 0, set()
        for batch in package.batches("points"):
            self._names.see(map(_name, batch.column("name").to_pylist()))
            seen |= set(batch.column("proof").unique().to_pylist())
        self.words: list[str | None] = [str(Proof.BRACKETED), *sorted(seen - {str(Proof.BRACKETED), None})]
        self.words += [None] if None in seen else []

    def points(self, word: str | None) -> Iterator[list[_Row]]:
        """Yield the points that have one proof word, batch by batch; to be asked for each word once, in order."""
        for whole in self._package.batches("points"):
            proof = whole.column("proof")
            batch = whole.filter(proof.is_null() if word is None else pc.equal(proof, word))
            names = self._names.give(map(_name, batch.column("name").to_pylist()), self._given)
            self._given += batch.num_rows
            columns = (names, batch.column("code").to_pylist(), moments(batch.column("observed")))
            yield [
                (_attributes(name, code, word, observed), text)
                for name, code, observed, text in zip(*columns, _texts(batch, self._axes), strict=True)
                if text is not None
            ]


def _attributes(name: str, code: str | None, proof: str | None, observed: str | None) -> dict[str, str]:
    found = {"name": name, "code": _legal(code or ""), "desc": proof or "unproven", "role": "measured"}
    return found if observed is None else {**found, "timeStamp": observed}


def _marks(package: Package, axes: Axes) -> Iterator[list[_Row]]:
    """Yield the marks; where one is drawn elsewhere than it is published, its description says which and why."""
    told = control_told(package, axes.upright(_linear(axes)))
    for batch in package.batches("marks"):
        columns = (batch.column("mark").to_pylist(), batch.column("status").to_pylist(), _texts(batch, axes))
        yield [
            (
                {
                    "name": _name(mark),
                    "desc": _legal("; ".join(filter(None, (status, told.get(mark))))),
                    "role": "control point",
                },
                text,
            )
            for mark, status, text in zip(*columns, strict=True)
            if text is not None
        ]


def _lines(package: Package, axes: Axes) -> Iterator[tuple[str, Iterator[list[_Row]]]]:
    """Yield the collections of lines, each with its lines in pieces: attributes, and the vertices, one on each line."""
    plan = LinePlan(package, axes, np.array(axes.upright(_linear(axes))))
    for word in plan.words:
        yield (
            collection_of(word),
            (
                [({"name": _name(name), "desc": _legal(told)}, "\n".join(vertices)) for name, told, vertices in some]
                for some in plan.lines(word)
            ),
        )


def _feature(row: _Row) -> str:
    attributes, text = row
    written = " ".join(f"{name}={quoteattr(value)}" for name, value in attributes.items())
    return f"<PlanFeature {written}>\n{legs(text.splitlines())}</PlanFeature>\n"


def _texts(batch: pa.RecordBatch, axes: Axes) -> list[str | None]:
    """Return northing, easting and, where it is known, height as an element's text; None without a position.

    The format knows numbers to the north, to the east and upwards, in one unit.
    """
    east, north, up = axes.upright(_linear(axes))
    factors = {"northing": north, "easting": east, "height": up}
    values = [floats(batch.column(name)) * by for name, by in factors.items()]
    texts = [fixed(np.nan_to_num(column), LENGTHS) for column in values]
    known = [np.isfinite(column).tolist() for column in values]
    return [
        (f"{north} {east} {height}" if up else f"{north} {east}") if one and other else None
        for north, east, height, one, other, up in zip(*texts, *known, strict=True)
    ]


def _element(row: _Row) -> str:
    attributes, text = row
    written = " ".join(f"{name}={quoteattr(value)}" for name, value in attributes.items())
    return f"<CgPoint {written}>{text}</CgPoint>\n"


def _name(text: str | None) -> str:
    legal = _legal(text or "")
    return legal if legal.strip() else "unnamed"


def _legal(text: str) -> str:
    """Return a text on one line, without the signs that XML cannot have."""
    return one_line(text).translate(_NOT_IN_XML)


def _quoted(text: str) -> str:
    return quoteattr(_legal(text))
