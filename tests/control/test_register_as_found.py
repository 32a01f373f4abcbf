"""Registers as offices keep them: other headings, other signs, other encodings, several rows of a revised mark."""

import sqlite3
from pathlib import Path
from typing import Any

import fiona
import numpy as np
import pytest
from registers_read import read_all_marks, read_marks

from pipeline.control import Form, Register, RegisterFrame, read_register
from pipeline.control.register_dates import possible_days
from pipeline.files.written_table import Written
from pipeline.job.model import ControlSection
from pipeline.problems import Problems

#: The names of a German register, and a French one's.
GERMAN = {"mark": "Punkt-Nr.", "easting": "Ostwert", "northing": "Nordwert", "height": "Höhe", "hu95": "Lagegen."}
FRENCH = {"mark": "Matricule", "easting": "E (m)", "northing": "N (m)", "height": "Altitude", "dated": "Relevé le"}


def _coordinates(register: Register) -> list[list[float]]:
    return np.column_stack([register.first, register.second, register.third]).tolist()


K1 = [[1753201.25, 5921100.1, 41.5]]
#: Columns by their numbers, as `[control.columns]` says them.
PLACES = {"mark": 1, "easting": 3, "northing": 2, "height": 4}


def _by_number(header: int | None, **written: Any) -> Form:
    return Form.from_control(
        ControlSection(file="marks.csv", crs="EPSG:2193", header=header, columns=PLACES, **written)
    )  # type: ignore[arg-type]


AS_FOUND: dict[str, tuple[bytes, Form]] = {
    "no heading, columns by number": (b"K1,5921100.1,1753201.25,41.5,a peg\n", _by_number(0)),
    "no heading, blanks between": (b"K1  5921100.1 1753201.25   41.5\n", _by_number(0, delimiter=" ")),
    "columns by number below a heading that says otherwise": (
        b"Yard\n\nNr,easting,northing,z\nK1,5921100.1,1753201.25,41.5\n",
        _by_number(3),
    ),
    "headings of another language": (
        "Punkt-Nr.;Ostwert;Nordwert;Höhe;Lagegen.\nK1;1753201,250;5921100,10;41,5;0,02\n".encode(),
        Form(named=GERMAN),
    ),
    "an encoding that is stated": (
        "Punkt-Nr.;Ostwert;Nordwert;Höhe;Lagegen.\nK1;1753201,250;5921100,10;41,5;\n".encode("cp1252"),
        Form(Written(encoding="cp1252"), GERMAN),
    ),
    "UTF-16 without its mark": (
        "mark\teasting\tnorthing\theight\nK1\t1753201.25\t5921100.1\t41.5\n".encode("utf-16-le"),
        Form(Written(encoding="utf-16-le")),
    ),
    "a delimiter that nobody would look for": (
        b"mark^easting^northing^height\nK1^1753201.25^5921100.1^41.5\n",
        Form(Written(delimiter="^")),
    ),
    "columns set with blanks": (
        b"mark  easting     northing    height\n\nK1    1753201.25  5921100.1     41.5  \n",
        Form(Written(delimiter=" ")),
    ),
    "a heading with blanks, an accent in two signs, and lines above": (
        "Repères\n\nMatricule,E  (m),N (m),Altitude,Releve\u0301 le\nK1,1753201.25,5921100.1,41.5,\n".encode(),
        Form(named=FRENCH),
    ),
    "a column called like ours that is another": (
        b"Name,easting,northing,height,Level\nK1,1753201.25,5921100.1,0.15,41.5\n",
        Form(named={"mark": "name", "height": "Level"}),
    ),
}


@pytest.mark.parametrize("name", AS_FOUND)
def test_a_register_is_read_as_it_is_found(name: str, tmp_path: Path) -> None:
    data, form = AS_FOUND[name]
    register = read_all_marks(tmp_path, data, form)
    assert register.names == ("K1",)
    assert _coordinates(register) == K1


