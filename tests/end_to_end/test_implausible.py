"""What cannot lie where it says is held back, what is doubtful told; real ground, however steep or far, is neither.

That bases reach tens of kilometres, and how steep ground is, are common practice, no source.
"""

from collections.abc import Callable
from pathlib import Path

import base_logged
import numpy as np
import pytest
from running import record_of, run_simulated, run_written
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.problems import JobError

COMPACT = Plan(sessions=1, points=300, reach=200.0)
ROW = 50
_DEGREE = 111_320.0


def changed(**values: float) -> Simulation:
    job = simulate(COMPACT)
    for name, value in values.items():
        job.rows[name] = job.rows[name].copy()
        job.rows[name][ROW] = value
    return job


def planted() -> dict[str, tuple[dict[str, float], str]]:
    """Return what is planted in one row, and a word that its detail must have."""
    rows = simulate(COMPACT).rows
    longitude, latitude, height = (float(rows[name][ROW]) for name in ("longitude", "latitude", "height"))
    found = {f"height {value:g}": ({"height": value}, "for an unknown height")
             for value in (-9999.0, 0.0, -99999.0, 9999.0, 999999.0, 1e38, -32768.0, 999.999)}  # fmt: skip
    return found | {
        "10 km up": ({"height": height + 10_000}, "above its neighbours"),
        "lost point": ({"height": height * 10}, "decimal point"),
        "lost minus of the height": ({"height": -height}, "other sign"),
        "zero": ({"longitude": 0.0, "latitude": 0.0}, "both coordinates are zero"),
        "longitude's sign": ({"longitude": -longitude}, "other sign of its longitude"),
        "latitude's sign": ({"latitude": -latitude}, "other sign of its latitude"),
        "longitude's point": ({"longitude": longitude / 10}, "decimal point"),
        "a degree": ({"latitude": latitude + 1}, "111 km from the middle"),
    }


@pytest.mark.parametrize("name", planted())
def test_what_cannot_be_is_held_back_and_says_why(name: str, tmp_path: Path) -> None:
    values, word = planted()[name]
    issue = run_simulated(changed(**values), tmp_path)
    (held,) = issue.held_back.rows
    assert (held["reason"], held["source_row"]) == ("implausible", ROW + 2)
    assert word in held["detail"]
    assert any(f"rover001.csv:{ROW + 2} " in note for note in issue.record["notes"])


@pytest.mark.parametrize("other", [{}, {"height": 0.0}])
def test_a_tie_of_no_known_uncertainty_is_refused_for_that_and_nothing_else(
    other: dict[str, float], tmp_path: Path
) -> None:
    path = changed(**other).write(tmp_path)
    export = tmp_path / "rover001.csv"
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    tie = next(number for number, line in enumerate(lines) if line.startswith("S01-T1,"))
    cells = lines[tie].split(",")
    cells[heading.split(",").index("sU")] = "318"
    lines[tie] = ",".join(cells)
    export.write_text("\n".join([heading, *lines, ""]), encoding="utf-8")
    with pytest.raises(JobError) as refused:
        run_job(path)
    (problem,) = refused.value.problems
    assert "uncertainty of 318 m" in problem.what and "neighbours" not in problem.what


