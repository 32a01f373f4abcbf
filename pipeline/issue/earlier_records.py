"""What a record of an earlier schema is read as, one step for each schema; a record of this one is left as it is.

A step gives what a later schema has and an earlier one had not a value that says nothing of it, and takes nothing for
granted: whether the outcome is a record, `record_form` says.
"""

from collections.abc import Callable, Mapping
from typing import Any

_Json = dict[str, Any]

#: What records of schema 1 had not from the beginning, and a value that says nothing: of a record, and of its entries.
_SINCE_1: Mapping[str, Any] = {
    "diagnoses": (), "doubts": (), "wholly_held_back": (), "register": (), "reach": {"sessions": {}, "files": {}},
}  # fmt: skip
_OF_SESSIONS: Mapping[str, Any] = {"base_log": None, "first_point": None, "last_point": None, "stretches": ()}
#: Likewise of schema 4.
_SINCE_4: Mapping[str, Any] = {
    "field_shifts": (), "precision": (), "release": None,
    "control": None, "particulars": {}, "local_clock": None, "accuracy": None,
    "suspect": {"total": 0, "points": []},
}  # fmt: skip
#: Likewise of schema 5.
_SINCE_5: Mapping[str, Any] = {"codes": None, "linework": None}
_OF_MARKS_SINCE_5: Mapping[str, Any] = dict.fromkeys(
    ("published_easting", "published_northing", "published_height", "drawn")
)
_OF_EXPLANATIONS: Mapping[str, Any] = {"close": False}

#: The schema after which records may have a number and not yet its keys.
_EARLY = 3

#: Words of schema 1 that are others now: of marks' status, and of the steps of operations, which `identity` names too.
_OPERATION = "the operation "
_STATUS = {"held": "constrained"}
_STEPS_OF_1 = {
    "raw to working": "field datum to computation",
    "register to working": "register to computation",
    "base to working": "base to computation",
    "working to issued": "computation to grid",
}


def upgraded(record: Mapping[str, Any]) -> _Json:
    """Return a record of this or an earlier schema as one of this; ``schema`` is a number from 1 to this one's.

    From `_EARLY` on, numbers were raised before all of their keys were there, so that what a schema had in the end is
    given to each of its records that lacks it.
    """
    found, schema = dict(record), record["schema"]
    for step in _STEPS[min(schema, _EARLY) - 1 :] if schema <= len(_STEPS) else ():
        found = step(found)
    return found


def _from_1(record: _Json) -> _Json:
    """Schema 1 grew keys without being raised, so that of its records some have a key and some have not."""
    found = _with(record, _SINCE_1)
    found["sessions"] = _each(found.get("sessions"), lambda one: _with(one, _OF_SESSIONS))
    found["diagnoses"] = _each(found["diagnoses"], _diagnosis)
    found["marks"] = _each(found.get("marks"), lambda one: _in_words_of_today(one, "status", _STATUS))
    found["operations"] = _each(found.get("operations"), lambda one: _in_words_of_today(one, "step", _STEPS_OF_1))
    if isinstance(sums := found.get("identity"), dict):
        renamed = {f"{_OPERATION}{old}": f"{_OPERATION}{new}" for old, new in _STEPS_OF_1.items()}
        found["identity"] = {renamed.get(name, name): total for name, total in sums.items()}
    return found


def _from_2(record: _Json) -> _Json:
    """Schema 2 had nothing of a GeoPackage but its layers."""
    return record | {"schema": 3}


def _from_3(record: _Json) -> _Json:
    """Schema 3 knew metres to the east, to the north and upwards alone, no site's own system, and less of marks."""
    sides = {"easting": "east", "northing": "north", "height": "up"}
    axes = {name: {"unit": "metre", "metres": 1.0, "direction": side} for name, side in sides.items()}
    target = record.get("target")
    told = {"target": _with(target, {"axes": axes, "site": None})} if isinstance(target, dict) else {}
    return record | told | {"schema": 4}


def _from_4(record: _Json) -> _Json:
    """Schema 4 said nothing of field shifts, of points measured twice, or of issues that wait or are signed."""
    told = _each(record.get("diagnoses"), lambda one: _with(one, {"field_shift": None}))
    sessions = _each(record.get("sessions"), lambda one: _with(one, {"setup": None}))
    none = {"issued": "all", "failing": []} | dict.fromkeys(("names", "told_apart", "pairs", "failed", "means"), 0)
    repeats = none | dict.fromkeys(("spread_horizontal", "spread_vertical"))
    return _with(record, {**_SINCE_4, "repeats": repeats}) | {"schema": 5, "diagnoses": told, "sessions": sessions}


def _from_5(record: _Json) -> _Json:
    """Schema 5 lacked what stands in `_SINCE_5`."""
    marks = _each(record.get("marks"), lambda one: _with(one, _OF_MARKS_SINCE_5))
    return _with(record, _SINCE_5) | {"schema": 6, "marks": marks}


def _diagnosis(one: _Json) -> _Json:
    """Return a diagnosis; its ``explanations`` were called ``readings``."""
    rest = {key: value for key, value in one.items() if key != "readings"}
    told = _each(one.get("readings", one.get("explanations")), lambda cause: _with(cause, _OF_EXPLANATIONS))
    fitting = {"fitting": len(told)} if isinstance(told, list) else {}
    return _with(rest, fitting) | {"explanations": told}


def _from_6(record: _Json) -> _Json:
    """Schema 6 had one kind of doubt less."""
    return record | {"schema": 7}


def _from_7(record: _Json) -> _Json:
    """Schema 7 had what a doubt is about in its sentence alone, and that of altered files in a note."""
    from pipeline.issue.earlier_doubts import origin_of  # its patterns need not be made where no such record is

    doubts = _each(record.get("doubts"), lambda one: _with(one, {"origin": origin_of(one, record)}))
    changes = record.get("changes")
    told = {"changes": _with(changes, {"altered": ()})} if isinstance(changes, dict) else {}
    return record | told | {"schema": 8, "doubts": doubts}


def _in_words_of_today(one: _Json, key: str, words: Mapping[str, str]) -> _Json:
    word = one.get(key)
    return one | {key: words[word]} if isinstance(word, str) and word in words else one


def _with(part: _Json, more: Mapping[str, Any]) -> _Json:
    """Return a part of a record with what it lacks of ``more``."""
    return {key: list(value) if isinstance(value, tuple) else value for key, value in more.items()} | part


def _each(entries: Any, step: Callable[[_Json], _Json]) -> Any:
    """Return a list with its objects changed; what is no list, or no object in one, is left for the form to refuse."""
    if not isinstance(entries, list):
        return entries
    return [step(one) if isinstance(one, dict) else one for one in entries]


#: The step from each schema to the next.
_STEPS: tuple[Callable[[_Json], _Json], ...] = (_from_1, _from_2, _from_3, _from_4, _from_5, _from_6, _from_7)
