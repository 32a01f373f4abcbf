"""What is told where a job states a field shift and the field did something else, or where a set-up is off.

Simulated truth without noise (`tests/support/simulate.py`), the shift planted here: what is told is what was planted.
"""

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pytest
from every import every
from issued import current_issue, off_truth
from network_jobs import Network
from numpy.typing import NDArray
from running import paste_into_session, record_of
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline import run_job
from pipeline.check import check_job
from pipeline.issue.record_types import Record

FIELD = np.array([1.4, -0.9, 3.1])


def day() -> Simulation:
    """One session, tied once, with a check after its tie and one in the evening."""
    return simulate(Plan(sessions=1, points=12, noise=False))


def occupied(job: Simulation) -> list[tuple[str, dt.datetime]]:
    """Return the occupations by time."""
    rows = job.rows
    at = np.flatnonzero(rows["kind"] != "point")
    at = at[np.argsort(rows["time"][at], kind="stable")]
    times = rows["time"][at].astype("datetime64[us]").tolist()
    return [(str(name), time.replace(tzinfo=dt.UTC)) for name, time in zip(rows["name"][at], times, strict=True)]


def raw_shift(job: Simulation) -> NDArray[np.float64]:
    """Return (3,) east, north, up at the tie's mark: the true shift, which a raw reading without noise gives."""
    longitude, latitude, _ = job.marks.geographic(job.job["session"][0]["ties"][0]["mark"])
    return np.asarray(turn_enu(longitude, latitude, np.eye(3)) @ job.shifts[0])


def told(job: Simulation, folder: Path, start: dt.datetime, **more: object) -> tuple[Record, list[str]]:
    """State the shift from a time on and return the record of a run, which needs attention, and what `check` warns."""
    east, north, up = map(float, FIELD)
    job.job["session"][0]["field_shift"] = {"from": start, "east": east, "north": north, "up": up, **more}
    path = job.write(folder)
    return record_of(path, 3), [text for text in check_job(path).warnings if "field shift" in text]


SECOND = dt.timedelta(seconds=1)


@pytest.mark.parametrize("case", ["never", "later", "earlier", "off before", "off after", "more"])
def test_what_the_field_did_instead_is_told_first(case: str, tmp_path: Path) -> None:
    job = day()
    names, times = zip(*occupied(job), strict=True)
    start, late = times[1] - SECOND, times[-1] - SECOND
    more: dict[str, object] = {}
    match case:
        case "never":
            says = "the export does not carry the field shift"
        case "later":
            job.correct_in_field(0, late, *FIELD)
            says = f"{names[1]} does not carry the field shift: it was switched on between"
        case "earlier":
            job.correct_in_field(0, start, *FIELD)
            start = late
            says = f"{names[1]} carries the field shift already: it was switched on between"
        case "off before":
            job.correct_in_field(0, start, *FIELD)
            job.correct_in_field(0, late, *-FIELD)
            says = f"{names[-1]} does not carry the field shift: it was switched off between"
        case "off after":
            job.correct_in_field(0, start, *FIELD)
            more["until"] = late
            says = f"{names[-1]} still carries the field shift: it was switched off later"
        case _:
            job.correct_in_field(0, start, *(FIELD + np.array([0.0, 0.25, 0.0])))
            says = "is not what the field applied: applied minus stated in position is"
    record, warned = told(job, tmp_path, start, **more)
    (diagnosis,) = record["diagnoses"]
    texts = [one["text"] for one in diagnosis["explanations"] if one["close"]]
    assert any(says in text for text in (texts[:1] if case != "more" else texts)), texts
    # no lines are told that would state the same shift once more, the other way round
    assert diagnosis["field_shift"] is None
    assert case == "more" or [text for text in warned if says in text]


def cured(path: Path, job: Simulation | Network) -> Record:
    """Run a job and return its record: every occupation of the truth is there and passes, and points are the truth's.

    What nobody knows stays open in lines that are told, so points may be held back, but not all. Millimetres: what the
    register's figures leave.
    """
    record = run_job(path).record
    rows = job.rows
    occupied = np.count_nonzero(rows["mark"] != "" if "mark" in rows else rows["kind"] != "point")
    assert all(check["passed"] for check in every(record["checks"], n=occupied))
    issued = every(current_issue(path.parent / "out").points.rows)
    np.testing.assert_allclose(off_truth(issued, job.truth), 0.0, rtol=0, atol=0.002)
    return record


def pasted(path: Path, job: Simulation | Network, name: str, lines: str) -> Record:
    """Put lines in the place of what a session's field_shift says, as they are told, and return the cured record."""
    path.write_text(re.sub(r"(?m)^field_shift = .*\n", "", path.read_text()))
    paste_into_session(path, name, lines)
    return cured(path, job)


