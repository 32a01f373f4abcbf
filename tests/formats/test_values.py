"""Every format holds what the GeoPackage holds, read by others: SQLite there, ezdxf, csv, json and fiona here."""

import csv
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args
from unicodedata import category
from xml.etree import ElementTree

import ezdxf
import fiona
import numpy as np
import pyogrio
import pytest
from every import every
from ezdxf.tools.text import plain_text
from format_layers import ABOUT, CARRIED, HOSTILE, hostile, package, points
from issued import Layer, read_layer
from numpy.testing import assert_allclose
from pyproj import CRS

from pipeline.issue.file_facts import geometry_told
from pipeline.issue.formats.formats import FORMATS, write_formats
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.job.model import Format
from pipeline.replace import replace

#: Half of the last decimal written, in metres, and in degrees.
LENGTH, ANGLE = 0.5001e-4, 0.5001e-10
LENGTHS = ("easting", "northing", "height", "ellipsoid_height", "hu95", "vu95")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """A package of hostile texts with every format beside it."""
    found = package(tmp_path_factory.mktemp("formats"), hostile())
    entries = write_formats(list(FORMATS), found, ABOUT)
    assert [entry["rows"]["points"] for entry in entries if "rows" in entry] == [len(HOSTILE) + 1] * len(FORMATS)
    return found


@pytest.fixture(scope="module")
def layer(made: Package) -> Layer:
    return read_layer(made.path, "points")


def expected_time(text: str | None) -> str | None:
    """SQLite's text of a time with milliseconds, whatever it has."""
    if text is None:
        return None
    moment = datetime.fromisoformat(text.replace("Z", "+00:00"))
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def same(name: str, given: Any, found: Any) -> None:
    """One value: lengths and angles to the decimals written, anything else as it is."""
    if name in LENGTHS:
        assert_allclose(found, given, rtol=0, atol=LENGTH)
    elif name in ("longitude", "latitude"):
        assert_allclose(found, given, rtol=0, atol=ANGLE)
    elif name in ("observed", "start"):
        assert found == expected_time(given)
    elif name == "wet":
        assert found == (None if given is None else bool(given))
    else:
        assert found == given, name


# CSV


def test_csv_holds_every_value(made: Package, layer: Layer) -> None:
    with made.path.with_suffix(".csv").open(newline="", encoding="utf-8") as file:
        header, *rows = list(csv.reader(file))
    assert [name.removeprefix("'") for name in header] == layer.columns
    assert len(rows) == len(layer.rows)
    for row, given in every(zip(rows, layer.rows, strict=True)):
        for name, text in zip(layer.columns, row, strict=True):
            if given[name] is None or given[name] == "":
                assert text == ""
            elif isinstance(given[name], str) and name not in ("observed", "start"):
                assert text in (given[name], f"'{given[name]}")
            elif isinstance(given[name], float):
                same(name, given[name], float(text))
            elif name == "wet":
                assert text == ("true" if given[name] else "false")
            elif isinstance(given[name], int):
                assert text == str(given[name])
            else:
                same(name, given[name], text)


def test_csv_lengths_have_four_decimals_and_the_exports_own_all_they_have(made: Package) -> None:
    with made.path.with_suffix(".csv").open(newline="", encoding="utf-8") as file:
        row = list(csv.DictReader(file))[1]
    assert (row["easting"], row["northing"], row["hu95"]) == ("1600007.1352", "5400003.4568", "0.0200")
    assert row["longitude"] == "173.0000123457"
    assert row["'=Depth"] == repr(1 / 7)
    assert row["height"] == "0.0001"


