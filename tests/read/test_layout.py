"""How a text export is laid out: lines stepped over, comments, blanks, columns by number, one precision, poles."""

import numpy as np
import pymap3d
import pytest
from exports_made import COLUMNS, GOOD, HEADER, block, feature, find, geojson, problems_of, text_table

from pipeline.read.skipped_comments import PassedOver
from pipeline.words import Reason, reason_code

NUMBERS = {ours: number for number, ours in enumerate(COLUMNS, start=1)}
SPACED = HEADER.replace(",", "  ")
ROW = GOOD.replace(",", "   ")


def test_comments_are_no_rows_and_every_row_keeps_its_line(tmp_path):
    text = f"# yard, 2026\n{HEADER}\n{GOOD}\n  # base moved, twice, at noon\n{GOOD}\n#{GOOD}\n\n{GOOD}"
    table = text_table(tmp_path, text, comment="#")
    assert table["source_row"].to_pylist() == [3, 5, 8]
    assert table["detail"].to_pylist() == [None] * 3


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_rows_that_a_comment_passes_over_are_counted(tmp_path, ends):
    lines = ["# yard", HEADER, GOOD, f"#{GOOD}", "# a, b, c", f"  # {GOOD},,", f"#{HEADER}", GOOD]
    (tmp_path / "a.csv").write_bytes(ends.join(lines).encode())
    (export,), problems = find(tmp_path, block("a.csv", comment="#"))
    assert (problems, export.passed) == ([], PassedOver(2, 4))
    blanks = ends.join([SPACED, ROW, f"#{ROW}", f"# {ROW}", "# base moved to the north by about 1.5 metres at noon"])
    (tmp_path / "b.txt").write_bytes(blanks.encode())
    assert find(tmp_path, block("b.txt", comment="#", delimiter="blanks"))[0][0].passed == PassedOver(2, 3)


def test_a_comment_that_nobody_stated_is_held_with_its_line(tmp_path):
    table = text_table(tmp_path, f"{HEADER}\n{GOOD}\n# base moved\n")
    assert table["held"].to_pylist() == [0, reason_code(Reason.UNREADABLE)]
    assert "# base moved" in table["detail"][1].as_py()


@pytest.mark.parametrize("sign", ["#", "//", "%"])
def test_a_header_that_is_a_comment_itself(tmp_path, sign):
    table = text_table(tmp_path, f"{sign} made by hand\n{sign} {HEADER}\n{GOOD}\n", comment=sign)
    assert (table["name"].to_pylist(), table["source_row"].to_pylist()) == (["P1"], [3])


def test_blanks_part_cells_whether_that_is_stated_or_found(tmp_path):
    for keys in ({"delimiter": "blanks"}, {}):
        table = text_table(tmp_path, f"  {SPACED}\n {ROW} \n\n\t{ROW}\n", **keys)
        assert (table["base"].to_pylist(), table["source_row"].to_pylist()) == (["BASE-A"] * 2, [2, 4])


def test_a_quoted_cell_may_have_blanks_in_it(tmp_path):
    text = f"{SPACED}\n{ROW.replace('P1', chr(34) + 'P  1' + chr(34))}\n"
    assert text_table(tmp_path, text, delimiter="blanks")["name"].to_pylist() == ["P  1"]


def test_a_row_of_blanks_with_a_cell_too_few_is_held(tmp_path):
    """An empty cell cannot be seen among blanks: nothing moves into its place."""
    table = text_table(tmp_path, f"{SPACED}\n{ROW}\n{ROW.replace('KERB', ' ')}\n", delimiter="blanks")
    assert table["held"].to_pylist() == [0, reason_code(Reason.UNREADABLE)]
    assert "10 cells where the header names 11" in table["detail"][1].as_py()


