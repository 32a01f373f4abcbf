"""The register of control marks is read as written; whatever is wrong with it is told with its file and line."""

import hashlib
import json
import sqlite3
from pathlib import Path

import fiona
import numpy as np
import pytest
from registers_read import read_all_marks, read_marks

from pipeline.control import Form, Register, RegisterFrame, read_register
from pipeline.files.written_table import Written
from pipeline.problems import Problem, Problems
from pipeline.words import Holds

REGISTER = """\
mark,easting,northing,height,hu95,vu95,holds,source,dated,order
K1,1753201.250,5921100.10,41.500,0.020,0.030,3d,State survey,2024-05-01,2
001,1753300.5,5921200,42,,,,,,
1E5,1753400,5921300,,0.01,,position,,,
BM 7,,,12.345,,0.004,height,,,
"""


def test_a_register_is_read_as_written(tmp_path: Path) -> None:
    """Names stay text, coordinates keep their digits, what is not given is NaN."""
    register = read_all_marks(tmp_path, REGISTER)
    assert register.names == ("K1", "001", "1E5", "BM 7")
    np.testing.assert_array_equal(register.first, [1753201.25, 1753300.5, 1753400.0, np.nan])
    np.testing.assert_array_equal(register.second, [5921100.1, 5921200.0, 5921300.0, np.nan])
    np.testing.assert_array_equal(register.third, [41.5, 42.0, np.nan, 12.345])
    assert register.holds == (Holds.FULL, Holds.FULL, Holds.POSITION, Holds.HEIGHT)
    assert register.holds_position.tolist() == [True, True, True, False]
    assert register.holds_height.tolist() == [True, True, False, True]
    assert register.lines == (2, 3, 4, 5)
    assert register.written[0] == ("1753201.250", "5921100.10", "41.500")
    assert register.written[3] == ("", "", "12.345")
    assert register.source[0] == "State survey"
    assert register.dated[0] == "2024-05-01"
    assert register.sha256 == hashlib.sha256(REGISTER.encode()).hexdigest()
    assert (register.rows, register.kind, register.geometry_crs) == (4, "projected", None)


def test_uncertainties_are_read_as_95_percent_figures(tmp_path: Path) -> None:
    """NSSDA's factors, 2.4477 and 1.9600 (FGDC-STD-007.3-1998, 3-A.1 and 3-A.2); 5 mm where nothing is stated."""
    register = read_all_marks(tmp_path, REGISTER)
    np.testing.assert_allclose(register.sigma_east, [0.020 / 2.4477, 0.005, 0.01 / 2.4477, 0.005], rtol=1e-4, atol=0)
    np.testing.assert_array_equal(register.sigma_north, register.sigma_east)
    np.testing.assert_allclose(register.sigma_up, [0.030 / 1.96, 0.005, 0.005, 0.004 / 1.96], rtol=1e-4, atol=0)
    assert register.stated.tolist() == [[True, True], [False, False], [True, False], [False, True]]


def test_a_register_is_never_changed(tmp_path: Path) -> None:
    """Its arrays refuse to be written to."""
    register = read_all_marks(tmp_path, REGISTER)
    for array in (register.first, register.third, register.sigma_up, register.holds_height, register.stated):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_a_column_of_datums_is_not_told_to_be_of_badly_written_dates(tmp_path: Path) -> None:
    """ "Datum" is a date in some languages and a geodetic datum in all."""
    rows = "CM1,1000,2000,10,ETRS89\nCM1,1000.5,2000,10,ETRS89\n"
    _, (problem,) = read_marks(tmp_path, "mark,easting,northing,height,dated\n" + rows)
    assert "'ETRS89' is not a date" in problem.what and "geodetic datums" in problem.fix