def test_other_columns_are_carried_under_their_names(tmp_path: Path) -> None:
    """Also the one that is called like ours but is not the one that is mapped."""
    data = "Name,easting,northing,height,Level,Order,Remark\nK1,1753201.25,5921100.1,0.15,41.5,2,\n"
    register = read_all_marks(tmp_path, data, Form(named={"mark": "Name", "height": "Level"}))
    assert register.others == ({"height_register": "0.15", "order": "2"},)


def test_a_layer_is_read_by_mapped_columns_and_its_photographs_let_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.control.table_source._LARGEST", 4000)
    path = tmp_path / "marks.gpkg"
    schema = {"geometry": "3D Point", "properties": {"Nummer": "str", "Art": "str"}}
    with fiona.open(path, "w", driver="GPKG", layer="marks", schema=schema, crs="EPSG:2193") as file:
        file.write({
            "geometry": {"type": "Point", "coordinates": (1753201.25, 5921100.1, 41.5)},
            "properties": {"Nummer": "K1", "Art": "pillar"},
        })  # fmt: skip
    with sqlite3.connect(path) as package:
        package.execute("ALTER TABLE marks ADD COLUMN photo BLOB")
        for trigger in package.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            package.execute(f'DROP TRIGGER "{trigger[0]}"')
        package.execute("UPDATE marks SET photo = zeroblob(5000)")
    package.close()
    register = read_all_marks(tmp_path, path.read_bytes(), Form(named={"mark": "nummer"}), name="marks.gpkg")
    assert (register.names, _coordinates(register)) == (("K1",), K1)
    assert register.others == ({"art": "pillar"},)


def test_what_is_not_stated_is_known_as_well_as_the_job_says(tmp_path: Path) -> None:
    data = "mark,easting,northing,height,hu95,vu95\nA,1,2,3,,\nB,1,2,3,0.024477,0.0196\n"
    register = read_all_marks(tmp_path, data, Form(sigma=(0.02, 0.03)))
    np.testing.assert_allclose(register.sigma_east, [0.02, 0.01], rtol=0, atol=1e-6)
    np.testing.assert_allclose(register.sigma_up, [0.03, 0.01], rtol=0, atol=1e-6)


def test_angles_in_degrees_minutes_and_seconds(tmp_path: Path) -> None:
    """36 50 42.0 S is 36 + 50/60 + 42/3600 degrees south; closed form."""
    data = "mark;longitude;latitude;height\nA;174 45 18,6 E;36°50'42.0\" S;12,5\nB;-0-30-00;0 30 00;1\n"
    form = Form(dms=True)
    register = read_all_marks(tmp_path, data, form, kind="geographic")
    np.testing.assert_allclose(register.first, [174 + 45 / 60 + 18.6 / 3600, -0.5], rtol=0, atol=1e-12)
    np.testing.assert_allclose(register.second, [-(36 + 50 / 60 + 42 / 3600), 0.5], rtol=0, atol=1e-12)
    _, found = read_marks(tmp_path, "mark,longitude,latitude,height\nA,174.755,36 61 00,1\n", form, kind="geographic")
    assert [(each.line, each.what.split(":")[0]) for each in found] == [(2, "mark 'A'")] * 2
    assert "decimal degrees" in found[0].what and "'36 61 00'" in found[1].what


STATED_WRONG: dict[str, tuple[bytes, Form, tuple[int, str, str]]] = {
    "a column that is not there": (
        b"mark,East,North,height\nK1,1,2,3\n",
        Form(named={"easting": "Easting", "northing": "North"}),
        (1, "[control.columns] maps easting to the column 'Easting', which the file does not have", "nearest: 'east'"),
    ),
    "an encoding that is not stated": (
        "mark,easting,northing,height,Höhe\nK1,1,2,3,4\n".encode("cp1252"),
        Form(),
        (1, "this is not UTF-8 text", "cp1252"),
    ),
    "another encoding than stated": (
        "mark,easting,northing,height\nK1,1,2,3\nKö,4,5,6\n".encode("cp1252"),
        Form(Written(encoding="ascii")),
        (3, "this is not ASCII text", "leave encoding out"),
    ),
    "a point where a comma is stated": (
        b"mark;easting;northing;height\nK1;1753201.25;5921100;41\n",
        Form(Written(decimal=",")),
        (2, "easting '1753201.25' is not a number", "decimal"),
    ),
    "a comma where a point is stated": (
        b"mark;easting;northing;height\nK1;1753201,25;5921100;41\n",
        Form(Written(decimal=".")),
        (2, "easting '1753201,25' is not a number", "decimal"),
    ),
}