@pytest.mark.parametrize(("name", "metres"), [("height", 100.0), ("height", -100.0), ("latitude", 1_000.0)])
def test_what_is_doubtful_is_issued_and_told(name: str, metres: float, tmp_path: Path) -> None:
    value = float(simulate(COMPACT).rows[name][ROW]) + metres / (1.0 if name == "height" else _DEGREE)
    record = run_job(changed(**{name: value}).write(tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {}
    assert sum(f"rover001.csv:{ROW + 2} " in note and "should be checked" in note for note in record["notes"]) == 1


def test_swapped_and_shifted_eastings_are_said_so(tmp_path: Path) -> None:
    # New Zealand's projection in closed form (LINZ: NZTM2000), shared with the simulator
    job = simulate(COMPACT)
    east, north = job.plan.place.projection.forward(job.rows["longitude"], job.rows["latitude"])
    east[ROW], north[ROW] = north[ROW], east[ROW]
    east[ROW + 1] *= 10
    path = job.write(tmp_path)
    text = path.read_text(encoding="utf-8")
    text = text.replace('latitude = "Lat", longitude = "Lon"', 'easting = "E", northing = "N"')
    path.write_text(text.replace('crs = "EPSG:4959"', 'crs = "EPSG:2193"'), encoding="utf-8")
    lines = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
    columns = [f",{e:.3f},{n:.3f}" for e, n in zip(east, north, strict=True)]
    text = "\n".join(line + more for line, more in zip(lines, [",E,N", *columns], strict=True))
    (tmp_path / "rover001.csv").write_text(text + "\n", encoding="utf-8")
    issue = run_written(path)
    details = {row["source_row"]: row["detail"] for row in issue.held_back.rows if row["reason"] == "implausible"}
    assert set(details) == {ROW + 2, ROW + 3}
    assert "coordinates swapped" in details[ROW + 2]
    assert "decimal point" in details[ROW + 3]


def test_the_rest_of_an_export_keeps_its_proof(tmp_path: Path) -> None:
    """Four longitudes without their sign lie in another zone; the points and the marks beside them do not."""
    job = simulate(COMPACT)
    job.rows["longitude"] = job.rows["longitude"].copy()
    job.rows["longitude"][ROW : ROW + 4] *= -1.0
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {"implausible": 4}
    assert record["verdict"] == "proven" and not record["doubts"]
    assert not [note for note in record["notes"] if "is meant for longitudes" in note]


def test_a_tie_that_cannot_be_stops_the_run(tmp_path: Path) -> None:
    job = simulate(COMPACT)
    job.rows["height"][0] = -9999.0
    with pytest.raises(JobError, match=r"S01-T1.*rover001.csv:2.*implausible.*-9999"):
        run_job(job.write(tmp_path))


def test_a_check_that_cannot_be_fails_and_is_not_put_aside(tmp_path: Path) -> None:
    job = simulate(COMPACT)
    job.rows["height"][1] = -9999.0
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert record["verdict"] == "failed"
    assert any("rover001.csv:3 " in note and "-9999" in note for note in record["notes"])


@pytest.mark.parametrize(
    ("decimals", "spread", "zeros", "held", "told"),
    [
        # 60 heights with a standard deviation of 3 m: 60 x 0.4 / 3 m x the last digit of them are zero by chance
        (4, 3.0, 1, 1, 0),
        (3, 3.0, 1, 1, 0),
        (2, 3.0, 2, 2, 0),
        (2, 3.0, 1, 0, 1),
        (1, 3.0, 1, 0, 0),
        (3, 0.02, 1, 0, 0),  # still water at zero
    ],
)
def test_zero_by_the_sea(decimals: int, spread: float, zeros: int, held: int, told: int, tmp_path: Path) -> None:
    """Heights around zero, some of them a plain zero as software writes for one that it does not know."""
    job = simulate(Plan(sessions=1, points=60, reach=200.0, noise=False))
    rng, rows, names = np.random.default_rng(8), job.rows, job.marks.names
    low = rng.normal(0.0, spread, len(rows["height"]))
    drafted = rows["kind"] == "point"
    by = {mark: low[number] for number, mark in enumerate(names)}
    level = float(rows["height"][0])
    on = np.array([by.get(mark, 0.0) for mark in named_mark(job)])
    rows["height"] = np.round(np.where(drafted, low, rows["height"] - level + on), decimals)
    job.register["height"] = job.register["height"] - level + np.array([by[mark] for mark in job.register["mark"]])
    rows["height"][np.flatnonzero(drafted & (rows["height"] == 0))] += 10.0**-decimals
    rows["height"][np.flatnonzero(drafted)[5 : 5 + zeros]] = 0.0
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == ({"implausible": held} if held else {}), record["notes"]
    assert sum("should be checked" in note for note in record["notes"]) == told


def test_figures_of_quality_that_stand_for_none(tmp_path: Path) -> None:
    job = simulate(COMPACT)
    job.rows["sigma_up"][ROW], job.rows["sigma_up"][ROW + 1] = 0.0, 99.99
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {str(job.rows["name"][ROW + 1]): "implausible"}
    assert any(f"row {ROW + 2} has a standard uncertainty of zero" in note for note in issue.record["notes"])
    # as uncertain as the job says: 1.96 of 15 mm, and more for the shift
    assert issue.points.one(source_row=ROW + 2)["vu95"] > 1.96 * 0.015


Ground = Callable[[np.ndarray, np.ndarray], np.ndarray]
GROUNDS: dict[str, Ground] = {
    "alpine slope": lambda east, north: 0.6 * (east + 1_000),
    "dam": lambda east, north: np.where(east > 0, 100.0, 0.0),
    "tower": lambda east, north: np.where(np.arange(len(east)) == 40, 80.0, 0.0),
    "tidal flat": lambda east, north: np.where(np.arange(len(east)) % 40 == 0, 0.0, 0.2) - 310.0,
}


@pytest.mark.parametrize("ground", GROUNDS)
def test_real_ground_is_quiet(ground: str, tmp_path: Path) -> None:
    """Marks stand on the ground as points do."""
    job = simulate(Plan(sessions=1, points=200, reach=100.0 if ground != "alpine slope" else 1_000.0))
    place, rows = job.plan.place, job.rows
    east = (rows["longitude"] - place.longitude) * _DEGREE * np.cos(np.radians(place.latitude))
    north = (rows["latitude"] - place.latitude) * _DEGREE
    drafted = rows["kind"] == "point"
    rise = np.where(drafted, GROUNDS[ground](east, north), 0.0)
    for mark in job.marks.names:
        on = (rows["kind"] != "point") & (named_mark(job) == mark)
        if on.any():
            rise[on] = GROUNDS[ground](east[on][:1], north[on][:1])
            job.register["height"][job.register["mark"] == mark] += rise[on][0]
    rows["height"] = rows["height"] + rise
    quiet(job, tmp_path)


def named_mark(job: Simulation) -> np.ndarray:
    """Return (n,) the mark that each row stands on by the job file, else nothing."""
    said = {one["point"]: one["mark"] for one in (*job.job["session"][0]["ties"], *job.job["session"][0]["checks"])}
    return np.array([said.get(name, "") for name in job.rows["name"]], object)


@pytest.mark.parametrize("spread", ["corridor", "two villages", "network"])
def test_work_far_apart_is_quiet(spread: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=100, place=ELLIPSOIDAL))
    rng, drafted = np.random.default_rng(5), np.flatnonzero(job.rows["kind"] == "point")
    along = {
        "corridor": np.linspace(-30_000, 30_000, 100),
        "two villages": np.where(np.arange(100) < 95, 0.0, 15_000.0) + rng.uniform(-300, 300, 100),
        "network": rng.uniform(-200_000, 200_000, 100),
    }[spread]
    job.rows["longitude"][drafted] = job.plan.place.longitude + along / 80_500
    if spread == "network":
        job.job["session"][0] |= {"shift": "none", "ties": [], "checks": []}
        job.keep(drafted)
    quiet(job, tmp_path)


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        (lambda height: height * 3.28084, "units"),
        (lambda height: height + 400.0, "export-heights"),
        (lambda height: height + 100.0, None),  # a cliff
    ],
)
def test_heights_that_company_hides_are_doubted(
    change: Callable[[np.ndarray], np.ndarray], kind: str | None, tmp_path: Path
) -> None:
    """A fifth of the points, all over the site, have other heights: no check is among them."""
    job = simulate(Plan(sessions=1, points=100, reach=150.0))
    drafted = np.flatnonzero(job.rows["kind"] == "point")[::5]
    job.rows["height"] = job.rows["height"].copy()
    job.rows["height"][drafted] = change(job.rows["height"][drafted])
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert [one["kind"] for one in outcome.record["doubts"]] == ([kind] if kind else [])
    assert outcome.record["verdict"] == ("unchecked" if kind else "proven")
    told = outcome.record["doubts"][0]["what"] if kind else ""
    assert not kind or ("natural ground is not that steep. If this is a tower, bridge" in told and "confirm" in told)


