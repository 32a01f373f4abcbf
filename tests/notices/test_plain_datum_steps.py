"""Exports on a grid of an older datum, computed without its file of shifts: told where no mark would show it."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.geodesy import plain_datum_steps
from pipeline.geodesy.area import Area
from pipeline.geodesy.own_places import own_places
from pipeline.notices import plain_datum_steps as notice

GRID = "EPSG:27700"
MIDDLE = np.array([433_000.0, 344_000.0])


class Slope:
    """Two ways that differ by so many millimetres more to the east with each kilometre to the east."""

    files, plain_name = "shifts.tif", "parameters"

    def __init__(self, millimetres: float) -> None:
        self.each = millimetres / 1000.0

    def apart(self, longitude: Any, latitude: Any) -> Any:
        kilometres = (longitude + 1.5) * np.cos(np.radians(latitude)) * 111.2
        return np.column_stack([50.0 + self.each * kilometres, np.zeros(len(longitude))])


def told(monkeypatch: pytest.MonkeyPatch, slope: float, marks: float, work: float) -> list[str]:
    """Return the notes of an export whose marks and work reach so many kilometres to each side of the middle."""
    monkeypatch.setattr(notice, "two_ways", lambda crs, area: Slope(slope))
    low, high = (np.append(MIDDLE + sign * 1000.0 * work, 100.0)[None] for sign in (-1, 1))
    east = MIDDLE[0] + 1000.0 * marks * np.array([-1.0, 0.0, 1.0])
    longitude, latitude, _ = own_places(GRID, east, np.full(3, MIDDLE[1]), np.zeros(3))
    survey = SimpleNamespace(
        exports=[SimpleNamespace(points=SimpleNamespace(crs=GRID), shown="rover.csv")],
        operations=SimpleNamespace(area=None),
        job=SimpleNamespace(checks=SimpleNamespace(horizontal=0.030)),
        windows=[SimpleNamespace(index=0, session=SimpleNamespace(name="day"))],
        first_pass=SimpleNamespace(files=[SimpleNamespace(extent=SimpleNamespace(low=low, high=high))]),
    )
    corrected = SimpleNamespace(longitude=longitude, latitude=latitude)
    solved = SimpleNamespace(occupations=SimpleNamespace(session=np.zeros(3, int), corrected=corrected))
    return list(notice.plain_datum_notes(survey, solved))  # type: ignore[arg-type]


def test_what_is_left_at_the_ends_of_the_work_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """20 mm a kilometre, and six kilometres from the middle of the marks: 0.12 m."""
    (note,) = told(monkeypatch, slope=20.0, marks=0.5, work=6.0)
    assert note.startswith("rover.csv: ") and "up to 0.12 m off" in note and "5.5 km from the marks" in note


@pytest.mark.parametrize(
    ("slope", "marks", "work"),
    [(20.0, 0.5, 1.2), (3.0, 0.5, 6.0), (20.0, 5.5, 6.0)],
    ids=["a small site", "parameters that fit", "marks at the ends"],
)
def test_what_checks_show_or_tolerate_is_not(
    slope: float, marks: float, work: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert told(monkeypatch, slope, marks, work) == []


@pytest.mark.parametrize("crs", ["EPSG:2193", "EPSG:25832", "EPSG:4277"])
def test_datums_of_satellites_and_degrees_have_no_second_way(crs: str) -> None:
    assert plain_datum_steps.two_ways(crs, Area(-1.6, 52.9, -1.4, 53.1)) is None
