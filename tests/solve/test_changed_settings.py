"""A setting that changes among the readings of a session is told where no passing occupation speaks for it.

Where half a day was measured in another coordinate system, or with another source of corrections, its points lie off
by a constant vector that no check with the first setting can show: what is told is which column says so, both values
and the first row. Days on which such columns change and nothing is wrong with it are invented beside.
"""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest
from running import Row, record_of, rewrite_numbered
from simulate import Plan, Simulation, simulate

TOLD = "and no check or tie that passes is among those with"


def day(sessions: int = 1) -> Simulation:
    return simulate(Plan(sessions=sessions, points=40, ties=1, checks=3, seed=5))


def notes(folder: Path, change: Callable[[int, Row], Row], job: Simulation | None = None, code: int = 0) -> list[str]:
    """Return what is told of settings on a day that is honest but for columns added to its export."""
    path = (job or day()).write(folder)
    rewrite_numbered(folder / "rover001.csv", change)
    return [note for note in record_of(path, code)["notes"] if TOLD in note]


def points_between(job: Simulation) -> range:
    """Rows of points alone, between two occupations of marks."""
    marks = [at for at, kind in enumerate(job.rows["kind"]) if kind != "point"]
    start, stop = max(pairwise(marks), key=lambda pair: pair[1] - pair[0])
    return range(start + 2, stop - 1)


@pytest.mark.parametrize(
    ("column", "usual", "other"),
    [
        ("CRS", "ETRS89", "WGS84"),
        ("Coordinate system", "25832", "4258"),
        ("Datum", "NAD83", "WGS84"),
        ("Mode", "RTK", "PPK"),
        ("Mode", "RTK fixed", "Network fixed"),
        ("Mount point", "VRS3", "NEAR"),
        ("Correction source", "MSM-NET", "LOCALBASE"),
        ("Geoid", "yes", "no"),
        ("Geoid model", "GEO-A", "GEO-B"),
        ("Localised", "0", "1"),
        ("Calibration", "none", "site1"),
        ("Antenna", "ANT-A", "ANT-B"),
        ("RTK profile", "open sky", "canopy"),
        ("Koordinatensystem", "Gitter A", "Gitter B"),
    ],
)
def test_a_setting_without_a_mark_is_told(column: str, usual: str, other: str, tmp_path: Path) -> None:
    job = day()
    if column in ("Mount point", "Correction source"):
        without_base_ids(job)
    level = column.startswith("Geoid")
    if level:  # which is doubted besides: the heading says that heights are ellipsoidal
        job.job["source"]["crs"] = "EPSG:4167+5773"
    between = points_between(job)
    (note,) = notes(
        tmp_path, lambda at, row: row | {column: other if at in between else usual}, job, code=3 if level else 0
    )
    assert note.startswith(f"rover001.csv:{between[0] + 2}: session ")
    assert f'column "{column}" says {other} of {len(between)} readings (first one here) and {usual} of the' in note


def without_base_ids(job: Simulation) -> None:
    del job.job["session"][0]["base"]


@pytest.mark.parametrize(
    ("column", "usual", "other"),
    [
        ("Mount point", "NEAR_4", "NEAR_5"),
        ("Network", "LTE", "3G"),
        ("Corrections", "RTCM3", "CMR"),
        ("Geoid", "GEO-A", "none"),
    ],
)
def test_what_cannot_move_a_reading_is_let_be(column: str, usual: str, other: str, tmp_path: Path) -> None:
    """Base ids say that all readings are of one base; no geoid is in ellipsoidal heights; a modem is no source."""
    job = day()
    between = points_between(job)
    assert notes(tmp_path, lambda at, row: row | {column: other if at in between else usual}, job) == []


@pytest.mark.parametrize(("column", "usual", "other"), [("Network", "LTE", "3G"), ("Corrections", "RTCM3", "CMR")])
def test_a_modem_is_no_source_without_base_ids_either(column: str, usual: str, other: str, tmp_path: Path) -> None:
    job = day()
    without_base_ids(job)
    between = points_between(job)
    assert notes(tmp_path, lambda at, row: row | {column: other if at in between else usual}, job) == []


@pytest.mark.parametrize("one_id", [True, False])
@pytest.mark.parametrize(
    ("column", "usual", "other", "plainly"),
    [
        ("Corr", "RADIO", "NTRIP", False),  # a caster of one's own
        ("Correction", "BASE", "NETWORK", False),
        ("Mode", "RADIO", "VRS", True),
        ("RTK Mode", "UHF", "NTRIP", False),
        ("Link", "Radio", "Network RTK", True),
        ("Survey type", "RTK", "NRTK", True),
        ("Base type", "own", "CORS", False),
        ("Ref", "LOCAL", "VRS", True),
        ("Correction source", "Funk", "NTRIP", False),
        ("Messmodus", "Eigene Basis", "Netz", False),
        ("Any", "RTK", "PPK", False),
    ],
)
def test_a_network_beside_an_own_base_is_told_under_any_heading(
    column: str, usual: str, other: str, plainly: bool, one_id: bool, tmp_path: Path
) -> None:
    """An id that stays does not say which corrections came in: controllers go on writing the one of the day.

    What is plainly a network's has no error of the base that the shift would take away: a doubt.
    """
    job = day()
    if not one_id:
        without_base_ids(job)
    between = points_between(job)
    path = job.write(tmp_path)
    rewrite_numbered(tmp_path / "rover001.csv", lambda at, row: row | {column: other if at in between else usual})
    record = record_of(path, code=3 if plainly else 0)
    (note,) = [note for note in record["notes"] if TOLD in note]
    assert f'column "{column}" says {other} of {len(between)} readings (first one here) and {usual} of the' in note
    doubts = [(doubt["kind"], doubt["sessions"]) for doubt in record["doubts"]]
    assert doubts == ([("base", ["session-01"])] if plainly else [])