def test_marks_are_found_by_name(tmp_path: Path) -> None:
    """Exactly, blanks around it apart."""
    register = read_all_marks(tmp_path, REGISTER)
    assert register.find(" K1 ") == 0
    assert register.find("1E5") == 2
    assert register.find("k1") is None
    assert register.find("100000") is None
    assert register.where(3) == ("marks.csv", 5)


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + REGISTER,
        REGISTER.replace("\n", "\r\n"),
        REGISTER.replace(",", ";"),
        REGISTER.replace(",", ";").replace(".", ","),
        REGISTER.replace("mark,easting", " Mark , EASTING"),
        REGISTER.replace("K1,", '"K1",'),
        REGISTER.replace("order\n", "order\n\n").replace("BM 7", " BM 7 "),
        REGISTER + "\n,,,,,,,,,\n",
        REGISTER.replace(",,,\n", "\n"),
        REGISTER + "K1,1753201.25,5921100.1,41.5,0.02,0.03,,,,\n",
    ],
)
def test_layouts_that_say_the_same(tmp_path: Path, text: str) -> None:
    """Byte order mark, line ends, delimiter, decimal comma, case, blanks, quotes, empty lines, a row said again."""
    register, plain = read_all_marks(tmp_path, text), read_all_marks(tmp_path, REGISTER)
    assert register.names == plain.names
    assert register.holds == plain.holds
    for name in ("first", "second", "third", "sigma_east", "sigma_up"):
        np.testing.assert_array_equal(getattr(register, name), getattr(plain, name))


@pytest.mark.parametrize("lines", ["\n", "\r\n"])
def test_columns_set_with_blanks(lines: str, tmp_path: Path) -> None:
    text = [
        "mark   easting      northing     height",
        "K1     1753201.250  5921100.10   41.500",
        "001 \t 1753300.5\t5921200  42",
    ]
    register = read_all_marks(tmp_path, lines.join(text))
    assert (register.names, register.second.tolist()) == (("K1", "001"), [5921100.10, 5921200.0])


def test_a_name_with_a_line_break_before_it_keeps_its_line(tmp_path: Path) -> None:
    """A cell over two lines moves the rows after it."""
    text = 'mark,easting,northing,height,source\nA,1,2,3,"one\ntwo"\nB,1,2,3,\n'
    assert read_all_marks(tmp_path, text).lines == (2, 4)


def test_a_geographic_register(tmp_path: Path) -> None:
    """Longitude, latitude and ellipsoidal height, also where a column of heights stands beside it."""
    text = "mark,latitude,longitude,ellipsoid_height,height\nK1,-36.85,174.76,75.5,41.5\n"
    register = read_all_marks(tmp_path, text, kind="geographic", ellipsoid=True)
    assert (register.first[0], register.second[0], register.third[0]) == (174.76, -36.85, 75.5)
    assert read_all_marks(tmp_path, text, kind="geographic").third[0] == 41.5


