"""The points and the marks as LandXML 1.2: collections of CgPoint, northing before easting before height; then lines.

From the open schema and its documentation (landxml.org, LandXML-1.2). Points stand in a collection per proof word, so
that none that is not proven stands among those that are. The schema wants names to be unique within a collection; here
they are over all points. Read back by the expat parser, which has no part in writing.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.etree import ElementTree
from xml.sax.saxutils import quoteattr

import numpy as np

from pipeline.geodesy.axes import FOOT, SURVEY_FOOT, Axes
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.control_marks import drawn_elsewhere_messages
from pipeline.issue.formats.landxml_lines import LAYER, LinePlan, collection_of, legs, vertices_read
from pipeline.issue.formats.landxml_points import PointPlan, Row, collection_of_points
from pipeline.issue.formats.landxml_text import legal_name, legal_text, positions, quoted
from pipeline.issue.formats.unproven import judged_lines
from pipeline.issue.geopackage.layer_stream import Differs, Package
from pipeline.words import counted

_SPACE = "http://www.landxml.org/schema/LandXML-1.2"
_POINT, _POINTS = f"{{{_SPACE}}}CgPoint", f"{{{_SPACE}}}CgPoints"
_FEATURE, _FEATURES = f"{{{_SPACE}}}PlanFeature", f"{{{_SPACE}}}PlanFeatures"

#: What the format says of its units, by the metres in one: of all other quantities there are none.
_UNITS = {
    1.0: '<Metric areaUnit="squareMeter" linearUnit="meter" volumeUnit="cubicMeter" '
    'temperatureUnit="celsius" pressureUnit="milliBars"/>',
    FOOT: '<Imperial areaUnit="squareFoot" linearUnit="foot" volumeUnit="cubicFeet" '
    'temperatureUnit="fahrenheit" pressureUnit="inHG"/>',
    SURVEY_FOOT: '<Imperial areaUnit="squareFoot" linearUnit="USSurveyFoot" volumeUnit="cubicFeet" '
    'temperatureUnit="fahrenheit" pressureUnit="inHG"/>',
}


def write(path: Path, package: Package, about: FileFacts) -> dict[str, int]:
    """Write points and marks of a package to a new file and return the rows by layer. Raises OSError."""
    plan, rows = PointPlan(package, about.axes.upright(_linear(about.axes))), {"points": 0, "marks": 0}
    with path.open("xb") as file:
        file.write(_head(about, judged_lines(about, package)).encode())
        for word in plan.words:
            file.write(f"<CgPoints name={quoted(collection_of_points(word))}>\n".encode())
            for some in plan.points(word):
                file.write(some.elements())
                rows["points"] += len(some.texts)
            file.write(b"</CgPoints>\n")
        file.write(b'<CgPoints name="marks">\n')
        for found in _marks(package, about.axes):
            file.write("".join(map(_element, found)).encode())
            rows["marks"] += len(found)
        file.write(b"</CgPoints>\n")
        for name, lines in _lines(package, about.axes):
            file.write(f"<PlanFeatures name={quoted(name)}>\n".encode())
            for features in lines:
                file.write("".join(map(_feature, features)).encode())
                rows[LAYER] = rows.get(LAYER, 0) + len(features)
            file.write(b"</PlanFeatures>\n")
        file.write(b"</LandXML>\n")
    if rows["points"] != package.rows["points"]:
        raise RuntimeError("a point without a position was issued")
    return rows


def read_back(path: Path, package: Package, about: FileFacts) -> None:
    """Compare every element with the package's rows. Raises Differs at the first that is not the same, or OSError."""
    found = _elements(path)
    plan = PointPlan(package, about.axes.upright(_linear(about.axes)))
    given = ((collection_of_points(word), row) for word in plan.words for some in plan.points(word) for row in some)
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
        raise Differs(f"it is not XML: {error}") from error


