"""What lines above a header state: units in the words of several programs and languages, and what is no such line."""

import pytest

from pipeline.read.lines_above import clock_above, datum_above, heights_above, units_above

FOOT, SURVEY = 0.3048, 1200 / 3937


@pytest.mark.parametrize(
    ("line", "metres", "up", "plan"),
    [
        ("Linear units,International feet", (FOOT,), True, True),
        ("# Units: US survey feet", (SURVEY,), True, True),
        ("Distance units;ftUS;", (SURVEY,), True, True),
        ("% Height unit = ft", (FOOT, SURVEY), True, False),
        ("Coordinate units\tmetres", (1.0,), False, True),
        ("Einheit: Meter", (1.0,), True, True),
        ("Unité : mètres", (1.0,), True, True),
        ("Units: US Survey Foot (1200/3937 m)", (SURVEY,), True, True),
        ("# Eastings in metres, all heights are in US survey feet", (1.0,), False, True),
        ("Elevations: feet", (FOOT, SURVEY), True, False),
    ],
)
def test_a_line_states_a_unit(line: str, metres: tuple[float, ...], up: bool, plan: bool) -> None:
    found = units_above(["Job,Road 5", line])[0]
    assert (found.said.line, found.up, found.plan) == (2, up, plan)
    assert found.metres == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    "line",
    [
        "Antenna height: 6.562 ft",
        "Pole heights in feet",
        "Angular units,DMS",
        "Elevation mask,10 deg",
        "Vertical,0.1 ft",
        "Temperature unit: F",
        "Job,Foot bridge",
        "Project: Feet Lane",
        "Units,",
        "",
    ],
)
def test_another_line_states_none(line: str) -> None:
    assert units_above([line]) == []


def test_datums_clocks_and_kinds_of_heights_are_found() -> None:
    above = ["Datum,WGS84", "Time system: GPS", "Vertical datum;EGM96"]
    found = datum_above(above), clock_above(above), heights_above(above)
    assert [(one.line, one.value) for one in found if one is not None] == [(1, "WGS84"), (2, "GPS"), (3, "EGM96")]
    assert datum_above(["Job,Road 5", "Operator,WGS84"]) is None
    assert clock_above(["Time zone: UTC-05:00"]) is not None
    assert heights_above(["Height: 12.3 m", "Heights: m"]) is None
