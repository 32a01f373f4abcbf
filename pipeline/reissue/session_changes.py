"""Says what the job file states of a session otherwise than for the last issue, key by key.

A record keeps when a session was, its base id, its set-up, its occupations and its field shifts; of all that is stated
of it together it has a checksum. What the record does not keep is found by trial, as in `former_tables`: statements
that the former one is likely to have been are summed, and whichever gives the same sum is it. Where none does, only
what the record keeps is told.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import product
from math import prod
from typing import Any

from pipeline.clock import milliseconds_of, stamp
from pipeline.issue.record_types import Record
from pipeline.issue.session_types import SetUpStated
from pipeline.job.model import Setup
from pipeline.job.stated_keys import in_words, plain
from pipeline.reissue.fingerprint import sum_of

#: What is said of a session: values by key, times as UTC milliseconds.
Values = Mapping[str, Any]

_TIMES, _OCCUPATIONS = ("start", "end"), ("ties", "checks")
#: By how much a record rounds lengths and angles, at the most.
_METRES, _DEGREES = 1e-6, 1e-10
#: Statements that are tried at most: some 50 ms.
_MOST = 3_000
#: Occupations of a list up to which each of them is tried as new.
_LISTED = 12


def changed_in_session(now: Values, last: Record, total: str | None) -> list[str]:
    """Return what of a session's keys says something else than before, from what to what; nothing where not known.

    Args:
        now: what is stated of it, as `fingerprint.session_values` has it.
        last: the record of the last issue.
        total: the checksum of what was stated of it there, None where there is none.
    """
    row = next((one for one in last["sessions"] if one["session"] == now["name"]), None)
    if row is None or total is None:
        return []
    kept: dict[str, Any] = {
        "start": milliseconds_of(row["start"]),
        "end": milliseconds_of(row["end"]),
        "base": row["base"],
        "setup": _set_up(row["setup"], now["setup"]),
    }
    tried: dict[str, list[Any]] = {key: [kept.get(key, value)] for key, value in now.items()}
    if kept["setup"] is not None and row["setup"] is not None:
        tried["setup"].append({**_unset(), **{key: kept["setup"][key] for key in row["setup"]}})
    tried |= {key: _occupations(now[key], key, last, now["name"]) for key in _OCCUPATIONS}
    tried["shift"] = [now["shift"], *(word for word in ("derive", "none") if word != now["shift"])]
    tried["field_shift"] = _field_shifts(now["field_shift"], last, now["name"])
    tried |= {key: [now[key], none] for key, none in (("epoch", None), ("noted", [])) if now.get(key)}
    if prod(map(len, tried.values())) > _MOST:
        tried |= {key: [now[key]] for key in _OCCUPATIONS}
    formers = (dict(zip(tried, values, strict=True)) for values in product(*tried.values()))
    former = next((one for one in formers if sum_of(_as_summed(one)) == total), None)
    return list(_told(former or {**now, **kept}, now))


def _set_up(then: SetUpStated | None, now: Values | None) -> dict[str, Any] | None:
    """Return what was stated of a base over a mark: what the record does not keep of it, as now or at its defaults."""
    if then is None:
        return None
    stated = now or {}
    given = {key: stated[key] if _as_recorded(key, stated.get(key), value) else value for key, value in then.items()}
    return {**_unset(), **stated, **given}


def _unset() -> dict[str, Any]:
    """Return what a set-up says of which no key is stated."""
    fields = Setup.model_fields.items()
    return {key: None if field.is_required() else plain(field.get_default()) for key, field in fields}


def _as_recorded(key: str, now: Any, then: Any) -> bool:
    """Say whether a value may be the one that a record has, rounded there."""
    if not isinstance(now, float) or not isinstance(then, int | float):
        return bool(now == then)
    return abs(now - then) <= (_DEGREES if key in ("longitude", "latitude") else _METRES)


def _as_summed(former: dict[str, Any]) -> dict[str, Any]:
    """Return a statement as it is summed: checks that were noted count where there are any."""
    return former if former.get("noted", True) else {key: value for key, value in former.items() if key != "noted"}


def _occupations(now: Sequence[Values], role: str, last: Record, session: str) -> list[list[Values]]:
    """Return the lists of ties or checks that there may have been, that of now first.

    One without what the last issue did not have, or without any single one; with what only it had, at any place.
    """
    rows = [one for one in last["checks"] if one["session"] == session and one["role"] == role.removesuffix("s")]
    had: list[Values] = [{"point": one["point"], "mark": one["mark"]} for one in rows]
    listed: list[Values] = [dict(one) for one in now]
    gone = [one for one in had if one not in listed]
    stayed = [one for one in listed if one in had]
    found = [listed, stayed]
    if len(listed) <= _LISTED:
        found += [[one for one in listed if one is not left_out] for left_out in listed]
    for some in (listed, stayed):
        found += [[*some[:at], one, *some[at:]] for one in gone for at in range(len(some) + 1)]
        found += [[*some, *gone], sorted([*some, *gone], key=lambda one: had.index(one) if one in had else len(had))]
    return [one for number, one in enumerate(found) if one not in found[:number]]


def _field_shifts(now: Any, last: Record, session: str) -> list[Any]:
    """Return what may have been stated of shifts that the field applied: as now, none, or one as the record has it."""
    had = [one for one in last["field_shifts"] if one["session"] == session]
    found = [now] if now is None else [now, None]
    if not isinstance(now, dict) or len(had) != 1:
        return found
    then: Mapping[str, Any] = had[0]
    kept = {"start": then["from"], "until": then["until"]}
    times = {key: _on_clock(text, now[key]) for key, text in kept.items() if text is not None and key in now}
    own = ("tie", "mark", "base", "files", "model")
    words = {key: then[key] for key in own if key in now and then[key]}
    vector = {key: then[f"shift_{key}"] for key in ("east", "north", "up") if key in now}
    lasting = {key: value for key, value in now.items() if key != "until"}
    return [*found, *({**some, **times, **words, **vector} for some in (now, lasting)), lasting]


def _on_clock(text: str, now: str) -> str:
    """Return a time of the record as it is written on the clock of another text."""
    then = datetime.fromisoformat(text).astimezone(datetime.fromisoformat(now).tzinfo)
    return then.isoformat().replace("+00:00", "Z") if now.endswith("Z") else then.isoformat()


def _told(former: Values, now: Values) -> Iterator[str]:
    """Yield in words what differs between two statements of a session."""
    for key, is_ in now.items():
        was: Any = former.get(key)
        if was == is_:
            continue
        if key == "noted":
            yield "noted checks"
        elif key in _TIMES:
            yield f"{key} {stamp(was)} -> {stamp(is_)} UTC"
        elif key in _OCCUPATIONS:
            yield from _of_occupations(key, was, is_)
        elif isinstance(was, dict) and isinstance(is_, dict):
            yield from _of_keys(key, was, is_)
        else:
            yield f"{key} {in_words(was)} -> {in_words(is_)}"


def _of_occupations(key: str, was: Sequence[Values], now: Sequence[Values]) -> Iterator[str]:
    """Yield which ties or checks are new or gone."""
    for these, others, word in ((now, was, "is new"), (was, now, "is gone")):
        for one in these:
            if one not in others:
                yield f"{key.removesuffix('s')} {one['point']} on {one['mark']} {word}"


def _of_keys(key: str, was: Values, now: Values) -> Iterator[str]:
    """Yield which keys of a table of a session differ."""
    for name in dict.fromkeys((*was, *now)):
        before, after = was.get(name), now.get(name)
        if before != after:
            yield f"{key} {'from' if name == 'start' else name} {in_words(before)} -> {in_words(after)}"