@pytest.mark.parametrize("name", STATED_WRONG)
def test_what_is_stated_wrongly_is_told_at_its_line(name: str, tmp_path: Path) -> None:
    data, form, (line, what, fix) = STATED_WRONG[name]
    register, found = read_marks(tmp_path, data, form)
    assert register is None
    assert [each.line for each in found] == [line]
    assert what in found[0].what and fix in found[0].fix


def _revised(*rows: tuple[str, str]) -> str:
    return "mark,easting,northing,height,dated\n" + "".join(f"K1,1,2,{height},{dated}\n" for height, dated in rows)


#: Rows of one mark as height and date, and the height that holds.
NEWEST: dict[str, tuple[tuple[tuple[str, str], ...], float]] = {
    "the later row": ((("3.0", "2019-05-01"), ("3.1", "2024-05-01")), 3.1),
    "the earlier row": ((("3.0", "2024-05-01"), ("3.1", "2019-05-01")), 3.0),
    "three rows": ((("3.0", "2011"), ("3.2", "2024-05-01"), ("3.1", "2019-05-01")), 3.2),
    "dates of several forms": ((("3.0", "31.12.2019"), ("3.1", "20200101"), ("3.2", "14 June 2018")), 3.1),
    "a month and a day": ((("3.0", "2019-05"), ("3.1", "2019-06-01")), 3.1),
    "day and month in either order, of other years": ((("3.0", "05/04/2019"), ("3.1", "04/05/2020")), 3.1),
    "decimal years": ((("3.0", "2019.371"), ("3.1", "2019.750")), 3.1),
    "the same row again": ((("3.0", "2019-05-01"), ("3.1", "2024-05-01"), ("3.1", "2024-05-01")), 3.1),
}


@pytest.mark.parametrize("name", NEWEST)
def test_of_several_rows_of_a_mark_the_newest_is_used(name: str, tmp_path: Path) -> None:
    rows, height = NEWEST[name]
    register = read_all_marks(tmp_path, _revised(*rows), Form())
    assert register.third.tolist() == [height]
    others = [mark.written[2] for mark in register.former[0]]
    assert others == [text for text, _ in rows if float(text) != height]


UNTOLD: dict[str, tuple[tuple[tuple[str, str], ...], int, str]] = {
    "no dates": ((("3.0", ""), ("3.1", "")), 3, "twice with different coordinates"),
    "the same date": ((("3.0", "2019-05-01"), ("3.1", "1 May 2019")), 3, "and the same date, 1 May 2019"),
    "one without a date": ((("3.0", "2019-05-01"), ("3.1", "")), 3, "one undated"),
    "a year and a day of it": ((("3.0", "2019"), ("3.1", "2019-05-01")), 3, "which is newer is not clear"),
    "day and month in either order": ((("3.0", "01/05/2019"), ("3.1", "05/01/2019")), 3, "which is newer is not clear"),
    "no date": ((("3.0", "2019-05-01"), ("3.1", "last spring")), 3, "'last spring' is not a date"),
    "no such day": ((("3.0", "2019-02-30"), ("3.1", "2020-01-01")), 2, "'2019-02-30' is not a date"),
}