#: text of the register, the lines of the problems, pieces of the first one's text
Wrong = tuple[str, list[int], list[str]]
HEADER = "mark,easting,northing,height,hu95,vu95,holds\n"
WRONG: dict[str, Wrong] = {
    "not a number": (HEADER + "A,1,2,3\nB,1,2 000,3\n", [3], ["mark 'B'", "northing '2 000' is not a number"]),
    "nan": (HEADER + "A,nan,2,3\n", [2], ["easting 'nan' is not a number"]),
    "inf": (HEADER + "A,1,2,1e999\n", [2], ["height '1e999' is not a number"]),
    "underscore": (HEADER + "A,1_000,2,3\n", [2], ["easting '1_000' is not a number"]),
    "comma among commas": (HEADER + 'A,"1,5",2,3\n', [2], ["easting '1,5'", "';' between the cells"]),
    "no name": (HEADER + "A,1,2,3\n ,1,2,3\n", [3], ["no mark name"]),
    "negative hu95": (HEADER + "A,1,2,3,-0.02\n", [2], ["mark 'A'", "hu95 must be more than 0, not -0.02"]),
    "zero vu95": (HEADER + "A,1,2,3,,0\n", [2], ["vu95 must be more than 0", "0.001"]),
    "hu95 is no number": (HEADER + "A,1,2,3,2cm\n", [2], ["hu95 '2cm'"]),
    "holds": (HEADER + "A,1,2,3,,,hight\n", [2], ["3d, position, height, not 'hight'", "did you mean 'height'"]),
    "no height": (HEADER + "A,1,2,,,,3d\n", [2], ["mark 'A' has no height, but should hold 3d", "position"]),
    "no height of a height": (HEADER + "A,1,2,,,,height\n", [2], ["has no height, but should hold height"]),
    "half a position": (HEADER + "A,1,,3,,,height\n", [2], ["has no northing"]),
    "no position": (HEADER + "A,,,3,,,3d\n", [2, 2], ["has no easting"]),
    "half a position, nothing said": (HEADER + "A,1,,3\n", [2], ["has no northing"]),
    "half a position and no height": (HEADER + "A,,2,\n", [2, 2], ["has no easting"]),
    "nothing at all": (HEADER + "A,,,\n", [2], ["has no easting, northing or height"]),
    "twice, once without its height": (HEADER + "A,1,2,3\nA,1,2,\n", [3], ["holds 3d and position"]),
    "twice": (
        HEADER + "A,1,2,3\nB,1,2,3\nA,1,2.5,3\n",
        [4],
        ["mark 'A' is listed twice with different coordinates (marks.csv:2)", "northing 2.0 and 2.5"],
    ),
    "twice, held otherwise": (HEADER + "A,1,2,3\nA,1,2,3,,,position\n", [3], ["holds 3d and position"]),
    "twice, known otherwise": (HEADER + "A,1,2,3,0.1\nA,1,2,3,\n", [3], ["hu95 0.1 and none"]),
    "several": (HEADER + "A,x,2,3\nB,1,y,3,-1\n,1,2,3\n", [2, 3, 3, 4], []),
    "missing column": ("mark,easting,nothing,height\nA,1,2,3\n", [1], ["'northing' is missing", "is it 'nothing'"]),
    "geographic columns": ("mark,longitude,latitude,height\nA,1,2,3\n", [1, 1], ["projected", "geographic CRS: check"]),
    "other height": ("mark,easting,northing,ellipsoid_height\nA,1,2,3\n", [1], ['height = "ellipsoid"']),
    "no height column": ("mark,easting,northing\nA,1,2\n", [1], ["'height' is missing", "'holds'"]),
    "no mark column": ("name,easting,northing,height\nA,1,2,3\n", [1], ["'mark' is missing"]),
    "misspelled hu95": ("mark,easting,northing,height,hu_95\nA,1,2,3,1\n", [1], ["'hu_95'", "is it 'hu95'"]),
    "column twice": ("mark,easting,northing,height,Easting\nA,1,2,3,1\n", [1], ["'easting' appears twice"]),
    "too many cells": (HEADER + "A,1,2,3,,,3d,x\n", [2], ["8 cells; the header has 7"]),
    "open quote": (HEADER + 'A,1,2,3\n"B,1,2,3\n', [3], ["cannot be read"]),
    "a row between two quotes": (HEADER + 'A,1,2,"\nB,1,2,3\nC,1,2,"\n', [2], ["as many cells as the row"]),
    "no rows": (HEADER, [1], ["no mark in this register"]),
    "empty": ("", [1], ["empty"]),
    "header below empty lines": ("\n\nmark,easting,northing\nA,1,2\n", [3], ["'height' is missing"]),
}


def test_a_mark_of_which_nothing_is_said_holds_what_is_there(tmp_path: Path) -> None:
    """As registers of a region are: whole marks, some without a height, bench marks without a position."""
    rows = ["A,1,2,3", "B,1,2,", "C,,,3"]
    for header, end in (("mark,easting,northing,height", ""), (HEADER.rstrip(), ",,,")):
        register = read_all_marks(tmp_path, "\n".join([header, *(row + end for row in rows)]) + "\n")
        assert register.holds == (Holds.FULL, Holds.POSITION, Holds.HEIGHT)
        assert register.by_cells == (False, True, True)
    said = read_all_marks(tmp_path, HEADER + "A,1,2,3,,,position\nB,1,2,,,,position\nC,,,3,,,height\n")
    assert said.holds == (Holds.POSITION, Holds.POSITION, Holds.HEIGHT)
    assert said.by_cells == (False, False, False)