def test_csv_has_no_minus_zero(made: Package, layer: Layer) -> None:
    """Heights of a few hundredths of a millimetre, above and below."""
    assert any(-0.5e-4 < row["height"] < 0 for row in layer.rows)
    assert "-0.0000" not in made.path.with_suffix(".csv").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("=1+1", "'=1+1"), ("@SUM(1)", "'@SUM(1)"), ("\t=1", "'\t=1"), ("+1+cmd|'x'!A0", "'+1+cmd|'x'!A0"),
        ("-HYPERLINK(1)", "'-HYPERLINK(1)"), ("'=1", "''=1"), ("-5.25", "-5.25"), ("+12", "+12"), ("-FE", "-FE"),
        ("+", "+"), ("'plain", "'plain"), ("a=1", "a=1"), ("+1-2", "'+1-2"), ("-3/4", "'-3/4"), ("+A1*B2", "'+A1*B2"),
        ("'+1-2", "''+1-2"), ("-1 + 2%", "'-1 + 2%"), ("-FE1", "-FE1"), ("-FE1-N", "-FE1-N"), ("+1e-5", "+1e-5"),
        ("+1-", "+1-"), ("-1,234.5", "-1,234.5"), ("1-2", "1-2"),
    ],
)  # fmt: skip
def test_csv_text_that_a_spreadsheet_would_run_is_guarded_and_nothing_else(
    text: str, written: str, tmp_path: Path
) -> None:
    """Codes with a sign and numbers stay: drafting programs read them."""
    found = package(tmp_path, points([text], [text], ["bracketed"]))
    write_formats(["csv"], found, ABOUT)
    with found.path.with_suffix(".csv").open(newline="", encoding="utf-8") as file:
        row = next(csv.DictReader(file))
    assert (row["name"], row["code"]) == (written, written)


def test_csv_lines_end_as_rfc_4180_says_and_there_is_no_byte_order_mark(made: Package) -> None:
    content = made.path.with_suffix(".csv").read_bytes()
    assert content.startswith(b"name,code,easting,") and content.endswith(b"\r\n")


def test_csv_is_read_with_its_kinds_its_place_and_its_grid(tmp_path: Path) -> None:
    """GDAL reads the two files beside it: types, geometry, grid and heights; the numbers keep their decimals."""
    found = package(tmp_path, hostile())
    definition = CRS("EPSG:2193+7839").to_wkt("WKT2_2019")
    entries = write_formats(["csv"], found, replace(ABOUT, definition=definition))
    assert [Path(entry["name"]).suffix for entry in entries] == [".csv", ".csvt", ".prj", ".json"]
    info = pyogrio.read_info(found.path.with_suffix(".csv"))
    kinds = dict(zip(info["fields"], info["dtypes"], strict=True))
    assert (kinds["name"], kinds["easting"], kinds["source_row"]) == ("object", "float64", "int64")
    assert kinds["observed"].startswith("datetime64") and info["geometry_type"] == "Point"
    system = CRS(info["crs"])
    assert system.is_compound and [part.to_epsg() for part in system.sub_crs_list] == [2193, 7839]


def test_csv_columns_are_described_where_the_recommendation_has_it(made: Package, layer: Layer) -> None:
    """W3C, Metadata Vocabulary for Tabular Data: found by its name, columns by their titles in order, known types."""
    path = made.path.with_suffix(".csv")
    told = json.loads(Path(f"{path}-metadata.json").read_text(encoding="utf-8"))
    assert told["@context"] == "http://www.w3.org/ns/csvw"
    assert {"dc:description": "verdict: failed"} in told["notes"]
    assert told["tables"] == [{"url": path.name}, {"url": path.name.replace("-007", "")}], "the name that stays as well"
    with path.open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    columns = told["tableSchema"]["columns"]
    assert [column["titles"] for column in columns] == header
    kinds = {column["titles"]: column["datatype"] for column in columns}
    reads = {"string": str, "double": float, "long": int, "boolean": ("true", "false").index,
             "dateTime": datetime.fromisoformat, "date": datetime.fromisoformat}  # fmt: skip
    for row in rows:
        for name, text in zip(header, row, strict=True):
            if text:
                reads[kinds[name]](text)
    about = {column["titles"]: column.get("dc:description", "") for column in columns}
    assert about["height"] == "height in the height datum [m]" and about["latitude"].endswith("[degree]")
    for words in (ABOUT.grid_text, ABOUT.datum_text, f"heights: {ABOUT.height_name}", "metres"):
        assert words in told["dc:description"]


# GeoJSON


