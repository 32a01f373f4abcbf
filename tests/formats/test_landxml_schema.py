"""LandXML files against the rules that the published schema (LandXML-1.2) has for the elements used, in words of ours.

Each element: which attributes it may have and must have and of what type, which children, and what its text is. The
schema takes children of the root in any order; names of collections are unique in a file, names of points in theirs.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyarrow as pa
import pytest
from every import every
from format_layers import ABOUT, CARRIED, hostile, package, points
from numpy.testing import assert_allclose
from pyproj import CRS

from pipeline.geodesy.axes import Axes, Axis
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.formats import write_formats
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.issue.geopackage.layers import CHECK_MARKS, LINE_Z, LINES, MARKS, points_schema, wkb_strings
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.replace import replace

SPACE = "{http://www.landxml.org/schema/LandXML-1.2}"
DOUBLE = r"[+-]?(\d+(\.\d*)?|\.\d+)([Ee][+-]?\d+)?|NaN|-?INF"

#: The simple types, as whole texts.
STRING = r"(?s).*"
DATE, TIME = r"\d{4}-\d\d-\d\d(Z|[+-]\d\d:\d\d)?", r"\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)?"
TRUTH, URI, WHOLE = "true|false|0|1", STRING, r"[+-]?\d+"
STATE = "abandoned|destroyed|existing|proposed"
ROLE = "measured|to stake out|staked out|calculated|assistance point|user entered point|control point"
ANGLE_UNIT = "radians|grads|decimal degrees|decimal dd.mm.ss"
METRIC = {
    "areaUnit": "hectare|squareMeter|squareMillimeter|squareCentimeter",
    "linearUnit": "millimeter|centimeter|meter|kilometer",
    "volumeUnit": "cubicMeter|liter|hectareMeter",
    "temperatureUnit": "celsius|kelvin",
    "pressureUnit": "HPA|milliBars|mmHG|millimeterHG",
}
IMPERIAL = {
    "areaUnit": "acre|squareFoot|squareInch|squareMiles",
    "linearUnit": "foot|USSurveyFoot|inch|mile",
    "volumeUnit": "US_gallon|IMP_gallon|cubicInch|cubicFeet|cubicYard|acreFeet",
    "temperatureUnit": "fahrenheit|kelvin",
    "pressureUnit": "inHG|inchHG",
}


@dataclass(frozen=True)
class Rule:
    """An element: attributes that must be and that may be there with their types, children with how many, its text."""

    must: dict[str, str]
    may: dict[str, str]
    children: dict[str, tuple[int, int]]
    text: str = r"\s*"


MANY = 10**9
RULES = {
    "LandXML": Rule(
        {"date": DATE, "time": TIME, "version": "1\\.2"},
        {"language": STRING, "readOnly": TRUTH, "LandXMLId": WHOLE, "crc": WHOLE},
        {"Units": (1, 1), "CoordinateSystem": (0, 1), "Project": (0, 1), "Application": (0, MANY),
         "CgPoints": (0, MANY), "PlanFeatures": (0, MANY)},
    ),
    "Units": Rule({}, {}, {"Metric": (0, 1), "Imperial": (0, 1)}),
    "Metric": Rule(METRIC, {"angularUnit": ANGLE_UNIT, "directionUnit": ANGLE_UNIT}, {}),
    "Imperial": Rule(IMPERIAL, {"angularUnit": ANGLE_UNIT, "directionUnit": ANGLE_UNIT}, {}),
    "CoordinateSystem": Rule(
        {},
        {**dict.fromkeys(("desc", "name", "epsgCode", "ogcWktCode", "horizontalDatum", "verticalDatum", "ellipsoidName",
                          "horizontalCoordinateSystemName", "datum", "compoundCoordinateSystemName",
                          "projectedCoordinateSystemName", "verticalCoordinateSystemName"), STRING),
         "rotationAngle": DOUBLE, "fileLocation": URI},
        {},
    ),
    "Project": Rule({"name": STRING}, {"desc": STRING, "state": STATE}, {}),
    "Application": Rule(
        {"name": STRING},
        {"desc": STRING, "manufacturer": STRING, "version": STRING, "manufacturerURL": URI,
         "timeStamp": f"{DATE}T{TIME}"},
        {},
    ),
    "CgPoints": Rule(
        {}, {"desc": STRING, "name": STRING, "state": STATE, "code": STRING, "zoneNumber": WHOLE},
        {"CgPoint": (0, MANY)},
    ),
    "CgPoint": Rule(
        {},
        {"name": STRING, "desc": STRING, "code": STRING, "state": STATE, "pntRef": STRING, "role": ROLE,
         "pointGeometry": "point|curve", "timeStamp": rf"\d{{4}}-\d\d-\d\dT{TIME}", "zoneNumber": WHOLE},
        {},
        rf"\s*(?:{DOUBLE})(?:\s+(?:{DOUBLE})){{1,2}}\s*",
    ),
    "PlanFeatures": Rule({"name": STRING}, {"desc": STRING, "state": STATE}, {"PlanFeature": (1, MANY)}),
    "PlanFeature": Rule({"name": STRING}, {"desc": STRING, "state": STATE}, {"CoordGeom": (0, MANY)}),
    "CoordGeom": Rule({}, {"desc": STRING, "name": STRING, "state": STATE, "oID": STRING}, {"Line": (0, MANY)}),
    "Line": Rule(
        {}, {"desc": STRING, "dir": DOUBLE, "length": DOUBLE, "name": STRING, "staStart": DOUBLE, "state": STATE},
        {"Start": (1, 1), "End": (1, 1)},
    ),
    **dict.fromkeys(
        ("Start", "End"),
        Rule({}, {"name": STRING, "desc": STRING, "code": STRING, "pntRef": STRING}, {},
             rf"\s*(?:{DOUBLE})(?:\s+(?:{DOUBLE})){{1,2}}\s*"),
    ),
}  # fmt: skip


def broken(element: ElementTree.Element) -> list[str]:
    """Return where an element and those in it break a rule."""
    name = element.tag.removeprefix(SPACE)
    if not element.tag.startswith(SPACE) or name not in RULES:
        return [f"{element.tag}: no such element"]
    rule, found = RULES[name], []
    found += [f"{name} lacks {key}" for key in rule.must.keys() - element.keys()]
    for key, value in element.items():
        kind = (rule.must | rule.may).get(key)
        if kind is None or not re.fullmatch(kind, value):
            found.append(f"{name} {key}={value!r}")
    if not re.fullmatch(rule.text, element.text or "") or any((child.tail or "").strip() for child in element):
        found.append(f"{name}: text {element.text!r}")
    for child in {one.tag.removeprefix(SPACE) for one in element} | rule.children.keys():
        low, high = rule.children.get(child, (0, 0))
        if not low <= len(element.findall(SPACE + child)) <= high:
            found.append(f"{name}: {len(element.findall(SPACE + child))} times {child}")
    if name == "Units" and len(element) != 1:
        found.append("Units: one of Metric and Imperial")
    for kind in ("CgPoints", "CgPoint", "PlanFeatures", "PlanFeature"):
        names = [child.get("name") for child in element.findall(SPACE + kind)]
        found += [f"{name}: {kind} {one!r} twice" for one in set(names) if names.count(one) > 1]
    return found + [fault for child in element for fault in broken(child)]


def test_the_rules_find_what_is_wrong() -> None:
    good = (
        f'<LandXML xmlns="{SPACE[1:-1]}" date="2026-03-02" time="03:45:06Z" version="1.2"><Units><Metric areaUnit='
        '"squareMeter" linearUnit="meter" volumeUnit="cubicMeter" temperatureUnit="celsius" pressureUnit="HPA"/>'
        "</Units>"
        '<CgPoints name="a"><CgPoint name="1">1.5 2 -3.25</CgPoint><CgPoint name="2">1 2</CgPoint></CgPoints></LandXML>'
    )
    assert not broken(ElementTree.fromstring(good))
    for old, new in (
        (' time="03:45:06Z"', ""), ('"03:45:06Z"', '"3:45"'), ('"meter"', '"metre"'), (' pressureUnit="HPA"', ""),
        ("1.5 2 -3.25", "1.5"), ("1.5 2 -3.25", "1,5 2 3"), ("1.5 2 -3.25", "1 2 3 4"), ('name="2"', 'name="1"'),
        ('<CgPoint name="1"', '<CgPoint name="1" role="control"'), ('<CgPoint name="1"', '<CgPoint nr="1"'),
        ("<CgPoints", "<CgPoints/><Point"), (SPACE[1:-1], "http://www.landxml.org/schema/LandXML-1.0"),
    ):  # fmt: skip
        spoilt = good.replace(old, new)
        if new.endswith("<Point"):
            spoilt = spoilt.replace("</CgPoints></", "</Point></")
        assert broken(ElementTree.fromstring(spoilt)), (old, new)


WKT = CRS("EPSG:2193+7839").to_wkt("WKT2_2019")
US_FOOT, CLARKE = 1200 / 3937, 0.3047972654


def of(unit: str = "metre", metres: float = 1.0, sides: str = "east north up", up: float | None = None) -> FileFacts:
    """The facts of an issue whose grid counts so, and whose heights count in ``up`` metres where that is another."""
    one, other, third = sides.split()
    height = Axis(unit, metres, third) if up is None else Axis("metre", up, third)
    return replace(ABOUT, axes=Axes(Axis(unit, metres, one), Axis(unit, metres, other), height), definition=WKT)


#: What a job may be issued in: the facts, the unit that the file must say, by what it multiplies easting, northing,
#: height, and whether code and WKT of the grid hold for the numbers there.
WAYS: dict[str, tuple[FileFacts, str, tuple[float, float, float], bool, bool]] = {
    "metres": (of(), "meter", (1, 1, 1), True, True),
    "no definition": (ABOUT, "meter", (1, 1, 1), True, False),
    "feet": (of("foot", 0.3048), "foot", (1, 1, 1), True, True),
    "US feet": (of("US survey foot", US_FOOT), "USSurveyFoot", (1, 1, 1), True, True),
    "heights in metres": (of("US survey foot", US_FOOT, up=1.0), "USSurveyFoot", (1, 1, 1 / US_FOOT), True, False),
    "west and south": (of(sides="west south up"), "meter", (-1, -1, 1), False, False),
    "depths": (of(sides="east north down"), "meter", (1, 1, -1), True, False),
    "no foot of the format's": (of("Clarke's foot", CLARKE), "meter", (CLARKE,) * 3, False, False),
    "a site's grid": (replace(of(), grid=None, grid_name='Site <n> & "s"\n2'), "meter", (1, 1, 1), False, True),
    "another registry's code": (replace(ABOUT, grid="ESRI:102067"), "meter", (1, 1, 1), False, False),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Hostile names and codes, every proof word, marks without a height or a position."""
    return package(tmp_path_factory.mktemp("landxml"), hostile())


