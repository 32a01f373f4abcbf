"""What lies between two issues of a job in their frames: keys, grids and operations, and what that did.

A height datum, a geoid or a CRS that is another now moves all points alike, and ties take a wrong one of the register
up into the shift, so that every check agrees: only the issue before shows it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.arrays import Flags, Floats
from pipeline.clock import from_iso
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.geodesy.operations import ISSUED, RAW, REGISTER
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import AxisWritten, ControlUsed, Record, Target
from pipeline.reissue.fingerprint import PART, SITE, Fingerprint
from pipeline.solve.solve import Solved, shift_at_places
from pipeline.words import Doubt, Role

#: By which a doubt of this module is known again in the record of an issue.
_UNSETTLED = "neither the readings nor the register's numbers say which of the two is right"
_TERMS = {RAW: "field positions", REGISTER: "the register", ISSUED: "the grid and its heights"}
#: Metres to which a move is told.
_TOLD = 0.0005
#: Sessions that a sentence names.
_LISTED = 3


@dataclass(frozen=True)
class FrameChanges:
    """How the frames of two issues differ, each difference in words.

    Args:
        target: keys of ``[target]``: coordinates are meant to be others.
        control: keys of ``[control]``: the register's numbers are taken for something else.
        field: how field positions are read.
        files: grid files of another content under the same name, and operations that are others without a key.
        steps: the steps of work whose operations these, or another localisation of the site, account for.
    """

    target: tuple[str, ...] = ()
    control: tuple[str, ...] = ()
    field: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    steps: frozenset[str] = frozenset()

    def all(self) -> tuple[str, ...]:
        """Return every difference in words."""
        return (*self.target, *self.control, *self.field, *self.files)


def frame_changes(last: Record, survey: Survey, now: Mapping[str, str]) -> FrameChanges:
    """Return how the frames of a job differ from those of an earlier issue.

    Args:
        last: the record of the earlier issue.
        survey: the job.
        now: its `Fingerprint.sums`.
    """
    target = list(_target(last["target"], survey.target))
    control = list(_control(last["control"], control_used(survey.job)))
    keys = f"{PART}[target]"
    if not target and last["identity"].get(keys) != now.get(keys) and _grids(last, survey, ISSUED) is not None:
        was, is_ = _grids(last, survey, ISSUED) or ("", "")
        target.append(f"[target] geoid: heights were by {was} and are by {is_}")
    # of another target every operation is another, also that of field positions which are read as before
    read = last["identity"].get(f"{PART}[[points]]") != now.get(f"{PART}[[points]]")
    keyed = any(last["identity"].get(f"{PART}{key}") != now.get(f"{PART}{key}") for key in ("[target]", "[control]"))
    # a site's own system is part of the operation, and another one is told as that
    fitted = last["identity"].get(SITE) != now.get(SITE)
    then, here = _by_step(last), _now_by_step(survey)
    files, field, steps = [], [], set()
    for step in (RAW, REGISTER, ISSUED):
        before, after = then.get(step), here.get(step)
        if before is None or after is None or before == after:
            continue
        steps.add(step)
        contents = [
            f"the grid file {name} has another content (SHA-256 {old[:8]}... was, {after[1][name][:8]}... is)"
            for name, old in before[1].items()
            if name in after[1] and after[1][name] != old
        ]
        files += [text for text in contents if text not in files]
        if before[0] != after[0] and step == RAW and read:
            field.append(f"field positions were read by {before[0]} and are by {after[0]} (crs of [source])")
        elif not contents and not keyed and not (step == ISSUED and fitted):
            how = f"was {before[0]} and is {after[0]}" if before[0] != after[0] else f"{after[0]} is defined otherwise"
            files.append(f"{_TERMS[step]}: the operation {how}")
    return FrameChanges(tuple(target), tuple(control), tuple(field), tuple(files), frozenset(steps))


def _target(then: Target, now: Target) -> Iterator[str]:
    # of another fit a site's own system has another definition: the keys say what it is derived of
    was, is_ = (then["site"], now["site"]) if then["site"] is not None and now["site"] is not None else (then, now)
    assert was is not None and is_ is not None
    if was["grid"] != is_["grid"]:
        yield _was_is("[target] grid", was["grid"], was["grid_name"], is_["grid"], is_["grid_name"])
    if was["height"] != is_["height"]:
        yield _was_is("[target] height", was["height"], was["height_name"], is_["height"], is_["height_name"])
    if then["epoch"] != now["epoch"]:
        yield f"[target] epoch was {then['epoch'] or 'not stated'} and is {now['epoch'] or 'not stated'}"


def _control(then: ControlUsed | None, now: ControlUsed | None) -> Iterator[str]:
    if then is None or now is None:
        return
    if then["crs"] != now["crs"]:
        yield _was_is("[control] crs", then["crs"], then["crs_name"], now["crs"], now["crs_name"])
    if then["height"] != now["height"]:
        yield _was_is("[control] height", then["height"], then["height_name"], now["height"], now["height_name"])
    if then["epoch"] != now["epoch"]:
        yield f"[control] epoch was {then['epoch'] or 'not stated'} and is {now['epoch'] or 'not stated'}"


def _was_is(key: str, code: str, name: str, code_now: str, name_now: str) -> str:
    return f"{key} was {_named(code, name)} and is {_named(code_now, name_now)}"


def _named(code: str, name: str) -> str:
    return f"{name} ({code})" if len(code) <= 20 and code != "ellipsoid" else name


_Step = tuple[str, dict[str, str], tuple[str, ...]]


def _by_step(record: Record) -> dict[str, _Step]:
    """Return per step the names of its operations, its grid files with their sums, and its definitions."""
    return _gathered(
        (one["step"], one["name"], one["definition"], {used["name"]: used["sha256"] for used in one["grids"]})
        for one in record["operations"]
    )


def _now_by_step(survey: Survey) -> dict[str, _Step]:
    return _gathered(
        (one.step, one.name, one.definition, {used.name: used.sha256 for used in one.grids})
        for one in survey.operations.recorded()
    )


def _gathered(operations: Iterable[tuple[str, str, str, dict[str, str]]]) -> dict[str, _Step]:
    found: dict[str, _Step] = {}
    for step, name, definition, grids in operations:
        names, sums, definitions = found.get(step, ("", {}, ()))
        joined = " and ".join(one for one in (names, name) if one)
        found[step] = (joined, sums | grids, (*definitions, definition))
    return found


def _grids(last: Record, survey: Survey, step: str) -> tuple[str, str] | None:
    """Return the names of a step's grids then and now, None where they are called the same."""
    then, now = (by.get(step, ("", {}, ()))[1] for by in (_by_step(last), _now_by_step(survey)))
    if then.keys() == now.keys():
        return None
    return (", ".join(then) or "no grid file", ", ".join(now) or "no grid file")


