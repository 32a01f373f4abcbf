"""Numbers and angles: what is read, what is refused. Angles go out by plain arithmetic and must come back."""

import itertools
import math

import numpy as np
import pyarrow as pa
import pytest
from exports_made import COLUMNS, GOOD, HEADER, text_table

from pipeline.files.angles import decimal_degrees, dms
from pipeline.read.numeric import numbers


@pytest.mark.parametrize("text", ["1", "+1.5", "-0", "1.", ".5", "1e5", "1E-5", "-1.25e+2", "007"])
def test_numbers_as_python_reads_them(text):
    for column in ([text], [text, "x"]):
        values, bad = numbers(pa.array(column), ".")
        assert (values[0], bad[0]) == (float(text), False)


@pytest.mark.parametrize(
    "text", ["nan", "NaN", "inf", "-Infinity", "1e400", "1_000", "36.8S7", "1,5", "0x10", "1 000", "--1", "1e", "٣"]
)
def test_what_is_no_number(text):
    """Alone in its column and beside good ones; an empty cell is neither."""
    for column in ([text], ["1.5", text, None]):
        values, bad = numbers(pa.array(column), ".")
        assert bad[column.index(text)]
        assert bad.sum() == 1
        assert math.isnan(values[column.index(text)])


def test_decimal_commas_take_no_points():
    values, bad = numbers(pa.array(["36,5", "1.234", "36.5", "7", None]), ",")
    np.testing.assert_array_equal(values, [36.5, np.nan, np.nan, 7, np.nan])
    assert bad.tolist() == [False, True, True, False, False]


@pytest.mark.parametrize(("decimal", "text", "value"), [
    (".", "512,345.678", 512345.678), (".", "5,161,024.87", 5161024.87), (".", "1 507 336.178", 1507336.178),
    (".", "1\u202f507\u00a0336.178", 1507336.178), (".", "-1’507’336.178", -1507336.178), (".", "1'012.5", 1012.5),
    (",", "512.345,678", 512345.678), (",", "5 161 024,87", 5161024.87), (".", "−5.25", -5.25), (".", "–5.25", -5.25),
    (".", "\u20115.25", -5.25), (".", "１２．５", 12.5), (",", "－１２，５", -12.5),
    (".", "512,345", None), (".", "512 345", None), (".", "1,512,345", None), (".", "51,2345.6", None),
    (".", "0,512.3", None), (".", "1 507'336.178", None), (".", "512.345,678", None), (",", "512,345.678", None),
    (".", "12–5", None), (".", "٤٥.٦", None), (".", "๔๕", None), (".", "5,16,024.87", 516024.87),
    (".", "-38,32,495.741", -3832495.741), (".", "5,16,24.87", None), (".", "5,16,024", None),
    (",", "5.16.024,87", None),
])  # fmt: skip
def test_parted_thousands_and_typeset_signs_are_read_where_they_are_sure(decimal, text, value):
    """What every reader takes for one number is read; what may be two, or another one, is not."""
    values, bad = numbers(pa.array(["1", text]), decimal)
    assert bad[1] == (value is None) and (value is None or values[1] == value)


@pytest.mark.parametrize(("text", "value"), [
    ("48.1977°", 48.1977), ("-48.1977 °", -48.1977), ("48,1977º", 48.1977), ("48.1977N", 48.1977),
    ("N 48.1977°", 48.1977), ("S48.1977", -48.1977), ("48.1977° S", -48.1977), ("–48.1977°", -48.1977),
    ("48.1977 deg", 48.1977), ("-48.1977S", None), ("48.1977", None), ("4811.862N", None), ("48.1977E", None),
    ("48°11.862'N", None), ("N48.1977S", None), ("°", None), ("N", None), ("48.1977 m", None), (None, None),
])  # fmt: skip
def test_decimal_degrees_with_a_sign_or_a_letter(text, value):
    values, bad = decimal_degrees(pa.array([text, "1°"], pa.string()), "NS")
    assert bad.tolist() == [value is None and text is not None, False]
    assert (value is None and math.isnan(values[0])) or values[0] == value


