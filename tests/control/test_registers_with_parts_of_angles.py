"""Registers whose degrees, minutes and seconds stand in columns of their own: read as one angle, or refused."""

from pathlib import Path

import pytest
from registers_read import read_marks

from pipeline.control.register import Register
from pipeline.control.table_form import Form


def _read(
    folder: Path, heading: str, row: str, degrees: tuple[str, str] = ("LonD", "LatD"), *, dms: bool = True
) -> tuple[Register | None, list[str]]:
    named = {"mark": "Mark", "longitude": degrees[0], "latitude": degrees[1], "ellipsoid_height": "h"}
    form = Form(named=named, dms=dms)
    found, problems = read_marks(folder, f"{heading}\n{row}\n", form, kind="geographic", ellipsoid=True)
    return found, [str(one) for one in problems]


SIX = "Mark;LatD;LatM;LatS;LonD;LonM;LonS;h"
WITH_LETTERS = "Mark;LatD;LatM;LatS;N/S;LonD;LonM;LonS;E/W;h"
WITH_SIGNS = "Mark;sg;LatD;LatM;LatS;sg2;LonD;LonM;LonS;h"
SOUTH = -(36 + 50 / 60 + 12.345 / 3600)
EAST = 174 + 7 / 60 + 9.5 / 3600


@pytest.mark.parametrize(
    "heading, row, latitude, longitude",
    [
        (SIX, "A;36;50;12.345;174;7;9.5;12.1", -SOUTH, EAST),
        (SIX, "A;-36;50;12,345;174;07;09,5;12,1", SOUTH, EAST),
        (SIX, "A;-0;30;0;-0;0;36;12.1", -0.5, -0.01),
        (SIX, "A;36.0;50.0;12.345;174.0;7.0;9.5;12.1", -SOUTH, EAST),
        (WITH_LETTERS, "A;36;50;12.345;S;174;7;9.5;E;12.1", SOUTH, EAST),
        (WITH_LETTERS, "A;36;50;12.345;south;174;7;9.5;west;12.1", SOUTH, -EAST),
        (WITH_SIGNS, "A;-;36;50;12.345;+;174;7;9.5;12.1", SOUTH, EAST),
    ],
)
def test_the_parts_of_an_angle_are_read_as_one(tmp_path, heading, row, latitude, longitude):
    register, problems = _read(tmp_path, heading, row)
    assert problems == [] and register is not None
    assert register.first.tolist() == pytest.approx([longitude], abs=1e-11)
    assert register.second.tolist() == pytest.approx([latitude], abs=1e-11)


def test_minutes_with_decimals_have_no_seconds(tmp_path):
    heading, row = "Mark;Lat deg;Lat min;Lon deg;Lon min;h", "A;-36;50.20575;174;7.158333333;12.1"
    register, problems = _read(tmp_path, heading, row, ("Lon deg", "Lat deg"))
    assert problems == [] and register is not None
    assert register.second.tolist() == pytest.approx([SOUTH], abs=1e-9)


@pytest.mark.parametrize(
    "heading, row",
    [
        (SIX, "A;36;60;12.345;174;7;9.5;12.1"),
        (SIX, "A;36;50;60.000;174;7;9.5;12.1"),
        (SIX, "A;36;-50;12.345;174;7;9.5;12.1"),
        (SIX, "A;36;50;-12.345;174;7;9.5;12.1"),
        (SIX, "A;36.5;50;12.345;174;7;9.5;12.1"),
        (SIX, "A;36;50.5;12.345;174;7;9.5;12.1"),
        (SIX, "A;36;50;;174;7;9.5;12.1"),
        (SIX, "A;36;;12.345;174;7;9.5;12.1"),
        (SIX, "A;;50;12.345;174;7;9.5;12.1"),
        (WITH_LETTERS, "A;-36;50;12.345;S;174;7;9.5;E;12.1"),
        (WITH_LETTERS, "B;36;50;12.345;S;174;7;9.5;E;12.1\nA;36;50;12.345;;174;7;9.5;E;12.1"),
        (WITH_LETTERS, "A;36;50;12.345;S;174;7;9.5;O;12.1"),
        (WITH_SIGNS, "A;+;-36;50;12.345;+;174;7;9.5;12.1"),
    ],
)
def test_what_is_no_angle_is_refused_at_its_line(tmp_path, heading, row):
    register, problems = _read(tmp_path, heading, row)
    line = 2 + row.count("\n")
    assert register is None and problems and all(f"marks.csv:{line}: mark 'A'" in one for one in problems)


@pytest.mark.parametrize(
    "heading, row, dms",
    [
        (SIX, "A;36;50;12.345;174;7;9.5;12.1", False),
        ("Mark;LatDeg;LatMin;Lat x;LonDeg;LonMin;Lon x;h", "A;36;50;12.3;174;7;9.5;12.1", True),
    ],
)
def test_degrees_alone_are_no_position(tmp_path, heading, row, dms):
    """Without `angles = "dms"`, or with whole minutes whose seconds are not known, nothing is put together."""
    degrees = ("LonD", "LatD") if "LatD;" in heading else ("LonDeg", "LatDeg")
    register, problems = _read(tmp_path, heading, row, degrees, dms=dms)
    assert register is None and "parts of an angle are not combined" in problems[0]
    assert dms or 'state angles = "dms"' in problems[0]


def test_an_o_in_a_column_of_its_own_is_the_west_beneath_spanish_headings_alone(tmp_path):
    row = "A;41;6;12.345;N;8;36;9.5;O;12.1"
    spanish = "Punto;Lat grados;Lat min;Lat seg;N/S;Lon grados;Lon min;Lon seg;E/O;Altura"
    named = {"mark": "Punto", "longitude": "Lon grados", "latitude": "Lat grados", "ellipsoid_height": "Altura"}
    found, problems = read_marks(
        tmp_path, f"{spanish}\n{row}\n", Form(named=named, dms=True), kind="geographic", ellipsoid=True
    )
    assert found is not None and not problems
    assert abs(found.first[0] + (8 + 36 / 60 + 9.5 / 3600)) < 1e-12
    unsaid, told = _read(tmp_path, WITH_LETTERS.replace("E/W", "E/O"), row)
    assert unsaid is None and "the letter O" in told[0]