@pytest.mark.parametrize("name", UNTOLD)
def test_rows_whose_dates_do_not_tell_the_newest_are_refused(name: str, tmp_path: Path) -> None:
    rows, line, what = UNTOLD[name]
    register, found = read_marks(tmp_path, _revised(*rows), Form())
    assert register is None
    assert [each.line for each in found] == [line] and what in found[0].what
    assert "keep the row that holds" in found[0].fix


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("2024-05-01", "2024-05-01 2024-05-01"),
        ("2024-05-01T00:00:00", "2024-05-01 2024-05-01"),
        ("1.5.2024", "2024-05-01 2024-05-01"),
        ("13/05/2024", "2024-05-13 2024-05-13"),
        ("01/05/2024", "2024-01-05 2024-05-01"),
        ("May 2024", "2024-05-01 2024-05-31"),
        ("Feb 29, 2024", "2024-02-29 2024-02-29"),
        ("1st September 2024", "2024-09-01 2024-09-01"),
        ("02/2024", "2024-02-01 2024-02-29"),
        ("2024", "2024-01-01 2024-12-31"),
        ("2024.000", "2023-12-31 2024-01-02"),
        ("45413", None),
        ("31.06.2024", None),
        ("", None),
    ],
)
def test_the_days_that_a_date_may_mean(text: str, days: str | None) -> None:
    """By the calendar."""
    found = possible_days(text)
    assert (None if found is None else f"{found[0]} {found[1]}") == days


def test_a_register_without_a_heading_says_in_a_useful_order_what_one_has(tmp_path: Path) -> None:
    """The same words in any run: no order of a set."""
    _, found = read_marks(tmp_path, "K1,1753201.25,5921100.1,41.5\n", Form())
    assert found[0].fix == (
        "write one above it, such as mark, easting, northing, height, or state header = 0 and map its columns by"
        " number, such as mark = 1"
    )


def test_a_register_in_degrees_and_minutes_in_one_number_is_refused(tmp_path: Path) -> None:
    named = {"mark": "Nr", "latitude": "Lat (D.MMSS)", "longitude": "Lon (D.MMSS)", "ellipsoid_height": "h"}
    text = "Nr,Lat (D.MMSS),Lon (D.MMSS),h\nK1,-43.4200,171.4200,41.5\n"
    register, found = read_marks(tmp_path, text, Form(named=named), kind="geographic")
    assert register is None and "states degrees and minutes in one number (D.MMSS)" in found[0].what


@pytest.mark.parametrize(("written", "height"), [("H", 42.135), ("h", 83.165)])
def test_headings_that_differ_in_case_alone_are_two_columns(tmp_path: Path, written: str, height: float) -> None:
    """H is above a height datum and h above the ellipsoid, as textbooks write them."""
    (tmp_path / "marks.csv").write_text("Punkt,E,N,H,h\nCM1,399707.491,5800277.947,42.135,83.165\n")
    problems = Problems()
    named = {"mark": "Punkt", "easting": "E", "northing": "N"}
    form = Form(named=named | {"height": written})
    register = read_register(tmp_path / "marks.csv", RegisterFrame("projected", False), problems, form=form)
    assert problems.found == [] and register is not None and register.third.tolist() == [height]


def test_headings_that_differ_in_case_alone_need_one_of_them_named(tmp_path: Path) -> None:
    (tmp_path / "marks.csv").write_text("mark,easting,northing,Height,height\nCM1,1,2,3,4\n")
    problems = Problems()
    assert read_register(tmp_path / "marks.csv", RegisterFrame("projected", False), problems) is None
    (problem,) = map(str, problems.found)
    assert "marks.csv:1" in problem and "'Height', 'height'" in problem and "[control.columns]" in problem


