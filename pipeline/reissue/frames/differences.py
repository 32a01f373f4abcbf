"""Differences between the frames of two issues, as data for the record and in words."""

from collections.abc import Mapping

from pipeline.geodesy.step_names import ISSUED, RAW, REGISTER
from pipeline.issue.doubt_types import ControlKey, FrameDifference, GridFile, Operation
from pipeline.issue.record_types import ControlUsed

#: What each step of work reads or makes, in words.
TERMS = {RAW: "field positions", REGISTER: "the register", ISSUED: "the grid and its heights"}
#: Names of operations, sums of grid files by name, definitions.
Step = tuple[str, dict[str, str], tuple[str, ...]]


def worded(one: FrameDifference) -> str:
    """Return in words what was and what is."""
    if one["of"] == "control":
        return f"[control] {one['key']} was {one['was']} and is now {one['became']}"
    if one["of"] == "grid file":
        was, became = one["was"][:8], one["became"][:8]
        return f"the grid file {one['name']} has different content (SHA-256 was {was}..., is now {became}...)"
    if one["was"] == one["became"]:
        return f"{TERMS[one['step']]}: the operation {one['became']} is defined differently"
    return f"{TERMS[one['step']]}: the operation was {one['was']} and is now {one['became']}"


def subject(one: FrameDifference) -> tuple[str, str]:
    """Return what differs, by which two differences are known to be of the same thing."""
    if one["of"] == "control":
        return one["of"], one["key"]
    return one["of"], one["name"] if one["of"] == "grid file" else one["step"]


def control_differences(then: ControlUsed, now: ControlUsed) -> list[FrameDifference]:
    """Return which keys of ``[control]`` are others."""
    found: list[FrameDifference] = []
    if then["crs"] != now["crs"]:
        was, became = named(then["crs"], then["crs_name"]), named(now["crs"], now["crs_name"])
        found.append(ControlKey(of="control", key="crs", was=was, code=then["crs"], became=became))
    if then["height"] != now["height"]:
        was, became = named(then["height"], then["height_name"]), named(now["height"], now["height_name"])
        found.append(ControlKey(of="control", key="height", was=was, code=then["height"], became=became))
    if then["epoch"] != now["epoch"]:
        was, became = (str(used["epoch"] or "not stated") for used in (then, now))
        found.append(ControlKey(of="control", key="epoch", was=was, code=None, became=became))
    return found


def as_it_is(one: FrameDifference, control: ControlUsed | None, steps: Mapping[str, Step]) -> FrameDifference | None:
    """Return a difference with what it is now, None where that is what it was.

    Args:
        one: as an issue recorded it.
        control: the register's frame now; None: there is no register, and nothing says that it is as it was.
        steps: the job's steps of work, as `frame_changes.now_by_step`.
    """
    if one["of"] == "control":
        return _key_now(one, control)
    if one["of"] == "grid file":
        sums = [grids[one["name"]] for _, grids, _ in steps.values() if one["name"] in grids]
        # one that is not used any more moves nothing
        if not any(not sha256.startswith(one["was"]) for sha256 in sums):
            return None
        return GridFile(of="grid file", name=one["name"], was=one["was"], became=sums[0])
    return _operation_now(one, steps)


def _key_now(one: ControlKey, control: ControlUsed | None) -> ControlKey | None:
    if control is None:
        return one
    code, became = {
        "crs": (control["crs"], named(control["crs"], control["crs_name"])),
        "height": (control["height"], named(control["height"], control["height_name"])),
        "epoch": (None, str(control["epoch"] or "not stated")),
    }[one["key"]]
    back = code == one["code"] if one["code"] is not None else became == one["was"]
    return None if back else ControlKey(of="control", key=one["key"], was=one["was"], code=one["code"], became=became)


def _operation_now(one: Operation, steps: Mapping[str, Step]) -> Operation | None:
    if one["step"] not in steps:
        return one
    became, _, definitions = steps[one["step"]]
    if one["definitions"] is None and one["was"] == one["became"]:
        return one  # how it was defined is not known any more
    if became == one["was"] and one["definitions"] in (None, list(definitions)):
        return None
    return Operation(of="operation", step=one["step"], was=one["was"], became=became, definitions=one["definitions"])


def named(code: str, name: str) -> str:
    """Return a CRS or height datum by its name, with its code where that is one that people look up."""
    return f"{name} ({code})" if len(code) <= 20 and code != "ellipsoid" else name
