"""More than one base within a session: told as a doubt where no mark was occupied with it, however it came about."""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from base_logged import SMALL, at_base, late, write
from running import Row, replace_in, rewrite_export
from simulate import Simulation, simulate

from pipeline import run_job
from pipeline.issue.record_types import Record

ONE = replace(SMALL, sessions=1)
Cells = Callable[[Row], dict[str, Any]]


def between(job: Simulation, cells: dict[str, Any], since: float = 2.0, until: float = 5.0) -> Cells:
    """Other cells for the rows of a few hours in which no mark is occupied."""
    return lambda row: cells if late(job, row, 0, since) and not late(job, row, 0, until) else {}


def parted(path: Path, change: Cells, every: int = 2) -> None:
    """Every so many points of a job to an export of another rover, whose rows have other cells."""
    export = path.parent / "rover001.csv"
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    points = [line for line in lines if "-T" not in line.split(",")[0] and "-C" not in line.split(",")[0]]
    other = set(points[::every])
    for name, kept in (("rover001.csv", [line for line in lines if line not in other]), ("rover002.csv", other)):
        (path.parent / name).write_text("\n".join([heading, *sorted(kept), ""]), encoding="utf-8")
    rewrite_export(path.parent / "rover002.csv", lambda row: row | change(row))


def without_base(path: Path) -> Path:
    replace_in(path, {'base = "BASE-01"\n': ""})
    return path


def known(job: Simulation) -> Simulation:
    """The base stands on a known point, or is a network's: nothing is derived."""
    session = job.job["session"][0]
    session |= {"shift": "none", "ties": [], "checks": [*session["ties"], *session["checks"]]}
    return job


def judged(path: Path) -> tuple[int, Record, list[str]]:
    outcome = run_job(path, dry_run=True)
    return outcome.exit_code, outcome.record, [one["kind"] for one in outcome.record["doubts"]]


@pytest.mark.parametrize(
    "apart",
    [
        {"east": 1.2, "north": -0.6},
        {"east": 1.6, "north": -1.6, "up": -11.5},
        {"east": -10.8, "north": -1.6, "up": -0.5},
        {"up": 24.0},
    ],
    ids=str,
)
@pytest.mark.parametrize("given", ["derived", "none"])
def test_a_base_started_anew_for_a_while(given: str, apart: dict[str, float], tmp_path: Path) -> None:
    """Two self-averaged positions differ by up to twice what one is off, in height by tens of metres."""
    job = simulate(replace(ONE, base_horizontal=0.0, base_vertical=0.0) if given == "none" else ONE)
    job = known(job) if given == "none" else job
    code, record, kinds = judged(write(job, tmp_path, between(job, at_base(job, 0, **apart)), beside=False))
    assert (code, kinds, record["verdict"]) == (3, ["base"], "unchecked")
    assert "no mark was occupied with the one of " in record["doubts"][0]["what"]


def test_positions_that_scatter_a_little_come_in_turn_all_the_same(tmp_path: Path) -> None:
    """A base that averages on has every position at one place only roughly."""
    job = known(simulate(replace(ONE, base_horizontal=0.0, base_vertical=0.0)))
    millimetres = iter(range(0, 1000, 11))

    def scattered(row: Row) -> dict[str, Any]:
        other = bool(between(job, {"there": True})(row))
        return at_base(job, 0, east=1.4 * other + 0.001 * (next(millimetres) % 20), north=0.0)

    assert judged(write(job, tmp_path, scattered, beside=False))[::2] == (3, ["base"])


def test_two_exports_with_a_position_each(tmp_path: Path) -> None:
    job = simulate(ONE)
    path = write(job, tmp_path, beside=False)
    parted(path, lambda row: at_base(job, 0, east=1.6, north=-1.6, up=-4.6))
    code, record, kinds = judged(path)
    assert (code, kinds) == (3, ["base"]) and record["doubts"][0]["what"].startswith("rover002.csv:2: ")


FAR = {"east": 148.0, "north": 2.0, "up": -8.4}


