"""Lines that a cause offers for the job file, pasted as they are: the job passes, and its points are the truth's.

Jobs of `tests/support/blunder_world.py` without noise, with a blunder planted. What nobody knows stays open in such
lines: points between the last reading before and the first one after are held back, and nothing else is.
"""

import zlib
from pathlib import Path

import numpy as np
import pytest
from blunder_field import APPLIED
from blunder_kinds import BLUNDERS
from blunder_world import World, draw
from every import every
from issued import current_issue, off_truth
from running import paste_into_session, paste_session, record_of

from pipeline import run_job

#: Metres: what a register that writes millimetres leaves of the truth; a shift that was rounded to centimetres leaves
#: half of one, and one added in the grid as much as it differs from one in space, where occupations cannot tell.
ROUNDED, LEFT = 0.002, {"rounded to centimetres": 0.006, "in the grid": 0.005}
#: Of two blunders the lines cure one.
TWO = ("and the base moved later", "and a pole height left out")
#: Kinds whose cure is lines: shifts that the field applied, and bases that moved.
CURED = [kind for kind in APPLIED if not kind.endswith(TWO)]
MOVED = ["base moved before one late check", "base moved before two late checks"]


def planted(kind: str, number: int) -> World:
    for attempt in range(1000):
        world = draw(zlib.crc32(f"pasted {kind} {number} {attempt}".encode()), noise=False)
        if BLUNDERS[kind](world) is not None:
            return world
    raise AssertionError(kind)


@pytest.mark.parametrize("number", range(3))
@pytest.mark.parametrize("kind", [*CURED, *MOVED])
def test_lines_that_are_offered_cure_the_job(kind: str, number: int, tmp_path: Path) -> None:
    world = planted(kind, number)
    path = world.write(tmp_path)
    record = record_of(path, 3)
    given = [one for one in record["diagnoses"] if one["split"] or one["field_shift"]]
    assert given, [one["explanations"][0]["text"] for one in record["diagnoses"]]
    for one in given:
        if one["field_shift"] is not None:
            paste_into_session(path, one["session"], one["field_shift"])
        else:
            paste_session(path, one["session"], str(one["split"]))
    outcome = run_job(path)
    assert all(check["passed"] is not False for check in every(outcome.record["checks"]))
    reasons = set(outcome.record["rows"]["by_reason"])
    assert reasons <= {"suspect", "outside_sessions"}
    assert outcome.exit_code == (3 if reasons else 0), outcome.record["notes"]
    assert {one["verdict"] for one in outcome.record["sessions"]} <= {"proven", "unclosed", "unchecked"}
    issue = current_issue(path.parent / "out")
    off = off_truth(issue.points.rows, world.job.truth)
    assert np.abs(off).max(initial=0.0) < LEFT.get(kind.split(": ")[-1], ROUNDED)
    assert len(off) or reasons
