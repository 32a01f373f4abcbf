"""Columns of base ids, base positions and solutions that no job file maps, and what they tell."""

from dataclasses import replace
from pathlib import Path

import pytest
from base_logged import SMALL, at_base, late
from running import replace_in, rewrite_export
from simulate import Simulation, simulate

from pipeline import run_job
from pipeline.issue.record_types import Record


def one_session() -> Simulation:
    return simulate(replace(SMALL, sessions=1))


def bare(job: Simulation, folder: Path) -> Path:
    """A job that maps neither base nor solution, with an export that has none."""
    path = job.write(folder)
    replace_in(path, {', base = "Base"': "", 'base = "BASE-01"\n': "", ', solution = "Sol"': ""})
    rewrite_export(folder / "rover001.csv", lambda row: {k: v for k, v in row.items() if k not in ("Base", "Sol")})
    return path


def columned(path: Path, job: Simulation, heading: str, plain: str, other: str) -> Path:
    """One more column, with another value for the points of three hours."""

    def cell(row: dict[str, str]) -> str:
        return other if late(job, row, 0, 2.0) and not late(job, row, 0, 5.0) else plain

    rewrite_export(path.parent / "rover001.csv", lambda row: row | {heading: cell(row)})
    return path


def judged(path: Path) -> tuple[int, Record, list[str]]:
    outcome = run_job(path, dry_run=True)
    return outcome.exit_code, outcome.record, [note for note in outcome.record["notes"] if "is not mapped and" in note]


@pytest.mark.parametrize("heading", ["Base ID", "Reference station", "Basisstation"])
def test_base_ids_that_change_are_told_with_their_counts(heading: str, tmp_path: Path) -> None:
    job = one_session()
    path = columned(bare(job, tmp_path), job, heading, "1001", "1002")
    rows = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()[1:]
    other = sum(row.endswith(",1002") for row in rows)
    code, record, (told,) = judged(path)
    assert (code, record["doubts"]) == (0, []) and other
    assert f'column "{heading}" of rover001.csv is not mapped and has 2 values' in told
    assert f"1002 ({other:,}; first rover001.csv:" in told and f"1001 ({len(rows) - other:,};" in told
    assert "map it as base" in told


def test_a_position_of_the_base_that_changes(tmp_path: Path) -> None:
    job = one_session()
    here, there = at_base(job, 0)["BLon"], at_base(job, 0, east=148.0)["BLon"]
    _, _, (told,) = judged(columned(bare(job, tmp_path), job, "BaseLon", here, there))
    assert "map it as base_longitude" in told


@pytest.mark.parametrize(("there", "told"), [("3.100001040", 1), ("3.100000960", 1), ("3.100000052", 0)])
def test_a_base_off_by_half_a_decimetre_is_told_whatever_its_digits(there: str, told: int, tmp_path: Path) -> None:
    """Some centimetres either way, and less than 1 mm: two mapped positions are two bases from 3 cm on."""
    job = one_session()
    here = "3.100000049" if not told else "3.100000000" if there > "3.100001" else "3.100001500"
    assert len(judged(columned(bare(job, tmp_path), job, "BaseLat", here, there))[2]) == told


def positioned(path: Path, job: Simulation, headings: tuple[str, str], east: float) -> Path:
    """Two more columns with longitude and latitude of the base, which stands elsewhere from two hours on."""
    here, there = ((at["BLon"], at["BLat"]) for at in (at_base(job, 0), at_base(job, 0, east=east, north=-east)))

    def cells(row: dict[str, str]) -> dict[str, str]:
        return dict(zip(headings, there if late(job, row, 0, 2.0) else here, strict=True))

    rewrite_export(path.parent / "rover001.csv", lambda row: row | cells(row))
    return path


