"""Whole jobs issued as their grid and height datum write numbers: in feet, downwards, to the west and to the south.

Truth by closed forms in metres; the feet and the sides by their definitions (a US survey foot is 1200/3937 m, a foot
0.3048 m; y of a Lo grid counts to the west from its meridian, x to the south from the equator). Where a point lands on
the earth is asked of GDAL and PROJ under the CRS's own code.
"""

import datetime as dt
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import geopandas
import numpy as np
import pyproj
import pytest
from closed_forms import GRS80, WGS84, TransverseMercator, utm
from every import every
from feet import (
    FEET,
    FOOT,
    METRES,
    NAVD88,
    NAVD88_DEPTH,
    NAVD88_FOOT,
    NAVD88_SURVEY,
    SURVEY,
    ZONE,
    state_plane,
    with_register,
)
from issued import Issue, current_issue
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from running import Row, replace_in, rewrite_export, run_written
from simulate import Place, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.cli.issue_summary import summary
from pipeline.trace.walk import trace

TENTH_MM = 1e-4
AXES = ("easting", "northing", "height")

#: Hartebeesthoek94 / Lo29: transverse Mercator on WGS 84's ellipsoid about 29 degrees east, scale 1 (EPSG registry).
LO29 = TransverseMercator(WGS84, 29.0, 1.0, 0.0, 0.0, 0.0)


def written(issue: Issue, layer: str = "points") -> NDArray[np.float64]:
    return np.array([[row[axis] for axis in AXES] for row in getattr(issue, layer).rows], float)


def true(issue: Issue, job: Simulation) -> NDArray[np.float64]:
    return np.array([job.truth.of(row["name"]) for row in issue.points.rows])


def place_of(issue: Issue, layer: str = "points") -> NDArray[np.float64]:
    """Longitude and latitude where GDAL, geopandas and PROJ take a layer to lie under its own CRS."""
    frame = geopandas.read_file(issue.package, layer=layer)
    there = frame.to_crs(frame.crs.geodetic_crs)
    return np.column_stack([there.geometry.x, there.geometry.y])


def in_feet(folder: Path, grid: str, height: str, formats: str = '["gpkg"]') -> tuple[Simulation, Path]:
    job = state_plane(folder)
    path = job.write(folder)
    stated = f'grid = "{METRES}"\nheight = "{NAVD88}"\n'
    replace_in(path, {f"[target]\n{stated}": f'[target]\ngrid = "{grid}"\nheight = "{height}"\n'})
    text = path.read_text()
    path.write_text(f"{text}\n[issue]\nformats = {formats}\n")
    return job, path


@pytest.mark.parametrize(
    ("grid", "height", "plan", "up"),
    [
        (FEET, NAVD88_SURVEY, SURVEY, SURVEY),
        (FEET, NAVD88, SURVEY, 1.0),
        (FEET, NAVD88_FOOT, SURVEY, FOOT),
        (METRES, NAVD88_FOOT, 1.0, FOOT),
        (METRES, NAVD88_DEPTH, 1.0, -1.0),
        (FEET, "EPSG:6358", SURVEY, -SURVEY),
    ],
)
def test_coordinates_in_the_unit_of_their_crs(grid: str, height: str, plan: float, up: float, tmp_path: Path) -> None:
    job, path = in_feet(tmp_path, grid, height)
    issue = run_written(path)
    counts = np.array([plan, plan, up])
    assert_allclose(written(issue) * counts, true(issue, job), rtol=0, atol=TENTH_MM)
    assert issue.record["verdict"] == "proven"
    for layer in (issue.points, issue.check_marks):
        assert_allclose(layer.xyz(), [[row[axis] for axis in AXES] for row in layer.rows], rtol=0, atol=1e-9)
    axes = issue.record["target"]["axes"]
    assert_allclose([axes[axis]["metres"] for axis in AXES], np.abs(counts), rtol=1e-15, atol=0)
    assert axes["height"]["direction"] == ("down" if up < 0 else "up")
    for check in every(issue.record["checks"]):
        known = np.array([check[f"known_{axis}"] for axis in AXES])
        off = (np.array([check[axis] for axis in AXES]) - known) * counts
        assert_allclose([check["d_east"], check["d_north"], check["d_height"]], off, rtol=0, atol=2e-6)
        assert check["d_horizontal"] < check["tolerance_h"] == 0.03 and check["passed"]
    lon, lat = ZONE.inverse(*true(issue, job)[:, :2].T)
    assert_allclose(place_of(issue), np.column_stack([lon, lat]), rtol=0, atol=1e-9)