def over_the_peg_of_the_day_before() -> Network:
    """Two days: a base anywhere, tied by a mark, and a base over a peg that was read on the first."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.mark("TM1", 300, 500, known=False)
    work.session("one", ties=["CM1", "TM1"], checks=["CM2"], points=[(100, 100)], closing=["CM2"])
    work.session("two", over="TM1", antenna=1.6, checks=["CM2"], points=[(100, 200)], closing=["CM2"])
    return work


def test_a_set_up_that_is_off_is_told_with_its_size(tmp_path: Path) -> None:
    """A base over a peg of the day before, with a position 87 mm too high: a number that no usual mistake gives."""
    work = over_the_peg_of_the_day_before()
    setup = work.setup(1)
    work.job["session"][1]["setup"] = setup | {"ellipsoid_height": setup["ellipsoid_height"] + 0.087}
    (diagnosis,) = record_of(work.write(tmp_path), 3)["diagnoses"]
    first = diagnosis["explanations"][0]
    assert first["kind"] == "set-up unexplained"
    assert "the set-up over TM1 is off in height by (+0.000, +0.000, +0.087) m east, north, up" in first["text"]


def test_a_table_of_sessions_gets_its_columns_and_cells(tmp_path: Path) -> None:
    """What is told is put behind the table's own columns, as it is; then every check passes."""
    job = day()
    times = [time for _, time in occupied(job)]
    job.correct_in_field(0, times[1] - SECOND, *raw_shift(job))
    path = job.write(tmp_path, session_file=True)
    (diagnosis,) = record_of(path, 3)["diagnoses"]
    assert diagnosis["field_shift"] is not None
    columns, cells = diagnosis["field_shift"].splitlines()[-2:]
    (table,) = [file for file in tmp_path.glob("*.csv") if file.read_text().startswith("name,start,end")]
    header, row = table.read_text().splitlines()
    table.write_text(f"{header},{columns}\n{row},{cells}\n")
    cured(path, job)
    assert columns == "field_shift_from,field_shift_earliest,field_shift_tie,field_shift_mark"