@dataclass(frozen=True)
class _Moved:
    """What became of numbers that two issues have in common.

    Args:
        height: (n,) by how much the issued height of each occupation in common differs, metres upwards.
        plan: (n, 2) likewise easting and northing.
        jumps: per session with the same ties on marks with the same register numbers, (3,) by how much its shift is
            another, metres east, north, up.
    """

    height: Floats
    plan: Floats
    jumps: dict[str, Floats]


def _moved(last: Record, survey: Survey, solved: Solved, now: Fingerprint) -> _Moved:
    corrected, on_marks = solved.occupations.corrected, solved.occupations
    points = on_marks.table.column("name").to_pylist()
    here = np.column_stack([corrected.easting, corrected.northing, corrected.height])
    keys = zip(points, on_marks.time.tolist(), on_marks.marks, strict=True)
    at = {key: row for row, key in enumerate(keys)}
    axes = last["target"]["axes"]
    counts = [_count(axes["easting"]), _count(axes["northing"]), _count(axes["height"])]
    off = []
    for one in last["checks"]:
        row = at.get((one["point"], _time(one["observed"]), one["mark"]))
        was = [one["easting"], one["northing"], one["height"]]
        if row is not None and None not in was:
            off.append(here[row] - np.array(was, float) * counts)
    moves = np.array(off, float).reshape(-1, 3)
    moves = moves[np.isfinite(moves).all(axis=1)]
    return _Moved(moves[:, 2], moves[:, :2], _jumps(last, survey, solved, now))


def _count(written: AxisWritten) -> float:
    """Return the metres to the east, north or upwards in one count of a coordinate as an issue has it."""
    backwards = written["direction"] in ("west", "south", "down")
    return float(-written["metres"] if backwards else written["metres"])


def _time(observed: str | None) -> int | None:
    return None if observed is None else round(from_iso(observed).timestamp() * 1000)