@pytest.mark.parametrize(
    ("row", "read"),
    [(",m,m,m", True), ("-,[m],[m],[m]", True), (",m,m,ft", True), (",ft,ft,ft", True), ("CM0,m,m,m", False),
     (",1,m,m", False), (",,,m", False)],
)  # fmt: skip
def test_a_row_of_units_below_the_heading(tmp_path: Path, row: str, read: bool) -> None:
    """It is no mark, and kept for what reads it: whether it says the units of the numbers is told there."""
    (tmp_path / "marks.csv").write_text(f"mark,easting,northing,height\n{row}\nCM1,1,2,3\n")
    problems = Problems()
    register = read_register(tmp_path / "marks.csv", RegisterFrame("projected", False), problems)
    assert (register is not None) == read and bool(problems.found) != read
    if register is not None:
        cells = row.replace("[", "").replace("]", "").split(",")[1:]
        units = dict(zip(("easting", "northing", "height"), cells, strict=True))
        assert (register.names, register.rows) == (("CM1",), 1)
        assert register.units_row is not None and (register.units_row.line, register.units_row.units) == (2, units)


@pytest.mark.parametrize(
    ("row", "read"),
    [
        ('K1,"1753201,25","5921100,1","41,5"', True),
        ('K1,"1753201,250","5921100,100","41,500"', True),  # more than three digits before the comma part no thousands
        ('K1,"753,250","921,100","41,500"', False),  # thousands, or not: nobody can tell
        ('K1,"1753201,25","5921100.1","41.5"', False),
        ('K1,"1,753,201.25","5,921,100.1","41.5"', True),  # commas part thousands before a decimal point
    ],
)
def test_decimal_commas_in_quotes_between_commas(tmp_path: Path, row: str, read: bool) -> None:
    """A spreadsheet of a country with decimal commas saves them so where it is asked for commas between the cells."""
    text = f"mark,easting,northing,height\n{row}\n"
    if read:
        assert _coordinates(read_all_marks(tmp_path, text, Form())) == K1
    else:
        assert read_marks(tmp_path, text, Form())[1]


_PLAIN = Form()


@pytest.mark.parametrize("row", [
    "K1;1,753,201.25;5,921,100.1;41.5", "K1;1.753.201,25;5.921.100,1;41,5", "K1;1 753 201,25;5 921 100,1;41,5",
    "K1;1’753’201.25;5’921’100.1;41.5", "K1;1753201.25 m;5921100.1 m;41.5 m", "K1;1 753 201,25 m;5921100,1;41,5m",
    "K1;1753201.25 m E;5921100.1 m N;41.5", "K1;E 1753201.25;N 5921100.1;41.5 m", "K1;1753201.25 mE;5921100.1mN;41.5",
    "K1;１７５３２０１．２５;5921100.1;41.5", "K1;17,53,201.25;59,21,100.1;41.5",
])  # fmt: skip
def test_numbers_with_units_and_parted_thousands(row: str, tmp_path: Path) -> None:
    register = read_all_marks(tmp_path, f"mark;easting;northing;height\n{row}\n", _PLAIN)
    assert _coordinates(register) == K1
    assert all(float(text.replace(",", ".")) for text in register.written[0])


@pytest.mark.parametrize(("row", "says"), [
    ("K1;1753201.25;5921100.1;5.905 ft", "a unit behind it that is not the one it is read in"),
    ("K1;1,753,201.25;5,921,100.1;412,350", "height '412,350' is ambiguous (412350 or 412,350?)"),
    ("K1;17,53,201.25;59,21,100.1;412,350", "height '412,350' is ambiguous (412350 or 412,350?)"),
    ("K1;1.753.201,25;5.921.100,1;412.350", "height '412.350' is ambiguous (412350 or 412.350?)"),
    ("K1;1753201.25 m E;5921100.1 m S;41.5", "northing '5921100.1 m S' is not a number: it has the letter of a side"),
    ("K1;1753201.25 m N;5921100.1 m E;41.5", "has the letter of a side"),
    ("K1;1 753 201;5921100.1;41.5", "separators between thousands"),
    ("K1;1753201.25;٥٩٢١١٠٠.١;41.5", "figures other than 0 to 9"),
])  # fmt: skip
def test_what_is_not_sure_is_refused(row: str, says: str, tmp_path: Path) -> None:
    register, found = read_marks(tmp_path, f"mark;easting;northing;height\n{row}\n", _PLAIN)
    assert register is None and any(says in one.what for one in found)