@pytest.mark.parametrize("how", ["another rover", "for a while, exported apart", "for good"])
def test_another_base_farther_than_two_positions_of_one_may_be(how: str, tmp_path: Path) -> None:
    """However far it stands, its readings hang on a shift that no mark tells."""
    job = simulate(ONE)
    if how == "for good":
        job.job["session"][0]["checks"].pop()
        job.rows = {name: values[job.rows["name"] != "S01-C2"] for name, values in job.rows.items()}
    path = write(job, tmp_path, beside=False)
    if how == "another rover":
        parted(path, lambda row: at_base(job, 0, **FAR))
    else:
        since, until = (5.0, 99.0) if how == "for good" else (2.0, 5.0)
        change = between(job, at_base(job, 0, **FAR), since, until)
        rewrite_export(tmp_path / "rover001.csv", lambda row: row | change(row))
    if how == "for a while, exported apart":
        heading, *lines = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
        noon = [line for line in lines if at_base(job, 0, **FAR)["BHt"] in line]
        for name, some in (("rover001.csv", [line for line in lines if line not in noon]), ("rover002.csv", noon)):
            (tmp_path / name).write_text("\n".join([heading, *some, ""]), encoding="utf-8")
    code, record, kinds = judged(path)
    assert (code, kinds) == (3, ["base"])
    what = record["doubts"][0]["what"]
    assert "2 positions of the base: " in what and " are 148." in what
    assert "no mark was occupied with the one of" in what
    assert at_base(job, 0)["BLon"][:10] in what and at_base(job, 0, **FAR)["BLon"][:10] in what
    assert "give each base its own session" in what


def test_a_mark_occupied_with_a_far_base_speaks_for_it(tmp_path: Path) -> None:
    job = simulate(replace(ONE, checks=3))
    path = write(job, tmp_path, between(job, at_base(job, 0, **FAR)), beside=False)
    mine = at_base(job, 0, **FAR)
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | (mine if row["Point"] == "S01-C2" else {}))
    assert judged(path)[::2] == (0, [])


@pytest.mark.parametrize("shift", [0.0, 0.04])
def test_virtual_stations_of_a_network_that_marks_tie(shift: float, tmp_path: Path) -> None:
    """Their corrections are of one frame: the shift is none, or some centimetres of it, wherever each station is."""
    job = simulate(replace(ONE, base_horizontal=shift, base_vertical=shift))
    path = write(job, tmp_path, beside=False)
    parted(path, lambda row: at_base(job, 0, **FAR))
    assert judged(path)[::2] == (0, [])


def test_a_far_base_logged_once_per_set_up_with_a_mark_in_each(tmp_path: Path) -> None:
    """The rows of the marks carry no position: those before them, which do, say which base theirs is."""
    job = simulate(ONE)
    path = write(job, tmp_path, beside=False)
    export = tmp_path / "rover001.csv"
    lines = export.read_text(encoding="utf-8").splitlines()[1:]
    times = sorted(line.split(",")[1] for line in lines)
    first, anew = times[0], next(time for time in times if late(job, {"Point": "S01", "Observed": time}, 0, 4.0))
    none = {"BLon": "", "BLat": "", "BHt": ""}
    rewrite_export(
        export,
        lambda row: row | {first: {}, anew: at_base(job, 0, **FAR)}.get(row["Observed"], none),
    )
    assert judged(path)[::2] == (0, [])


def test_a_field_shift_that_touches_no_reading_of_it_explains_nothing(tmp_path: Path) -> None:
    job = simulate(ONE)
    start = job.job["session"][0]["end"] - dt.timedelta(minutes=1)
    job.job["session"][0]["field_shift"] = {"from": start, "east": 1.0, "north": 0.0, "up": 0.0}
    code, _, kinds = judged(write(job, tmp_path, between(job, at_base(job, 0, east=1.6, up=-4.6)), beside=False))
    assert (code, kinds) == (3, ["base"])


def test_another_base_for_good_after_the_last_mark(tmp_path: Path) -> None:
    job = simulate(ONE)
    (last,) = [row for row in job.rows["name"] if row == "S01-C2"]
    job.job["session"][0]["checks"].pop()
    job.rows = {name: values[job.rows["name"] != last] for name, values in job.rows.items()}
    path = write(job, tmp_path, between(job, at_base(job, 0, east=1.6, up=-4.6), 5.0, 99.0), beside=False)
    assert judged(path)[::2] == (3, ["base"])


@pytest.mark.parametrize("what", ["another rover", "a few hours"])
def test_another_id_in_a_session_that_names_none(what: str, tmp_path: Path) -> None:
    job = simulate(ONE)
    path = without_base(job.write(tmp_path))
    other = {"Base": "BASE-77"}
    if what == "another rover":
        parted(path, lambda row: other)
    else:
        rewrite_export(tmp_path / "rover001.csv", lambda row: row | between(job, other)(row))
    code, record, kinds = judged(path)
    assert (code, kinds) == (3, ["base"])
    assert "different base ids, BASE-01 and BASE-77, and no mark" in record["doubts"][0]["what"]