def written(found: Package, about: FileFacts) -> ElementTree.Element:
    path = found.path.with_suffix(".xml")
    path.unlink(missing_ok=True)
    write_formats(["landxml"], found, about)
    return ElementTree.parse(path).getroot()


@pytest.mark.parametrize("way", WAYS)
def test_every_way_of_a_job_keeps_the_rules(made: Package, way: str) -> None:
    """And says its unit; northing, easting, height in it; code and WKT only where the numbers are as they have them."""
    about, unit, factors, coded, defined = WAYS[way]
    root = written(made, about)
    assert not broken(root)
    (units,) = root.findall(f"{SPACE}Units/*")
    assert units.get("linearUnit") == unit
    (system,) = root.findall(f"{SPACE}CoordinateSystem")
    assert ("epsgCode" in system.attrib, "ogcWktCode" in system.attrib) == (coded, defined)
    mark = root.find(f"{SPACE}CgPoints[@name='marks']/{SPACE}CgPoint[@name='CM1']")
    assert mark is not None and mark.text is not None
    place = dict(zip(("northing", "easting", "height"), map(float, mark.text.split()), strict=True))
    given = {"easting": 1_600_010.5, "northing": 5_400_020.25, "height": 3.125}
    for (axis, value), by in every(zip(given.items(), factors, strict=True)):
        assert_allclose(place[axis], value * by, rtol=0, atol=0.6e-4)