@pytest.mark.parametrize(
    "headings",
    [
        ("Basis Länge", "Basis Breite"), ("Station Lon", "Station Lat"), ("Longitud estación", "Latitud estación"),
        ("Longitude de la base", "Latitude de la base"), ("Długość stacji", "Szerokość stacji"),
        ("Info 1", "Info 2"),
    ],
)  # fmt: skip
def test_positions_of_the_base_are_known_by_many_headings_and_by_none(
    headings: tuple[str, str], tmp_path: Path
) -> None:
    job = one_session()
    _, _, (told,) = judged(positioned(bare(job, tmp_path), job, headings, 3.0))
    assert f'column "{headings[0]}" of' in told and "has 2 values" in told and "positions of the base" in told


@pytest.mark.parametrize(
    "headings",
    [("Line start Lon", "Line start Lat"), ("Parcel X", "Parcel Y"), ("Soll Länge", "Soll Breite"), ("Axe X", "Axe Y")],
)
def test_places_in_the_work_are_no_base(headings: tuple[str, str], tmp_path: Path) -> None:
    """Lines and plots that are measured one after the other: their coordinates stay for a while as a base's do."""
    job = one_session()
    assert judged(positioned(bare(job, tmp_path), job, headings, 3.0))[2] == []


def test_what_stays_or_lies_beside_the_readings_is_no_base(tmp_path: Path) -> None:
    job = one_session()
    path = positioned(bare(job, tmp_path), job, ("Info 1", "Info 2"), 0.0)
    assert judged(path)[2] == []

    def moved(row: dict[str, str]) -> dict[str, str]:
        """All readings stand beside one of two known points, whose coordinates their rows have too."""
        lon, lat = ("171.850000031", "-43.700000031") if late(job, row, 0, 2.0) else ("171.851000031", "-43.701000031")
        return row | {"Lon": f"{lon}7", "Lat": f"{lat}7", "Info 1": lon, "Info 2": lat}

    rewrite_export(tmp_path / "rover001.csv", lambda row: moved(row) if row["Code"] not in ("CM", "CHK") else row)
    assert judged(path)[2] == []


def test_another_column_of_ids_changes_where_the_mapped_one_stays(tmp_path: Path) -> None:
    job = one_session()
    path = columned(job.write(tmp_path), job, "Reference station", "1001", "1002")
    _, record, (told,) = judged(path)
    assert record["doubts"] == [] and 'column "Reference station" of' in told
    assert judged(columned(path, job, "Reference station", "1001", "1001"))[2] == []
    assert judged(columned(path, job, "Ref", "sheet 1", "sheet 2"))[2] == []


@pytest.mark.parametrize(
    ("heading", "plain", "other"),
    [
        ("Base ID", "1001", "1001"),
        ("Base ID", "1001", ""),
        ("Base ID", "BASE-1", "base 1"),
        ("Crew", "1001", "1002"),
        ("BaseLon", "172.600000001", "172.600000002"),
    ],
)
def test_what_is_one_value_or_no_base_is_left_in_peace(heading: str, plain: str, other: str, tmp_path: Path) -> None:
    job = one_session()
    assert judged(columned(bare(job, tmp_path), job, heading, plain, other))[2] == []


def test_what_differs_from_reading_to_reading_is_no_base(tmp_path: Path) -> None:
    job = one_session()
    path, count = bare(job, tmp_path), iter(range(1000))
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Reference": f"sheet {next(count) % 12}"})
    assert judged(path)[2] == []


def test_stations_of_a_network_are_left_in_peace(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, sessions=1, base_horizontal=0.0, base_vertical=0.0))
    session = job.job["session"][0]
    session |= {"shift": "none", "ties": [], "checks": [*session["ties"], *session["checks"]]}
    assert judged(columned(bare(job, tmp_path), job, "Base ID", "1001", "1002"))[::2] == (0, [])