def test_native_columns():
    values, bad = numbers(pa.array([1, None, 3]), ".")
    np.testing.assert_array_equal(values, [1, np.nan, 3])
    assert not bad.any()
    assert numbers(pa.array([1.5, float("inf"), None]), ".")[1].tolist() == [False, True, False]
    assert numbers(pa.array([True, None]), ".")[1].tolist() == [True, False]


_SPELLINGS = [
    "{sign}{d} {m} {s}",
    "{sign}{d}:{m}:{s}",
    "{sign}{d}°{m}'{s}\"",
    "{sign}{d}° {m}′ {s}″",
    "{sign}{d}º{m}'{s}''",
    "{sign}{d}d{m}m{s}s",
    "{sign}{d}-{m}-{s}",
    "{d} {m} {s} {letter}",
    "{letter}{d} {m} {s}",
    "{letter} {d}° {m}' {s}\"",
    "{d}:{m}:{s}{letter}",
    "{d}d{m}'{s}\"{letter}",
    "{d}d {m}m {s}s {letter}",
    "{d}deg {m}min {s}sec {letter}",
    "{d}{letter}{m}'{s}\"",
    "{d:03d}{letter}{m} {s}",
]


def _angles() -> list[tuple[bool, int, int, int]]:
    """Sign, degrees, minutes and millionths of a second: every combination of what is least and most, and 500 more."""
    edges = list(itertools.product([False, True], [0, 1, 179], [0, 59], [0, 1, 59_999_999]))
    random = np.random.default_rng(11)
    more = [random.integers(0, most, 500).tolist() for most in (2, 180, 60, 60_000_000)]
    return [*edges, *((bool(negative), *rest) for negative, *rest in zip(*more, strict=True))]


@pytest.mark.parametrize("spelling", _SPELLINGS)
def test_spellings_come_back(spelling):
    texts, expected = [], []
    for negative, degrees, minutes, microseconds in _angles():
        sign, letter = ("-", "W") if negative else ("", "E")
        parts = {"d": degrees, "m": f"{minutes:02d}", "s": f"{microseconds / 1e6:.6f}"}
        texts.append(spelling.format(sign=sign, letter=letter, **parts))
        expected.append((degrees * 3600 + minutes * 60 + microseconds / 1e6) / 3600 * (-1 if negative else 1))
    values, bad = dms(pa.array(texts), "EW")
    assert not bad.any()
    np.testing.assert_allclose(values, expected, rtol=0, atol=1e-12)
    assert [dms(pa.array([text]), "EW")[0][0] for text in texts[:36]] == values[:36].tolist()


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("-36 50 12.345", -(36 + 50 / 60 + 12.345 / 3600)),
        ("36°50'12.345\"S", -(36 + 50 / 60 + 12.345 / 3600)),
        ("-0 30 00", -0.5),
        ("0 30 00 S", -0.5),
        ("−0°30'", -0.5),
        ("36 50.5", 36 + 50.5 / 60),
        ("36° 50.5' S", -(36 + 50.5 / 60)),
        ("  36   50   30  ", 36 + 50 / 60 + 30 / 3600),
        ("22S36.0182244", -(22 + 36.0182244 / 60)),
        ("22N36.018'", 22 + 36.018 / 60),
    ],
)
def test_the_sign_is_the_whole_angles(text, degrees):
    values, bad = dms(pa.array([text, "junk", None]), "NS")
    assert bad.tolist() == [False, True, False]
    np.testing.assert_allclose(values[0], degrees, rtol=0, atol=1e-13)


@pytest.mark.parametrize(
    "text",
    [
        "36 60 00",
        "36 50 60",
        "36 50 75.5",
        "-36 50 12 S",
        "+36 50 12 N",
        "36.8367",
        "36.5012345",
        "36 50.5 12",
        "36 50 12 E",
        "S36 50 12 S",
        "36 50 12s",
        "36",
        "36 -50 12",
        "1e1 2 3",
        "36 50 12 345",
        "43S",
        "43S30",
        "43S2928.115",
        "43S9.5",
        "43S60.5",
        "43E30.5",
        "",
    ],
)
def test_what_is_no_angle(text):
    """A small s alone could be South or seconds; decimal degrees could be packed: neither is guessed."""
    assert dms(pa.array([text]), "NS")[1].tolist() == [True]


