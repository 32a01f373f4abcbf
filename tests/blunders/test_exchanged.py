"""Two marks taken for one another, and a mark of another job under a mark's name: told first, in the record and a note.

Simulated truth (`tests/support/simulate.py`); the register is exchanged, or the name on a reading, after it is known.
"""

from pathlib import Path

import numpy as np
import pytest
from every import every
from running import record_of
from simulate import Plan, Simulation, simulate

from pipeline.issue.record_types import Record

DAY = Plan(sessions=1, points=8, ties=1, checks=4, marks=4)


def first_texts(record: Record) -> list[str]:
    """What is told first of each failure, and what nobody can tell from it."""
    found = []
    for diagnosis in record["diagnoses"]:
        found += [one["text"] for one in diagnosis["explanations"] if one["close"]]
    return list(dict.fromkeys(found))


def exchange(path: Path, one: str, other: str, columns: tuple[str, ...]) -> None:
    """Exchange columns of two marks in the register that was written."""
    register = path.parent / "register.csv"
    header, *rows = [line.split(",") for line in register.read_text().splitlines()]
    by_mark = {row[0]: row for row in rows}
    for name in columns:
        at = header.index(name)
        by_mark[one][at], by_mark[other][at] = by_mark[other][at], by_mark[one][at]
    register.write_text("\n".join(",".join(row) for row in [header, *rows]) + "\n")


def spread(job: Simulation) -> None:
    """The marks of a simulated job lie hundreds of metres apart, and metres in height: what is exchanged shows."""
    heights = np.sort([job.marks.of(f"CM{number}")[2] for number in range(1, 5)])
    assert np.diff(heights).min() > 0.15


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        (("easting", "northing", "height"), "the coordinates of CM1 and CM3 are swapped in the register"),
        (("easting", "northing"), "the positions of CM1 and CM3 are swapped in the register"),
        (("height",), "the heights of CM1 and CM3 are swapped in the register"),
    ],
)
@pytest.mark.parametrize("sessions", [1, 2])
def test_two_marks_exchanged_in_the_register(
    columns: tuple[str, ...], says: str, sessions: int, tmp_path: Path
) -> None:
    """CM1 ties the first session; with a second, which CM2 ties, the field is told from the register."""
    job = simulate(Plan(sessions=sessions, points=8, ties=1, checks=4, marks=4))
    spread(job)
    path = job.write(tmp_path)
    exchange(path, "CM1", "CM3", columns)
    record = record_of(path, 3)
    assert says in first_texts(record)
    assert all(one["explanations"] and not one["explanations"][0]["chance"] for one in every(record["diagnoses"]))
    notes = [note for note in record["notes"] if " on it, which " in note]
    assert bool(notes) == ("easting" in columns)  # heights alone are no distance
    for note in notes:
        assert ("'CM1' is" in note and "beside mark 'CM3'" in note) or (
            "'CM3' is" in note and "beside mark 'CM1'" in note
        )


def test_names_exchanged_in_the_field(tmp_path: Path) -> None:
    """The tie stood on CM3 and a check on CM1, as the session's lists have it the other way."""
    job = simulate(Plan(sessions=1, points=8, ties=1, checks=3, marks=4))
    spread(job)
    session = job.job["session"][0]
    (tie,) = session["ties"]
    (check,) = [one for one in session["checks"] if one["mark"] == "CM3"]
    tie["point"], check["point"] = check["point"], tie["point"]
    texts = first_texts(record_of(job.write(tmp_path), 3))
    stood = {
        f"{check['point']} was on CM1, and {tie['point']} on CM3",
        f"{tie['point']} was on CM3, and {check['point']} on CM1",
    }
    assert any(said in text for said in stood for text in texts), texts


@pytest.mark.parametrize("off", [(900.0, 700.0, 8.0), (1970.0, 1540.0, -8.5), (24_000.0, 29_500.0, -300.0)])
def test_a_mark_of_another_job_far_away(off: tuple[float, float, float], tmp_path: Path) -> None:
    """CM2 ties both sessions, together with CM1 in the first; its place in the register is another job's."""
    job = simulate(Plan(sessions=2, points=8, ties=1, checks=3, marks=4, noise=False))
    one, two = job.job["session"]
    moved = [check for check in one["checks"] if check["mark"] == "CM2"]
    one["checks"] = [check for check in one["checks"] if check["mark"] != "CM2"]
    one["ties"] += moved
    assert [tie["mark"] for tie in two["ties"]] == ["CM2"]
    for axis, metres in zip(("easting", "northing", "height"), off, strict=True):
        job.mistype("CM2", axis, metres)
    record = record_of(job.write(tmp_path), 3)
    wanted = "CM2's coordinates in the register are off by ({:+.3f}, {:+.3f}, {:+.3f}) m"
    for diagnosis in every(record["diagnoses"]):
        text = diagnosis["explanations"][0]["text"]
        numbers = [float(part) for part in text.split("(")[1].split(")")[0].split(", ")]
        assert text.startswith(wanted.split(" (")[0]) and numbers == pytest.approx(off, abs=0.03), text
    (note,) = [note for note in record["notes"] if "readings on it" in note]
    assert f"mark 'CM2' is {np.hypot(off[0], off[1]) / 1000:.1f} km from the" in note


def test_honest_failures_are_no_exchange(tmp_path: Path) -> None:
    """One height off by 0.2 m, one pole, noise: no exchange is told first, and no mark lies far from its readings."""
    for number, metres in enumerate((0.2, -0.35, 1.0)):
        job = simulate(Plan(sessions=2, points=8, ties=1, checks=4, marks=4, seed=number + 1))
        job.mistype("CM3", "height", metres)
        record = record_of(job.write(tmp_path / str(number)), 3)
        assert not any(one["explanations"][0]["kind"] == "marks exchanged" for one in record["diagnoses"])
        assert not [note for note in record["notes"] if "reading" in note and " on it" in note]


def test_a_base_far_from_where_it_says_is_no_marks_fault(tmp_path: Path) -> None:
    """All readings of a session are 3 km off alike: the marks are left alone."""
    job = simulate(Plan(sessions=1, points=8, ties=1, checks=3, marks=4, noise=False, base_horizontal=3_000.0))
    record = record_of(job.write(tmp_path), 3)
    assert not [note for note in record["notes"] if "reading on it" in note or "readings on it" in note]