@pytest.mark.parametrize("how", ["one position", "a mark with it", "spelled otherwise", "a network far away"])
def test_ids_that_are_left_in_peace(how: str, tmp_path: Path) -> None:
    job = simulate(ONE)
    name = "base 1" if how == "spelled otherwise" else "BASE-77"
    cells = {"Base": name} | (at_base(job, 0, east=30_000.0) if how == "a network far away" else {})
    span = (2.0, 99.0) if how == "a mark with it" else (2.0, 5.0)
    change = between(job, cells, *span)
    if how in ("one position", "a network far away"):
        path = write(job, tmp_path, change, beside=False)
    else:
        path = job.write(tmp_path)
        rewrite_export(tmp_path / "rover001.csv", lambda row: row | change(row))
    code, record, kinds = judged(without_base(path))
    assert (code, kinds, record["verdict"]) == (0, [], "proven")


@pytest.mark.parametrize("given", ["derived", "none"])
def test_a_mark_that_was_occupied_meanwhile_speaks_for_it(given: str, tmp_path: Path) -> None:
    """As where a controller has where it found itself as the base's position: the readings are right all the same."""
    job = simulate(replace(ONE, checks=3, base_horizontal=0.0, base_vertical=0.0))
    job = known(job) if given == "none" else job
    path = write(job, tmp_path, between(job, at_base(job, 0, east=1.6, up=-4.6)), beside=False)

    def check(row: Row) -> dict[str, Any]:
        return at_base(job, 0, east=1.6, up=-4.6) if row["Point"] == "S01-C2" else {}

    rewrite_export(tmp_path / "rover001.csv", lambda row: row | check(row))
    assert judged(path)[::2] == (0, [])


def test_a_log_of_fewer_digits_in_the_other_export(tmp_path: Path) -> None:
    """Four decimals of a degree are some metres."""
    job = simulate(ONE)
    path = write(job, tmp_path, beside=False)
    parted(path, lambda row: {"BLon": f"{float(row['BLon']):.4f}", "BLat": f"{float(row['BLat']):.4f}",
                              "BHt": f"{float(row['BHt']):.1f}"})  # fmt: skip
    assert judged(path)[::2] == (0, [])


def sexagesimal(degrees: str, form: str, decimals: int) -> str:
    """An angle in whole degrees and decimal minutes, or in degrees, minutes and seconds, of so many decimals."""
    per = {"minutes": 60, "seconds": 3600}[form] * 10**decimals
    whole, rest = divmod(round(abs(float(degrees)) * per), per)
    sign = "-" if float(degrees) < 0 else ""
    if form == "minutes":
        return f"{sign}{whole}°{rest / 10**decimals:0{3 + decimals}.{decimals}f}'"
    minutes, seconds = divmod(rest, 60 * 10**decimals)
    return f"{sign}{whole}°{minutes:02d}'{seconds / 10**decimals:0{3 + decimals}.{decimals}f}\""


@pytest.mark.parametrize(("form", "decimals"), [("seconds", 2), ("seconds", 1), ("minutes", 3)])
@pytest.mark.parametrize("away", [0.0, 8.0])
def test_a_log_of_few_decimals_of_a_second(form: str, decimals: int, away: float, tmp_path: Path) -> None:
    """A hundredth of a second is 0.3 m, a tenth 3 m, a thousandth of a minute 1.9 m; another base is further off."""
    job = simulate(ONE)
    path = write(job, tmp_path, beside=False)

    def written(row: Row) -> dict[str, Any]:
        row = row | at_base(job, 0, east=away)
        base = {name: sexagesimal(row[name], form, decimals) for name in ("BLon", "BLat")}
        place = {name: sexagesimal(row[name], "seconds", 6) for name in ("Lon", "Lat")}
        return base | place | {"BHt": f"{float(row['BHt']):.3f}"}

    parted(path, written)
    text = path.read_text(encoding="utf-8").replace('"rover*.csv"', '"rover001.csv"')
    block = text[text.index("[[points]]") :]
    assert '"rover001.csv"' in block
    other = block.replace("rover001", "rover002").replace("[[points]]", '[[points]]\nangles = "dms"')
    path.write_text(f"{text}\n{other}", encoding="utf-8")
    assert judged(path)[::2] == ((3, ["base"]) if away else (0, []))