def _jumps(last: Record, survey: Survey, solved: Solved, now: Fingerprint) -> dict[str, Floats]:
    """Return by how much shifts differ that the same ties give on marks whose register numbers are the same.

    A session is known again by any such tie of it, whatever it is called now, or by the base over such a mark.
    """
    same = _same_marks(last, now)
    earlier = {row["session"]: row for row in last["sessions"]}
    by_tie = {
        (one["point"], _time(one["observed"]), one["mark"]): one["session"]
        for one in last["checks"]
        if one["role"] == Role.TIE and one["mark"] in same
    }
    on_marks, found_again = solved.occupations, dict[int, str]()
    points = on_marks.table.column("name").to_pylist()
    for row, (time, mark) in enumerate(zip(on_marks.time.tolist(), on_marks.marks, strict=True)):
        if on_marks.roles[row] is Role.TIE and (name := by_tie.get((points[row], time, mark))) is not None:
            found_again.setdefault(int(on_marks.session[row]), name)
    for window in survey.windows:
        setup, stood = window.session.setup, earlier.get(window.session.name)
        over = stood["setup"] if stood is not None else None
        if setup is not None and over is not None and over["mark"] == setup.mark and setup.mark in same:
            found_again.setdefault(window.index, window.session.name)
    shifts, _ = shift_at_places(survey, solved)
    found = {}
    for number, name in found_again.items():
        before = earlier[name]
        was = [before["shift_east"], before["shift_north"], before["shift_up"]]
        if None not in was and np.isfinite(shifts[number]).all():
            found[survey.windows[number].session.name] = shifts[number] - np.array(was, float)
    return found


def _same_marks(last: Record, now: Fingerprint) -> set[str]:
    """Return the marks whose coordinates are written in the register as they were."""
    then = {row["mark"]: _numbers(row) for row in last["register"]}
    return {row["mark"] for row in now.register if then.get(row["mark"]) == _numbers(row)}


def _numbers(row: Mapping[str, object]) -> tuple[object, ...]:
    return tuple(row.get(key) for key in ("easting", "northing", "longitude", "latitude", "height", "holds"))


def frame_notes(last: Record, survey: Survey, solved: Solved, now: Fingerprint) -> list[str]:
    """Return what frames that differ from an earlier issue's did to the points, in words; nothing where none differs.

    Args:
        last: the record of the issue that changes are told since.
        survey: the job.
        solved: the same, adjusted.
        now: what it is made from.
    """
    changes = frame_changes(last, survey, now.sums)
    if not changes.all():
        return []
    moved = _moved(last, survey, solved, now)
    parts = []
    if len(moved.height):
        parts.append(_heights_told(moved.height))
    if len(moved.plan) and last["target"]["grid"] == survey.target["grid"]:
        far = float(np.hypot(*moved.plan.T).max())
        parts += [f"positions moved by up to {far:.3f} m"] if far > _TOLD else []
    jumped = _beyond(moved.jumps, survey)
    if jumped.any():
        parts.append(_jumps_told(moved.jumps, jumped))
    if not parts:
        return []
    return [f"since issue {last['issue']:03d} {'; '.join(parts)}: {'; '.join(changes.all())}"]


def _heights_told(height: Floats) -> str:
    low, high, mean = float(height.min()), float(height.max()), float(height.mean())
    if max(abs(low), abs(high)) < _TOLD:
        return "no height moved"
    between = f" ({low:+.3f} to {high:+.3f})" if high - low > _TOLD else ""
    return f"the heights of all points moved by about {mean:+.3f} m{between}"


def _beyond(jumps: Mapping[str, Floats], survey: Survey) -> Flags:
    """Return (2,) whether some session's shift is another by more than the tolerance in position, in height."""
    checks, off = survey.job.checks, np.array(list(jumps.values())).reshape(-1, 3)
    plan, up = np.hypot(off[:, 0], off[:, 1]) > checks.horizontal, np.abs(off[:, 2]) > checks.vertical
    return np.array([plan.any(), up.any()])


def _jumps_told(jumps: Mapping[str, Floats], jumped: Flags) -> str:
    told = [
        f"{name} by {east:+.3f} east, {north:+.3f} north, {up:+.3f} up"
        if jumped[0]
        else f"{name} by {up:+.3f} m in height"
        for name, (east, north, up) in list(jumps.items())[:_LISTED]
    ]
    more = f" and {len(jumps) - _LISTED} more" if len(jumps) > _LISTED else ""
    return f"the same ties on the same numbers of the register give another shift (session {', '.join(told)}{more})"


