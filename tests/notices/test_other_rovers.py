"""Of two rovers on one base each has its own pole, clock and corrections: the checks of one say nothing of the other.

Common practice, no source.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job

_SAID = "if that is another rover"


def job_of(folder: Path, parts: dict[str, list[str]], heading: str) -> list[str]:
    """What is noted of a job whose rows are parted into files."""
    for name, lines in parts.items():
        (folder / name).write_text("\n".join([heading, *lines, ""]), encoding="utf-8")
    return [note for note in run_job(folder / "job.toml", dry_run=True).record["notes"] if _SAID in note]


@pytest.fixture
def rows(tmp_path: Path) -> tuple[str, list[str], list[str]]:
    """A simulated day of two sessions: heading, the rows on marks, all others, in the order of their times."""
    simulate(Plan(sessions=2, points=40)).write(tmp_path)
    (export,) = tmp_path.glob("rover*.csv")
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    export.unlink()
    job = tmp_path / "job.toml"
    job.write_text(job.read_text(encoding="utf-8").replace(export.name, "rover*.csv"), encoding="utf-8")
    on_marks = [line for line in lines if "-T" in line.split(",")[0] or "-C" in line.split(",")[0]]
    return heading, on_marks, [line for line in lines if line not in on_marks]


def test_a_rover_that_stood_on_no_mark_beside_one_that_did_is_told(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    (note,) = job_of(tmp_path, {"rover1.csv": [*on_marks, *points[::2]], "rover2.csv": points[1::2]}, heading)
    assert note.startswith("rover2.csv: none of its readings in sessions session-01, session-02 is on a control mark")
    assert "rover1.csv was observed at the same time" in note


def test_two_rovers_that_both_stood_on_marks_are_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    parts = {f"rover{n + 1}.csv": [*on_marks[n::2], *points[n::2]] for n in range(2)}
    assert job_of(tmp_path, parts, heading) == []


def test_one_rover_whose_files_follow_one_another_is_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    every = sorted([*on_marks, *points], key=lambda line: line.split(",")[1])
    pieces = {f"rover{n}.csv": every[n * 15 : n * 15 + 15] for n in range(6)}
    assert any(not set(lines) & set(on_marks) for lines in pieces.values())
    assert job_of(tmp_path, pieces, heading) == []


def test_occupations_in_a_file_of_their_own_are_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    assert job_of(tmp_path, {"rover1.csv": on_marks, "rover2.csv": points}, heading) == []


def test_an_export_that_has_the_day_before_again_is_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    """Of the first day all is held as exported twice, the occupations with the points."""
    heading, on_marks, points = rows
    every = [*on_marks, *points]
    first = [line for line in every if line.startswith("S01")]
    assert job_of(tmp_path, {"rover1.csv": first, "rover2.csv": every}, heading) == []


def test_an_export_that_repeats_another_is_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    every = [*on_marks, *points]
    assert job_of(tmp_path, {"rover1.csv": every, "rover2.csv": every}, heading) == []


def test_a_file_that_a_rover_wrote_in_between_is_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    """No reading of the first file lies in the time of the second: the controller was changed to another job."""
    heading, on_marks, points = rows
    every = sorted([*on_marks, *points], key=lambda line: line.split(",")[1])
    begin = every.index(points[5])
    between = every[begin : begin + 12]
    assert not set(between) & set(on_marks)
    rest = [line for line in every if line not in between]
    assert job_of(tmp_path, {"rover1.csv": rest, "rover2.csv": between}, heading) == []


def test_a_rover_at_work_for_a_while_among_another_ones_points_is_told(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    second = points[5:17:2]
    first = sorted([*on_marks, *(line for line in points if line not in second)], key=lambda line: line.split(",")[1])
    (note,) = job_of(tmp_path, {"rover1.csv": first, "rover2.csv": second}, heading)
    assert note.startswith("rover2.csv: none of its readings in session session-01 is on a control mark")


def merged(heading: str, rows: list[str], rover: dict[str, str], column: str) -> tuple[dict[str, list[str]], str]:
    """One export of several rovers, in the order of time, with a column that says whose each row is."""
    every = sorted(rows, key=lambda line: line.split(",")[1])
    return {"rover1.csv": [f"{line},{rover[line]}" for line in every]}, f"{heading},{column}"


@pytest.mark.parametrize(
    ("column", "names"), [("Rover", ("R0", "R1")), ("Receiver S/N", ("4471", "4485")), ("Seriennummer", ("1", "2"))]
)
def test_a_rover_of_a_merged_export_that_stood_on_no_mark_is_told(
    rows: tuple[str, list[str], list[str]], tmp_path: Path, column: str, names: tuple[str, str]
) -> None:
    heading, on_marks, points = rows
    rover = {line: names[0] for line in (*on_marks, *points[::2])} | {line: names[1] for line in points[1::2]}
    (note,) = job_of(tmp_path, *merged(heading, [*on_marks, *points], rover, column))
    assert f'none of the {len(points[1::2])} readings with {names[1]} in column "{column}"' in note
    assert "in sessions session-01, session-02 is on a control mark" in note


@pytest.mark.parametrize(
    "case", ["both stood on marks", "one rover", "many values", "another column", "rows of a base", "occupations blank"]
)
def test_a_column_that_tells_of_no_such_rover_is_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path, case: str
) -> None:
    heading, on_marks, points = rows
    every = [*on_marks, *points]
    rover = {
        "both stood on marks": {line: f"R{n % 2}" for part in (on_marks, points) for n, line in enumerate(part)},
        "one rover": dict.fromkeys(every, "R0"),
        "many values": {line: str(place) for place, line in enumerate(every)},
        "another column": {line: "x" if line in on_marks else "y" for line in every},
        "rows of a base": dict.fromkeys(every, "rover") | {points[0]: "base"},
        "occupations blank": {line: "" if line in on_marks else f"R{len(line) % 2}" for line in every},
    }[case]
    column = "Surface" if case == "another column" else "Rover"
    assert job_of(tmp_path, *merged(heading, every, rover, column)) == []


def test_a_rover_of_a_merged_export_whose_occupations_are_in_another_is_left_in_peace(
    rows: tuple[str, list[str], list[str]], tmp_path: Path
) -> None:
    heading, on_marks, points = rows
    parts = {
        "rover1.csv": [*(f"{line},R0" for line in (*on_marks[::2], *points[::2])), *(f"{x},R1" for x in points[1::2])],
        "rover2.csv": [f"{line},R1" for line in on_marks[1::2]],
    }
    assert job_of(tmp_path, parts, f"{heading},Rover") == []


_CLOSED = "closed by other rovers' checks alone"
#: Of the six checks of a session those that the second rover made: at its opening, and at its close.
_OPENING, _CLOSING = "C2", "C5"


def closed_by_others(folder: Path, second: Callable[[str, bool], bool], third: Callable[[str], bool]) -> list[str]:
    """What is noted of two sessions whose rows are parted into up to three files.

    ``second`` tells by name, and by whether they are every other point, which are the second rover's; ``third`` which
    of those lie in a file of their own.
    """
    simulate(Plan(sessions=2, points=40, checks=6, marks=5)).write(folder)
    (export,) = folder.glob("rover*.csv")
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    export.unlink()
    job = folder / "job.toml"
    job.write_text(job.read_text(encoding="utf-8").replace(export.name, "rover*.csv"), encoding="utf-8")
    parts: dict[str, list[str]] = {}
    for number, line in enumerate(lines):
        name = line.split(",")[0]
        theirs = second(name, name[4:].isdigit() and number % 2 == 1)
        parts.setdefault("rover1.csv" if not theirs else "rover3.csv" if third(name) else "rover2.csv", []).append(line)
    for file, some in parts.items():
        (folder / file).write_text("\n".join([heading, *some, ""]), encoding="utf-8")
    outcome = run_job(job, dry_run=True)
    assert outcome.exit_code == 0
    return [note for note in outcome.record["notes"] if _CLOSED in note]


def never(_: str) -> bool:
    return False


@pytest.mark.parametrize(
    ("has", "says"),
    [(_OPENING, "its last occupation of a control mark in session session-02"), (_CLOSING, "its first occupation")],
)
def test_a_rover_that_others_close_or_open_is_told_once(has: str, says: str, tmp_path: Path) -> None:
    (note,) = closed_by_others(tmp_path, lambda name, odd: odd or name.endswith(has), never)
    assert note.startswith(f"rover2.csv: {says}") and "20 readings" in note


def test_a_rover_without_a_closing_check_in_one_session_is_told_of_the_last(tmp_path: Path) -> None:
    """Its next check is that of the day after, and tells of its pole before."""
    own = {f"S01-{_OPENING}", f"S02-{_OPENING}", f"S02-{_CLOSING}"}
    assert closed_by_others(tmp_path, lambda name, odd: odd or name in own, never) == []


@pytest.mark.parametrize(
    "case", ["each opens and closes", "closing checks in a file of their own", "a new file for the second half"]
)
def test_rovers_that_open_and_close_are_left_in_peace(case: str, tmp_path: Path) -> None:
    def alone(name: str) -> bool:
        if case == "closing checks in a file of their own":
            return name.endswith(_CLOSING)
        late = int(name[4:]) % 100 > 20 if name[4:].isdigit() else name.endswith(_CLOSING)
        return case == "a new file for the second half" and late

    assert closed_by_others(tmp_path, lambda name, odd: odd or name[4:] in (_OPENING, _CLOSING), alone) == []
