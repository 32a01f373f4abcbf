"""Which axis a heading names; what a surveyor means by it."""

import pytest

from pipeline.read.axis_headings import axis_in_heading

NAMED = {
    "easting": "E|East|Easting [m]|E (ft)|Est|Este|Ost|Øst|Oost|Rechtswert|RW|Westing|X (East)|Ostkoordinate|UTM E|東",
    "northing": "N|North|NORTHING (m)|Nord|Norte|Hochwert|HW|Southing|X Nord|Nordkoordinate|GridNorth|Ncoord|北",
    "x": "X|x [m]|X_coord|Koordinate X|X座標",
    "y": "Y|y (ft)|Y coordinate",
    "": "O|Ouest|H|Z|É|Nr|N°|Lat|Long|Northing/Easting|1|Point|X1|W",
}


@pytest.mark.parametrize(("axis", "heading"), [(axis, one) for axis, text in NAMED.items() for one in text.split("|")])
def test_axis(axis: str, heading: str) -> None:
    assert axis_in_heading(heading) == axis
