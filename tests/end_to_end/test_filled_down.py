"""A coordinate that a spreadsheet copied down its column: it is the same to the last digit, all else changes."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from running import record_of, rewrite_export
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.issue.record_types import Record

MOVED = "as where cells of that column were moved by a row in a spreadsheet"
LACKS = "as where a cell of that column was inserted or deleted in a spreadsheet"
JOINED = "as where a table was joined by a wrong key"
COPIED = "as where a spreadsheet copied a cell down its column"


def day() -> Simulation:
    return simulate(Plan(sessions=1, points=40, checks=3, place=ELLIPSOIDAL))


def doubts(record: Record) -> list[str]:
    return [doubt["what"] for doubt in record["doubts"] if COPIED in doubt["what"]]


def notes(record: Record) -> list[str]:
    return [note for note in record["notes"] if COPIED in note and note not in doubts(record)]


@pytest.mark.parametrize(("column", "rows"), [("latitude", 4), ("longitude", 6)])
def test_one_plan_coordinate_copied_down_takes_the_proof_away(column: str, rows: int, tmp_path: Path) -> None:
    job = day()
    job.rows[column][10 : 10 + rows] = job.rows[column][10]
    record = record_of(job.write(tmp_path), 3)
    (doubt,) = doubts(record)
    assert doubt.startswith(f"rover001.csv:12: {rows} rows in a row (to row {11 + rows}) have one {column}")


def test_a_third_of_a_small_day_may_be_copied_too(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=24, checks=3, place=ELLIPSOIDAL))
    job.rows["latitude"][5:17] = job.rows["latitude"][5]
    (doubt,) = doubts(record_of(job.write(tmp_path), 3))
    assert "12 rows in a row" in doubt


FILLED = "to the last digit while the points lie elsewhere, as where"


@pytest.mark.parametrize("points", [10, 16, 40])
@pytest.mark.parametrize(("column", "code"), [("latitude", 3), ("longitude", 3), ("height", 0)])
@pytest.mark.parametrize("one", [True, False])
def test_a_small_day_that_was_filled_from_above_is_told(
    one: bool, column: str, code: int, points: int, tmp_path: Path
) -> None:
    """Nearly all points have the number of the first of them, or two of three that of the one above."""
    job = simulate(Plan(sessions=1, points=points, checks=3, place=ELLIPSOIDAL))
    rows = np.flatnonzero(job.rows["kind"] == "point")
    values = job.rows[column] = job.rows[column].round(4 if column == "height" else 9)
    if column == "height":
        # rough ground, and no number that ends in a zero, as designed ones do
        values[rows] = np.floor((values[rows] + np.random.default_rng(1).normal(0.0, 0.3, len(rows))) * 1e3) / 1e3
        values[rows] += 0.0003
    values[rows] = values[np.full(len(rows), rows[0])] if one else values[rows[np.arange(len(rows)) // 3 * 3]]
    record = record_of(job.write(tmp_path), code)
    (told,) = [note for note in record["notes"] if FILLED in note]
    assert f"the {column} of the row before" in told or f"have one {column}" in told
    assert [doubt["kind"] for doubt in record["doubts"]] == ["place"] * (code == 3)


@pytest.mark.parametrize("points", [5, 8, 9])
@pytest.mark.parametrize("column", ["latitude", "longitude"])
@pytest.mark.parametrize("one", [True, False])
@pytest.mark.parametrize("seed", [1, 3])
def test_so_is_a_day_of_a_few_points(one: bool, column: str, points: int, seed: int, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=points, checks=3, place=ELLIPSOIDAL, seed=seed))
    rows = np.flatnonzero(job.rows["kind"] == "point")
    values = job.rows[column] = job.rows[column].round(9)
    values[rows] = values[np.full(len(rows), rows[0])] if one else values[rows[np.arange(len(rows)) // 3 * 3]]
    code = 3 if one or points > 5 else 0  # from four rows that have the number of the one before
    record = record_of(job.write(tmp_path), code)
    assert len([note for note in record["notes"] if FILLED in note]) == 1
    assert [doubt["kind"] for doubt in record["doubts"]] == ["place"] * (code == 3)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(("rows", "code"), [(3, 0), (6, 3)])
def test_a_text_dragged_down_counts_its_last_digit_up(rows: int, code: int, way: int, tmp_path: Path) -> None:
    job = day()
    job.rows["latitude"] = job.rows["latitude"].round(9)
    job.rows["latitude"][10 : 10 + rows] = (job.rows["latitude"][10] + way * 1e-9 * np.arange(rows)).round(9)
    record = record_of(job.write(tmp_path), code)
    (told,) = [note for note in record["notes"] if COPIED in note]
    assert told.startswith(f"rover001.csv:12: {rows} rows in a row (to row {11 + rows}) have one latitude but for the")
    assert len(record["doubts"]) == (code == 3)


@pytest.mark.parametrize("step", [0.0, 1.0])
def test_heights_copied_down_are_noted(step: float, tmp_path: Path) -> None:
    job = day()
    job.rows["height"][10:16] = np.round(job.rows["height"][10], 4) + step * np.arange(6)
    record = record_of(job.write(tmp_path))
    assert not doubts(record)
    (note,) = notes(record)
    assert note.startswith("rover001.csv:12: 6 rows in a row (to row 17)")


def test_a_latitude_that_rises_by_one_step_is_noted(tmp_path: Path) -> None:
    job = day()
    job.rows["latitude"][10:16] = job.rows["latitude"][10] + 1e-5 * np.arange(6)
    record = record_of(job.write(tmp_path))
    assert not doubts(record)
    (note,) = notes(record)
    assert "in latitude by exactly one step" in note


@pytest.mark.parametrize(("column", "rows", "code"), [("latitude", 8, 3), ("longitude", 4, 0), ("height", 6, 0)])
def test_numbers_of_rows_elsewhere_are_told_wherever_they_stand(
    column: str, rows: int, code: int, tmp_path: Path
) -> None:
    """Each third row has the number of one far behind, as of a table that was joined by a wrong key."""
    job = simulate(Plan(sessions=1, points=80, checks=3, place=ELLIPSOIDAL))
    points = np.flatnonzero(job.rows["kind"] == "point")
    values = job.rows[column] = job.rows[column].round(4 if column == "height" else 9)
    wrong = points[1 : 3 * rows : 3]
    values[wrong] = values[points[-1] - np.arange(rows)]
    record = record_of(job.write(tmp_path), code)
    (told,) = [note for note in record["notes"] if JOINED in note]
    assert f"the {column} of another row" in told
    # by chance one of them may end in two zeros
    assert rows - 1 <= int(told.split()[1]) <= rows
    assert [doubt["kind"] for doubt in record["doubts"]] == ["place"] * (code == 3)


def street(job: Simulation, along: str, turned: float = 0.06, pace: float = 9.0) -> None:
    """Lay the points out on a street that is nearly along a parallel or meridian, with what readings scatter."""
    points = np.flatnonzero(job.rows["kind"] == "point")
    across, metre = "latitude" if along == "longitude" else "longitude", 9e-6
    noise = np.random.default_rng(2).normal(0.0, 0.008, (2, len(points)))
    way = pace * np.arange(len(points))
    for name, metres in ((along, way), (across, turned * way)):
        job.rows[name][points] = job.rows[name][points[0]] + metre * (metres + noise[int(name == across)])


@pytest.mark.parametrize("along", ["longitude", "latitude"])
@pytest.mark.parametrize(("digits", "rows", "code"), [(9, 4, 3), (10, 20, 3), (8, 12, 3), (8, 7, 0)])
def test_a_coordinate_copied_down_along_an_aligned_street_is_told(
    along: str, digits: int, rows: int, code: int, tmp_path: Path
) -> None:
    """The other coordinate changes by half a metre from point to point, the copied one should by nine."""
    job = simulate(Plan(sessions=1, points=60, checks=3, place=ELLIPSOIDAL))
    street(job, along, 0.12 if rows < 8 else 0.06)
    values = job.rows[along] = job.rows[along].round(digits)
    values[20 : 20 + rows] = values[20]
    record = record_of(job.write(tmp_path), code)
    (told,) = doubts(record) if code else notes(record)
    assert told.startswith(f"rover001.csv:22: {rows} rows in a row (to row {21 + rows}) have one {along}")


def epochs(job: Simulation) -> None:
    """Forty epochs of one place, a second apart, that scatter by centimetres."""
    points = np.flatnonzero(job.rows["kind"] == "point")
    for name, seed in (("longitude", 1), ("latitude", 2)):
        noise = np.random.default_rng(seed).normal(0.0, 1e-7, len(points))
        job.rows[name][points] = (job.rows[name][points[0]] + noise).round(9)


def straight(job: Simulation) -> None:
    """A street along a meridian to the millimetre, as a calculation gives it."""
    street(job, "latitude", 0.0, 0.7)


def smoothed(job: Simulation) -> None:
    """A way that keeps to a meridian for a while, as filtered trajectories do: it bends by less than a last digit."""
    points = np.flatnonzero(job.rows["kind"] == "point")
    metres = 0.5 * np.arange(len(points))
    job.rows["latitude"][points] = job.rows["latitude"][points[0]] + 9e-6 * metres
    job.rows["longitude"][points] = (job.rows["longitude"][points[0]] + 9e-6 * 2e-5 * (metres - 8.0) ** 2).round(9)


def trench(job: Simulation) -> None:
    """Squares of an excavation, a metre apart along both axes, beside points that were measured anywhere."""
    points = np.flatnonzero(job.rows["kind"] == "point")[10:26]
    at = 9e-6 * np.arange(16)
    job.rows["longitude"][points] = job.rows["longitude"][points[0]] + at // (4 * 9e-6) * 9e-6
    job.rows["latitude"][points] = job.rows["latitude"][points[0]] + at % (4 * 9e-6)


def a_line(job: Simulation) -> None:
    """Twelve points along a meridian, a metre apart, as a calculation gives them, beside others anywhere."""
    points = np.flatnonzero(job.rows["kind"] == "point")[10:22]
    job.rows["longitude"][points] = job.rows["longitude"][points[0]].round(8)
    job.rows["latitude"][points] = job.rows["latitude"][points[0]] + 9e-6 * np.arange(12)


def set_out(job: Simulation) -> None:
    """A line set out along a meridian, with a round longitude."""
    straight(job)
    points = np.flatnonzero(job.rows["kind"] == "point")[5:20]
    job.rows["longitude"][points] = job.rows["longitude"][points[0]].round(5)


def along_parallels(job: Simulation) -> None:
    """Points in lines along parallels, as a job written by hand has them."""
    points = job.rows["kind"] == "point"
    job.rows["latitude"][points] = np.repeat(job.rows["latitude"][points][::8], 8)


def on_water(job: Simulation) -> None:
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["height"][points[5:]] = np.round(job.rows["height"][points[0]], 3)


def round_degrees(job: Simulation) -> None:
    job.rows["latitude"][10:16] = np.round(job.rows["latitude"][10], 4)


def two_rows_by_chance(job: Simulation) -> None:
    """Of coordinates to a few millimetres two are the same now and then."""
    job.rows["latitude"] = np.round(job.rows["latitude"], 7)
    job.rows["latitude"][11] = job.rows["latitude"][10]


def edges(job: Simulation) -> None:
    """A road along a parallel, set out: each point has one of the other edge opposite."""
    points = np.flatnonzero(job.rows["kind"] == "point")
    points = points[: len(points) // 2 * 2]
    job.rows["longitude"][points[1::2]] = job.rows["longitude"][points[::2]]


ORDINARY = [along_parallels, on_water, round_degrees, two_rows_by_chance, edges]
ALONG_AXES = [straight, smoothed, epochs, trench, a_line, set_out]


@pytest.mark.parametrize("change", ORDINARY + ALONG_AXES)
def test_coordinates_that_repeat_otherwise_are_not_told(change: Callable[[Simulation], None], tmp_path: Path) -> None:
    job = day()
    change(job)
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert not doubts(record)
    assert not notes(record)
    assert not [note for note in record["notes"] if MOVED in note or LACKS in note]


@pytest.mark.parametrize("rows", [(10, 20), (20, 10)])
def test_cells_moved_by_a_row_leave_two_alike(rows: tuple[int, int], tmp_path: Path) -> None:
    """Dragged down by a row the first row keeps what the second has too; dragged up it is so with the last."""
    job = day()
    start, stop = rows
    cells = job.rows["longitude"].copy()
    if start < stop:
        job.rows["longitude"][start + 1 : stop] = cells[start : stop - 1]
    else:
        job.rows["longitude"][stop:start] = cells[stop + 1 : start + 1]
    record = record_of(job.write(tmp_path))
    (note,) = [note for note in record["notes"] if MOVED in note]
    first = start if start < stop else start - 1
    assert note.startswith(f"rover001.csv:{first + 2}: 2 rows in a row (to row {first + 3}) have one longitude")
    assert not doubts(record)


@pytest.mark.parametrize(("empty", "told"), [(["Lon"], True), (["Lat"], True), (["Lon", "Lat"], False),
                                              (["EllHt"], False), (["Lon", "EllHt"], False)])  # fmt: skip
def test_a_row_that_lacks_one_coordinate_in_plan_alone_is_told(empty: list[str], told: bool, tmp_path: Path) -> None:
    path = day().write(tmp_path)
    number = iter(range(1000))
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | dict.fromkeys(empty if next(number) == 9 else [], ""))
    record = record_of(path)
    found = [note for note in record["notes"] if LACKS in note]
    assert len(found) == told
    assert all(note.startswith("rover001.csv:11: 1 row with a l") for note in found)


def test_an_export_in_which_many_rows_lack_one_is_told_otherwise(tmp_path: Path) -> None:
    path = day().write(tmp_path)
    number = iter(range(1000))
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | ({"Lon": ""} if 9 <= next(number) < 14 else {}))
    assert not [note for note in run_job(path, dry_run=True).record["notes"] if LACKS in note]


def laid_out(job: Simulation, kind: str) -> None:
    """Points in lines of five, of which four have one longitude to the millimetre, or that rise evenly."""
    points = np.flatnonzero(job.rows["kind"] == "point")
    line, place = np.divmod(np.arange(len(points)), 5)
    rows, metre = job.rows, 9e-6
    if kind == "one longitude":
        for name in ("longitude", "latitude"):
            rows[name] = np.round(rows[name], 8)
        noise = np.random.default_rng(3).integers(-6, 7, len(points)) * 1.1e-8
        noise[6:9] = noise[5]
        rows["longitude"][points] = np.round(rows["longitude"][points[0]] + line * 12 * metre + noise, 8)
        rows["latitude"][points] = np.round(rows["latitude"][points[0]] + place * 5.3 * metre + noise[::-1], 8)
    elif kind == "one ramp":
        rows["latitude"][points[:6]] = rows["latitude"][points[0]] + 5 * metre * np.arange(6)
        rows["height"][points[:6]] = np.round(rows["height"][points[0]], 3) + 0.25 * np.arange(6)
        rows["longitude"][points[:6]] = rows["longitude"][points[0]] + 1.7 * metre * np.arange(6)
    else:
        rows["height"][points] = np.round(rows["height"][points[::5]], 3)[line] + (0.1 + 0.05 * line) * place
        rows["height"][points[25:]] += np.random.default_rng(4).normal(0.0, 0.01, len(points) - 25)


@pytest.mark.parametrize("kind", ["one longitude", "one ramp", "several grades"])
def test_lines_that_were_laid_out_are_let_be(kind: str, tmp_path: Path) -> None:
    job = day()
    laid_out(job, kind)
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert (doubts(record), notes(record)) == ([], [])