def test_stations_of_a_network_in_turn(tmp_path: Path) -> None:
    job = known(simulate(replace(ONE, base_horizontal=0.0, base_vertical=0.0)))
    path = write(job, tmp_path, between(job, at_base(job, 0, east=25_000.0, north=9_000.0)), beside=False)
    assert judged(path)[::2] == (0, [])


def test_two_rovers_of_a_network_with_a_virtual_station_each(tmp_path: Path) -> None:
    job = known(simulate(replace(ONE, base_horizontal=0.0, base_vertical=0.0)))
    path = write(job, tmp_path, beside=False)
    parted(path, lambda row: at_base(job, 0, east=4.0, north=-2.0, up=0.3))
    assert judged(path)[::2] == (0, [])


@pytest.mark.parametrize("ids", [1, 2, 30])
def test_a_base_of_ones_own_in_a_session_of_network_corrections(ids: int, tmp_path: Path) -> None:
    """One id that no mark was occupied with is told; ids that change often are of virtual stations."""
    job = known(simulate(replace(ONE, base_horizontal=0.0, base_vertical=0.0)))
    path = without_base(job.write(tmp_path))
    numbers = iter(range(1000))
    inside = between(job, {"there": True})

    def change(row: Row) -> dict[str, Any]:
        if ids == 30:
            return {"Base": f"V{next(numbers) % ids}"}
        return {"Base": "OWN" if ids == 2 and inside(row) else "NET"}

    rewrite_export(tmp_path / "rover001.csv", lambda row: row | change(row))
    code, record, kinds = judged(path)
    told = [note for note in record["notes"] if "no mark was occupied with base id" in note]
    assert (code, kinds, len(told)) == (0, [], int(ids == 2))
    assert all("base id OWN of" in note and "besides NET (" in note for note in told)


def test_a_field_shift_that_the_log_has_too(tmp_path: Path) -> None:
    """From a time on the base's position is the corrected one, as the points are."""
    job = simulate(ONE)
    start = job.job["session"][0]["start"] + dt.timedelta(hours=2)
    vector = {"east": 1.4, "north": -2.2, "up": 7.5}
    job.correct_in_field(0, start, **vector)
    job.job["session"][0]["field_shift"] = {"from": start, **vector}
    path = write(job, tmp_path, between(job, at_base(job, 0, **vector), 2.0, 99.0), beside=False)
    assert judged(path)[::2] == (0, [])


def test_a_gap_in_the_log_is_told(tmp_path: Path) -> None:
    job = simulate(ONE)
    nothing = {"BLon": "", "BLat": "", "BHt": ""}
    path = write(job, tmp_path, between(job, nothing), beside=False)
    code, record, kinds = judged(path)
    assert (code, kinds) == (0, [])
    (told,) = [note for note in record["notes"] if "carry no position of the base" in note]
    assert told.startswith("session session-01: ") and "rover001.csv:" in told


def test_a_log_that_is_there_once_per_set_up_is_left_in_peace(tmp_path: Path) -> None:
    job = simulate(ONE)
    path = write(job, tmp_path, lambda row: {} if row["Point"] in ("S01-T1", "S01-C2") else {"BHt": ""}, beside=False)
    assert not [note for note in judged(path)[1]["notes"] if "carry no position of the base" in note]


def by_turns(job: Simulation, **apart: float) -> Cells:
    """Every other point of an export was measured with another controller."""
    rows = iter(range(10_000))

    def cells(row: Row) -> dict[str, Any]:
        mark = "-T" in row["Point"] or "-C" in row["Point"]
        return at_base(job, 0, **apart) if next(rows) % 2 and not mark else {}

    return cells


def sorted_by(path: Path, key: Callable[[str], Any]) -> Path:
    export = path.parent / "rover001.csv"
    heading, *rows = export.read_text(encoding="utf-8").splitlines()
    export.write_text("\n".join([heading, *sorted(rows, key=key), ""]), encoding="utf-8")
    return path


@pytest.mark.parametrize("given", ["derived", "none"])
@pytest.mark.parametrize("order", ["in time", "one after the other"])
def test_two_controllers_put_together_in_one_export(order: str, given: str, tmp_path: Path) -> None:
    """One has the antenna where the other has the mark; or both have virtual stations of a network, some metres off."""
    job = simulate(replace(ONE, base_horizontal=0.0, base_vertical=0.0) if given == "none" else ONE)
    job = known(job) if given == "none" else job
    apart = {"east": 4.0, "north": -2.0, "up": 0.3} if given == "none" else {"up": 1.8}
    path = write(job, tmp_path, by_turns(job, **apart), beside=False)
    if order != "in time":
        mine = at_base(job, 0)["BHt"]
        sorted_by(path, lambda row: (mine not in row, row.split(",")[1]))
    assert judged(path)[::2] == (0, [])