def test_a_register_and_a_target_in_unlike_feet(tmp_path: Path) -> None:
    """The register in metres and feet, the grid in US survey feet: the marks come out as the grid writes them."""
    job, path = in_feet(tmp_path, FEET, NAVD88_SURVEY)
    text = path.read_text()
    old = f'crs = "{METRES}"\nheight = "{NAVD88}"'
    assert old in text
    with_register(path, job, METRES, NAVD88_FOOT, 1.0, FOOT)
    issue = run_written(path)
    for row in every(issue.check_marks.rows):
        at = list(job.marks.names).index(row["mark"])
        known = np.array([row[f"known_{axis}"] for axis in AXES]) * SURVEY
        of_marks = [job.marks.easting[at], job.marks.northing[at], job.marks.height[at]]
        assert_allclose(known, of_marks, rtol=0, atol=TENTH_MM)


@pytest.fixture(scope="module")
def feet_everywhere(tmp_path_factory: pytest.TempPathFactory) -> tuple[Simulation, Path, Issue]:
    folder = tmp_path_factory.mktemp("feet")
    job, path = in_feet(folder, FEET, NAVD88, '["gpkg", "dxf", "csv", "geojson", "landxml"]')
    return job, path, run_written(path)


def test_every_format_says_its_unit(feet_everywhere: tuple[Simulation, Path, Issue]) -> None:
    """DXF $INSUNITS 21 is the US survey foot (DXF reference); LandXML 1.2 has it as USSurveyFoot."""
    job, _, issue = feet_everywhere
    true_feet = true(issue, job) / SURVEY
    drawing = ezdxf.readfile(issue.package.with_suffix(".dxf"))
    assert drawing.header["$INSUNITS"] == 21
    drawn = {insert.get_attrib_text("NAME"): insert.dxf.insert for insert in drawing.modelspace().query("INSERT")}
    names = [row["name"] for row in issue.points.rows]
    assert_allclose([tuple(drawn[name]) for name in names], true_feet, rtol=0, atol=1e-3)
    assert "US survey feet" in dict(drawing.header.custom_vars)["units"]
    landxml = ElementTree.parse(issue.package.with_suffix(".xml")).getroot()
    space = {"l": "http://www.landxml.org/schema/LandXML-1.2"}
    imperial = landxml.find("l:Units/l:Imperial", space)
    assert imperial is not None and imperial.get("linearUnit") == "USSurveyFoot"
    point = landxml.find("l:CgPoints/l:CgPoint", space)
    assert point is not None and point.text is not None
    north, east, up = map(float, point.text.split())
    assert_allclose([east, north, up], true_feet[names.index(point.get("name"))], rtol=0, atol=1e-3)
    geojson = json.loads(issue.package.with_suffix(".geojson").read_text())
    assert geojson["about"]["properties"].startswith("easting, northing [ftUS] in ")
    assert "height [m] in NAVD88" in geojson["about"]["properties"]
    first = geojson["features"][0]["properties"]
    assert_allclose(first["easting"], true_feet[names.index(first["name"]), 0], rtol=0, atol=1e-3)