def test_rows_in_a_row_that_jump_and_come_back_are_told(tmp_path: Path) -> None:
    """A tenth of a degree in three rows, among points some 100 m from one another: alone none of them is."""
    job = simulate(COMPACT)
    job.rows["longitude"] = job.rows["longitude"].copy()
    job.rows["longitude"][ROW : ROW + 3] += 0.1
    record = run_job(job.write(tmp_path), dry_run=True).record
    (told,) = [note for note in record["notes"] if "readings in a row are" in note]
    assert told.startswith(f"rover001.csv:{ROW + 2}: ") and "3 readings in a row are 8," in told
    assert record["verdict"] == "proven"


@pytest.mark.parametrize(("code", "says"), [("PT", True), ("ROOF", False)])
def test_heights_in_a_row_with_a_digit_mistyped_are_told(code: str, says: bool, tmp_path: Path) -> None:
    """20 m in four rows, among points on level ground: not where they alone have a code, as a roof has."""
    job = simulate(COMPACT)
    chosen = np.isin(np.arange(len(job.rows["name"])), range(ROW, ROW + 4))
    points = job.rows["kind"] == "point"
    up = np.where(chosen, 20.0, 0.0) + np.random.default_rng(4).normal(0.0, 0.1, len(points))
    job.rows["height"] = np.where(points, job.rows["height"][points].mean() + up, job.rows["height"])
    job.rows["code"] = np.where(chosen, code, np.where(points, "PT", job.rows["code"]))
    record = run_job(job.write(tmp_path), dry_run=True).record
    told = [note for note in record["notes"] if "a digit of the height" in note]
    assert len(told) == says and record["verdict"] == "proven"
    assert not says or (
        told[0].startswith(f"rover001.csv:{ROW + 2}: ") and "4 readings in a row are 20.0 m abo" in told[0]
    )


