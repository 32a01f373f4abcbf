"""What height datums are for, and the order in which they are offered; clocks of the country at hand."""

import pytest

from pipeline.geodesy.registry import height_areas
from pipeline.new_job.datum_uses import Extent, use_of
from pipeline.new_job.frames import height_datums, height_question
from pipeline.new_job.zones import country_at, zones_near

CHRISTCHURCH = (172.6, -43.5)


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
    assert all(why.endswith(", global") for why in asked[4:-1])


def test_a_datum_that_a_heading_names_is_first_all_the_same() -> None:
    assert height_datums(CHRISTCHURCH, ["Height Lyttelton"])[0].name == "Lyttelton 1937 height"


def test_clocks_are_those_of_the_country() -> None:
    """zone.tab: Macquarie Island is of Australia, Bratislava of Slovakia."""
    assert zones_near(*CHRISTCHURCH) == ["Pacific/Auckland", "Pacific/Chatham"]
    assert zones_near(16.37, 48.2) == ["Europe/Vienna"]
    assert zones_near(151.2, -33.8)[0] == "Australia/Sydney" and len(zones_near(151.2, -33.8)) == 3


def test_the_town_of_another_country_is_named_where_it_is_about_as_near() -> None:
    """Lviv: 330 km from Warsaw, 470 km from Kyiv; the table has no borders."""
    assert {"Europe/Warsaw", "Europe/Kyiv"} <= set(zones_near(24.0, 49.8))


def test_the_country_has_its_names() -> None:
    assert country_at(*CHRISTCHURCH) == ("New Zealand",)
    assert country_at(-0.1, 51.5) == ("Britain", "UK")