def test_a_text_over_two_lines_with_commas_is_no_row(tmp_path: Path) -> None:
    register, found = read_marks(
        tmp_path, HEADER.rstrip("\n") + ',note\nA,1,2,3,,,3d,"kerb,\nleft, by the gate, low, old"\n'
    )
    assert found == [] and register is not None


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong(tmp_path: Path, name: str) -> None:
    """Each mistake on its line."""
    text, lines, pieces = WRONG[name]
    register, found = read_marks(tmp_path, text)
    assert register is None
    assert [(problem.file, problem.line) for problem in found] == [("marks.csv", line) for line in lines], found
    for piece in pieces:
        assert piece in str(found[0])


@pytest.mark.parametrize(
    ("row", "piece"),
    [
        ("K1,174.76,-96.85,1", "latitude -96.85"),
        ("K1,-36.85,174.76,1", "latitude 174.76"),
        ("K1,361,0,1", "longitude 361"),
        ("K1,-180.5,0,1", "longitude -180.5"),
    ],
)
def test_angles_out_of_range(tmp_path: Path, row: str, piece: str) -> None:
    """A latitude beyond a pole, a longitude beyond a turn."""
    text = f"mark,longitude,latitude,ellipsoid_height\n{row}\n"
    _, found = read_marks(tmp_path, text, kind="geographic", ellipsoid=True)
    assert [problem.line for problem in found] == [2]
    assert piece in found[0].what


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """Absent, not UTF-8, of an unknown kind, in a CRS that is no register's: each is said."""
    problems = Problems()
    assert read_register(tmp_path / "no.csv", RegisterFrame("projected", False), problems) is None
    assert problems.found[-1].what == "this file is not there"
    _, found = read_marks(tmp_path, (HEADER + "A,1,2,3\nK\xf61,1,2,3\n").encode("latin-1"))
    assert (found[0].line, found[0].what) == (3, "this is not UTF-8 text")
    assert "'.ods' file is not supported" in read_marks(tmp_path, "", name="control.ods")[1][0].what
    assert "cannot be unpacked" in read_marks(tmp_path, "", name="control.xlsx")[1][0].what
    assert "geocentric" in read_marks(tmp_path, REGISTER, kind="geocentric")[1][0].what


def _geojson(*features: tuple[dict[str, object], list[float] | None]) -> str:
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": properties,
                    "geometry": {"type": "Point", "coordinates": point} if point is not None else None,
                }
                for properties, point in features
            ],
        }
    )


def test_geojson_attributes_go_before_the_geometry(tmp_path: Path) -> None:
    """Numbers and text alike; names stay as written."""
    attributes = {"mark": "001", "easting": 1753201.25, "northing": "5921100.10", "height": 41, "holds": None}
    register = read_all_marks(tmp_path, _geojson((attributes, [174.0, -36.0, 9.0])), name="control.geojson")
    assert register.names == ("001",)
    assert register.written == (("1753201.25", "5921100.10", "41"),)
    assert register.geometry_crs is None
    assert register.lines == (1,)


def test_geojson_geometry_stands_in(tmp_path: Path) -> None:
    """Where the columns are absent; and the digits are those of the file."""
    text = _geojson(({"mark": 7}, [174.76, -36.85, 75.5])).replace("174.76", "174.760")
    register = read_all_marks(tmp_path, text, name="control.geojson", kind="geographic", ellipsoid=True)
    assert register.names == ("7",)
    assert register.written == (("174.760", "-36.85", "75.5"),)
    assert register.geometry_crs == "OGC:CRS84"