def away_from_base(east: float, limit: float | None, folder: Path, **session: object) -> Path:
    """Write a job whose base logged itself so many metres to the east of where it broadcast from."""
    job = simulate(SMALL_SITE)
    job.job["quality"] |= {} if limit is None else {"max_distance": limit}
    job.job["session"][0] |= session
    return base_logged.write(job, folder, lambda _: base_logged.at_base(job, 0, east=east), beside=False)


SMALL_SITE = Plan(sessions=1, points=20, ties=1, checks=2, marks=4, reach=200.0)


def test_a_stated_limit_counts_from_the_base_however_many_are_beyond_it(tmp_path: Path) -> None:
    """The whole site is some 12 km from its base, and the job accepts 10: a tie there is none, nor is any point."""
    with pytest.raises(JobError, match=r"implausible: is 1[12](,\d{3} m| km) from the base of session"):
        run_job(away_from_base(12_000.0, 10_000.0, tmp_path))


def test_a_job_of_which_all_is_beyond_a_stated_limit_is_refused_for_that(tmp_path: Path) -> None:
    shift = {"east": 0.0, "north": 0.0, "up": 0.0}
    path = away_from_base(12_000.0, 10_000.0, tmp_path, shift=shift, ties=[], checks=[])
    with pytest.raises(JobError, match="all 23 readings that could be used cannot be where they state") as refused:
        run_job(path)
    (problem,) = refused.value.problems
    assert "from the base of session" in problem.what and "limits of [quality]" in problem.fix


def test_a_base_that_served_nobody_does_not_hold_back_a_day(tmp_path: Path) -> None:
    """Its logged position is in another part of the country: the limit counts from the middle, which is told."""
    record = run_job(away_from_base(300_000.0, 10_000.0, tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {} and not record["doubts"]
    (told,) = [note for note in record["notes"] if "max_distance" in note]
    read = record["rows"]["read"]
    assert f": {read} of {read} readings are farther from the base than quality.max_distance = 10000 m; " in told
    assert " km away, is taken to be wrong" in told


@pytest.mark.parametrize("east", [12_000.0, 300_000.0])
def test_a_limit_that_no_job_states_holds_no_day_back(east: float, tmp_path: Path) -> None:
    record = run_job(away_from_base(east, None, tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {} and not record["doubts"]
    assert not [note for note in record["notes"] if "max_distance" in note]


@pytest.mark.parametrize("limit", [10_000.0, 500.0])
def test_a_stated_limit_is_silent_where_the_base_is_near(limit: float, tmp_path: Path) -> None:
    record = run_job(away_from_base(0.0, limit, tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {} and not record["doubts"]
    assert not [note for note in record["notes"] if "max_distance" in note]


def quiet(job: Simulation, folder: Path) -> None:
    record = run_job(job.write(folder), dry_run=True).record
    assert record["rows"]["by_reason"] == {}
    assert not [
        note
        for note in record["notes"]
        if "should be checked" in note or "cannot be where" in note or "steep" in note or "in a row" in note
    ]
    assert not record["doubts"]


def test_a_reading_that_nobody_reached_on_foot_is_told(tmp_path: Path) -> None:
    """Every 15 s, some 12 m from point to point, and one 760 m to the northeast: no digit of one coordinate."""
    made = simulate(Plan(sessions=1, points=40))
    point = np.flatnonzero(made.rows["kind"] == "point")
    made.rows["time"][point] = made.rows["time"][point[0]] + 15_000 * np.arange(40).astype("timedelta64[ms]")
    for name, metre in (("longitude", 1.0 / 80_000.0), ("latitude", 1.0 / 111_000.0)):
        made.rows[name][point] = made.rows[name][point[0]] + 8.0 * metre * np.arange(40)
    made.rows["height"][point] = made.rows["height"][point[0]]
    honest = record_of(made.write(tmp_path / "honest"))
    assert not any("on foot" in note for note in honest["notes"])
    made.rows["longitude"][point[20]] += 540.0 / 80_000.0
    made.rows["latitude"][point[20]] += 540.0 / 111_000.0
    record = record_of(made.write(tmp_path / "aside"))
    (note,) = [note for note in record["notes"] if "on foot" in note]
    assert note.startswith(f"rover001.csv:{point[20] + 2}: session session-01: 1 reading lies 7") and "15 s" in note
