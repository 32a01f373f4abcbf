"""What a job file says, as text to be hashed: two that ask for the same give the same text."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline.job.local_clock import local_clock
from pipeline.job.model import ControlSection, Drawing, Job, Points


def meaning(job: Job, *, in_full: bool = False) -> str:
    """Return what a loaded job says, as JSON to be hashed: two job files that ask for the same give the same text.

    Comments, layout, the order of keys and of sessions, and the folders in which things lie make no difference, nor
    does the offset in which a time is written, or what is planned, released, kept and called. Of a path only the last
    part counts: files are told apart by their content, which the issue's list of inputs holds; what a table of codes
    says counts by itself. ``in_full`` says `KEYS_LATER` at their defaults too.
    """
    content = job.model_dump(by_alias=True, exclude_none=True, exclude=_SILENT)
    if not content.get("particulars"):
        content.pop("particulars", None)
    if (zone := local_clock(job)) is not None and zone not in {points.time_zone for points in job.points}:
        content["local_clock"] = zone  # [source] alone has it, and the report shows times by it
    content["session"] = sorted(content["session"], key=lambda session: (session["start"], session["name"]))
    for name, keys in KEYS_LATER.items() if not in_full else ():
        for key in keys:
            if getattr(getattr(job, name), key) == type(getattr(job, name)).model_fields[key].default:
                content[name].pop(key, None)
    content["issue"]["hold_back"] = sorted(set(content["issue"]["hold_back"]))
    content["issue"]["formats"] = sorted({"gpkg", *content["issue"]["formats"]})
    drawing = content.pop("drawing")
    if "dxf" in content["issue"]["formats"] and job.drawing != Drawing():
        content["drawing"] = {**drawing, "codes": sorted(drawing["codes"], key=lambda one: str(one["code"]))}
    if job.linework is not None:
        content["linework"] |= {key: sorted(content["linework"][key]) for key in ("codes", "start", "end", "close")}
    for points in content["points"]:
        points["files"] = [Path(pattern).name for pattern in points["files"]]
    return json.dumps(content, default=_plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


#: Keys of tables that shape no issue.
KEYS_SILENT = {"job": {"folder"}, "issue": {"release", "keep"}}
#: What shapes no issue, or counts elsewhere; `[source]` is part of every block.
_SILENT: Any = {"source": True, "plan": True, "notify": True, "codes": True, **KEYS_SILENT}

#: Keys that came when there were issues already: one that is not stated says what a job file without it said.
KEYS_LATER = {"quality": ("scale",), "checks": ("same_name", "same_place"), "issue": ("repeats",)}

#: Keys of ``[control]`` that are summed at their defaults too; issues from before them were not. The last come first.
_CONTROL_LATER = (("sigma_horizontal", "sigma_vertical"), ("columns",))

#: Tables of which the meaning is told apart: always, and where something is stated in them.
_ALWAYS = ("job", "target", "points", "quality", "control", "shift", "checks", "issue")
#: Begins what `meanings` calls the keys of a table that are limits.
LIMITS_OF = "limits of "
_WHERE_STATED = ("particulars", "drawing", "linework")

#: Keys that hold points back or let them pass, and leave the numbers of those that pass as they are.
LIMITS: dict[str, tuple[str, ...]] = {
    "quality": ("solutions", "max_sigma_horizontal", "max_sigma_vertical", "max_pdop", "max_correction_age"),
    "shift": ("limit_horizontal", "limit_vertical"),
}


def meanings(job: Job) -> dict[str, str]:
    """Return what the tables of a job file say apart, sessions left out; limits apart from what makes numbers."""
    return _parts(json.loads(meaning(job)))


def _parts(told: dict[str, Any]) -> dict[str, str]:
    found: dict[str, object] = {}
    for name in (*_ALWAYS, *_WHERE_STATED):
        if name in _WHERE_STATED and name not in told:
            continue  # as in issues from before there were any
        table = told.get(name)
        limits = LIMITS.get(name, ())
        if isinstance(table, dict) and limits:
            found[f"{LIMITS_OF}[{name}]"] = {key: table[key] for key in table if key in limits}
            table = {key: table[key] for key in table if key not in limits}
        found[f"[[{name}]]" if isinstance(table, list) else f"[{name}]"] = table
    return {name: json.dumps(table, sort_keys=True, ensure_ascii=False) for name, table in found.items()}


def former_meanings(job: Job) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield `meaning` and `meanings` as of before some keys came, or were left out where they are at their defaults.

    Nothing of before keys that are stated: a job file said nothing of the kind then.
    """
    text = meaning(job, in_full=True)
    yield text, _parts(json.loads(text))
    content = json.loads(meaning(job))
    for keys in _CONTROL_LATER if job.control is not None else ():
        if any(getattr(job.control, key) != ControlSection.model_fields[key].default for key in keys):
            return
        for key in keys:
            content["control"].pop(key)
        yield json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":")), _parts(content)


def meaning_of(points: Points) -> str:
    """Return what one ``[[points]]`` block says of reading a file, as JSON to be hashed; which files does not count."""
    told = points.model_dump(exclude={"files", "not_measured"}, exclude_none=True)
    return json.dumps(told, default=_plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _plain(value: object) -> str:
    if isinstance(value, Path):
        return value.name
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    raise TypeError(f"a job holds no {type(value).__name__}")
