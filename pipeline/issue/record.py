"""``issue.json``: the machine's record of an issue, the same bytes for the same issue.

It holds no time of making and no path of the machine it was made on: those would make two runs of one job differ.
"""

import hashlib
import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from enum import Enum
from numbers import Integral, Real
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath
from typing import Any, NotRequired, TypedDict, cast

from pipeline.clock import iso
from pipeline.issue.folder.durable import write_synced

NAME = "issue.json"

#: Raised by one when a key is taken away or changes its meaning; a new key alone does not raise it.
SCHEMA = 1

#: Beyond any that a run writes; deeper ones would exhaust the interpreter wherever the record is walked.
_DEEPEST = 50

#: A micrometre, and a tenth of it in degrees: beyond, digits are the arithmetic's and not the survey's.
DECIMALS = 6
DECIMALS_OF_DEGREES = 12
_DEGREES = frozenset({"longitude", "latitude"})


class Rows(TypedDict):
    """Where every row of the exports went: read = points + on_marks + held_back."""

    read: int
    points: int
    on_marks: int
    held_back: int
    by_reason: dict[str, int]


class Record(TypedDict):
    """What an issue is made of, what it was tied to and how well it was proven."""

    schema: int
    job: str
    issue: int
    data_to: str
    version: str
    verdict: str
    rows: Rows
    sessions: list[dict[str, Any]]
    checks: list[dict[str, Any]]
    adjustment: dict[str, Any]
    operations: list[dict[str, Any]]
    inputs: list[dict[str, Any]]
    target: dict[str, Any]
    caution: str
    changes: dict[str, Any] | None
    files: NotRequired[list[dict[str, Any]]]
    identity: NotRequired[dict[str, str]]
    notes: NotRequired[list[str]]
    doubts: NotRequired[list[dict[str, Any]]]
    wholly_held_back: NotRequired[list[dict[str, Any]]]
    sum: NotRequired[str]


#: What the keys of a record hold, if they are there.
_KINDS: Mapping[str, tuple[type, ...]] = {
    **dict.fromkeys(("job", "data_to", "version", "verdict", "caution", "sum"), (str,)),
    **dict.fromkeys(("rows", "adjustment", "target", "identity"), (dict,)),
    **dict.fromkeys(("sessions", "checks", "operations", "inputs", "files", "notes"), (list,)),
    **dict.fromkeys(("doubts", "wholly_held_back"), (list,)),
    "issue": (int,),
    "changes": (dict, type(None)),
}
_OF_OBJECTS = ("sessions", "checks", "operations", "inputs", "doubts", "wholly_held_back")
_COUNTS = ("read", "points", "on_marks", "held_back")


class RecordError(Exception):
    """A record cannot be read, or not by this version."""


def build_record(
    *,
    job: str,
    issue: int,
    data_to: datetime,
    version: str,
    verdict: str,
    rows: Mapping[str, Any],
    sessions: Iterable[Mapping[str, Any]],
    checks: Iterable[Mapping[str, Any]],
    adjustment: Mapping[str, Any],
    operations: Iterable[Mapping[str, Any]],
    inputs: Iterable[Mapping[str, Any]],
    target: Mapping[str, Any],
    caution: str,
    changes: Mapping[str, Any] | None = None,
    **more: Any,
) -> Record:
    """Return the record of an issue, in plain JSON values.

    ``data_to`` is the time of the newest observation. ``target`` is the grid, the height datum and the compound
    definition that the layers' heights stand in. ``changes`` is None for a first issue. ``more`` are further keys.
    Lengths are metres and are rounded to `DECIMALS`, angles under "longitude" or "latitude" are degrees; what is not
    finite becomes null; times become UTC.

    Raises ValueError for a time without its zone, an absolute path, or rows that do not add up, and TypeError for a
    value that JSON has no form for.
    """
    if rows["read"] != rows["points"] + rows["on_marks"] + rows["held_back"]:
        raise ValueError(f"the rows do not add up: {dict(rows)}")
    pieces = dict(
        more,
        schema=SCHEMA,
        job=job,
        issue=issue,
        data_to=data_to,
        version=version,
        verdict=verdict,
        rows=rows,
        sessions=list(sessions),
        checks=list(checks),
        adjustment=adjustment,
        operations=list(operations),
        inputs=list(inputs),
        target=target,
        caution=caution,
        changes=changes,
    )
    record = _plain(pieces)
    for entry in record["inputs"]:
        if _absolute(entry["path"]):
            raise ValueError(f"an input's path has to be the job file's own, relative to it: {entry['path']}")
    return cast(Record, record)


def serialise(record: Record) -> bytes:
    """Return a record as the bytes of its file: keys sorted, UTF-8, lines ending in a line feed."""
    text = json.dumps(record, sort_keys=True, ensure_ascii=False, indent=2, allow_nan=False)
    return f"{text}\n".encode()


