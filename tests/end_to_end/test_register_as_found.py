"""A whole job on a register and a table of sessions as an office keeps them; simulated truth."""

import csv
from pathlib import Path

import pytest
from running import replace_in, rewrite_export
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job

COLUMNS = """
delimiter = "^"
encoding = "cp1252"
[control.columns]
mark = "Festpunkt"
easting = "Ostwert"
northing = "Nordwert"
height = "Höhe"
hu95 = "acc"
vu95 = "acc"
dated = "Stand"
"""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose register has other headings, remarks, and two rows of CM1, the newer one right."""
    folder = tmp_path_factory.mktemp("as-found")
    path = simulate(Plan(sessions=2, points=20, noise=False)).write(folder, session_file=True)
    with (folder / "register.csv").open() as file:
        marks = list(csv.DictReader(file))
    rows = [["Festpunkt", "Ostwert", "Nordwert", "Höhe", "acc", "Stand", "Lage", "mark"]]
    for mark in marks:
        east, north, height = mark["easting"], mark["northing"], mark["height"]
        rows.append([mark["mark"], east, north, height, "0.02", "03.11.2025", "Böschung", "x"])
    rows.append(["CM1", f"{float(marks[0]['easting']) + 0.04:.5f}", *rows[1][2:5], "2011-06", "", ""])
    rows[2][5] = "2026-05-01"  # after the work
    text = "\n".join("^".join(row) for row in rows)
    (folder / "register.csv").write_bytes(text.encode("cp1252"))
    replace_in(
        path, {'crs = "EPSG:2193"\nheight = "EPSG:5773"\n': f'crs = "EPSG:2193"\nheight = "EPSG:5773"\n{COLUMNS}'}
    )
    replace_in(path, {'file = "sessions.csv"\n': 'file = "sessions.csv"\nencoding = "cp1252"\ndelimiter = "^"\n'})
    rewrite_export(folder / "rover001.csv", lambda row: row | {"Point": row["Point"].replace("S01-T1", "CM1")})
    with (folder / "sessions.csv").open() as file:
        table = list(csv.DictReader(file))
    for row in table:
        row |= {"Wetter": "trüb", "ties": row["ties"].replace("S01-T1=CM1", "CM1")}
    lines = ["^".join(table[0]), *("^".join(row.values()) for row in table)]
    (folder / "sessions.csv").write_bytes("\n".join(lines).encode("cp1252"))
    return path


def test_a_register_and_sessions_as_they_are_found_prove_the_job(found: Path) -> None:
    record = run_job(found, dry_run=True).record
    assert record["verdict"] == "proven"
    cm1, cm2, *_ = record["register"]
    assert cm1["dated"] == "03.11.2025"
    assert cm1["others"] == {"lage": "Böschung", "mark_register": "x"}
    (former,) = cm1["former"]
    assert (former["dated"], former["line"]) == ("2011-06", 6)
    assert float(former["written"][0]) - float(cm1["easting"]) == pytest.approx(0.04, abs=1e-6)
    assert "former" not in cm2


def test_the_newest_row_and_one_of_after_the_work_are_told(found: Path) -> None:
    told = [warning for warning in check_job(found).warnings if "register.csv" in warning]
    assert len(told) == 2
    assert "mark 'CM1' is taken from its newest row, 03.11.2025, not 2011-06 (line 6: easting" in told[0]
    assert "mark 'CM2' is dated 2026-05-01, after the last observation on 2026-03-0" in told[1]