def test_geojson_holds_every_value(made: Package, layer: Layer) -> None:
    whole = json.loads(made.path.with_suffix(".geojson").read_text(encoding="utf-8"))
    assert whole["type"] == "FeatureCollection" and whole["name"] == "made"
    assert len(whole["features"]) == len(layer.rows)
    for feature, given in every(zip(whole["features"], layer.rows, strict=True)):
        assert list(feature["properties"]) == layer.columns
        for name, value in feature["properties"].items():
            same(name, given[name], value)
        place = feature["geometry"]["coordinates"]
        assert_allclose(place[:2], [given["longitude"], given["latitude"]], rtol=0, atol=ANGLE)
        assert_allclose(place[2], given["ellipsoid_height"], rtol=0, atol=LENGTH)


def test_geojson_says_that_it_is_not_in_wgs_84(made: Package) -> None:
    whole = json.loads(made.path.with_suffix(".geojson").read_text(encoding="utf-8"))
    assert "NZGD2000 (EPSG:4167)" in whole["about"]["geometry"] and "not in WGS 84" in whole["about"]["geometry"]
    assert "EPSG:2193" in whole["about"]["properties"] and "NZVD2016 height" in whole["about"]["properties"]
    assert (whole["about"]["issue"], whole["about"]["data_to"]) == (7, "2026-03-02T03:45:06.500Z")
    assert whole["about"]["judged"][0] == "verdict: failed"


def test_geojson_lies_in_the_grids_datum_for_a_geographic_information_system(made: Package, layer: Layer) -> None:
    """fiona, with a GDAL of its own: the CRS by its code, longitude first."""
    with fiona.open(made.path.with_suffix(".geojson")) as source:
        assert source.crs.to_authority() == ("EPSG", "4167")
        for feature, given in every(zip(source, layer.rows, strict=True)):
            place = feature.geometry.coordinates
            assert_allclose(place[:2], [given["longitude"], given["latitude"]], rtol=0, atol=ANGLE)
            assert feature.properties["name"] == given["name"]


# DXF


@pytest.fixture(scope="module")
def drawing(made: Package) -> Any:
    found = ezdxf.readfile(made.path.with_suffix(".dxf"))
    audit = found.audit()
    assert not audit.errors and not audit.fixes
    return found


def attributes(insertion: Any) -> dict[str, str]:
    return {attribute.dxf.tag: attribute.dxf.text for attribute in insertion.attribs}


def on_one_line(text: str | None) -> str:
    """What an attribute can hold of a text, its caret read as drawing programs read it."""
    return "".join(" " if category(sign) in ("Cc", "Zl", "Zp") else sign for sign in text or "")


def squeezed(text: str) -> str:
    return "".join(text.replace("^ ", "^").split())


def test_dxf_has_every_point_where_it_is_with_name_height_and_code(drawing: Any, layer: Layer) -> None:
    blocks = ("tiedown_point", "tiedown_unproven", "tiedown_suspect")
    found = [entity for entity in drawing.modelspace().query("INSERT") if entity.dxf.name in blocks]
    assert len(found) == len(layer.rows)
    for insertion, given in every(zip(found, layer.rows, strict=True)):
        place = [given[name] for name in ("easting", "northing", "height")]
        assert_allclose(list(insertion.dxf.insert), place, rtol=0, atol=LENGTH)
        values = attributes(insertion)
        assert squeezed(values["NAME"]) == squeezed(on_one_line(given["name"])[:250])
        assert squeezed(values["CODE"]) == squeezed(on_one_line(given["code"])[:250])
        for text in (values["NAME"], values["CODE"]):  # nothing in it is a code of the format, as ezdxf reads them
            assert "^" in text or (plain_text(text) == text and "\\U+" not in text)
        assert_allclose(float(values["HEIGHT"]), given["height"], rtol=0, atol=0.5001e-3)