@pytest.mark.parametrize("count", [1, 2])
def test_geojson_features_without_a_collection_are_read(tmp_path: Path, count: int) -> None:
    """A feature alone, and one per line (RFC 8142 has a separator besides)."""
    features = json.loads(_geojson(*(({"mark": f"M{at}"}, [174.76, -36.85, float(at)]) for at in range(count))))
    text = "\n".join(map(json.dumps, features["features"]))
    register = read_all_marks(tmp_path, text, name="control.geojson", kind="geographic", ellipsoid=True)
    assert register.third.tolist() == [float(at) for at in range(count)]


def test_geojson_degrees_are_not_taken_for_metres(tmp_path: Path) -> None:
    """The geometry of GeoJSON is longitude and latitude, the register is in a grid."""
    _, found = read_marks(tmp_path, _geojson(({"mark": "A", "height": 1}, [174.76, -36.85])), name="control.geojson")
    assert [problem.line for problem in found] == [1]
    assert "degrees" in found[0].what


def test_geojson_mistakes(tmp_path: Path) -> None:
    """A broken file with its line; a feature with its number; no geometry where one is needed."""
    broken = '{\n"type": "FeatureCollection",\n"features": [}\n'
    assert read_marks(tmp_path, broken, name="c.geojson")[1][0].line == 3
    assert "FeatureCollection" in read_marks(tmp_path, "[1]", name="c.geojson")[1][0].what
    text = _geojson(({"mark": "A"}, [174.0, -36.0, 1.0]), ({"mark": "B"}, None), ({"mark": "C"}, [1.0, -99.0, 1.0]))
    _, found = read_marks(tmp_path, text, name="c.geojson", kind="geographic", ellipsoid=True)
    assert sorted({problem.line for problem in found}) == [2, 3]
    bare = _geojson(({"mark": "A"}, None))
    _, found = read_marks(tmp_path, bare, name="c.geojson")
    (problem,) = found
    assert problem.what.split(":")[0] == "the columns 'easting', 'northing', 'height' are missing"


def _geopackage(path: Path, layer: str, properties: dict[str, str], rows: list[dict[str, object]], crs: str) -> None:
    """Written by fiona, a library that the pipeline does not read registers with."""
    schema = {"geometry": "3D Point", "properties": properties}
    with fiona.open(path, "w", driver="GPKG", layer=layer, schema=schema, crs=crs) as file:
        for row in rows:
            point = row["point"]
            geometry = {"type": "Point", "coordinates": point} if point is not None else None
            file.write({"geometry": geometry, "properties": {name: row.get(name) for name in properties}})


def _read_geopackage(path: Path, layer: str | None = None) -> tuple[Register | None, list[Problem]]:
    problems = Problems()
    form = Form(Written(layer=layer))
    register = read_register(path, RegisterFrame("projected", False), problems, shown=path.name, form=form)
    return register, problems.found


def test_a_geopackage(tmp_path: Path) -> None:
    """Attributes go before the geometry; whole numbers as names stay whole, also beside a null."""
    path = tmp_path / "control.gpkg"
    properties = {"Mark": "int", "easting": "float", "northing": "float", "height": "float", "hu95": "float"}
    rows: list[dict[str, object]] = [
        {"Mark": 7, "easting": 1753201.25, "northing": 5921100.1, "height": 41.5, "point": (0.0, 0.0, 0.0)},
        {
            "Mark": 8,
            "easting": 1753202.0,
            "northing": 5921101.5,
            "height": 42.5,
            "hu95": 0.02,
            "point": (0.0, 0.0, 0.0),
        },
    ]
    _geopackage(path, "marks", properties, rows, "EPSG:2193")
    register, found = _read_geopackage(path)
    assert found == []
    assert register is not None
    assert register.names == ("7", "8")
    assert register.first.tolist() == [1753201.25, 1753202.0]
    assert register.stated.tolist() == [[False, False], [True, False]]
    assert register.geometry_crs is None
    assert register.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_geopackage_by_its_geometry(tmp_path: Path) -> None:
    """Points give easting, northing and height, and their CRS is told; a row without one is a problem."""
    path = tmp_path / "control.gpkg"
    rows: list[dict[str, object]] = [{"mark": "K1", "point": (1753201.25, 5921100.1, 41.5)}]
    _geopackage(path, "marks", {"mark": "str"}, rows, "EPSG:2193")
    register, found = _read_geopackage(path)
    assert found == []
    assert register is not None
    assert (register.first[0], register.second[0], register.third[0]) == (1753201.25, 5921100.1, 41.5)
    assert register.geometry_crs == "EPSG:2193"
    _geopackage(path, "marks", {"mark": "str"}, [*rows, {"mark": "K2", "point": None}], "EPSG:2193")
    _, found = _read_geopackage(path)
    assert {problem.line for problem in found} == {2}