def test_two_controllers_with_a_base_each_in_one_export(tmp_path: Path) -> None:
    job = simulate(ONE)
    assert judged(write(job, tmp_path, by_turns(job, east=1.6, north=-1.6, up=-4.6), beside=False))[::2] == (
        3,
        ["base"],
    )


def test_a_base_started_anew_in_an_export_that_is_not_in_the_order_of_time(tmp_path: Path) -> None:
    """Its rows are mixed, its times are not."""
    job = simulate(ONE)
    path = write(job, tmp_path, between(job, at_base(job, 0, up=1.8)), beside=False)
    sorted_by(path, lambda row: hash_of(row.split(",")[0]))
    assert judged(path)[::2] == (3, ["base"])


def hash_of(text: str) -> int:
    return sum(31**place * ord(letter) for place, letter in enumerate(text)) % 9_973


def on_stations(job: Simulation, every: int, since: float = 2.0, until: float = 5.0) -> Cells:
    """For a few hours every so many rows of their own have another virtual station, some hundreds of metres apart."""
    inside, numbers = between(job, {"there": True}, since, until), iter(range(1000))

    def cells(row: Row) -> dict[str, Any]:
        return at_base(job, 0, east=150.0 + 90.0 * (next(numbers) // every), north=40.0, up=-2.2) if inside(row) else {}

    return cells


MANY = replace(ONE, points=60)


def test_stations_of_a_network_between_readings_with_a_base_of_ones_own(tmp_path: Path) -> None:
    """However many they are: what the marks give the base of is not theirs, and that base came back."""
    job = simulate(MANY)
    code, record, kinds = judged(write(job, tmp_path, on_stations(job, 3), beside=False))
    assert (code, kinds, record["verdict"]) == (3, ["base"], "unchecked")
    what = record["doubts"][0]["what"]
    assert f"{at_base(job, 0)['BLon'][:10]}" in what and "no mark was occupied with the one of 3 readings" in what
    assert int(what.split("its points have ")[1].split()[0]) > 6


@pytest.mark.parametrize("how", ["all day", "none comes again", "no shift", "a mark occupied with one"])
def test_many_stations_of_a_network_are_left_in_peace(how: str, tmp_path: Path) -> None:
    """A frame that is a metre off needs a shift for all of them: nobody can say that one is a base of one's own."""
    job = simulate(replace(MANY, base_horizontal=0.1, base_vertical=0.1) if how == "no shift" else MANY)
    cells = {
        "all day": on_stations(job, 6, 0.0, 99.0),
        "none comes again": on_stations(job, 3, 5.0, 99.0),
    }.get(how, on_stations(job, 3))
    path = write(job, tmp_path, cells, beside=False)
    if how == "a mark occupied with one":
        mine = at_base(job, 0, east=150.0, north=40.0, up=-2.2)
        rewrite_export(tmp_path / "rover001.csv", lambda row: row | (mine if row["Point"] == "S01-C1" else {}))
    assert judged(path)[::2] == (0, [])


def test_many_stations_in_columns_that_nobody_mapped_are_told_likewise(tmp_path: Path) -> None:
    for how, noted in (("back", 1), ("for good", 0), ("no shift", 0)):
        job = simulate(replace(MANY, base_horizontal=0.1, base_vertical=0.1) if how == "no shift" else MANY)
        cells = on_stations(job, 3, *((5.0, 99.0) if how == "for good" else (2.0, 5.0)))
        (folder := tmp_path / how).mkdir()
        path = job.write(folder)
        rewrite_export(
            folder / "rover001.csv",
            lambda row, job=job, cells=cells: row | rename(at_base(job, 0)) | rename(cells(row)),
        )
        code, record, kinds = judged(path)
        told = [note for note in record["notes"] if 'column "BaseLon" of rover001.csv is not mapped' in note]
        assert (how, code, kinds, len(told)) == (how, 0, [], noted)


def rename(cells: dict[str, Any]) -> dict[str, Any]:
    """Cells of the base's position under headings that say so."""
    return {{"BLon": "BaseLon", "BLat": "BaseLat", "BHt": "BaseHt"}[name]: cell for name, cell in cells.items()}
