"""Whatever is revised, and whatever else happened since: a copy of the last issue in which rows were changed is the one
issue that there would be if every layer were written again, and has the rows of a first issue.
"""

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from altered import change, touch_header
from issued import newest_issue
from simulate import Plan, Simulation, simulate
from two_ways import assert_as_a_first, assert_one_issue, counted_copies, written_anew

from pipeline import run_job
from pipeline.reissue import fingerprint
from pipeline.release import release

SESSIONS, POINTS = 24, 8
#: Session n is tied to mark n, from 1, and checked on the two after it; what lies within its tolerances, beyond, and
#: so far that no tie is believed, metres.
TIE, TIE_AND_CHECK, CHECK = "CM1", "CM2", f"CM{SESSIONS + 2}"
WITHIN, BEYOND, FAR = 0.004, 0.5, 150.0

Change = Callable[[Simulation], None]


def job(**more: object) -> Simulation:
    return simulate(Plan(sessions=SESSIONS, points=POINTS, ties=1, checks=2, marks=SESSIONS + 2, seed=3, **more))  # type: ignore[arg-type]


def on_a_peg() -> Simulation:
    """A job whose last session hangs on a temporary mark, which the first one observed."""
    made = job(temporary=True, tied_sessions=SESSIONS - 1)
    between = (made.rows["session"] > 0) & (made.rows["session"] < SESSIONS - 1)
    made.keep(~(between & np.char.endswith(made.rows["name"].astype(str), "TM1")))
    for session in made.job["session"][1:-1]:
        session["ties"] = [tie for tie in session["ties"] if tie["mark"] != "TM1"]
    return made


def corrected_in_the_field() -> Simulation:
    """A job whose first session carries a field shift behind its tie."""
    made = job()
    second = made.rows["time"][np.flatnonzero(made.rows["session"] == 0)[1]]
    since = second.astype("datetime64[ms]").item().replace(tzinfo=dt.UTC)
    made.correct_in_field(0, since, 1.2, -0.7, 2.3)
    made.job["session"][0]["field_shift"] = {"from": since, "east": 1.2, "north": -0.7, "up": 2.3}
    return made


def issuing(**rules: object) -> Callable[[], Simulation]:
    def made() -> Simulation:
        found = job()
        found.job["issue"] = rules
        return found

    return made


def measured_twice() -> Simulation:
    """A job in which two readings of the last session are of one point."""
    made = job()
    first, second = np.flatnonzero((made.rows["session"] == SESSIONS - 1) & (made.rows["kind"] == "point"))[:2]
    for column in ("name", "longitude", "latitude", "height"):
        made.rows[column][second] = made.rows[column][first]
    made.job["issue"] = {"repeats": "mean"}
    return made


def by(metres: float, *marks: str, column: str = "easting") -> Change:
    def revise(made: Simulation) -> None:
        for mark in marks:
            made.mistype(mark, column, metres)

    return revise


def with_another_code(made: Simulation) -> None:
    """An export that changes with the register."""
    made.mistype(TIE, "easting", WITHIN)
    made.rows["code"][made.rows["kind"] == "point"] = "NEW"


