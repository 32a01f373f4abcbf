"""Runs jobs with planted blunders and says what their readings made of them."""

import tempfile
import time
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from blunder_kinds import BLUNDERS, RANDOM, Planted
from blunder_world import crowd, draw
from running import paste_into_session, paste_session

from pipeline import run_job
from pipeline.problems import JobError

#: Scores closer than this share a place: ten to one in likelihood, as the sentence in `cause` counts it.
CLOSE = 4.605
#: Metres by which a difference as read may be off the one planted: four times the noise of one occupation.
_NOISE = 0.06
#: The kind of a shift that the field applied and the job does not state.
NOT_STATED = "field shift not stated"
#: Kinds that say where an error is, but make no claim why.
NO_REASON = {"point unexplained", "mark unexplained", "base moved", "base drifts"}


@dataclass(frozen=True)
class Found:
    """What one job came to.

    ``first`` is the kind read first, or how the job ended without any reading; ``split`` whether every check passes
    with the lines that split a session, None where none were given, ``stated`` likewise with those of a field shift.
    """

    kind: str
    seed: int
    detected: bool
    right: bool
    shared: bool
    listed: bool
    first: str
    alarm: str
    seconds: float
    size: float
    split: bool | None = None
    stated: bool | None = None


def run_one(task: tuple[str, int], series: str = "", marks: int = 0) -> Found:
    """Draw, plant, run and judge one job; every series has jobs of its own, ``marks`` go to the register besides."""
    kind, number = task
    planter = (BLUNDERS | {f"unexplained: {name}": plant for name, plant in RANDOM.items()}).get(kind)
    for attempt in range(1000):
        seed = zlib.crc32(f"{series}{kind} {number} {attempt}".encode())
        world = draw(seed)
        planted = planter(world) if planter else Planted(("clean",))
        if planted is not None:
            break
    else:
        raise RuntimeError(f"no job has room for: {kind}")
    with tempfile.TemporaryDirectory() as folder:
        crowd(world, marks)
        path = world.write(Path(folder))
        start = time.perf_counter()
        try:
            record = run_job(path, dry_run=True).record
        except JobError as error:
            told = " ".join(f"{problem.what} {problem.fix}" for problem in error.problems)
            right = not planted.kinds and all(word in told for word in planted.says)
            return Found(kind, seed, True, right, right, right, f"refused: {told[:80]}", "", 0.0, planted.size)
        found = judged(kind, seed, planted, record, time.perf_counter() - start)
        if NOT_STATED in planted.kinds:
            return replace(found, stated=_stated(path, record))
        return replace(found, split=_split(path, record)) if planted.moved else found


def _split(path: Path, record: dict[str, Any]) -> bool | None:
    """Split the sessions as the record says and run the job again; return whether every check passes."""
    given = [one for one in record["diagnoses"] if one["split"]]
    if not given:
        return None
    for one in given:
        paste_session(path, one["session"], one["split"])
    return all(check["passed"] is not False for check in run_job(path, dry_run=True).record["checks"])


def _stated(path: Path, record: dict[str, Any]) -> bool | None:
    """State the field shifts as the record says and run the job again; return whether every check passes."""
    given = {one["session"]: one["field_shift"] for one in record["diagnoses"] if one["field_shift"]}
    if not given:
        return None
    for session, lines in given.items():
        paste_into_session(path, session, lines)
    return all(check["passed"] is not False for check in run_job(path, dry_run=True).record["checks"])


def judged(kind: str, seed: int, planted: Planted, record: dict[str, Any], seconds: float) -> Found:
    """Compare the record of a run with what was planted."""
    failing = [check["point"] for check in record["checks"] if check["passed"] is False]
    drifts = [note for note in record["notes"] if "appears to drift" in note]
    alarm = "; ".join([*failing, *(one["session"] for one in record["diagnoses"]), *drifts])
    if not planted.kinds:
        told = any(all(word in note for word in planted.says) for note in record["notes"])
        held = "outside_sessions" in record["rows"]["by_reason"]
        return Found(kind, seed, told or held, told, told, told, "a note" if told else "", alarm, seconds, 0.0)
    diagnoses = [one for one in record["diagnoses"] if one["explanations"]]
    if not diagnoses:
        told = bool(drifts) and planted.kinds == ("base drifts",)
        return Found(
            kind, seed, bool(alarm), told, told, told, "a drift note" if told else "", alarm, seconds, planted.size
        )
    ranks = [rank(planted, one["explanations"]) for one in diagnoses]
    first = diagnoses[0]["explanations"][0]
    return Found(
        kind,
        seed,
        True,
        all(place == 0 for place, _ in ranks),
        all(place == 0 or shared for place, shared in ranks),
        any(place is not None for place, _ in ranks),
        first["kind"] + (" (by chance?)" if first["chance"] else ""),
        alarm,
        seconds,
        planted.size,
    )


def rank(planted: Planted, readings: list[dict[str, Any]]) -> tuple[int | None, bool]:
    """Return at which place the right reading stands, and whether it shares the first and it is said what decides."""
    for place, reading in enumerate(readings):
        said = reading["kind"] in planted.kinds and all(word in reading["text"] for word in planted.says)
        if said and _as_moved(planted, reading["largest"]):
            close = reading["score"] - readings[0]["score"] < CLOSE
            return place, close and bool(reading["decide"] or readings[0]["decide"])
    return None, False


def _as_moved(planted: Planted, largest: dict[str, float]) -> bool:
    if planted.moved is None:
        return True
    read = [largest[axis] for axis in ("d_east", "d_north", "d_height")]
    return all(abs(one - other) <= _NOISE for one, other in zip(read, planted.moved, strict=True))
