"""Headings that call heights by a height datum, or the gauge that it is named after: each country's practice."""

import pytest

from pipeline.new_job.heights import height_said
from pipeline.read.height_headings import HeightKind, height_kind_in_heading, read_height_heading


@pytest.mark.parametrize(
    "heading",
    [
        "Hæð (ISH2004)", "Hæð yfir sjó", "Höhe über Adria", "Höhe über Adria [m]", "Altitude (Cascais)",
        "Kõrgus (EH2000)", "EH 2000", "Aukštis (LAS07)", "Height (LAS)", "Augstums (LAS-2000,5)", "Høyde (NN2000)",
        "Höjd (RH2000)", "Korkeus (N2000)", "Kote (DVR90)", "Hoogte NAP", "Hoogte (TAW)", "Height (Amsterdam)",
        "Height (Kronstadt)", "Height (EVRF2007)", "AHD71", "Height (AHD)", "Height (NZVD2016)", "NAVD88 (ft)",
        "CGVD2013", "Height (ODN)", "Height (Newlyn)", "Height (Malin)", "NGF-IGN69", "Quota (Genova)",
        "Quota Genova 1942", "Visina (Trst)", "Height (Trieste)", "Height (Baltic)", "Baltic 1977", "Výška (Balt)",
    ],
)  # fmt: skip
def test_a_datum_behind_heights_says_that_they_are_above_it(heading: str) -> None:
    assert read_height_heading(heading).kind is HeightKind.LEVEL
    assert height_said(heading) == "level"


@pytest.mark.parametrize("heading", ["Amsterdam", "Las", "Balt", "Trst", "Sjo", "Las Vegas", "Site Marseille"])
def test_a_place_alone_is_no_height(heading: str) -> None:
    assert read_height_heading(heading).kind is HeightKind.OTHER


@pytest.mark.parametrize("heading", ["Sporvöluhæð", "Hæð yfir sporvölu"])
def test_icelandic_heights_above_the_ellipsoid(heading: str) -> None:
    assert height_kind_in_heading(heading) is HeightKind.ELLIPSOIDAL


def test_icelandic_for_height_alone_says_no_more() -> None:
    assert read_height_heading("Hæð").kind is HeightKind.HEIGHT and height_said("Hæð (m)") == ""