def test_empty_layers_keep_the_rules(tmp_path: Path) -> None:
    path = tmp_path / "made-007.gpkg"
    layers = [LayerSource("points", points_schema(CARRIED), []), LayerSource("check_marks", CHECK_MARKS, []),
              LayerSource("marks", MARKS, [])]  # fmt: skip
    rows = write_geopackage(path, layers, Georeference("EPSG:2193"), ABOUT.data_to)
    root = written(Package(path, {layer.name: layer.rows for layer in rows}), ABOUT)
    assert not broken(root) and not list(root.iter(f"{SPACE}CgPoint"))


def test_repeated_and_odd_names_keep_the_rules(tmp_path: Path) -> None:
    """Names that differ by case alone are two, as everywhere; a point may have a mark's name."""
    names = ["P12", "P12", "P12_2", "p12", "", None, "CM1", " ", "P12_2", "a\nb", "a b", "\ufffe", "\ufffd"]
    words = ["bracketed"] * 6 + ["suspect"] * 7
    root = written(package(tmp_path, points(names, ["C"] * 13, words)), ABOUT)
    assert not broken(root)
    given = [one.get("name") for one in root.iter(f"{SPACE}CgPoint") if one.get("role") == "measured"]
    assert len(set(given)) == len(names) and {"P12", "P12_2", "p12", "CM1", "unnamed"} <= set(given)


