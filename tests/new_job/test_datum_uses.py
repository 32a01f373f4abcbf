"""What height datums are for, and the order in which they are offered; clocks of the country at hand."""

import pytest
from every import every

from pipeline.geodesy.registry import height_areas
from pipeline.new_job.datum_uses import Extent, use_of
from pipeline.new_job.height_datums import height_datums, height_question
from pipeline.new_job.zones import clocks_near, countries_near

CHRISTCHURCH = (172.6, -43.5)


def zones_near(longitude: float, latitude: float) -> list[str]:
    return [one.zone for one in clocks_near(longitude, latitude)]


@pytest.mark.parametrize(
    ("name", "extent", "whose"),
    [
        ("NZVD2016 height", Extent.NATIONAL, "New Zealand"),
        ("Lyttelton 1937 height", Extent.LOCAL, "New Zealand, South Island"),
        ("AHD (Tasmania) height", Extent.LOCAL, "Australia, Tasmania mainland"),
        ("Vienna height", Extent.LOCAL, "Austria, Vienna city state"),
        ("LN02 height", Extent.NATIONAL, "Liechtenstein; Switzerland"),
        ("SHD height", Extent.NATIONAL, "Singapore"),
        ("NAVD88 height", Extent.NATIONAL, "Mexico, United States (USA)"),
        ("EVRF2007 height", Extent.SEVERAL, "Europe"),
        ("EGM96 height", Extent.GLOBAL, ""),
    ],
)
def test_a_height_datum_is_of_a_country_or_a_part_or_more(name: str, extent: Extent, whose: str) -> None:
    (datum,) = [one for one in height_areas() if one.name == name]
    assert (use_of(datum).extent, use_of(datum).whose) == (extent, whose)


@pytest.mark.parametrize(
    ("place", "first"),
    [
        (CHRISTCHURCH, "NZVD2016 height"),  # LINZ: the official vertical datum since 2016
        ((16.37, 48.2), "GHA height"),  # BEV: heights above the Adriatic are those in use
        ((13.4, 52.5), "DHHN2016 height"),  # AdV: introduced in all states from 2017
        ((18.0, 59.3), "RH2000 height"),  # Lantmäteriet: national since 2005
        ((21.0, 52.2), "EVRF2007-PL height"),  # Poland's ordinance of 2012 on the reference system
        ((8.5, 47.4), "LN02 height"),  # swisstopo: LN02 in official surveying, LHN95 for scientific work
        ((-97.0, 40.0), "NAVD88 height"),  # NGS
        ((151.2, -33.8), "AHD height"),  # ICSM
    ],
)
def test_the_datum_in_use_comes_first(place: tuple[float, float], first: str) -> None:
    assert height_datums(place, [])[0].name == first


def test_the_national_come_before_the_local_and_the_global_last() -> None:
    asked = [one.why for one in height_question(CHRISTCHURCH, [], (), []).candidates]
    assert asked[:4] == [
        "NZVD2016 height, national (New Zealand)",
        "NZVD2009 height, national (New Zealand)",
        "Lyttelton 1937 height, local (New Zealand, South Island)",
        "AVWS height, national (Australia)",
    ]
    assert all(why.endswith(", global") for why in every(asked[4:-1]))


def test_a_datum_that_a_heading_names_is_first_all_the_same() -> None:
    assert height_datums(CHRISTCHURCH, ["Height Lyttelton"])[0].name == "Lyttelton 1937 height"


def test_the_zones_of_the_nearest_towns() -> None:
    """Places of the towns: the time zone database's own table (zone.tab)."""
    assert zones_near(171.8, -43.7)[0] == "Pacific/Auckland"
    assert zones_near(110.9, -7.0)[0] == "Asia/Jakarta"
    assert zones_near(13.4, 52.5)[0] == "Europe/Berlin"
    assert zones_near(-179.9, -17.0)[0] == "Pacific/Fiji"


def test_clocks_are_those_of_the_country_and_its_neighbours() -> None:
    """zone.tab: Chatham is of New Zealand; from Vienna, Bratislava is 60 km and Prague 250 km away."""
    assert zones_near(*CHRISTCHURCH)[:2] == ["Pacific/Auckland", "Pacific/Chatham"]
    assert zones_near(16.37, 48.2)[:2] == ["Europe/Vienna", "Europe/Bratislava"]
    assert zones_near(151.2, -33.8)[0] == "Australia/Sydney" and len(zones_near(151.2, -33.8)) > 3


@pytest.mark.parametrize(
    ("place", "zone"),
    [
        ((-6.97, 38.88), "Europe/Madrid"),  # Badajoz: Lisbon is nearer than Madrid
        ((4.85, 45.75), "Europe/Paris"),  # Lyon: Monaco and Zurich are
        ((-5.98, 37.38), "Europe/Madrid"),  # Seville: Gibraltar and Ceuta are
        ((16.6, 49.2), "Europe/Prague"),  # Brno: Vienna is
        ((7.8, 48.5), "Europe/Paris"),  # Strasbourg: Zurich is
        ((-106.4, 31.8), "America/Denver"),  # El Paso: Ciudad Juarez is
        ((24.0, 49.8), "Europe/Kyiv"),  # Lviv: 330 km from Warsaw, 470 km from Kyiv
    ],
)
def test_no_country_that_may_hold_the_place_is_left_out(place: tuple[float, float], zone: str) -> None:
    near = zones_near(*place)
    assert zone in near and len(near) <= 8


def test_the_words_say_that_the_list_has_few_towns() -> None:
    """Badajoz to Lisbon: about 190 km along the great circle."""
    whose = clocks_near(-6.97, 38.88)[0].whose
    assert whose.startswith("the clock of the nearest town in the list (Lisbon, 1") and whose.endswith(" km)")


def test_countries_have_their_names() -> None:
    assert countries_near(*CHRISTCHURCH)[0] == ("New Zealand",)
    assert countries_near(-0.1, 51.5)[0] == ("Britain", "UK")
    assert {("Portugal",), ("Spain",)} <= set(countries_near(-6.97, 38.88))


@pytest.mark.parametrize(
    ("heading", "first"),
    [
        ("Elevation (usft)", {"(ftUS)"}),
        ("Elevation (ift)", {"(ft)"}),
        ("Elevation (ft)", {"(ft)", "(ftUS)"}),  # which foot it is, the height datum says
        ("Elevation (m)", {"height", "(m)"}),
    ],
)
def test_the_datums_in_the_unit_of_a_heading_come_first(heading: str, first: set[str]) -> None:
    names = [one.name for one in height_datums((-88.2, 40.1), [heading])]
    assert {name.split()[-1] for name in names[: len(first) + 1]} == first