def test_rows_without_a_header(tmp_path):
    """The first row counts, also where another delimiter would part its decimal commas; lines stepped over do not."""
    comma = GOOD.replace(",", ";").replace(".", ",")
    for text, keys, lines in (
        (f"{GOOD}\n{GOOD}\n", {}, [1, 2]),
        (f"title\n{comma}\n{comma}", {"skip": 1}, [2, 3]),
        (f"{comma.replace(';', ' ')}\n", {}, [1]),
        (f"sep=;\n{comma}\n", {}, [2]),
    ):
        table = text_table(tmp_path, text, NUMBERS, header=0, **keys)
        assert (table["source_row"].to_pylist(), set(table["second"].to_pylist())) == (lines, {-36.8})


def test_columns_by_number_below_a_header_with_one_name_twice(tmp_path):
    header = HEADER.replace("sN", "sE").replace("Lon", "Lat") + ",Note,Note"
    table = text_table(tmp_path, f"{header}\n{GOOD},a,b\n", NUMBERS, header=1)
    assert (table["first"].to_pylist(), table["sigma_north"].to_pylist()) == ([174.7], [0.02])
    assert (table["Note"].to_pylist(), table["Note_2"].to_pylist()) == (["a"], ["b"])


def test_a_name_that_comes_twice_disturbs_only_where_it_is_mapped(tmp_path):
    table = text_table(tmp_path, f"{HEADER},Note,Note\n{GOOD},a,b\n")
    assert (table["Note"].to_pylist(), table["Note_2"].to_pylist()) == (["a"], ["b"])


def test_a_stated_header_below_lines_that_look_like_rows(tmp_path):
    above = ",".join("abcdefghijk")
    (problem,) = problems_of(tmp_path, "a.csv", f"{above}\n{HEADER}\n{GOOD}\n")
    assert problem.startswith("a.csv:2: the column names are here") and "state header = 2" in problem
    for keys in ({"header": 2}, {"skip": 1}):
        assert text_table(tmp_path, f"{above}\n{HEADER}\n{GOOD}\n", **keys)["source_row"].to_pylist() == [3]


@pytest.mark.parametrize(
    ("text", "keys", "says"),
    [
        (f"{HEADER}\n{GOOD}", {"header": 9}, "a.csv:2: header = 9 is stated, but that line is empty"),
        (f"sep=;\n{HEADER}\n{GOOD}", {"delimiter": ","}, 'a.csv:1: the first line says "sep=;", but delimiter = ","'),
        (f"{GOOD}\n{GOOD}", {}, "a.csv:1: the first line holds data, not column names"),
        ("\n", {"header": 0}, "a.csv:1: the file is empty"),
    ],
)
def test_layouts_that_are_not_as_stated(tmp_path, text, keys, says):
    (problem,) = problems_of(tmp_path, "a.csv", text, **keys)
    assert problem.startswith(says)


def test_numbers_that_the_file_does_not_have(tmp_path):
    (tmp_path / "a.csv").write_text(f"{GOOD}\n")
    (problem,) = find(tmp_path, block("a.csv", NUMBERS | {"mark": 14}, header=0))[1]
    assert "the rows have 11 cells: no column 14 (mapped as mark)" in problem
    geojson(tmp_path / "a.geojson", [feature(None, Point="P1")])
    (problem,) = find(tmp_path, block("a.geojson", {"name": 1, "time": 2}, header=1))[1]
    assert "maps columns by number, which works only for text files and spreadsheets" in problem


@pytest.mark.parametrize("ending", ["asc", "dat", "txt", "xyz", "tsv", "CSV"])
def test_endings_of_text(tmp_path, ending):
    (tmp_path / f"a.{ending}").write_text(f"{HEADER}\n{GOOD}\n".replace(",", "\t"))
    assert find(tmp_path, block(f"a.{ending}"))[1] == []