@pytest.mark.parametrize(
    ("fixed", "other"),
    [
        ("Fixed", "Autonomous"), ("RTK fixed", "RTK float"), ("fix", "DGPS"), ("Fixed", "Single"), ("RTK", "SBAS"),
        ("fixé", "non fixé"), ("fixní", "plovoucí"), ("固定", "浮動"), ("narrow-int", "narrow-float"),
    ],
)  # fmt: skip
def test_readings_that_say_they_are_not_fixed_are_in_doubt(fixed: str, other: str, tmp_path: Path) -> None:
    job = one_session()
    path = columned(bare(job, tmp_path), job, "Solution type", fixed, other)
    count = sum(row.endswith(other) for row in (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines())
    code, record, _ = judged(path)
    (doubt,) = record["doubts"]
    assert (code, doubt["kind"], record["verdict"]) == (3, "precision", "unchecked")
    assert f"it says of {count} issued readings" in doubt["what"] and f"{other} ({count})" in doubt["what"]
    assert 'solution = "Solution type"' in doubt["what"]


@pytest.mark.parametrize(
    ("heading", "plain", "other", "notes"),
    [
        ("Solution type", "Fixed", "Fixed", 0),
        ("Status", "ok", "none", 0),
        ("Fixed", "Fixed", "No", 1),
        ("GPS Quality", "4", "5", 1),
        ("Quality", "1", "2", 0),
        ("Remark", "Fixed", "Float", 0),
        ("Sol", "Y", "N", 1),
        ("Sol", "phase", "code", 1),
        ("Solution type", "measured", "autonomous", 1),
        ("Status", "measured", "staked", 0),
    ],
)
def test_what_may_be_of_something_else_is_a_note_at_most(
    heading: str, plain: str, other: str, notes: int, tmp_path: Path
) -> None:
    job = one_session()
    code, record, told = judged(columned(bare(job, tmp_path), job, heading, plain, other))
    assert (code, record["doubts"], len(told)) == (0, [], notes)


def test_floats_that_the_job_accepts_are_no_doubt(tmp_path: Path) -> None:
    job = one_session()
    path = columned(bare(job, tmp_path), job, "Solution type", "Fixed", "Float")
    text = path.read_text(encoding="utf-8").replace("[quality]\n", '[quality]\nsolutions = ["fixed", "float"]\n')
    path.write_text(text, encoding="utf-8")
    assert judged(path)[0] == 0


@pytest.mark.parametrize("heading", ["BaseAnt", "Base antenna height (m)", "Ref. antenna ht", "Antennenhöhe Basis"])
def test_an_antenna_height_of_the_base_that_changes(heading: str, tmp_path: Path) -> None:
    job = one_session()
    code, record, (told,) = judged(columned(bare(job, tmp_path), job, heading, "1.600", "1.850"))
    assert (code, record["doubts"]) == (0, [])
    assert f'column "{heading}" of rover001.csv is not mapped and has 2 values: 1.600 (' in told
    assert "map it as antenna_height" in told


def test_antenna_heights_in_feet_are_compared_as_metres(tmp_path: Path) -> None:
    """A fifth of a foot is 61 mm: beyond the tolerance of checks."""
    job = one_session()
    assert len(judged(columned(bare(job, tmp_path), job, "Base antenna height (ft)", "5.25", "5.45"))[2]) == 1


@pytest.mark.parametrize(
    ("heading", "plain", "other"),
    [
        ("BaseAnt", "1.600", "1.600"),
        ("BaseAnt", "1.600", ""),
        ("BaseAnt", "1.600", "1.6"),
        ("BaseAnt", "type A", "type B"),
        ("Base antenna height (ft)", "5.25", "5.38"),  # 40 mm, within the tolerance of checks
        ("Antenna height", "1.600", "1.850"),
        ("Base antenna type", "1", "2"),
        ("Foundation height", "1.600", "1.850"),
    ],
)
def test_what_is_no_antenna_height_of_the_base_is_left_in_peace(
    heading: str, plain: str, other: str, tmp_path: Path
) -> None:
    job = one_session()
    assert judged(columned(bare(job, tmp_path), job, heading, plain, other))[2] == []
