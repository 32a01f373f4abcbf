"""A digit that was replaced by another throughout a column takes the proof away, and is told with both digits."""

from pathlib import Path

import pytest
from running import record_of, rewrite_numbered
from simulate import CANTERBURY, ELLIPSOIDAL, Place, Plan, simulate

TOLD = "was replaced by"


@pytest.mark.parametrize(
    ("column", "word", "kind"), [("Lat", "latitude", "place"), ("EllHt", "height", "export-heights")]
)
def test_a_replaced_digit_is_a_doubt(column: str, word: str, kind: str, tmp_path: Path) -> None:
    """Other points than those on marks, which pass: the last decimals alone are replaced."""
    job = simulate(Plan(sessions=1, points=300, checks=3, place=ELLIPSOIDAL))
    points = job.rows["kind"] == "point"
    path = job.write(tmp_path)

    def change(number: int, row: dict[str, str]) -> dict[str, str]:
        whole, decimals = row[column].split(".")
        return {**row, column: f"{whole}.{decimals[:-3]}{decimals[-3:].replace('5', '6')}"} if points[number] else row

    rewrite_numbered(tmp_path / "rover001.csv", change)
    record = record_of(path, code=3)
    (doubt,) = record["doubts"]
    assert record["verdict"] == "unchecked" and all(check["passed"] for check in record["checks"])
    assert (doubt["kind"], doubt["sessions"], doubt["confirmed"]) == (kind, ["session-01"], False)
    assert TOLD in doubt["what"] and f"the column of the {word}," in doubt["what"]


def test_it_reaches_the_sessions_of_these_rows_alone(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=300, checks=3, place=ELLIPSOIDAL))
    path = job.write(tmp_path)

    def change(number: int, row: dict[str, str]) -> dict[str, str]:
        mine = job.rows["kind"][number] == "point" and job.rows["session"][number] == 1
        whole, decimals = row["EllHt"].split(".")
        return {**row, "EllHt": f"{whole}.{decimals.replace('5', '6')}"} if mine else row

    rewrite_numbered(tmp_path / "rover001.csv", change)
    record = record_of(path, code=3)
    assert [doubt["sessions"] for doubt in record["doubts"]] == [["session-02"]]
    assert [session["verdict"] for session in record["sessions"]] == ["proven", "unchecked"]


def test_so_is_one_that_was_replaced_in_the_last_rows(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=300, checks=3, place=ELLIPSOIDAL)).write(tmp_path)

    def change(number: int, row: dict[str, str]) -> dict[str, str]:
        return {**row, "EllHt": row["EllHt"].replace("5", "6")} if number >= 180 else row

    rewrite_numbered(tmp_path / "rover001.csv", change)
    (told,) = [doubt["what"] for doubt in record_of(path, code=3)["doubts"] if TOLD in doubt["what"]]
    line = int(told.removeprefix("rover001.csv:").split(":")[0])
    assert 175 <= line <= 182 and "decimals of the column of the height, from this row to row 305," in told


@pytest.mark.parametrize("place", [ELLIPSOIDAL, CANTERBURY])
@pytest.mark.parametrize("noise", [True, False])
def test_a_day_as_it_was_exported_is_not(place: Place, noise: bool, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=300, checks=3, place=place, noise=noise)).write(tmp_path)
    record = record_of(path)
    assert record["doubts"] == [] and record["verdict"] == "proven"