@pytest.mark.parametrize(
    ("change", "keys", "says"),
    [
        ({"EllHt": "EllHt [ft]"}, {}, 'state units = "foot" or "us-survey-foot"'),
        ({"EllHt": "EllHt (US ft)"}, {"units": "foot"}, 'state units = "us-survey-foot"'),
        ({"EllHt": "EllHt_m"}, {"units": "foot"}, 'state units = "metre"'),
        ({"sU": "sU (feet)"}, {}, "a different unit from the one its numbers are read in, metre"),
        ({"EllHt": "EllHt [mm]"}, {}, "export it in metres"),
        ({"Lat": "Lat [gon]"}, {}, "states gon, but degrees are expected"),
        ({"Lat": "Lat (DMS)"}, {}, 'state angles = "dms"'),
        ({"Lat": "Lat gon"}, {}, "states gon, but degrees are expected"),
        ({"Lat": "LatRad"}, {}, "states radians, but degrees are expected"),
        ({"Lat": "Lat (D.MMSS)"}, {}, "states degrees and minutes in one number (D.MMSS)"),
        ({"Lat": "Breite (Grad)"}, {}, None),
        ({"EllHt": "EllHt [ft]"}, {"units": "us-survey-foot"}, None),
        ({"EllHt": "EllHt (m)", "Lat": "Lat [deg]", "sE": "sE_m"}, {}, None),
        ({"Point": "Point (ft)", "Code": "Code m", "EllHt": "EllHt (GRS80)"}, {}, None),
    ],
)
def test_units_in_headings_against_those_stated(tmp_path, change, keys, says):
    header, columns = HEADER, dict(COLUMNS)
    for name, other in change.items():
        header = header.replace(name, other)
        columns = {ours: other if theirs == name else theirs for ours, theirs in columns.items()}
    (tmp_path / "a.csv").write_text(f"{header}\n{GOOD}\n")
    _, problems = find(tmp_path, block("a.csv", columns, **keys))
    assert problems == [] if says is None else says in problems[0] and problems[0].startswith("a.csv:1: the heading")


@pytest.mark.parametrize("crs", [{}, {"crs": None}])
def test_a_row_of_units_in_feet_is_told_with_the_key(tmp_path, crs):
    """The crs may still be asked for: beside degrees there are no eastings to follow."""
    units = ",".join("ft" if name == "EllHt" else "" for name in HEADER.split(","))
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{units}\n{GOOD}\n")
    (problem,) = find(tmp_path, block("a.csv", **crs))[1]
    assert 'the row of units, "ft" below "EllHt", (height) has a different unit' in problem
    assert 'state units = "foot" or "us-survey-foot" for its block if the row of units is right' in problem


@pytest.mark.parametrize("units", ["metre", None])
def test_heights_in_feet_beside_eastings_in_metres_can_only_be_exported_otherwise(tmp_path, units):
    """No unit that the job file could state is that of both."""
    columns = {("easting" if ours == "longitude" else "northing" if ours == "latitude" else ours): theirs
               for ours, theirs in COLUMNS.items()}  # fmt: skip
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD}\n".replace("EllHt", "EllHt (ft)"))
    stated = {"crs": "EPSG:2193", **({} if units is None else {"units": units})}
    _, problems = find(tmp_path, block("a.csv", {**columns, "height": "EllHt (ft)"}, **stated))
    assert "export the heights in the unit of the eastings and northings" in problems[0]


@pytest.mark.parametrize(
    ("units", "says"),
    [
        (",,[deg],[deg],[m],[m],[m],[m],,,", None),
        (",,°,°,m,,,,,,", None),
        (",,deg,deg,ft,m,m,m,,,", "a different unit from the one its numbers are read in, metre"),
        (",,[deg],[deg],[m],[mm],[mm],[mm],,,", None),
        (",,gon,gon,m,m,m,m,,,", "states gon, but degrees are expected"),
        (",,D.MMSS,D.MMSS,m,m,m,m,,,", "states degrees and minutes in one number"),
        (",,,,,,,,,,", None),
    ],
)
def test_a_row_of_units_below_the_header(tmp_path, units, says):
    """It is held as a row that cannot be read; what contradicts the job file refuses it."""
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{units}\n{GOOD}\n")
    _, problems = find(tmp_path, block("a.csv"))
    assert (problems == []) if says is None else (problems[0].startswith("a.csv:2: ") and says in problems[0])