def test_dxf_what_is_not_proven_cannot_be_taken_for_proven(drawing: Any, layer: Layer) -> None:
    """Another layer, another symbol, a warning colour and the word itself; a missing word counts as not proven."""
    found = [entity for entity in drawing.modelspace().query("INSERT") if entity.dxf.name not in _MARKS]
    assert {row["proof"] == "bracketed" for row in layer.rows} == {True, False}
    proven = {e.dxf.layer for e, row in zip(found, layer.rows, strict=True) if row["proof"] == "bracketed"}
    for insertion, given in every(zip(found, layer.rows, strict=True)):
        visible = {a.dxf.tag for a in insertion.attribs if not a.is_invisible}
        colour = drawing.layers.get(insertion.dxf.layer).dxf.color
        if given["proof"] == "bracketed":
            assert insertion.dxf.name == "tiedown_point" and colour not in (1, 30, 50)
            assert visible == {"NAME", "HEIGHT", "CODE"}
        else:
            word = given["proof"] or "unproven"
            assert attributes(insertion)["PROOF"] == word and "PROOF" in visible
            assert word in insertion.dxf.layer and insertion.dxf.layer not in proven
            assert insertion.dxf.name == ("tiedown_suspect" if word == "suspect" else "tiedown_unproven")
            assert colour in (1, 30, 50)


_MARKS = ("tiedown_mark", "tiedown_check")


def test_dxf_each_code_has_a_layer_of_its_own(drawing: Any, layer: Layer) -> None:
    """Also codes that differ in case alone, are cleaned to the same name, or are called like layers of ours."""
    found = [entity for entity in drawing.modelspace().query("INSERT") if entity.dxf.name not in _MARKS]
    layers: dict[str, set[tuple[str | None, bool]]] = {}
    for insertion, given in every(zip(found, layer.rows, strict=True)):
        key = (given["code"] or None, given["proof"] == "bracketed")
        layers.setdefault(insertion.dxf.layer.casefold(), set()).add(key)
        assert insertion.dxf.layer in {entry.dxf.name for entry in drawing.layers}
    assert {len(keys) for keys in layers.values()} == {1}
    assert not layers.keys() & {"0", "defpoints", "marks", "check_marks", "check_marks_failed", "note"}
    for name in layers:
        assert not set('<>/\\":;?*|=`,\n\r') & set(name) and len(name) < 256 and name.strip() == name != ""


def test_dxf_marks_and_checks_stand_on_layers_of_their_own(drawing: Any) -> None:
    found = [entity for entity in drawing.modelspace().query("INSERT") if entity.dxf.name in _MARKS]
    told = [(e.dxf.layer, attributes(e)["NAME"], attributes(e)["HEIGHT"]) for e in found]
    assert told == [
        ("check_marks", "CM1-AM", "3.125"), ("check_marks_failed", "CM1 ^ PM", "3.325"),
        ("check_marks", "TM1", "103.125"), ("marks", "CM1", "3.125"), ("marks", "TM,1", "no height"),
    ]  # fmt: skip
    said = [attributes(e)["DIFFERENCE"] for e in found[:3]]
    assert said == ["dE +0.001 dN +0.001 dH +0.001 passed", "dE -0.200 dN -0.200 dH +0.000 FAILED", "not tested"]


def _by_word(layer: Layer) -> str:
    """How many points have each word, that of the worst evidence last but for none at all."""
    words = [row["proof"] or "unproven" for row in layer.rows]
    order = ("unclosed", "suspect", "unchecked", "unproven")
    return ", ".join(f"{words.count(word):,} {word}" for word in order if word in words)


def test_every_format_says_how_many_points_are_not_proven(made: Package, layer: Layer) -> None:
    """Whoever opens one of them may see nothing else; the same counts in all."""
    unproven = sum(row["proof"] != "bracketed" for row in layer.rows)
    told = f"not proven: {unproven:,} points ({_by_word(layer)})"
    assert told in json.loads(made.path.with_suffix(".geojson").read_text(encoding="utf-8"))["about"]["judged"]
    beside = json.loads(made.path.with_suffix(".csv-metadata.json").read_text(encoding="utf-8"))
    assert {"dc:description": told} in beside["notes"]
    project = ElementTree.parse(made.path.with_suffix(".xml")).find("{*}Project")
    assert project is not None and f"; {told}; " in project.get("desc", "")


def test_where_all_are_proven_none_says_otherwise(tmp_path: Path) -> None:
    found = package(tmp_path, points(["a", "b"], ["P", "P"], ["bracketed", "bracketed"]))
    write_formats(list(FORMATS), found, ABOUT)
    for ending in (".geojson", ".csv-metadata.json", ".xml", ".dxf"):
        assert b"not proven" not in found.path.with_suffix(ending).read_bytes()


