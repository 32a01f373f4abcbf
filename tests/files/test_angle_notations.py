"""Headings of angles that state a notation, as exports and spreadsheets have them (common practice, no source)."""

import pytest

from pipeline.files.angle_notations import split_into_parts, unread_notation


@pytest.mark.parametrize(
    ("heading", "says"),
    [
        ("Lat [gon]", "gon"), ("LON GON", "gon"), ("Länge (gon)", "gon"), ("lat_rad", "radians"), ("LatRad", "radians"),
        ("Longitude (gr)", "gon"), ("Lat_gra", "gon"), ("Länge (gr)", None),
        ("Latitude, grads", "gon"), ("Lat (arcsec)", "seconds of arc"), ("Lat (D.MMSS)", "(D.MMSS)"),
        ("Lat DD.MMSSs", "(DD.MMSSS)"), ("Lat_DDMM.mmmm", "(DDMM.MMMM)"), ("Lat DDMMSS.ss", "(DDMMSS.SS)"),
        ("Lat", None), ("Latitude [deg]", None), ("Lat (DD.dddd)", None), ("Lat dd", None), ("Breitengrad", None),
        ("Breite (Grad)", None), ("Latitude Grad", None),
        ("緯度rad", "radians"), ("LA\u0308NGE grad", None), ("Längd (grad)", None), ("langd grad", None),
        ("Longitud (grad)", None), ("Geogr. Länge [Grad]", None), ("Latitude (WGS84)", None), ("Lat °", None),
        ("Latitude gr. sex.", None), ("Latitud (grados sexagesimales)", None), ("Breite (ᵍ)", "gon"),
    ],
)  # fmt: skip
def test_what_a_heading_says_of_an_angle(heading: str, says: str | None) -> None:
    told = unread_notation(heading, dms=False)
    assert (told is None) == (says is None) and (says is None or says in str(told))


@pytest.mark.parametrize("heading", ["Lat (DMS)", "Lat (DDMM.mmm)", "Lat (DDMMSS.ss)"])
def test_degrees_minutes_and_seconds_are_read_where_that_is_stated(heading: str) -> None:
    assert unread_notation(heading, dms=True) is None
    assert unread_notation("Lat [gon]", dms=True) is not None


@pytest.mark.parametrize(
    ("names", "of", "parts"),
    [
        (["Lat deg", "Lat min", "Lat sec", "N/S"], "Lat deg", ("Lat min", "Lat sec")),
        (["LatD", "LatM", "LatS", "LonD", "LonM", "LonS"], "LonD", ("LonM", "LonS")),
        (["Lat", "Min", "Sec", "Lon", "Min_2", "Sec_2"], "Lon", ("Min_2", "Sec_2")),
        (["lat_deg", "lat_min"], "lat_deg", ("lat_min",)),
        (["Lat", "Lat min", "Lat max", "Lon"], "Lat", ()),
        (["lat_deg", "lon_deg", "lat_m", "lon_m"], "lat_deg", ()),
        (["Lat", "Lon", "Time", "m", "s"], "Lat", ()),
        (["Lat", "Lon", "Height"], "Lat", ()),
        (["Lat (deg)", "Lat min", "Lat max"], "Lat (deg)", ()),
        (["Lat (deg)", "Lon (deg)", "Min"], "Lon (deg)", ()),
        (["Lat", "Lat M", "Lat S", "Lon"], "Lat", ()),
        (["Lat degrés", "Lat minutes"], "Lat degrés", ("Lat minutes",)),
        (["Lat degres", "Lat minutes"], "Lat degres", ("Lat minutes",)),
        (["Lat degre\u0301s", "Lat minutes"], "Lat degre\u0301s", ("Lat minutes",)),
        (["Lat °", "Lat '", 'Lat "'], "Lat °", ("Lat '", 'Lat "')),
    ],
)
def test_minutes_and_seconds_in_columns_of_their_own(names: list[str], of: str, parts: tuple[str, ...]) -> None:
    assert split_into_parts(of, names) == parts