def test_degrees_whose_minutes_stand_beside_them_are_refused_unless_they_are_mapped_otherwise(tmp_path):
    header = HEADER.replace("Lat", "Lat deg") + ",Lat min,Lat sec"
    (tmp_path / "a.csv").write_text(f"{header}\n{GOOD},42,3.5\n")
    columns = COLUMNS | {"latitude": "Lat deg"}
    _, problems = find(tmp_path, block("a.csv", columns))
    assert problems[0].startswith('a.csv:1: "Lat deg" (latitude) holds only degrees, with the rest in "Lat min"')
    header = HEADER.replace("Lat", "Lat deg") + ",Lat min,Lat max"
    (tmp_path / "a.csv").write_text(f"{header.replace('Lat deg', 'Lat')}\n{GOOD},42,3.5\n")
    assert find(tmp_path, block("a.csv"))[1] == []


def test_millimetres_of_precision_in_a_file_in_feet(tmp_path):
    text = f"{HEADER.replace('sU', 'sU [mm]')}\n{GOOD.replace('0.03', '30')}\n"
    table = text_table(tmp_path, text, COLUMNS | {"sigma_up": "sU [mm]"}, units="foot")
    np.testing.assert_allclose(table["sigma_up"].to_numpy(), 0.03, rtol=0, atol=1e-12)
    np.testing.assert_allclose(table["sigma_east"].to_numpy(), 0.01 * 0.3048, rtol=0, atol=1e-12)


def test_one_precision_for_east_and_north(tmp_path):
    """sqrt(3² + 4²) = 5: the radial precision of an east of 3 and a north of 4; spread evenly it is 5 / sqrt(2)."""
    columns = {ours: name for ours, name in COLUMNS.items() if ours not in ("sigma_east", "sigma_north")}
    text = f"{HEADER}\n{GOOD.replace('0.01', '0.005')}\n{GOOD.replace('0.01', '-1')}\n"
    for word, value in (("sigma_horizontal", 0.005), ("drms", 0.005 / 2**0.5)):
        table = text_table(tmp_path, text, columns | {word: "sE"})
        for axis in ("sigma_east", "sigma_north"):
            np.testing.assert_allclose(table[axis].to_numpy()[0], value, rtol=0, atol=1e-15)
        assert table["detail"].to_pylist() == [None, f'{word}: "-1" is below zero']
        assert table["sE"].to_pylist()[0] == "0.005"  # what it is made from is carried along


@pytest.mark.parametrize(("pole", "held"), [("2.000", 0), ("", 6), ("-0.5", 10), ("2000", 10), ("two", 1)])
def test_poles_are_taken_off_or_the_row_is_held(tmp_path, pole, held):
    """In longitude, latitude and height by subtraction; in X, Y, Z along the normal, by pymap3d."""
    names = [reason_code(reason) for reason in (Reason.UNREADABLE, Reason.NO_POSITION, Reason.IMPLAUSIBLE)]
    wanted = {0: 0, 1: names[0], 6: names[1], 10: names[2]}[held]
    table = text_table(tmp_path, f"{HEADER},Pole\n{GOOD},{pole}\n", COLUMNS | {"pole_height": "Pole"})
    assert table["held"].to_pylist() == [wanted]
    if not held:
        assert table["third"].to_pylist() == [10.5]
    grs80 = pymap3d.Ellipsoid.from_name("grs80")
    x, y, z = pymap3d.geodetic2ecef(-36.8, 174.7, 12.5, grs80)
    columns = {ours: name for ours, name in COLUMNS.items() if ours not in ("longitude", "latitude", "height")}
    text = f"{HEADER},Pole\n{GOOD.replace('-36.8,174.7,12.5', f'{x:.5f},{y:.5f},{z:.5f}')},{pole}\n"
    mapped = columns | {"x": "Lat", "y": "Lon", "z": "EllHt", "pole_height": "Pole"}
    table = text_table(tmp_path, text, mapped, crs="EPSG:4958")
    assert table["held"].to_pylist() == [wanted]
    if not held:
        found = [table[place].to_numpy()[0] for place in ("first", "second", "third")]
        np.testing.assert_allclose(found, pymap3d.geodetic2ecef(-36.8, 174.7, 10.5, grs80), rtol=0, atol=2e-5)