def test_dxf_is_in_metres_opens_on_the_points_and_says_what_it_is(drawing: Any, layer: Layer) -> None:
    header = drawing.header
    assert header["$INSUNITS"] == 6 and header["$ACADVER"] == "AC1024"
    places = layer.xyz()
    low, high = np.array(header["$EXTMIN"]), np.array(header["$EXTMAX"])
    assert_allclose(low[:2], places[:, :2].min(axis=0), rtol=0, atol=LENGTH)
    assert (high[:2] >= places[:, :2].max(axis=0) - LENGTH).all()
    (view,) = drawing.viewports.get("*Active")
    assert_allclose(list(view.dxf.center)[:2], (low + high)[:2] / 2, rtol=0, atol=1e-3)
    assert view.dxf.height >= (high - low)[1]
    facts = dict(header.custom_vars.properties)
    assert facts["issue"] == "made-007" and facts["last observation"] == "2026-03-02T03:45:06.500Z"
    assert "EPSG:2193" in facts["grid"] and facts["heights"] == "NZVD2016 height" and "care" in facts["caution"]
    (note,) = drawing.modelspace().query("MTEXT")
    seen = note.plain_text()
    assert note.dxf.layer == "note" and "EPSG:2193" in seen and "{braces}, a \\ and a ^ too" in seen
    unproven = sum(row["proof"] != "bracketed" for row in layer.rows)
    assert f"not proven: {unproven:,} points ({_by_word(layer)})" in seen
    assert facts["verdict"] == "failed" and "since issue 006: 3 moved (up to 0.012 m), 1 withdrawn" in seen


def tags_of(path: Path) -> list[tuple[str, str]]:
    """Group codes and values of a drawing as they stand in the file (ezdxf sets some of the header on reading)."""
    lines = path.read_text(encoding="utf-8").split("\n")
    return list(zip(lines[0::2], lines[1::2], strict=False))


def variable(tags: list[tuple[str, str]], name: str) -> str:
    return next(tags[n + 1][1] for n, tag in enumerate(tags) if tag[1] == name)


def test_dxf_dates_are_the_datas(made: Package) -> None:
    """As Julian day number (2000-01-01 is 2451545: Meeus, Astronomical Algorithms, ch. 7) and fraction of the day.

    The fraction counts from midnight: the DXF reference's example, 2451544.58558, is 14:03:14 on 31 December 1999.
    """
    since = datetime(2026, 3, 2, 3, 45, 6) - datetime(2000, 1, 1)
    tags = tags_of(made.path.with_suffix(".dxf"))
    for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE"):
        assert_allclose(float(variable(tags, name)), 2_451_545 + since / timedelta(days=1), rtol=0, atol=1e-4)


def test_dxf_handles_are_each_one_entitys(made: Package) -> None:
    """And the header's next handle is beyond them all."""
    tags = tags_of(made.path.with_suffix(".dxf"))
    seed = variable(tags, "$HANDSEED")
    start = next(n for n, tag in enumerate(tags) if tag[1] == "TABLES")
    handles = [int(value, 16) for code, value in tags[start:] if code.strip() in ("5", "105")]
    assert len(handles) == len(set(handles)) and max(handles) < int(seed, 16)


# LandXML

LANDXML = "{http://www.landxml.org/schema/LandXML-1.2}"


def visible(text: str | None) -> str:
    return " ".join(on_one_line(text).split())


def test_landxml_has_every_point_with_its_name_code_time_and_proof(made: Package, layer: Layer) -> None:
    """Northing before easting, by the schema; what is not proven in collections of its own."""
    root = ElementTree.parse(made.path.with_suffix(".xml")).getroot()
    assert (root.tag, root.get("version")) == (f"{LANDXML}LandXML", "1.2")
    found = {}
    for collection in root.findall(f"{LANDXML}CgPoints"):
        for element in collection.findall(f"{LANDXML}CgPoint"):
            if collection.get("name") != "marks":
                found[element.get("timeStamp")] = (collection.get("name"), element)
    assert len(found) == len(layer.rows)
    for given in layer.rows:
        name, element = found[given["observed"]]
        place = [float(number) for number in element.text.split()]
        assert_allclose(place, [given[key] for key in ("northing", "easting", "height")], rtol=0, atol=LENGTH)
        assert name == ("points" if given["proof"] == "bracketed" else f"points {given['proof'] or 'unproven'}")
        assert element.get("desc") == (given["proof"] or "unproven")
        assert visible(element.get("code")) == visible(given["code"])
        assert visible(element.get("name")).startswith(visible(given["name"]) or "unnamed")
    marks = root.findall(f"{LANDXML}CgPoints[@name='marks']/{LANDXML}CgPoint")
    assert [(mark.get("name"), mark.text) for mark in marks] == [
        ("CM1", "5400020.2500 1600010.5000 3.1250"), ("TM,1", "5400120.2500 1600110.5000"),
    ]  # fmt: skip