def unsettled(record: Record) -> bool:
    """Tell whether an issue is in doubt, by this module, against one before it."""
    return any(_UNSETTLED in doubt["what"] and not doubt["confirmed"] for doubt in record["doubts"])


def frame_doubts(base: Record, survey: Survey, solved: Solved, now: Fingerprint) -> tuple[Doubtful, ...]:
    """Return doubts for all sessions where frames differ so that this issue or an earlier one must be wrong.

    Other keys of ``[target]`` alone give the same places other coordinates, and raise none. Of ``[control]`` they take
    the register's numbers for something else, and ties take that up in the shift; a grid file or an operation that is
    another without any key moves what is said to be the same. Where the earlier issue was in doubt or had failed, this
    one may be the cure of it.

    Args:
        base: the record of the newest issue that is not in such a doubt itself.
        survey: the job.
        solved: the same, adjusted.
        now: what it is made from.
    """
    changes = frame_changes(base, survey, now.sums)
    if not changes.control and (changes.target or changes.field or not changes.files):
        return ()
    if _was_wrong(base, solved, now):
        return ()
    moved, checks = _moved(base, survey, solved, now), survey.job.checks
    issue = f"issue {base['issue']:03d}"
    issued = np.zeros(2, bool)
    if len(moved.height) and base["target"]["grid"] == survey.target["grid"]:
        issued[0] = bool((np.hypot(*moved.plan.T) > checks.horizontal).any())
    if len(moved.height) and base["target"]["height"] == survey.target["height"]:
        issued[1] = bool((np.abs(moved.height) > checks.vertical).any())
    if changes.control:
        # where field positions are read otherwise too, a shift says nothing by itself
        by_shift = bool(moved.jumps) and not changes.field
        jumped = _beyond(moved.jumps, survey) if by_shift else issued
        told = _jumps_told(moved.jumps, jumped) if by_shift else _issued_told(moved, issued)
        what = f"{told} than in {issue}" if by_shift else f"since {issue} {told}"
        cure = ", since ties take a wrong CRS or height datum up whole and checks agree all the same"
        why, key = changes.control, "height" if any("] height" in text for text in changes.control) else "crs"
    else:
        jumped, why, key = issued, changes.files, "geoid"
        what = f"since {issue} {_issued_told(moved, issued)} in what is called the same grid and height datum"
        cure = "; see which file or operation belongs to the job"
    if not jumped.any():
        return ()
    kind = Doubt.REGISTER_HEIGHTS if jumped[1] and not jumped[0] else Doubt.DATUM
    table = "target" if key == "geoid" else "control"
    sentence = f"{what}: {'; '.join(why)}; {_UNSETTLED}{cure}"
    place = survey.where(table, key)
    return confirmed_by(survey.job, [Doubtful(kind, sentence, None, *place)])


def _issued_told(moved: _Moved, issued: Flags) -> str:
    parts = [_heights_told(moved.height)] if issued[1] else []
    parts += [f"positions moved by up to {float(np.hypot(*moved.plan.T).max()):.3f} m"] if issued[0] else []
    return " and ".join(parts)


_OF_FRAMES = {Doubt.REGISTER_HEIGHTS, Doubt.EXPORT_HEIGHTS, Doubt.DATUM, Doubt.SHIFT, Doubt.TRANSFORMATION}


def _was_wrong(base: Record, solved: Solved, now: Fingerprint) -> bool:
    """Tell whether an issue was in a doubt that another frame may settle, or a check of it failed that passes now.

    A check that passes because its mark was revised, or is gone, was not cured by another frame.
    """
    if any(doubt["kind"] in _OF_FRAMES and not doubt["confirmed"] for doubt in base["doubts"]):
        return True
    on_marks, same = solved.occupations, _same_marks(base, now)
    passing = on_marks.compared.judged & on_marks.compared.passed
    keys = zip(on_marks.table.column("name").to_pylist(), on_marks.time.tolist(), on_marks.marks, strict=True)
    cured = {key for key, passes in zip(keys, passing.tolist(), strict=True) if passes}
    failed = [one for one in base["checks"] if one["passed"] is False and one["mark"] in same]
    return any((one["point"], _time(one["observed"]), one["mark"]) in cured for one in failed)