@pytest.mark.parametrize(
    ("grid", "height", "plan", "up"),
    [
        (FEET, NAVD88, SURVEY, 1),
        (FEET, NAVD88_SURVEY, SURVEY, 1),
        (METRES, NAVD88_FOOT, 1.0, 1),
        (METRES, NAVD88, 1.0, 1),
        (METRES, NAVD88_DEPTH, 1.0, -1),
    ],
)
def test_heights_beside_points_are_in_the_drawings_unit(
    grid: str, height: str, plan: float, up: int, tmp_path: Path
) -> None:
    """As Z is, whatever the height datum counts in; depths stay depths. Truth by the definitions of the feet."""
    job, path = in_feet(tmp_path, grid, height, '["gpkg", "dxf"]')
    issue = run_written(path)
    drawing = ezdxf.readfile(issue.package.with_suffix(".dxf"))
    inserts = drawing.modelspace().query("INSERT")
    assert len(inserts) > len(issue.points.rows)  # marks and occupations among them
    for insert in inserts:
        assert_allclose(up * float(insert.get_attrib_text("HEIGHT")), insert.dxf.insert.z, rtol=0, atol=0.5501e-3)
    drawn = {insert.get_attrib_text("NAME"): float(insert.get_attrib_text("HEIGHT")) for insert in inserts}
    read = [up * drawn[row["name"]] * plan for row in issue.points.rows]
    assert_allclose(read, true(issue, job)[:, 2], rtol=0, atol=1e-3)
    units = dict(drawing.header.custom_vars)["units"]
    assert ("the GeoPackage has heights in" in units) == ((grid, height) in ((FEET, NAVD88), (METRES, NAVD88_FOOT)))
    assert ("count downwards" in units) == (up < 0)


def test_layers_and_columns_say_their_unit(feet_everywhere: tuple[Simulation, Path, Issue]) -> None:
    """In the tables that OGC 12-128r19 has for it: gpkg_contents, and gpkg_data_columns of the schema extension."""
    _, _, issue = feet_everywhere
    with closing(sqlite3.connect(issue.package)) as file:
        layers = dict(file.execute("SELECT table_name, description FROM gpkg_contents"))
        told = file.execute("SELECT table_name || '.' || column_name, description FROM gpkg_data_columns")
        columns = dict(told)
    assert all("easting and northing in US survey feet, height in metres" in text for text in every(layers.values()))
    for column, unit in {
        "points.easting": "[ftUS]", "points.height": "[m]", "points.hu95": "[m]", "held_back.northing": "[ftUS]",
        "check_marks.known_easting": "[ftUS]", "check_marks.d_east": "[m]", "check_marks.tolerance_h": "[m]",
        "marks.northing": "[ftUS]", "sessions.shift_east": "[m]", "sessions.sigma_up": "[m]",
    }.items():  # fmt: skip
        assert columns[column].endswith(unit), column


def test_report_summary_and_trace_say_the_unit(feet_everywhere: tuple[Simulation, Path, Issue]) -> None:
    _, path, issue = feet_everywhere
    said = "easting and northing in US survey feet, height in metres"
    page = issue.package.with_suffix(".html").read_text(encoding="utf-8")
    assert f"Coordinates are {said}. All other lengths are metres" in page and "Lengths are metres" not in page
    assert said in summary(issue.record, "issued")  # type: ignore[arg-type]
    row = issue.points.rows[0]
    found = trace(path, row["name"])
    assert found.written == said and not found.agreement.differences
    assert_allclose(found.readings[0].issued, [row[axis] for axis in AXES], rtol=0, atol=1e-6)
    metres = np.array(found.readings[0].issued_metres)
    assert_allclose(metres, np.array([row[axis] for axis in AXES]) * [SURVEY, SURVEY, 1.0], rtol=0, atol=1e-6)