def sum_of(record: Mapping[str, Any]) -> str:
    """Return the SHA-256, in hexadecimal, of everything that a record says but its own ``sum``."""
    rest = {key: value for key, value in record.items() if key != "sum"}
    return hashlib.sha256(serialise(cast(Record, rest))).hexdigest()


def write_record(folder: Path, record: Record) -> Path:
    """Write ``issue.json`` into ``folder``, read it back and return its path.

    Raises OSError, FileExistsError where there is one already, and RecordError where it does not read back the same.
    """
    path = folder / NAME
    write_synced(path, serialise(record))
    if read_record(path) != record:
        raise RecordError(f"{path} does not read back as it was written")
    return path


def read_record(path: Path) -> Record:
    """Read an ``issue.json`` of this or an earlier version.

    Raises RecordError where it is no record or was written by a later version, OSError where there is no file.
    """
    try:
        record = json.loads(path.read_text(encoding="utf-8"), object_pairs_hook=_object)
        if not _shallow(record, _DEEPEST):
            raise RecursionError
        json.dumps(record, ensure_ascii=False, allow_nan=False).encode()  # as its sum will be made
    except RecursionError as error:
        raise RecordError(f"{path} is not an issue's record: it is nested too deeply") from error
    except UnicodeEncodeError as error:
        raise RecordError(f"{path} is not an issue's record: half of a pair of surrogates stands alone") from error
    except ValueError as error:
        raise RecordError(f"{path} is not an issue's record: {error}") from error
    schema = record.get("schema") if isinstance(record, dict) else None
    if not isinstance(schema, int) or isinstance(schema, bool):
        raise RecordError(f"{path} is not an issue's record: it has no schema version")
    if schema > SCHEMA:
        raise RecordError(f"{path} has schema version {schema}; this version of tiedown reads up to {SCHEMA}")
    missing = Record.__required_keys__ - record.keys()
    if missing:
        raise RecordError(f"{path} lacks {', '.join(sorted(missing))}")
    if wrong := sorted(set(_misformed(record))):
        raise RecordError(f"{path} is not an issue's record: {', '.join(wrong)} not in the form that a run writes")
    return cast(Record, record)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return a JSON object. Raises ValueError for a key that it has twice: readers would differ in which counts."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} stands there twice")
        found[key] = value
    return found


def _shallow(value: Any, levels: int) -> bool:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return levels > 0 and all(_shallow(one, levels - 1) for one in inner)


def _misformed(record: Mapping[str, Any]) -> Iterator[str]:
    """Yield the keys of a record whose values are not of the kind that a run writes there."""
    for key, kinds in _KINDS.items():
        if key in record and (not isinstance(record[key], kinds) or isinstance(record[key], bool)):
            yield key
    for key in _OF_OBJECTS:
        if isinstance(record.get(key), list) and not all(isinstance(one, dict) for one in record[key]):
            yield key
    if isinstance(rows := record["rows"], dict):
        yield from (f"rows.{key}" for key in _COUNTS if not _is_integer(rows.get(key)))
        reasons = rows.get("by_reason")
        if not isinstance(reasons, dict) or not all(map(_is_integer, reasons.values())):
            yield "rows.by_reason"
    because = record["changes"].get("because", []) if isinstance(record["changes"], dict) else []
    if not isinstance(because, list) or not all(isinstance(reason, str) for reason in because):
        yield "changes.because"


def _is_integer(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _plain(value: Any, key: str = "") -> Any:
    """Return ``value`` in JSON's own types; NumPy's numbers are taken for Python's."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return value.value if isinstance(value, Enum) else value
    if isinstance(value, datetime):
        return _time(value)
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return _number(float(value), key)
    if isinstance(value, Mapping):
        return {str(_plain(name)): _plain(inner, str(name)) for name, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes | PurePath):
        return [_plain(inner, key) for inner in value]
    if hasattr(value, "tolist"):  # NumPy's boolean and arrays
        return _plain(value.tolist(), key)
    raise TypeError(f"{key or 'a value'} of an issue's record is a {type(value).__name__}: {value!r}")


def _number(value: float, key: str) -> float | None:
    if not math.isfinite(value):
        return None
    return round(value, DECIMALS_OF_DEGREES if key in _DEGREES else DECIMALS) + 0.0  # no minus zero


def _time(value: datetime) -> str:
    if value.tzinfo is None:
        raise ValueError(f"a time in an issue's record needs its offset from UTC: {value}")
    return iso(value)


def _absolute(path: str) -> bool:
    return PurePosixPath(path).is_absolute() or PureWindowsPath(path).is_absolute()
