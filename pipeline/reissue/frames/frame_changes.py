"""Lists the frame changes between two issues in words: keys, grids and operations."""

from collections.abc import Iterable, Iterator, Mapping

from msgspec import Struct

from pipeline.geodesy.step_names import ISSUED, RAW, REGISTER
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import FrameDifference, GridFile, Operation
from pipeline.issue.made_from import PART
from pipeline.issue.record_types import Record, Target
from pipeline.reissue.fingerprint import SITE
from pipeline.reissue.frames.differences import Step, control_differences, named, worded


class FrameChanges(Struct, frozen=True):
    """How the frames of two issues differ; what may put an issue in doubt as data, the rest in words.

    Args:
        target: keys of ``[target]``: coordinates are meant to be others.
        control: keys of ``[control]``: the register's numbers are taken for something else.
        field: how field positions are read.
        files: grid files of another content under the same name, and operations that are others without a key.
        steps: the steps of work whose operations these, or another localisation of the site, account for.
    """

    target: tuple[str, ...] = ()
    control: tuple[FrameDifference, ...] = ()
    field: tuple[str, ...] = ()
    files: tuple[FrameDifference, ...] = ()
    steps: frozenset[str] = frozenset()

    def all(self) -> tuple[str, ...]:
        """Return every difference in words."""
        return (*self.target, *map(worded, self.control), *self.field, *map(worded, self.files))


def frame_changes(last: Record, survey: Survey, now: Mapping[str, str]) -> FrameChanges:
    """Return how the frames of a job differ from those of an earlier issue.

    Args:
        last: the record of the earlier issue.
        survey: the job.
        now: its `Fingerprint.sums`.
    """
    target = list(_target(last["target"], survey.target))
    used = control_used(survey.job)
    control = control_differences(last["control"], used) if last["control"] is not None and used is not None else []
    keys = f"{PART}[target]"
    if not target and last["identity"].get(keys) != now.get(keys) and _grids(last, survey, ISSUED) is not None:
        was, is_ = _grids(last, survey, ISSUED) or ("", "")
        target.append(f"[target] geoid: heights used {was} and now use {is_}")
    # of another target every operation is another, also that of field positions which are read as before
    read = last["identity"].get(f"{PART}[[points]]") != now.get(f"{PART}[[points]]")
    keyed = any(last["identity"].get(f"{PART}{key}") != now.get(f"{PART}{key}") for key in ("[target]", "[control]"))
    # a site's own system is part of the operation, and another one is told as that
    fitted = last["identity"].get(SITE) != now.get(SITE)
    then, here = by_step(last), now_by_step(survey)
    files, field, steps = list[FrameDifference](), list[str](), set[str]()
    for step in (RAW, REGISTER, ISSUED):
        before, after = then.get(step), here.get(step)
        if before is None or after is None or before == after:
            continue
        steps.add(step)
        contents: list[FrameDifference] = [
            GridFile(of="grid file", name=name, was=old, became=after[1][name])
            for name, old in before[1].items()
            if name in after[1] and after[1][name] != old
        ]
        files += [one for one in contents if one not in files]
        if before[0] != after[0] and step == RAW and read:
            field.append(f"field positions were converted by {before[0]} and are now by {after[0]} (crs of [source])")
        elif not contents and not keyed and not (step == ISSUED and fitted):
            was, became, definitions = before[0], after[0], list(before[2])
            files.append(Operation(of="operation", step=step, was=was, became=became, definitions=definitions))
    return FrameChanges(tuple(target), tuple(control), tuple(field), tuple(files), frozenset(steps))


def control_matters(last: Record, survey: Survey) -> bool:
    """Tell whether the register's numbers go another way than in an earlier issue, whatever grid files have in them.

    A key may be another, or stated for the first time, and change no operation.
    """
    register = survey.operations.register
    before, after = by_step(last).get(REGISTER), now_by_step(survey).get(REGISTER)
    if register is None or before is None or after is None:
        return True
    # of another target the same steps lead into another datum
    if any(last["target"][key] != survey.target[key] for key in ("grid", "height", "epoch")):
        return True
    # an epoch is no part of the definition
    used = control_used(survey.job)
    epoch = last["control"]["epoch"] if last["control"] is not None else None
    aged = register.epoch is not None and used is not None and used["epoch"] != epoch
    return aged or (before[0], before[2]) != (after[0], after[2])


def _target(then: Target, now: Target) -> Iterator[str]:
    # of another fit a site's own system has another definition: the keys say what it is derived of
    was, is_ = (then["site"], now["site"]) if then["site"] is not None and now["site"] is not None else (then, now)
    assert was is not None and is_ is not None
    if was["grid"] != is_["grid"]:
        yield _was_is("[target] grid", was["grid"], was["grid_name"], is_["grid"], is_["grid_name"])
    if was["height"] != is_["height"]:
        yield _was_is("[target] height", was["height"], was["height_name"], is_["height"], is_["height_name"])
    if then["epoch"] != now["epoch"]:
        yield f"[target] epoch was {then['epoch'] or 'not stated'} and is now {now['epoch'] or 'not stated'}"


def _was_is(key: str, code: str, name: str, code_now: str, name_now: str) -> str:
    return f"{key} was {named(code, name)} and is now {named(code_now, name_now)}"


def by_step(record: Record) -> dict[str, Step]:
    """Return per step of an issue the names of its operations, its grid files with their sums, and its definitions."""
    return _gathered(
        (one["step"], one["name"], one["definition"], {used["name"]: used["sha256"] for used in one["grids"]})
        for one in record["operations"]
    )


def now_by_step(survey: Survey) -> dict[str, Step]:
    """Return the same of a job."""
    return _gathered(
        (one.step, one.name, one.definition, {used.name: used.sha256 for used in one.grids})
        for one in survey.operations.recorded()
    )


def _gathered(operations: Iterable[tuple[str, str, str, dict[str, str]]]) -> dict[str, Step]:
    found: dict[str, Step] = {}
    for step, name, definition, grids in operations:
        names, sums, definitions = found.get(step, ("", {}, ()))
        joined = " and ".join(one for one in (names, name) if one)
        found[step] = (joined, sums | grids, (*definitions, definition))
    return found


def _grids(last: Record, survey: Survey, step: str) -> tuple[str, str] | None:
    """Return the names of a step's grids then and now, None where they are called the same."""
    then, now = (by.get(step, ("", {}, ()))[1] for by in (by_step(last), now_by_step(survey)))
    if then.keys() == now.keys():
        return None
    return (", ".join(then) or "no grid file", ", ".join(now) or "no grid file")