def test_a_point_observed_at_no_known_time_has_no_time_stamp(tmp_path: Path) -> None:
    rows = points(["a"], ["b"], ["bracketed"])
    at = rows.schema.get_field_index("observed")
    rows = rows.set_column(at, rows.schema.field(at), pa.nulls(1, rows.schema.field(at).type))
    root = written(package(tmp_path, rows), ABOUT)
    (point,) = [one for one in root.iter(f"{SPACE}CgPoint") if one.get("role") == "measured"]
    assert not broken(root) and point.get("timeStamp") is None


@pytest.mark.parametrize("way", ["metres", "US feet", "west and south", "depths"])
def test_lines_keep_the_rules_and_count_as_points_do(way: str, tmp_path: Path) -> None:
    """Hostile names and descriptions, two lines of one name, every proof word; one line is closed."""
    about, _, factors, _, _ = WAYS[way]
    vertices = np.array([[1e6, 5e6, 1.0], [1e6 + 1.25, 5e6, 2.0], [1e6, 5e6 + 2.5, 3.0], [1e6, 5e6, 1.0]])
    names, words = ["K 1", "K 1", 'a<b> & "c"\n', "\x01"], ["bracketed", "bracketed", "suspect", None]
    columns = {name: [None] * 4 for name in LINES.names} | {"name": names, "code": names, "proof": words}
    columns |= {"description": ["lip", None, "]]>", "\ufffe"], "closed": [True] * 4, "points": [3] * 4}
    arrays = [pa.array(columns[field.name], field.type) for field in list(LINES)[:-1]]
    shapes = wkb_strings(np.concatenate([vertices] * 4), np.full(4, 4))
    rows = pa.RecordBatch.from_arrays([*arrays, shapes], schema=LINES)
    path = tmp_path / "made-007.gpkg"
    layers = [LayerSource("points", points_schema(CARRIED), []), LayerSource("check_marks", CHECK_MARKS, []),
              LayerSource("marks", MARKS, []), LayerSource("lines", LINES, [rows], geometry_type=LINE_Z)]  # fmt: skip
    found = write_geopackage(path, layers, Georeference("EPSG:2193"), ABOUT.data_to)
    root = written(Package(path, {layer.name: layer.rows for layer in found}), about)
    assert not broken(root)
    collections = root.findall(f"{SPACE}PlanFeatures")
    assert [one.get("name") for one in collections] == ["lines", "lines suspect", "lines unproven"]
    assert [one.get("name") for one in collections[0]] == ["K 1", "K 1_2"]
    for feature in root.iter(f"{SPACE}PlanFeature"):
        points = [end for line in feature.iter(f"{SPACE}Line") for end in line]
        ends = [[float(part) for part in (end.text or "").split()] for end in points]
        wanted = (vertices * factors)[[0, 1, 1, 2, 2, 3]][:, [1, 0, 2]]
        assert_allclose(ends, wanted, rtol=0, atol=0.6e-4)