@pytest.mark.parametrize("other", ["VRS", "Network RTK"])
def test_a_base_that_was_right_is_as_a_network_and_no_doubt(other: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=3, seed=5, base_horizontal=0.02, base_vertical=0.02))
    between = points_between(job)
    (note,) = notes(tmp_path, lambda at, row: row | {"Mode": other if at in between else "Radio"}, job)
    assert "confirmed" not in note


@pytest.mark.parametrize(("other", "one_id", "count"), [("GSM", False, 1), ("GSM", True, 0), ("Internet", True, 0)])
def test_an_own_base_may_be_heard_over_the_telephone(other: str, one_id: bool, count: int, tmp_path: Path) -> None:
    job = day()
    if not one_id:
        without_base_ids(job)
    between = points_between(job)
    told = notes(tmp_path, lambda at, row: row | {"Datalink": other if at in between else "UHF"}, job)
    assert len(told) == count


@pytest.mark.parametrize(
    ("usual", "other"),
    [("local road", "network"), ("RADIO", "tower"), ("RADIO1", "RADIO2"), ("GSM", "LTE"), ("own", "rented")],
)
def test_other_words_are_no_ways_of_correction(usual: str, other: str, tmp_path: Path) -> None:
    job = day()
    between = points_between(job)
    assert notes(tmp_path, lambda at, row: row | {"Any": other if at in between else usual}, job) == []


def test_what_no_occupation_has_is_of_what_was_measured(tmp_path: Path) -> None:
    """Cables of a base and of a network are drawn by a column that control marks leave blank."""
    job = day()
    kinds, between = job.rows["kind"], points_between(job)
    value = {True: "network", False: "local"}
    assert not notes(
        tmp_path, lambda at, row: row | {"Owner": value[at in between] if kinds[at] == "point" else ""}, job
    )


def on_marks_too(job: Simulation, column: str) -> Callable[[int, Row], Row]:
    """From the middle of the day on another value, with the closing check among them."""
    middle = len(job.rows["kind"]) // 2
    return lambda at, row: row | {column: "B-two" if at >= middle else "A-one"}


@pytest.mark.parametrize("column", ["CRS", "Mount point", "Geoid model", "Calibration", "Antenna", "Config"])
def test_a_setting_that_a_check_passes_with_is_let_be(column: str, tmp_path: Path) -> None:
    job = day()
    assert notes(tmp_path, on_marks_too(job, column), job) == []


@pytest.mark.parametrize("column", ["CRS", "Mount point", "Geoid model", "Calibration", "Antenna", "Config"])
def test_a_setting_that_changes_with_the_session_is_let_be(column: str, tmp_path: Path) -> None:
    job = day(sessions=2)
    sessions = job.rows["session"]
    assert notes(tmp_path, lambda at, row: row | {column: f"set {sessions[at]}"}, job) == []


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("CRS", lambda at: "ETRS89"),
        ("CRS", lambda at: "etrs89" if at in range(10, 20) else "ETRS89"),
        ("CRS", lambda at: "" if at in range(10, 20) else "ETRS89"),
        ("Geoid", lambda at: f"{-33.1 - at % 3 / 100:.2f}"),
        ("Correction", lambda at: str(at % 4)),
        ("Datum", lambda at: f"{1 + at // 20:02d}.03.2026"),
        ("Mode", lambda at: ("topo", "rapid", "continuous")[at % 3]),
        ("Mode", lambda at: "RTK float fixed"[: 3 if at % 2 else None]),
        ("Profile", lambda at: f"P{at // 15}"),
        ("Antenna", lambda at: ("ANT-A", "ANT-B")[at % 2]),
        ("Antenna", lambda at: ("1.8", "2.0")[at // 20]),
        ("Remark", lambda at: ("ETRS89", "WGS84")[at // 30]),
        ("Epochs", lambda at: ("30", "1")[at // 30]),
        ("Operator", lambda at: ("A", "B")[at // 30]),
        ("Tilt", lambda at: ("off", "on")[at // 30]),
    ],
)
def test_what_is_no_change_of_a_setting_is_let_be(column: str, value: Callable[[int], str], tmp_path: Path) -> None:
    assert notes(tmp_path, lambda at, row: row | {column: value(min(at, 39))}) == []


def test_antennas_of_two_rovers_are_let_be(tmp_path: Path) -> None:
    job = day()
    between = points_between(job)
    added = {True: {"Antenna": "ANT-B", "Rover": "R2"}, False: {"Antenna": "ANT-A", "Rover": "R1"}}
    assert notes(tmp_path, lambda at, row: row | added[at in between], job) == []


def test_what_is_told_of_base_ids_is_not_told_again(tmp_path: Path) -> None:
    job = day()
    between = points_between(job)
    added = {True: {"Mount point": "NEAR", "RefStation": "0231"}, False: {"Mount point": "VRS", "RefStation": "0017"}}
    assert notes(tmp_path, lambda at, row: row | added[at in between], job) == []