def test_a_geopackage_without_a_crs_says_none(tmp_path: Path) -> None:
    """GDAL gives such a layer a system of its own, "Undefined SRS"."""
    path = tmp_path / "control.gpkg"
    rows: list[dict[str, object]] = [{"mark": "K1", "point": (1753201.25, 5921100.1, 41.5)}]
    _geopackage(path, "marks", {"mark": "str"}, rows, "")
    with sqlite3.connect(path) as file:
        definition = 'LOCAL_CS["Undefined SRS",LOCAL_DATUM["unknown",32767],UNIT["unknown",0]]'
        spelt = "INSERT OR REPLACE INTO gpkg_spatial_ref_sys VALUES ('Undefined SRS', 99999, 'GDAL', 99999, ?, '')"
        file.execute(spelt, (definition,))
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        file.execute("UPDATE gpkg_geometry_columns SET srs_id = 99999")
    file.close()
    register, found = _read_geopackage(path)
    assert found == []
    assert register is not None
    assert not register.geometry_crs


def test_layers_of_a_geopackage(tmp_path: Path) -> None:
    """One is taken where there is one; of several it must be named, and it must be there."""
    path = tmp_path / "control.gpkg"
    rows: list[dict[str, object]] = [{"mark": "K1", "point": (1753201.25, 5921100.1, 41.5)}]
    for layer in ("old", "new"):
        _geopackage(path, layer, {"mark": "str"}, rows, "EPSG:2193")
    assert "not one layer, but 2" in _read_geopackage(path)[1][0].what
    assert "no layer 'newer'" in _read_geopackage(path, "newer")[1][0].what
    assert "new, old" in _read_geopackage(path, "newer")[1][0].fix
    assert _read_geopackage(path, "new")[1] == []


@pytest.mark.filterwarnings("ignore:GPKG:RuntimeWarning")
def test_a_file_that_is_no_geopackage(tmp_path: Path) -> None:
    """Text under that name, and a database without layers."""
    (tmp_path / "a.gpkg").write_text("mark,easting\n")
    assert "cannot be read" in _read_geopackage(tmp_path / "a.gpkg")[1][0].what
    sqlite3.connect(tmp_path / "b.gpkg").execute("create table t (a)").connection.close()
    assert len(_read_geopackage(tmp_path / "b.gpkg")[1]) == 1


@pytest.mark.parametrize(("mapped", "written"), [("Hoogte", '"Hoogte"'), ("column_4", "4")])
def test_the_fix_for_heights_of_the_other_kind_names_the_registers_own_column(
    mapped: str, written: str, tmp_path: Path
) -> None:
    """A column is called as the register calls it, or by its number where the job file maps it so."""
    path = tmp_path / "marks.csv"
    path.write_text("mark,easting,northing,Hoogte\nA,1,2,3\n", encoding="utf-8")
    places = frozenset({4} if mapped == "column_4" else ())
    for ours, other, ellipsoid in (("height", "ellipsoid_height", True), ("ellipsoid_height", "height", False)):
        problems = Problems()
        form = Form(Written(places=places), {ours: mapped})
        assert read_register(path, RegisterFrame("projected", ellipsoid), problems, form=form) is None
        (one,) = problems.found
        assert one.line == 1 and f"the column '{other}' is missing" in one.what
        assert f"{other} = {written} in [control.columns]" in one.fix and 'height = "ellipsoid" in [control]' in one.fix