#: What is revised in which job, and how many rows that changes in a copy of the last issue; none: that is not copied.
KINDS: dict[str, tuple[Callable[[], Simulation], Change, list[int]]] = {
    "a tie": (job, by(WITHIN, TIE), [POINTS]),
    "a tie in height": (job, by(WITHIN, TIE, column="height"), [POINTS]),
    "a check": (job, by(WITHIN, CHECK), [0]),
    "how well a check is known": (job, by(0.005, CHECK, column="hu95"), [0]),
    "a tie that is a check of another session": (job, by(WITHIN, TIE_AND_CHECK), [POINTS]),
    "several marks": (job, by(WITHIN, TIE, "CM9", CHECK), [2 * POINTS]),
    "many marks": (job, by(WITHIN, *(f"CM{number}" for number in range(1, SESSIONS))), []),
    "a tie, by which its session fails": (job, by(BEYOND, TIE), []),
    "a check, which fails": (job, by(BEYOND, CHECK), []),
    "a tie, by which its session fails and is issued": (issuing(hold_back=[]), by(BEYOND, TIE), [POINTS]),
    "a check, which fails and holds nothing back": (issuing(hold_back=[]), by(BEYOND, CHECK), [POINTS]),
    "a tie, by which the shift of its session is in doubt": (issuing(hold_back=[]), by(FAR, TIE), [POINTS]),
    "a tie, known so badly that its session is in doubt": (job, by(FAR, TIE, column="hu95"), [POINTS]),
    "a tie of two sessions by a temporary mark": (on_a_peg, by(WITHIN, TIE), [2 * POINTS]),
    "a tie before a field shift": (corrected_in_the_field, by(WITHIN, TIE), [POINTS]),
    "a tie of sessions at the same hours": (lambda: job(overlap=True), by(WITHIN, TIE), [POINTS]),
    "a tie with layers of codes": (issuing(by_code=True), by(WITHIN, TIE), []),
    "a tie with means of readings": (measured_twice, by(WITHIN, TIE), []),
    "a tie with an export": (job, with_another_code, []),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_copy_is_what_would_be_written_anew(kind: str, tmp_path: Path) -> None:
    make, revise, copied = KINDS[kind]
    made = make()
    run_job(made.write(tmp_path / "quick"))
    shutil.copytree(tmp_path / "quick", tmp_path / "slow", symlinks=True)
    revise(made)
    with pytest.MonkeyPatch.context() as patch:
        copies = counted_copies(patch)
        run_job(made.write(tmp_path / "quick"))
        assert copies == copied
        written_anew(patch)
        run_job(made.write(tmp_path / "slow"))
    run_job(made.write(tmp_path / "first"))
    quick, slow, first = (newest_issue(tmp_path / place / "out") for place in ("quick", "slow", "first"))
    assert quick.record["issue"] == 2
    assert_one_issue(quick, slow)
    assert_as_a_first(quick, first)
    assert bool(quick.record["doubts"]) is ("in doubt" in kind)


def released_by_hand(path: Path, patch: pytest.MonkeyPatch) -> None:
    """Show the first issue again, after another revision."""
    register = path.with_name("register.csv")
    then = register.read_bytes()
    made = job()
    made.mistype(TIE, "easting", -WITHIN)
    run_job(made.write(path.parent))
    register.write_bytes(then)
    release(path, 1, "the mark was measured again")


def opened_by_a_viewer(path: Path, patch: pytest.MonkeyPatch) -> None:
    touch_header(newest_issue(path.parent / "out").package)


def edited(path: Path, patch: pytest.MonkeyPatch) -> None:
    change(newest_issue(path.parent / "out").package, "update points set code = 'EDITED' where fid = 1")


def by_another_program(path: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(fingerprint, "program_version", lambda: "tiedown 99, PROJ 99, EPSG database 99")


@pytest.mark.parametrize(
    ("happened", "number", "copied"),
    [(released_by_hand, 3, True), (opened_by_a_viewer, 2, False), (edited, 2, False), (by_another_program, 2, False)],
)
def test_whatever_happened_to_the_last_issue_a_copy_is_what_would_be_written_anew(
    happened: Callable[[Path, pytest.MonkeyPatch], None], number: int, copied: bool, tmp_path: Path
) -> None:
    """The issue that is copied is the one that is shown."""
    made = job()
    path = made.write(tmp_path / "quick")
    run_job(path)
    with pytest.MonkeyPatch.context() as patch:
        happened(path, patch)
        shutil.copytree(tmp_path / "quick", tmp_path / "slow", symlinks=True)
        made.mistype(TIE, "easting", WITHIN)
        copies = counted_copies(patch)
        run_job(made.write(tmp_path / "quick"))
        assert copies == ([POINTS] if copied else [])
        written_anew(patch)
        run_job(made.write(tmp_path / "slow"))
        run_job(made.write(tmp_path / "first"))
    quick, slow, first = (newest_issue(tmp_path / place / "out") for place in ("quick", "slow", "first"))
    assert quick.record["issue"] == number
    assert quick.record["changes"]["since"] == 1
    assert_one_issue(quick, slow)
    assert_as_a_first(quick, first)
