"""What whoever signs a report needs: particulars as given, bases, suspect points, an accuracy statement, signatures."""

import math
from typing import Any

import pytest
from page_read import Element, read_page
from record_made import at, check, failing, record, session, tie

from pipeline.issue.report.page import render
from pipeline.issue.report.thinning import Thinned


def page(**other: Any) -> Element:
    return read_page(render(record(**other), Thinned.none()))


def suspects(number: int, total: int | None = None, held: bool = True) -> dict[str, Any]:
    row = {"code": "FENCE", "session": "one", "observed": at(30), "easting": 1.0, "northing": 2.0, "height": None}
    points = [{"name": f"P{n}", **row, "held_back": held} for n in range(number)]
    return {"total": number if total is None else total, "points": points}


def test_particulars_stand_as_given_in_their_order() -> None:
    given = {
        "Zone": "north & <b>south</b>",
        "client": "A. Bee\nand partners",
        "crew": ["C. Dee", 7],
        "equipment": [{"receiver": "R1", "serial": "000123"}, {"receiver": "R2", "ready": True}],
        "method": {"epochs": 30, "marks": ["a", "b"]},
        "nothing": [],
    }
    found = page(particulars=given).section("particulars")
    assert [one.text() for one in found.all("dt")] == list(given)
    assert [one.text() for one in found.all("dd")] == [
        "north & <b>south</b>",
        "A. Bee and partners",
        "C. Dee",
        "7",
        "receiver: R1, serial: 000123",
        "receiver: R2, ready: true",
        "epochs: 30",
        "marks: a, b",
        "-",
    ]


def test_without_particulars_there_is_no_empty_section() -> None:
    root = page()
    assert "particulars" not in [one.attributes["id"] for one in root.all("h2")]
    assert "#particulars" not in [one.attributes["href"] for one in root.all("a")]


def test_there_is_room_to_sign() -> None:
    found = page().section("signatures")
    lines = [one.text() for one in found.all("p") if one.attributes.get("class") == "line"]
    assert lines == ["Date of issue", *(3 * ["Name", "Date", "Signature"])]
    assert "issue 001 of made-up" in found.text()


@pytest.mark.parametrize(("number", "total", "tables"), [(1, 1, 1), (50, 50, 1), (51, 51, 2), (500, 1203, 2)])
def test_suspect_points_are_listed_and_folded_beyond_fifty(number: int, total: int, tables: int) -> None:
    found = page(suspect=suspects(number, total)).section("suspect")
    bodies = [len(one.all("tr")) - 1 for one in found.all("table")]
    assert bodies == [min(number, 50), number - 50][:tables]
    assert len(found.all("details")) == tables - 1
    if total > number:
        assert "703 rows of 1\u202f203 are left out here" in found.text()


def test_a_page_without_suspect_points_has_no_list_of_them() -> None:
    assert "suspect" not in [one.attributes["id"] for one in page().all("h2")]


def test_local_time_stands_beside_utc_and_follows_the_summer_clock() -> None:
    """New Zealand's clocks are 13 hours ahead of UTC in summer and 12 in winter (Time Act 1974 and its order of 2007);
    they went back at 3:00 on 5 April 2026, the first Sunday."""
    winter = session("two") | {"start": "2026-04-04T13:59:00.000Z", "end": "2026-04-04T14:01:00.000Z"}
    root = page(local_clock="Pacific/Auckland", sessions=[session("one"), winter])
    (table,) = root.section("sessions").all("table")
    one, two = (row.text() for row in table.all("tr")[1:])
    assert "2026-03-01 20:00 2026-03-02 09:00" in one and "2026-03-02 04:00 2026-03-02 17:00" in one
    assert "2026-04-04 13:59 2026-04-05 02:59" in two and "2026-04-04 14:01 2026-04-05 02:01" in two
    assert "2026-03-02 03:30:00" in root.text() and "2026-03-02 16:30" in root.text()
    assert "below them local time (Pacific/Auckland)" in root.section("checks").text()


@pytest.mark.parametrize(("zone", "local"), [("-03:30", "2026-03-01 16:30"), ("+05:45", "2026-03-02 01:45")])
def test_a_clock_may_be_an_offset(zone: str, local: str) -> None:
    assert f"2026-03-01 20:00 {local}" in page(local_clock=zone).section("sessions").text()


def test_bases_are_told_as_stated_and_as_carried() -> None:
    setup = {"mark": "TM1", "longitude": 171.5, "latitude": -43.25, "ellipsoid_height": 320.4, "antenna_height": 1.612}
    span = {"from": at(0), "until": at(5), "readings": 3, "source_file": "rover.csv", "source_row": 2}
    log = {
        "positions": [{"easting": 1234.5678, "northing": 2.0, "height": 3.0, **span}],
        "antenna_heights": [{"antenna_height": 1.7, **span}],
        "first_reading": None,
    }
    (table,) = page(sessions=[session("one", setup=setup, base_log=log)]).section("bases").all("table")
    stated, carried, antenna = (row.text() for row in table.all("tr")[1:])
    assert "job file TM1 longitude 171.500000000, latitude -43.250000000 320.400 1.612" in stated
    assert "export - easting 1234.568, northing 2.000 3.000" in carried
    assert "export - - - 1.700" in antenna


def test_control_is_told_with_source_date_and_datum() -> None:
    row = {**record()["register"][0], "source": "office list 7", "dated": "2025-11-01"}
    told = page(register=[row]).section("marks").text()
    assert "office list 7" in told and "2025-11-01" in told
    assert "coordinates in a grid (EPSG:2193), heights in a datum" in told


def test_the_statement_says_how_good_it_is_and_by_what() -> None:
    """The root mean square of 0.030 and 0.040 is 0.035355, of 0.020 and 0.010 it is 0.015811."""
    checks = [
        tie("one", "CM1", 20, d_horizontal=0.9, d_height=0.9),
        check("one", "CM2", 30, d_horizontal=0.030, d_height=-0.020),
        failing("one", "CM2", 450, d_horizontal=0.040, d_height=0.010),
        check("one", "CM3", 460, passed=None, d_horizontal=None, d_height=None),
        check("one", "CM4", 470, role="noted", d_horizontal=0.8, d_height=0.8),
    ]
    told = page(checks=checks, verdict="failed", sessions=[session("one", verdict="failed")]).section("accuracy").text()
    assert "rest on 1 control mark (CM1)" in told
    assert "within 0.021 m horizontally, and within 0.034 m in height" in told
    assert "Of 2 independent checks, which took no part in the adjustment, 1 agrees" in told
    rms = [f"{math.sqrt((a * a + b * b) / 2):.3f}" for a, b in ((0.030, 0.040), (0.020, 0.010))]
    assert f"Horizontally the largest difference is 0.040 m, the root mean square {rms[0]} m" in told
    assert f"In height the largest difference is 0.020 m, the root mean square {rms[1]} m" in told
    assert "1 of 1 session is failed" in told


def test_the_statement_claims_no_more_than_there_is() -> None:
    none = {"hu95": None, "vu95": None}
    told = (
        page(checks=[tie("one", "CM1", 20)], accuracy=none, suspect=suspects(1, held=False)).section("accuracy").text()
    )
    assert "No independent check was made" in told
    assert "95 times" not in told
    assert "Suspect points are among those issued" in told
