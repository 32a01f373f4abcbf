"""Tables with merged headings, saved as text: a column has its heading a line above those of the others."""

import csv
from pathlib import Path

import pytest
from answered import answer
from issued import current_issue
from running import replace_in
from simulate import ELLIPSOIDAL, Plan, simulate

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.problems import JobError


def merged(path: Path, column: str) -> int:
    """Move the heading of a column of a CSV into a line above the others; return the column's number from 1."""
    with path.open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    place = header.index(column)
    above = [column if at == place else "Place" if at == place + 1 else "" for at in range(len(header))]
    header[place] = ""
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([above, header, *rows])
    return place + 1


def test_what_is_drafted_for_merged_headings_is_run(tmp_path: Path) -> None:
    """The marks of the register, and the names of the export, have no heading of their own."""
    job = simulate(Plan(sessions=1, points=12, place=ELLIPSOIDAL, noise=False))
    job.write(tmp_path)
    (tmp_path / "job.toml").unlink()
    (register,) = [path for path in tmp_path.glob("*.csv") if "ellipsoid_height" in path.read_text(encoding="utf-8")]
    (export,) = [path for path in tmp_path.rglob("*.csv") if path != register]
    places = merged(register, "mark"), merged(export, "Point")
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8")
    assert f"\nmark = {places[0]}\n" in text and f"\nname = {places[1]}\n" in text
    assert "columns without a heading are mapped by number" in text and "code page" not in text
    answer(Path(started.path), {"height": '"ellipsoid"'} if "# OPEN" in text else {})
    outcome = run_job(started.path)
    assert outcome.record["verdict"] == "proven"
    points = current_issue(tmp_path / "out").points.rows
    assert {row["name"] for row in points} == {str(name) for name in job.rows["name"][job.rows["kind"] == "point"]}
    # a job file that was drafted before columns without headings went by their numbers is run as well
    replace_in(Path(started.path), {f"\nmark = {places[0]}\n": f'\nmark = "column_{places[0]}"\n'})
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"
    replace_in(Path(started.path), {f'mark = "column_{places[0]}"': 'mark = "column_9"'})
    with pytest.raises(JobError) as error:
        run_job(started.path, dry_run=True)
    told = f"column {places[0]} without a heading: map one by its number, such as mark = {places[0]}"
    assert "the column 'column_9', which the file does not have" in str(error.value) and told in str(error.value)