def test_what_changed_is_told_in_metres_between_coordinates_in_feet(tmp_path: Path) -> None:
    """A mark revised by 20 mm in height; a second run with nothing new makes no issue."""
    job, path = in_feet(tmp_path, FEET, NAVD88_SURVEY)
    run_written(path)
    assert not run_job(path).issued
    tied = job.job["session"][0]["ties"][0]["mark"]
    job.mistype(tied, "height", 0.020)
    text = path.read_text()
    job.write(tmp_path)
    path.write_text(text)
    assert run_job(path).issued
    issue = current_issue(tmp_path / "out")
    with closing(sqlite3.connect(issue.package)) as file:
        file.row_factory = sqlite3.Row
        rows = [dict(row) for row in file.execute("SELECT * FROM changes WHERE change = 'moved'")]
    assert len(rows) == len(issue.points.rows) == 6
    for row in rows:
        assert_allclose(row["d_height"], 0.020, rtol=0, atol=2e-3)
        assert_allclose((row["new_height"] - row["old_height"]) * SURVEY, row["d_height"], rtol=0, atol=1e-6)
    assert_allclose(issue.record["changes"]["max_vertical"], 0.020, rtol=0, atol=2e-3)


# South-orientated


def lo29(folder: Path) -> tuple[Simulation, Path]:
    """A job on Lo29, simulated to the east and north; its register is rewritten as the trade writes it: y, x."""
    place = Place(29.2, -26.1, 1500.0, WGS84, LO29, "EPSG:2053", "EPSG:4941", "ellipsoid", None)
    job = simulate(Plan(sessions=1, points=8, ties=1, checks=2, marks=3, noise=False, place=place))
    job.register["easting"], job.register["northing"] = -job.register["easting"], -job.register["northing"]
    return job, job.write(folder)


def test_y_to_the_west_and_x_to_the_south(tmp_path: Path) -> None:
    """y in the column easting, x in northing; geometries where GIS programs look for them under the code."""
    job, path = lo29(tmp_path)
    path.write_text(path.read_text() + '\n[issue]\nformats = ["dxf", "landxml"]\n')
    issue = run_written(path)
    assert issue.record["verdict"] == "proven"
    assert_allclose(written(issue) * [-1.0, -1.0, 1.0], true(issue, job), rtol=0, atol=TENTH_MM)
    rows = every(issue.points.rows)
    assert all(row["easting"] < 0 < row["northing"] for row in rows)  # east of 29 degrees, and south
    lon, lat = LO29.inverse(*true(issue, job)[:, :2].T)
    assert_allclose(place_of(issue), np.column_stack([lon, lat]), rtol=0, atol=1e-9)
    axes = issue.record["target"]["axes"]
    assert [axes[axis]["direction"] for axis in AXES] == ["west", "south", "up"]
    assert "northing (to the south) and height in metres" in summary(issue.record, "issued")  # type: ignore[arg-type]
    drawing = ezdxf.readfile(issue.package.with_suffix(".dxf"))
    drawn = {insert.get_attrib_text("NAME"): insert.dxf.insert for insert in drawing.modelspace().query("INSERT")}
    found = [tuple(drawn[row["name"]]) for row in issue.points.rows]
    assert_allclose(found, true(issue, job), rtol=0, atol=2 * TENTH_MM)  # the north above
    assert "to the west" in dict(drawing.header.custom_vars)["units"]


def later(job: Simulation) -> tuple[dt.datetime, NDArray[np.bool_]]:
    """Return a time just after the day's first tie, and which rows are later."""
    rows = job.rows
    first = rows["time"][rows["name"] == job.job["session"][0]["ties"][0]["point"]][0]
    start = (first + np.timedelta64(1, "s")).astype("datetime64[ms]")
    return start.item().replace(tzinfo=dt.UTC), rows["time"] >= start


def shifted(job: Simulation, chosen: NDArray[np.bool_], y: float, x: float, up: float) -> None:
    """Add numbers to y, x and the height of rows, as equipment does that works on the grid."""
    rows = job.rows
    east, north = LO29.forward(rows["longitude"][chosen], rows["latitude"][chosen])
    there = LO29.inverse(east - y, north - x)
    for name, values in zip(("longitude", "latitude", "height"), (*there, rows["height"][chosen] + up), strict=True):
        rows[name] = rows[name].copy()
        rows[name][chosen] = values


