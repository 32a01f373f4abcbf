"""What to write instead of a text that is no CRS; codes, kinds and names from the EPSG registry."""

import re

import pytest
from pyproj import CRS

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


@pytest.mark.parametrize(
    ("text", "zone"),
    [("PL-2000 strefa 7", 7), ("PL-2000/S5", 5), ("PUWG 2000, strefa 8", 8), ("Układ 2000 strefa 6 (18)", 6)],
)
def test_zones_of_the_polish_grid_have_the_false_easting_of_their_number(text: str, zone: int) -> None:
    """An easting of the zone n begins with n: on its central meridian it is n million and half a million."""
    found = re.search(r"EPSG:\d+", crs_hint(text))
    assert found is not None
    operation = CRS(found[0]).coordinate_operation
    assert operation is not None
    assert zone * 1e6 + 5e5 in [float(each.value) for each in operation.params if each.name == "False easting"]


@pytest.mark.parametrize("text", ["PL-2000", "PL-2000 strefa 9", "2000 7", "plan 2000/12"])
def test_other_texts_name_no_zone_of_it(text: str) -> None:
    assert "PL-2000" not in crs_hint(text)


@pytest.mark.parametrize(
    ("text", "code"), [("Monte Mario fuso 1", 3003), ("DHDN Gauss-Krüger Streifen 4", 31468), ("UTM huso 30", 25830)]
)
def test_zones_are_known_by_words_of_other_languages(text: str, code: int) -> None:
    assert f"EPSG:{code}" in crs_hint(text)