def test_decimal_comma_in_seconds():
    np.testing.assert_allclose(dms(pa.array(["174:45:00,5E"]), "EW")[0], [174.75 + 0.5 / 3600], rtol=0, atol=1e-12)


def test_angles_in_a_file_with_raw_second_marks(tmp_path):
    row = GOOD.replace("-36.8", "36°48'00.0\"S").replace("174.7", "174 42 00")
    quoted = row.replace("P1", '"P, 2"')
    table = text_table(tmp_path, f"{HEADER}\n{row}\n{quoted}\n{GOOD}", angles="dms")
    np.testing.assert_allclose(table["second"].to_numpy()[:2], [-36.8, -36.8], rtol=0, atol=1e-12)
    np.testing.assert_allclose(table["first"].to_numpy()[:2], [174.7, 174.7], rtol=0, atol=1e-12)
    assert table["held"].to_pylist() == [0, 0, 1]
    assert 'latitude: "-36.8" is not an angle in degrees, minutes and seconds' in table["detail"][2].as_py()


@pytest.mark.parametrize(("units", "metre"), [("metre", 1.0), ("foot", 0.3048), ("us-survey-foot", 1200 / 3937)])
def test_units_convert_every_length_and_no_angle(tmp_path, units, metre):
    table = text_table(tmp_path, f"{HEADER},Ant\n{GOOD},2", COLUMNS | {"antenna_height": "Ant"}, units=units)
    row = table.to_pylist()[0]
    assert (row["first"], row["second"]) == (174.7, -36.8)
    found = [row[name] for name in ("third", "sigma_east", "sigma_north", "sigma_up", "antenna_height")]
    np.testing.assert_allclose(found, np.array([12.5, 0.01, 0.02, 0.03, 2]) * metre, rtol=0, atol=1e-12)


@pytest.mark.parametrize("words", [("easting", "northing", "height"), ("x", "y", "z")])
def test_other_positions_in_feet(tmp_path, words):
    columns = {"time": "T"} | dict(zip(words, "ABC", strict=True))
    table = text_table(tmp_path, "T,A,B,C\n2026-03-02T07:30:00Z,1000,2000,3000\n", columns, units="foot")
    found = [table[name][0].as_py() for name in ("first", "second", "third")]
    np.testing.assert_allclose(found, [304.8, 609.6, 914.4], rtol=0, atol=1e-9)


def test_what_is_held_back_and_why(tmp_path):
    lines = [
        GOOD.replace("-36.8", "-36.8S7"),
        GOOD.replace("-36.8", "-90.5"),
        GOOD.replace("174.7", "360.5"),
        GOOD.replace("12.5", ""),
        GOOD.replace("12.5", "").replace("2026-03-02T07:30:00Z", ""),
        GOOD.replace("0.01", "nan"),
        GOOD.replace("0.01", "-0.01"),
        GOOD.replace("12.5", "1_000").replace("2026-03-02T07:30:00Z", "soon"),
        GOOD.replace("-36.8", "").replace("12.5", "x"),
        GOOD.replace("0.01", ""),
    ]
    table = text_table(tmp_path, "\n".join([HEADER, GOOD, *lines]))
    assert list(zip(table["held"].to_pylist(), table["detail"].to_pylist(), strict=True)) == [
        (0, None),
        (1, 'latitude: "-36.8S7" is not a number'),
        (1, 'latitude: "-90.5" is beyond 90 degrees'),
        (1, 'longitude: "360.5" is beyond 360 degrees'),
        (2, "no height"),
        (2, "no height; no time"),
        (1, 'sigma_east: "nan" is not a number: it means no value: export an empty cell'),
        (1, 'sigma_east: "-0.01" is below zero'),
        (1, 'height: "1_000" is not a number; time: "soon" is not a time'),
        (
            1,
            'height: "x" is not a number: it seems to mark what is not known: if it stands for no value, export an'
            " empty cell; no latitude",
        ),
        (0, None),
    ]
    assert table["name"].to_pylist() == ["P1"] * 11
    assert math.isnan(table["sigma_east"][10].as_py())