def test_a_field_shift_on_the_grid_counts_as_the_issues_columns_do(tmp_path: Path) -> None:
    """Metres of y and x, as the equipment shows and adds them: y to the west and x to the south."""
    job, _ = lo29(tmp_path)
    start, carried = later(job)
    shifted(job, carried, 0.8, -1.3, 2.1)
    vector = {"east": 0.8, "north": -1.3, "up": 2.1}
    job.job["session"][0]["field_shift"] = {"from": start, "model": "grid", **vector}
    path = job.write(tmp_path)
    issue = run_written(path)
    assert_allclose(written(issue) * [-1.0, -1.0, 1.0], true(issue, job), rtol=0, atol=TENTH_MM)
    (taken,) = issue.record["field_shifts"]
    assert [taken[f"shift_{axis}"] for axis in vector] == list(vector.values())
    assert "easting +0.800, northing -1.300, height +2.100" in summary(issue.record, "issued")  # type: ignore[arg-type]
    # typed with a wrong sign it is told with the lines that put it right
    replace_in(path, {"east = 0.8": "east = -0.8"})
    (diagnosis,) = run_job(path, dry_run=True).record["diagnoses"]
    assert "the sign of its east is wrong: it was applied as east +0.800" in diagnosis["explanations"][0]["text"]
    assert "east = 0.8, north = -1.3, up = 2.1" in (diagnosis["field_shift"] or "")


def test_a_field_shift_on_the_grid_by_a_tie_stays_when_the_mark_is_revised(tmp_path: Path) -> None:
    """What the tie gives in y and x is in the record as the issue counts it, and comes back as it was."""
    job, _ = lo29(tmp_path)
    session, (start, carried) = job.job["session"][0], later(job)
    tie = session["ties"][0]
    row = int(np.flatnonzero(job.rows["name"] == tie["point"])[0])
    at = list(job.register["mark"]).index(tie["mark"])
    east, north = LO29.forward(job.rows["longitude"][row], job.rows["latitude"][row])
    known = [float(job.register[name][at]) for name in ("easting", "northing", "ellipsoid_height")]
    given = np.subtract(known, [-east, -north, job.rows["height"][row]])
    shifted(job, carried, *given)
    session["field_shift"] = {"from": start, "model": "grid", **{"tie": tie["point"], "mark": tie["mark"]}}
    path = job.write(tmp_path)
    first = run_written(path)
    assert_allclose(written(first) * [-1.0, -1.0, 1.0], true(first, job), rtol=0, atol=TENTH_MM)
    (taken,) = first.record["field_shifts"]
    assert_allclose([taken[f"shift_{axis}"] for axis in ("east", "north", "up")], given, rtol=0, atol=TENTH_MM)
    job.register["easting"] = job.register["easting"].copy()
    job.register["easting"][at] += 0.020
    job.write(tmp_path)
    second = run_written(path)
    assert_allclose(written(second) - written(first), [[0.020, 0, 0]] * 8, rtol=0, atol=2 * TENTH_MM)


def test_a_shift_in_the_grid_is_one_in_y_and_x(tmp_path: Path) -> None:
    """`[shift] model`: what the tie's mark has more than its raw reading in y, x and height, every point is given."""
    job, path = lo29(tmp_path)
    path.write_text(path.read_text() + '\n[shift]\nmodel = "grid"\n')
    issue = run_written(path)
    rows, tie = job.rows, job.job["session"][0]["ties"][0]
    raw = np.column_stack([*np.negative(LO29.forward(rows["longitude"], rows["latitude"])), rows["height"]])
    of = {name: raw[number] for number, name in enumerate(rows["name"])}
    at = list(job.register["mark"]).index(tie["mark"])
    known = [float(job.register[name][at]) for name in ("easting", "northing", "ellipsoid_height")]
    added = np.subtract(known, of[tie["point"]])
    expected = [of[row["name"]] + added for row in issue.points.rows]
    assert_allclose(written(issue), expected, rtol=0, atol=TENTH_MM)


