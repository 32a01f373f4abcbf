"""What to write instead of a text that is no CRS; codes, kinds and names from the EPSG registry."""

import pytest

from pipeline.geodesy.crs_hints import crs_hint


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("WGS84", "4979"), ("GPS", "4979"), ("wgs 1984", "4979"), ("ETRS89", "4937"), ("GDA2020", "7843"),
        ("SIRGAS 2000", "4989"),  # 4988 is the geocentric one
        ("NAD83(2011)", "6319"), ("NAD83(CSRS)", "4955"), ("ITRF2020", "9989"),
    ],
)  # fmt: skip
def test_a_datum_by_its_name_is_the_code_with_longitude_latitude_and_ellipsoidal_height(text: str, code: str) -> None:
    assert f'"EPSG:{code}"' in crs_hint(text)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("UTM 59S", ["32659", "32759"]),  # the half of the globe, or the band of latitude north of the equator
        ("UTM 33 north", ["32633", "25833"]),
        ("WGS84 UTM 33N", ["32633"]),
        ("UTM 38N", ["32638"]),  # 25838 is deprecated
        ("UTM 49M", ["32749"]),
    ],
)
def test_a_utm_zone_is_given_on_each_datum_that_has_it(text: str, codes: list[str]) -> None:
    said = crs_hint(text)
    assert [part for part in codes if f'"EPSG:{part}"' in said] == codes
    assert said.count("EPSG:") == len(codes)


@pytest.mark.parametrize("text", ["UTM 61N", "my own grid", "?"])
def test_what_no_name_stands_for_has_no_hint(text: str) -> None:
    assert crs_hint(text) == ""