def test_a_second_stretch_is_told_in_a_list_with_what_is_stated(tmp_path: Path) -> None:
    """Switched on for the morning's check, which the job states, and for the last one, which it does not."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.session("one", ties=["CM1"], checks=["CM2"], points=[(100, 100)], closing=["CM2", "CM1", "CM2"])
    rows = work.rows
    check = rows["time"][1].astype("datetime64[us]").item().replace(tzinfo=dt.UTC)
    stretch = (rows["time"] == rows["time"][1]) | (rows["time"] == rows["time"][-1])
    work.displace(stretch, turn_enu(*work.marks.geographic("CM1")[:2], np.eye(3)) @ work.shifts[0])
    given = {"tie": str(rows["name"][0]), "mark": "CM1"}
    work.job["session"][0]["field_shift"] = {"from": check, "until": check + SECOND, **given}
    path = work.write(tmp_path)
    (diagnosis,) = record_of(path, 3)["diagnoses"]
    lines = diagnosis["field_shift"]
    assert lines is not None and lines.count("tie =") == 2
    pasted(path, work, diagnosis["session"], lines)


def test_a_day_over_a_peg_that_keeps_the_shift_of_the_day_before(tmp_path: Path) -> None:
    """The second base stands over a peg of the first day, and all that day's readings carry the first day's shift."""
    work = over_the_peg_of_the_day_before()
    kept = turn_enu(*work.marks.geographic("CM1")[:2], np.eye(3)) @ work.shifts[0]
    work.displace(work.rows["session"] == 1, kept)
    (diagnosis,) = record_of(work.write(tmp_path), 3)["diagnoses"]
    assert "the readings already carry the shift that session one had, kept" in diagnosis["explanations"][0]["text"]
    assert diagnosis["field_shift"] is not None and "earliest" not in diagnosis["field_shift"]


SLIPS = {
    "all": -np.eye(3),
    "up": np.diag([1.0, 1.0, -1.0]),
    "east": np.diag([-1.0, 1.0, 1.0]),
    "exchanged": np.eye(3)[[1, 0, 2]],
}


@pytest.mark.parametrize("slip", SLIPS)
@pytest.mark.parametrize("applied", ["another", "the tie's"])
def test_a_sign_typed_wrongly_is_told_with_lines_that_work(slip: str, applied: str, tmp_path: Path) -> None:
    """Of a vector of its own, and of the very shift that the tie gives: then what is left is twice that."""
    job = day()
    _, times = zip(*occupied(job), strict=True)
    start = times[1] - SECOND
    vector = FIELD if applied == "another" else raw_shift(job)
    job.correct_in_field(0, start, *vector)
    east, north, up = map(float, np.round(SLIPS[slip] @ vector, 4))
    job.job["session"][0]["field_shift"] = {"from": start, "east": east, "north": north, "up": up}
    path = job.write(tmp_path)
    (diagnosis,) = record_of(path, 3)["diagnoses"]
    first, lines = diagnosis["explanations"][0], diagnosis["field_shift"]
    assert first["kind"] == "field shift" and "wrong" in first["text"]
    assert lines is not None
    assert [text for text in check_job(path).warnings if first["text"] in text and text.endswith(lines)]
    record = pasted(path, job, diagnosis["session"], lines)
    (taken,) = record["field_shifts"]
    numbers = [taken[key] for key in ("shift_east", "shift_north", "shift_up")]  # type: ignore[literal-required]
    np.testing.assert_allclose(numbers, vector, rtol=0, atol=1e-4)


def test_a_sign_in_a_table_of_sessions_gets_its_columns_and_cells(tmp_path: Path) -> None:
    job = day()
    _, times = zip(*occupied(job), strict=True)
    job.correct_in_field(0, times[1] - SECOND, *FIELD)
    path = job.write(tmp_path, session_file=True)
    (table,) = [file for file in tmp_path.glob("*.csv") if file.read_text().startswith("name,start,end")]
    header, row = table.read_text().splitlines()
    keys = ("from", "east", "north", "up")
    given = dict(zip(keys, [(times[1] - SECOND).isoformat(), *map(str, -FIELD)], strict=True))
    whole = dict(zip(header.split(","), row.split(","), strict=True))
    whole |= {f"field_shift_{key}": value for key, value in given.items()}
    table.write_text(f"{','.join(whole)}\n{','.join(whole.values())}\n")
    (diagnosis,) = record_of(path, 3)["diagnoses"]
    assert diagnosis["field_shift"] is not None
    columns, cells = (line.split(",") for line in diagnosis["field_shift"].splitlines()[-2:])
    assert columns == [f"field_shift_{key}" for key in keys]
    whole |= dict(zip(columns, cells, strict=True))
    table.write_text(f"{','.join(whole)}\n{','.join(whole.values())}\n")
    cured(path, job)


def test_what_comes_on_top_of_a_stated_one_is_told_with_lines_that_work(tmp_path: Path) -> None:
    """A vector all day, as stated, and from the first check on the tie's shift besides: both carry their ends."""
    job = day()
    _, times = zip(*occupied(job), strict=True)
    own, begins = raw_shift(job), times[0] - SECOND
    job.correct_in_field(0, begins, *FIELD)
    job.correct_in_field(0, times[1] - SECOND, *own)
    east, north, up = map(float, FIELD)
    job.job["session"][0]["field_shift"] = {"from": begins, "east": east, "north": north, "up": up}
    path = job.write(tmp_path)
    (diagnosis,) = record_of(path, 3)["diagnoses"]
    lines = diagnosis["field_shift"]
    assert lines is not None and lines.count("from =") == 2
    pasted(path, job, diagnosis["session"], lines)


@pytest.mark.parametrize("wrong", [0, 1])
@pytest.mark.parametrize("together", [False, True], ids=["one after the other", "together"])
def test_of_two_field_shifts_the_one_that_is_wrong_is_named(wrong: int, together: bool, tmp_path: Path) -> None:
    """From the first check on one vector, from the last on another besides, or both from the first on.

    The sign of one is wrong. By their beginnings, or else by their places in the session, one can tell them apart.
    """
    job = day()
    _, times = zip(*occupied(job), strict=True)
    begins = [times[1] - SECOND, times[1 if together else -1] - SECOND]
    vectors, end = [FIELD, np.array([-0.5, 0.7, 1.1])], job.job["session"][0]["end"]
    stated = []
    for number, (start, vector) in enumerate(zip(begins, vectors, strict=True)):
        job.correct_in_field(0, start, *vector)
        typed = dict(zip(("east", "north", "up"), map(float, -vector if number == wrong else vector), strict=True))
        stated.append({"from": start, "until": end, **typed})
    job.job["session"][0]["field_shift"] = stated
    (diagnosis,) = record_of(job.write(tmp_path), 3)["diagnoses"]
    text = diagnosis["explanations"][0]["text"]
    number = f" (number {wrong + 1} of its session)" if together else ""
    assert text.startswith(
        f"the field shift from {begins[wrong]:%Y-%m-%d %H:%M:%S} UTC{number} is stated with the wrong"
    )