def test_a_shift_that_a_session_states_is_to_the_east_and_north(tmp_path: Path) -> None:
    """Whichever way the grid counts: as it is named. Half a metre to the east makes y less by that."""
    job, _ = lo29(tmp_path)
    session = job.job["session"][0]
    written_at = []
    for east in (0.0, 0.5):
        for key in ("ties", "checks"):
            session.pop(key, None)
        session["shift"] = {"east": east, "north": 0.0, "up": 0.0}
        written_at.append(written(run_written(job.write(tmp_path), 3)))
    assert_allclose(
        written_at[1] - written_at[0], np.tile([-0.5, 0.0, 0.0], (len(written_at[0]), 1)), rtol=0, atol=1e-3
    )


def test_a_mistyped_digit_of_y_is_read(tmp_path: Path) -> None:
    """The cause names the numbers as the register writes them."""
    job, path = lo29(tmp_path)
    mark = next(check["mark"] for check in job.job["session"][0]["checks"])
    register = path.parent / "register.csv"
    line = next(line for line in register.read_text().splitlines() if line.startswith(f"{mark},"))
    right = line.split(",")[1]
    whole, part = right.split(".")
    typed = f"{whole[:-1]}{part[0]}.{whole[-1]}{part[1:]}"
    assert typed != right
    replace_in(register, {line: line.replace(right, typed)})
    issue = run_written(path, code=3)
    causes = [row["cause"] for row in issue.check_marks.where(mark=mark)]
    assert all(f"typed with two digits swapped: {typed} for {right}" in cause for cause in every(causes)), causes


@pytest.mark.parametrize("form", ["csv", "gpkg"])
def test_an_export_in_y_and_x(form: str, tmp_path: Path) -> None:
    """Columns y and x, and a layer's geometry as GIS programs write it under EPSG:2053."""
    job, path = lo29(tmp_path)
    plain = run_written(path)
    job, path = lo29(tmp_path / "again")
    east, north = LO29.forward(job.rows["longitude"], job.rows["latitude"])
    source = {'[source]\ncrs = "EPSG:4941"': '[source]\ncrs = "EPSG:2053"'}
    if form == "csv":
        rows = iter(zip(-east, -north, strict=True))

        def change(row: Row) -> Row:
            y, x = next(rows)
            return {name: cell for name, cell in row.items() if name not in ("Lon", "Lat")} | {
                "Y": f"{y:.9f}", "X": f"{x:.9f}"}  # fmt: skip

        rewrite_export(path.parent / "rover001.csv", change)
        columns = {'latitude = "Lat", longitude = "Lon"': 'easting = "Y", northing = "X"'}
        replace_in(path, {**source, **columns})
    else:
        path = job.write(tmp_path / "again", "gpkg")
        at = tmp_path / "again" / "rover001.gpkg"
        frame = geopandas.read_file(at)
        heights = [shape.z for shape in frame.geometry]
        frame = frame.set_geometry(geopandas.points_from_xy(-east, -north, heights), crs="EPSG:2053")
        at.unlink()
        frame.to_file(at, layer="points", driver="GPKG")
        replace_in(path, source)
    issue = run_written(path)
    assert_allclose(written(issue), written(plain), rtol=0, atol=TENTH_MM)


def test_a_register_of_krovak_geometries_is_not_exchanged() -> None:
    """Under EPSG:5513 a geometry's X counts to the south, its Y to the west: as PROJ has it, and GDAL."""
    to_grid = pyproj.Transformer.from_crs("EPSG:4156", "EPSG:5513", always_xy=True)
    x, y = to_grid.transform(14.5, 50.0)
    from pipeline.geodesy.misread_coordinates import neighbouring_zones
    from pipeline.geodesy.own_places import lonlat
    from pipeline.geodesy.units import lengths

    counted = lengths("EPSG:5513", None)
    east, north = (y, x) if counted.northing_first else (x, y)
    lon, lat = lonlat("EPSG:5513", east * counted.signs[0], north * counted.signs[1], 0.0)
    assert_allclose([float(lon), float(lat)], [14.5, 50.0], rtol=0, atol=1e-9)
    zones = neighbouring_zones("EPSG:2053", -10011.775, -2876838.403)
    assert all(zone.second < 0 for zone in every(zones))