def test_landxml_names_are_unique(tmp_path: Path) -> None:
    """As the schema wants it, given out in the order of the file, where what is proven comes first.

    A number that another point has for a name already is passed over.
    """
    names = ["A", "A", "A_2", "A", "B", "", None, "A_2"]
    found = package(tmp_path, points(names, ["C"] * 8, ["bracketed", "suspect"] * 4), plain=True)
    write_formats(["landxml"], found, ABOUT)
    root = ElementTree.parse(found.path.with_suffix(".xml")).getroot()
    given = [element.get("name") for element in root.iter(f"{LANDXML}CgPoint")]
    assert given == ["A", "A_2", "B", "unnamed", "A_3", "A_4", "unnamed_2", "A_2_2"]


def test_landxml_says_its_units_grid_and_heights(made: Package) -> None:
    root = ElementTree.parse(made.path.with_suffix(".xml")).getroot()
    (metric,) = root.findall(f"{LANDXML}Units/{LANDXML}Metric")
    assert metric.get("linearUnit") == "meter"
    (system,) = root.findall(f"{LANDXML}CoordinateSystem")
    assert (system.get("epsgCode"), system.get("verticalDatum")) == ("2193", "NZVD2016 height")
    assert (root.get("date"), root.get("time")) == ("2026-03-02", "03:45:06.500Z")
    (project,) = root.findall(f"{LANDXML}Project")
    assert project.get("name") == "made" and "care" in project.get("desc", "")
    assert project.get("desc", "").startswith("issue 007; last observation ")
    assert "; verdict: failed; since issue 006: 3 moved (up to 0.012 m), 1 withdrawn; " in project.get("desc", "")


# All


def test_no_name_that_drawings_link_by_has_the_number_of_the_issue(made: Package) -> None:
    """The path under ``current`` stays, and so do the names of layers, blocks and elements."""
    layers = {
        ending: list(pyogrio.list_layers(made.path.with_suffix(ending))[:, 0]) for ending in (".gpkg", ".geojson")
    }
    assert layers[".geojson"] == ["made"] and "points" in layers[".gpkg"]
    drawing = ezdxf.readfile(made.path.with_suffix(".dxf"))
    elements = ElementTree.parse(made.path.with_suffix(".xml")).iter()
    names = [
        *layers[".gpkg"],
        *(layer.dxf.name for layer in drawing.layers),
        *(block.name for block in drawing.blocks),
        *(element.get("name", "") for element in elements if element.tag != f"{LANDXML}CgPoint"),
    ]
    assert len(names) > 20 and not [name for name in names if "007" in name]


def test_every_format_that_a_job_file_may_name_is_written() -> None:
    assert {"gpkg", *FORMATS} == set(get_args(Format))


def test_nothing_but_the_files_is_left_beside(made: Package) -> None:
    endings = {path.suffix for path in made.path.parent.iterdir()}
    assert endings == {".gpkg", ".csvt", ".json", *(form.ending for form in FORMATS.values())}


def test_carried_columns_are_what_the_tests_mean(layer: Layer) -> None:
    assert layer.columns[-len(CARRIED) :] == [field.name for field in CARRIED]


def test_coordinates_in_wgs_84_are_not_said_to_be_in_another_datum() -> None:
    assert geometry_told("WGS 84 (EPSG:4326)", None).endswith("in WGS 84 (EPSG:4326)")
    assert geometry_told("WGS 84 (EPSG:4326)", ()).count("WGS 84") == 1
