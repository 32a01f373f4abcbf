"""Two exports at one time, neither of which stood on a mark, where one rover was at work: one is of elsewhere.

Common practice, no source.
"""

from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job


def told(folder: Path, parts: dict[str, list[str]], heading: str) -> list[str]:
    """What is noted of a job whose rows are parted into files."""
    for name, lines in parts.items():
        (folder / name).write_text("\n".join([heading, *lines, ""]), encoding="utf-8")
    outcome = run_job(folder / "job.toml", dry_run=True)
    assert outcome.exit_code in (0, 3)  # rows that come twice are held back
    return [note for note in outcome.record["notes"] if "never ran at one time" in note]


@pytest.fixture
def rows(tmp_path: Path) -> tuple[str, list[str], list[str], list[str]]:
    """A simulated day: heading, the rows on marks before the points, the points, and the rows on marks behind them."""
    simulate(Plan(sessions=1, points=60, checks=6, marks=5)).write(tmp_path)
    (export,) = tmp_path.glob("rover*.csv")
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    export.unlink()
    job = tmp_path / "job.toml"
    job.write_text(job.read_text(encoding="utf-8").replace(export.name, "rover*.csv"), encoding="utf-8")
    lines.sort(key=lambda line: line.split(",")[1])
    places = [place for place, line in enumerate(lines) if line.split(",")[0][4:].isdigit()]
    assert len(places) == places[-1] - places[0] + 1 == 60
    return heading, lines[: places[0]], lines[places[0] : places[-1] + 1], lines[places[-1] + 1 :]


def test_points_of_elsewhere_beside_the_middle_export_of_a_day_are_told(
    rows: tuple[str, list[str], list[str], list[str]], tmp_path: Path
) -> None:
    heading, opening, points, closing = rows
    parts = {
        "rover1.csv": [*opening, *points[:15]],
        "rover2.csv": points[15:45:2],
        "rover3.csv": [*points[45:], *closing],
        "rover4.csv": points[16:45:2],
    }
    (note,) = told(tmp_path, parts, heading)
    assert note.startswith("rover2.csv: observed at the same time as rover4.csv in session session-01, from ")


def test_a_third_such_export_is_told_where_two_rovers_were_at_work(
    rows: tuple[str, list[str], list[str], list[str]], tmp_path: Path
) -> None:
    heading, opening, points, closing = rows
    parts = {f"rover1{n}.csv": [*opening[n::2], *points[n:15:2]] for n in range(2)}
    parts |= {f"rover2{n}.csv": points[15 + n : 45 : 3] for n in range(3)}
    parts |= {f"rover3{n}.csv": [*points[45 + n :: 2], *closing[n::2]] for n in range(2)}
    (note,) = told(tmp_path, parts, heading)
    assert note.startswith("rover20.csv: observed at the same time as rover21.csv, rover22.csv in session session-01")


@pytest.mark.parametrize("case", ["two rovers", "a file of each code", "again", "one after another", "marks between"])
def test_honest_exports_are_left_in_peace(
    case: str, rows: tuple[str, list[str], list[str], list[str]], tmp_path: Path
) -> None:
    """Of two rovers, of one whose points were written into files by their codes, of one file twice, or by turns."""
    heading, opening, points, closing = rows
    one = {"rover1.csv": [*opening, *points[:15]], "rover9.csv": [*points[45:], *closing]}
    parts = {
        "two rovers": {f"rover1{n}.csv": [*opening[n::2], *points[n:15:2]] for n in range(2)}
        | {f"rover2{n}.csv": points[15 + n : 45 : 2] for n in range(2)}
        | {f"rover3{n}.csv": [*points[45 + n :: 2], *closing[n::2]] for n in range(2)},
        "a file of each code": {"rover1.csv": [*opening, *closing]}
        | {f"rover2{n}.csv": points[n::3] for n in range(3)},
        "again": one | {"rover2.csv": points[15:45], "rover3.csv": points[15:45]},
        "one after another": one | {"rover2.csv": points[15:30], "rover3.csv": points[30:45]},
        "marks between": {"rover1.csv": [*opening, *points, *closing], "rover2.csv": points[20:25]},
    }[case]
    assert told(tmp_path, parts, heading) == []