# Derived

#: A site grid on ETRS89 / UTM zone 32N by six parameters, in the terms of WKT2 (OGC 18-010r11, EPSG method 9624).
SITE = """DERIVEDPROJCRS["Site",BASEPROJCRS["ETRS89 / UTM zone 32N",BASEGEOGCRS["ETRS89",
DATUM["European Terrestrial Reference System 1989",ELLIPSOID["GRS 1980",6378137,298.257222101,LENGTHUNIT["metre",1]]],
PRIMEM["Greenwich",0,ANGLEUNIT["degree",0.0174532925199433]],ID["EPSG",4258]],CONVERSION["UTM zone 32N",
METHOD["Transverse Mercator",ID["EPSG",9807]],
PARAMETER["Latitude of natural origin",0,ANGLEUNIT["degree",0.0174532925199433]],
PARAMETER["Longitude of natural origin",9,ANGLEUNIT["degree",0.0174532925199433]],
PARAMETER["Scale factor at natural origin",0.9996,SCALEUNIT["unity",1]],
PARAMETER["False easting",500000,LENGTHUNIT["metre",1]],PARAMETER["False northing",0,LENGTHUNIT["metre",1]]]],
DERIVINGCONVERSION["to the site",METHOD["Affine parametric transformation",ID["EPSG",9624]],
PARAMETER["A0",-735000,LENGTHUNIT["metre",1],ID["EPSG",8623]],
PARAMETER["A1",0.999,SCALEUNIT["coefficient",1],ID["EPSG",8624]],
PARAMETER["A2",0.0447,SCALEUNIT["coefficient",1],ID["EPSG",8625]],
PARAMETER["B0",-5200000,LENGTHUNIT["metre",1],ID["EPSG",8639]],
PARAMETER["B1",-0.0447,SCALEUNIT["coefficient",1],ID["EPSG",8640]],
PARAMETER["B2",0.999,SCALEUNIT["coefficient",1],ID["EPSG",8641]]],
CS[Cartesian,2],AXIS["(E)",east,ORDER[1],LENGTHUNIT["metre",1]],AXIS["(N)",north,ORDER[2],LENGTHUNIT["metre",1]]]"""


def test_a_derived_projected_grid_out_and_in(tmp_path: Path) -> None:
    """The six parameters by hand; the register in the same grid."""
    projection = utm(32, south=False, ellipsoid=GRS80)
    place = Place(9.1, 47.2, 400.0, GRS80, projection, "EPSG:25832", "EPSG:4937", "ellipsoid", None)
    job = simulate(Plan(sessions=1, points=6, ties=1, checks=2, marks=3, noise=False, place=place))

    def on_site(east: NDArray[np.float64], north: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack([-735000 + 0.999 * east + 0.0447 * north, -5200000 - 0.0447 * east + 0.999 * north])

    job.register["easting"], job.register["northing"] = on_site(job.marks.easting, job.marks.northing).T
    path = job.write(tmp_path)
    flat = " ".join(SITE.split("\n"))
    path.write_text(path.read_text().replace('"EPSG:25832"', f"'{flat}'"))
    issue = run_written(path)
    expected = on_site(*true(issue, job)[:, :2].T)
    assert_allclose(written(issue)[:, :2], expected, rtol=0, atol=TENTH_MM)
    lon, lat = projection.inverse(*true(issue, job)[:, :2].T)
    assert_allclose(place_of(issue), np.column_stack([lon, lat]), rtol=0, atol=1e-9)
