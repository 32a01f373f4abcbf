"""What doubts of schema 7 and before were about: these said it in sentences alone, and here alone they are read.

The sentences are those that were written then, and stay as they are here whatever today's are. A name may have
anything in it, a line feed too. A doubt that was to be taken along and cannot be read stays as it was worded.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

_Json = dict[str, Any]

_UNANSWERED, _SHIFT = "unanswered-check", "shift"
#: How a doubt went on behind what it was about.
_UNTIL = re.compile(r" -> nothing of it counts as proven until .*\Z| \(confirmed by the job file\)\Z", re.DOTALL)

_FAILED = "which failed in issue "
_OCCUPATION = re.compile(
    r"the occupation (?P<names>.*) \(observed (?P<day>\d{4,}-\d\d-\d\d) (?P<clock>\d\d:\d\d:\d\d) UTC\), which failed"
    r" in issue 0*(?P<issue>[1-9]\d*), (?P<how>is no occupation of the job any more|is a tie now"
    r"|is not (?:tested|judged) in (?P<parts>position and height|position|height) any more)",
    re.DOTALL,
)
_NOW = {"is no occupation of the job any more": "gone", "is a tie now": "tie"}
_PARTS = ("position", "height")
#: How one that is a tie now went on, where it could be held against others: by what had failed of it.
_OFF = re.compile(r", (?P<position>\d+\.\d+ m in plan)?(?: and )?(?P<height>\d+\.\d+ m in height)? off from ")

_UNSETTLED = "neither the readings nor the register's numbers say which of the two is right"
_STEPS = {
    "field positions": "field datum to computation",
    "the register": "register to computation",
    "the grid and its heights": "computation to grid",
}
_FRAME = re.compile(
    r"(?P<moved>(?:the same ties on the same numbers of the register|since issue \d+) .*?):"
    rf" (?P<why>(?:\[control\]|the grid file|{'|'.join(_STEPS)}).*?); {_UNSETTLED}",
    re.DOTALL,
)
_SINCE = re.compile(r"\Asince issue 0*([1-9]\d*)|.* than in issue 0*([1-9]\d*)\Z", re.DOTALL)
#: Where one reason ends and the next begins: a name may have a semicolon too.
_NEXT = re.compile(
    rf"; (?=\[control\] (?:crs|height|epoch) was |the grid file |(?:{'|'.join(_STEPS)}): the operation )"
)
_KEY = re.compile(r"\[control\] (crs|height|epoch) was (.*) and is (.*)", re.DOTALL)
_FILE = re.compile(
    r"the grid file (.*) has another content \(SHA-256 ([0-9a-f]{8})\.\.\. was, ([0-9a-f]{8})\.\.\. is\)", re.DOTALL
)
_OPERATION = re.compile(
    rf"({'|'.join(_STEPS)}): the operation (?:was (?P<was>.*) and is (?P<is>.*)|(?P<same>.*) is defined otherwise)",
    re.DOTALL,
)

_ANEW = "is worked out by the register as it is now"


def origin_of(doubt: Mapping[str, Any], record: Mapping[str, Any]) -> _Json | None:
    """Return what a doubt was about, None where it is of those that each run finds by itself.

    Args:
        doubt: an entry of a record of schema 7 or before.
        record: that record.
    """
    kind, what = doubt.get("kind"), doubt.get("what")
    if not isinstance(what, str):
        return None
    found: _Json | None = None
    if kind == _UNANSWERED and _FAILED in what:
        found = _occupation(what, record)
    elif _UNSETTLED in what:
        found = _frame(what)
    elif kind == _SHIFT and _ANEW in what:
        found = _field_shift(what, record)
    else:
        return None
    return found if found is not None else {"of": "words", "what": _UNTIL.sub("", what)}


def _occupation(what: str, record: Mapping[str, Any]) -> _Json | None:
    said = _OCCUPATION.search(what)
    if said is None:
        return None
    names = _point_and_mark(said["names"], [one.get("mark") for one in _entries(record, "register")])
    if names is None:
        return None
    return {
        "of": "occupation", "point": names[0], "mark": names[1], "observed": f"{said['day']}T{said['clock']}.000Z",
        "failed_in": int(said["issue"]), "now": _NOW.get(said["how"], "untested"),
        "parts": _parts_said(said),
    }  # fmt: skip


def _parts_said(said: re.Match[str]) -> list[str] | None:
    """Return what had failed of an occupation, None where its sentence did not say so."""
    if said["parts"] is not None:
        return [part for part in _PARTS if part in said["parts"]]
    off = _OFF.match(said.string, said.end()) if _NOW.get(said["how"]) == "tie" else None
    return ([part for part in _PARTS if off[part]] or None) if off is not None else None


def _point_and_mark(names: str, marks: list[Any]) -> tuple[str, str] | None:
    """Return the names of a reading and of the mark that it was on: what a register has is the mark, else the last."""
    between = [found.start() for found in re.finditer("(?= on )", names)]
    parted = [(names[:at], names[at + len(" on ") :]) for at in between]
    return next((one for one in parted if one[1] in marks), parted[-1] if parted else None)


def _frame(what: str) -> _Json | None:
    said = _FRAME.search(what)
    since = _SINCE.match(said["moved"]) if said is not None else None
    if said is None or since is None:
        return None
    differences = [_difference(text) for text in _NEXT.split(said["why"])]
    if None in differences:
        return None
    number = int(since[1] or since[2])
    return {"of": "frame", "since": number, "moved": said["moved"], "differences": differences}


def _difference(text: str) -> _Json | None:
    if (key := _KEY.fullmatch(text)) is not None:
        return {"of": "control", "key": key[1], "was": key[2], "code": None, "became": key[3]}
    if (file := _FILE.fullmatch(text)) is not None:
        return {"of": "grid file", "name": file[1], "was": file[2], "became": file[3]}
    if (step := _OPERATION.fullmatch(text)) is not None:
        was, became = (step["same"],) * 2 if step["same"] is not None else (step["was"], step["is"])
        return {"of": "operation", "step": _STEPS[step[1]], "was": was, "became": became, "definitions": None}
    return None


def _field_shift(what: str, record: Mapping[str, Any]) -> _Json | None:
    for one in _entries(record, "field_shifts"):
        if f"the field shift by {one.get('tie')} on {one.get('mark')} from" in what:
            return {"of": "field shift", "tie": one.get("tie"), "mark": one.get("mark")}
    return None


def _entries(record: Mapping[str, Any], key: str) -> Iterator[Mapping[str, Any]]:
    """Yield the objects of a list of a record; what is none is left for the form to refuse."""
    found = record.get(key)
    yield from (one for one in (found if isinstance(found, list) else ()) if isinstance(one, dict))