def _head(about: FileFacts, judged: Sequence[str]) -> str:
    about_data = "; ".join(
        [f"issue {about.issue:03d}", f"last observation {about.data_to_text}", *judged, about.caution]
    )
    date, _, time = about.data_to_text.partition("T")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<LandXML xmlns="{_SPACE}" version="1.2" date="{date}" time="{time}" language="English" readOnly="false">\n'
        f"<Units>{_UNITS[_linear(about.axes)]}</Units>\n"
        f"<CoordinateSystem name={quoted(about.grid_name)}{_defined(about)} "
        f"horizontalDatum={quoted(about.datum_name)} verticalDatum={quoted(about.height_name)} "
        f"desc={quoted(_described(about))}/>\n"
        f"<Project name={quoted(about.job)} desc={quoted(about_data)}/>\n"
        '<Application name="tiedown"/>\n'
    )


def _defined(about: FileFacts) -> str:
    """Return what tells programs the grid, and the whole as WKT: so far as numbers stand here as these have them."""
    authority, _, code = (about.grid or "").partition(":")
    *plan, up = about.axes.upright(_linear(about.axes))
    if plan != [1.0, 1.0]:
        return ""
    told = f" epsgCode={quoted(code)}" if authority == "EPSG" else ""
    return told + (f" ogcWktCode={quoted(about.definition)}" if about.definition and up == 1.0 else "")


def _linear(axes: Axes) -> float:
    """Return the metres in the file's one unit: the grid's, where the format has it, else the metre."""
    return axes.easting.metres if axes.easting.metres in _UNITS else 1.0


def _described(about: FileFacts) -> str:
    """Return what the coordinates are, and where they are not as the grid writes them."""
    axes, told = about.axes, f"heights: {about.height_name}"
    if axes.upright(_linear(axes)) == (1.0, 1.0, 1.0):
        return told
    unit = {1.0: "metres", FOOT: "feet", SURVEY_FOOT: "US survey feet"}[_linear(axes)]
    return f"{told}; northing, easting and height to the north, to the east and upwards in {unit}; {_own(axes)}"


def _own(axes: Axes) -> str:
    return f"in the grid and height datum themselves {axes.described}"


def _marks(package: Package, axes: Axes) -> Iterator[list[Row]]:
    """Yield the marks; where one is drawn elsewhere than it is published, its description says which and why."""
    told = drawn_elsewhere_messages(package, axes.upright(_linear(axes)))
    for batch in package.batches("marks"):
        placed = positions(batch, axes.upright(_linear(axes)))
        columns = (batch.column("mark").to_pylist(), batch.column("status").to_pylist(), placed.to_pylist())
        yield [
            (
                {
                    "name": legal_name(mark),
                    "desc": legal_text("; ".join(filter(None, (status, told.get(mark))))),
                    "role": "control point",
                },
                text,
            )
            for mark, status, text in zip(*columns, strict=True)
            if text is not None
        ]


def _lines(package: Package, axes: Axes) -> Iterator[tuple[str, Iterator[list[Row]]]]:
    """Yield the collections of lines, each with its lines in pieces: attributes, and the vertices, one on each line."""
    plan = LinePlan(package, axes, np.array(axes.upright(_linear(axes))))
    for word in plan.words:
        yield (
            collection_of(word),
            (
                [
                    ({"name": legal_name(name), "desc": legal_text(told)}, "\n".join(vertices))
                    for name, told, vertices in some
                ]
                for some in plan.lines(word)
            ),
        )


def _feature(row: Row) -> str:
    attributes, text = row
    written = " ".join(f"{name}={quoteattr(value)}" for name, value in attributes.items())
    return f"<PlanFeature {written}>\n{legs(text.splitlines())}</PlanFeature>\n"


def _element(row: Row) -> str:
    attributes, text = row
    written = " ".join(f"{name}={quoteattr(value)}" for name, value in attributes.items())
    return f"<CgPoint {written}>{text}</CgPoint>\n"