def test_degrees_with_signs_and_letters(tmp_path: Path) -> None:
    data = "mark;longitude;latitude;height\nA;174.755°E;36,845 °S;12.5 m\nB;W 0.5;-0.25°;1\n"
    register = read_all_marks(tmp_path, data, _PLAIN, kind="geographic")
    assert _coordinates(register) == [[174.755, -36.845, 12.5], [-0.5, -0.25, 1.0]]


@pytest.mark.parametrize("row", [
    "Summe;;;", "Total;", "Total;1", "n = 12", "*** end ***", "Mittelwert;;;;;", "----", "Number of marks: 1",
    "MEAN;;;", "平均;;;",
])  # fmt: skip
def test_rows_that_sum_up_or_end_a_register_are_no_marks(row: str, tmp_path: Path) -> None:
    register = read_all_marks(tmp_path, f"mark;easting;northing;height\nK1;1753201.25;5921100.1;41.5\n{row}\n", _PLAIN)
    assert _coordinates(register) == K1 and register.names == ("K1",) and register.rows == 1
    assert [(one.line, one.text) for one in register.closing_rows] == [(3, row.split(";")[0])]


@pytest.mark.parametrize("rows", [
    "Total;12\nK1;1753201.25;5921100.1;41.5", "Total;;;\nK1;1753201.25;5921100.1;41.5",
    "K1;1753201.25;5921100.1;41.5\nMean;12",
    "K1;1753201.25;5921100.1;41.5\nENDPUNKT;;;", "K1;1753201.25;5921100.1;41.5\nSUM1;;;",
    "K1;1753201.25;5921100.1;41.5\nTotal;;;41.5;x", "K1;1753201.25;5921100.1;41.5\n;;;3",
])  # fmt: skip
def test_no_mark_is_stepped_over(rows: str, tmp_path: Path) -> None:
    """A row with a coordinate, above a mark or with a name of its own is read as a mark, or refused with its line."""
    register, found = read_marks(tmp_path, f"mark;easting;northing;height\n{rows}\n", _PLAIN)
    assert (register is None and found) or (register is not None and not register.closing_rows)


_THREE = "K1;1753201.25;5921100.10;41.50\nK2;1753301.25;5921400.40;42.10\nK3;1753401.28;5921100.20;40.00\n"


@pytest.mark.parametrize(
    "row",
    ["Mean;1753301.26;5921200.23;41.20", "Average;1753301.260;5921200.233;41.2", "Mittelwert;1753301.26;5921200.23;",
     "Sum;5259903.78;17763600.70;123.60", "Max;1753401.28;5921400.40;42.10",
     "Mean;1753301.26;5921200.23;41.20\nSum;;;"],
)  # fmt: skip
def test_means_and_sums_of_the_marks_above_are_no_marks(row: str, tmp_path: Path) -> None:
    """The mean easting is 1753201.25 + (0 + 100 + 200.03) / 3, and so on, worked out by hand."""
    register = read_all_marks(tmp_path, f"mark;easting;northing;height\n{_THREE}{row}\n", _PLAIN)
    assert register.names == ("K1", "K2", "K3") and register.closing_rows[0].sums


@pytest.mark.parametrize("row", ["Mean;1753301.29;5921200.23;41.20", "Mean;1753301.26;5921200.23;41.31",
                                 "M1;1753301.26;5921200.23;41.20"])  # fmt: skip
def test_a_mark_elsewhere_than_the_mean_is_one_whatever_it_is_called(row: str, tmp_path: Path) -> None:
    register = read_all_marks(tmp_path, f"mark;easting;northing;height\n{_THREE}{row}\n", _PLAIN)
    assert len(register.names) == 4 and not register.closing_rows


def test_a_mark_called_mean_is_a_mark_where_it_has_coordinates(tmp_path: Path) -> None:
    register = read_all_marks(tmp_path, "mark;easting;northing;height\nMean;1753201.25;5921100.1;41.5\n", _PLAIN)
    assert register.names == ("Mean",)
