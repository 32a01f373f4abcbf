"""Hemispheres that headings of longitudes and latitudes state, in the languages of those who write them."""

import pytest

from pipeline.files.hemisphere_headings import Side, SideSaid, side_in_heading, without_side

WEST, EAST, SOUTH, NORTH = Side.WEST, Side.EAST, Side.SOUTH, Side.NORTH


@pytest.mark.parametrize(
    ("heading", "side"),
    [
        *((heading, WEST) for heading in ("Longitude (W)", "Longitude [°W]", "Lon W", "lonW", "West Longitude")),
        *((heading, WEST) for heading in ("Longitude Ouest", "Longitud Oeste", "Westlänge", "Longitudine (V)", "W")),
        *((heading, WEST) for heading in ("Longitude (+W)", "Lon - W", "Zem. délka (Z)", "西经", "Lon_W_deg")),
        *((heading, EAST) for heading in ("Longitude (E)", "Länge (O)", "Längengrad O", "Ostlänge", "Lengde (Ø)")),
        *((heading, EAST) for heading in ("Délka (V)", "Longitudine Est", "Lon E WGS84")),
    ],
)
def test_a_heading_of_longitudes_states_its_side(heading: str, side: Side) -> None:
    assert side_in_heading(heading, "longitude") == SideSaid(side)


@pytest.mark.parametrize(
    ("heading", "side"),
    [
        *((heading, SOUTH) for heading in ("Latitude (S)", "Lat S", "LatS", "Südbreite", "südliche Breite")),
        *((heading, NORTH) for heading in ("Latitude N", "Šířka (S)", "Breite (N)")),  # sever is the north
    ],
)
def test_a_heading_of_latitudes_states_its_side(heading: str, side: Side) -> None:
    assert side_in_heading(heading, "latitude") == SideSaid(side)


@pytest.mark.parametrize("heading", ["Longitude (O)", "Longitud (O)", "Longitudine O", "Lon O", "Długość (W)"])
def test_a_letter_that_is_another_side_elsewhere_is_not_sure(heading: str) -> None:
    assert side_in_heading(heading, "longitude") == SideSaid(WEST, sure=False)


@pytest.mark.parametrize(
    "heading",
    ["Longitude", "Lon (E/W)", "Longitude (W-)", "Longitude (-W)", "Longitude (west negative)", "Longitude WGS84", "X"],
)
def test_signed_or_plain_headings_state_none(heading: str) -> None:
    assert side_in_heading(heading, "longitude") is None


def test_without_its_side_a_heading_says_the_axis() -> None:
    assert without_side("West Longitude", "longitude") == "longitude"
    assert without_side("Südbreite", "latitude") == "breite"
