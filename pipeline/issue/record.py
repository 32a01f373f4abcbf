"""``issue.json``: the machine's record of an issue, the same bytes for the same issue.

It holds no time of making and no path of the machine it was made on: those would make two runs of one job differ.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from enum import Enum
from numbers import Integral, Real
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Any, cast

from pipeline.files.regular_files import check_regular
from pipeline.issue.earlier_records import upgraded
from pipeline.issue.folder.synced_write import write_synced
from pipeline.issue.schema_number import SCHEMA

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record, SealedRecord

NAME = "issue.json"

#: Beyond any that a run writes; deeper ones would exhaust the interpreter wherever the record is walked.
_DEEPEST = 50

#: A micrometre, and a tenth of it in degrees: beyond, digits are the arithmetic's and not the survey's.
DECIMALS = 6
DECIMALS_OF_DEGREES = 12
_DEGREES = frozenset({"longitude", "latitude"})
#: The length of a unit, which coordinates are multiplied by: the two feet differ in its sixth decimal.
_UNIT = "metres"

#: Stands for a sum until there is one.
_NOT_YET = "0" * 64
#: In a record as it is written: the line of its sum, and every key of its own.
_SUM, _KEY = re.compile(rb'^  "sum": "[0-9a-f]{64}",\n', re.MULTILINE), re.compile(rb'^  "(\w+)": ', re.MULTILINE)

#: Half of a pair of surrogates, or a pair, as JSON may write it; text that was read as UTF-8 holds no other.
_HALF = re.compile(r"\\u[dD][89a-fA-F]")

#: So many things that are wrong with a record are said.
_SAID = 3


class RecordError(Exception):
    """A record cannot be read, or not by this version; ``fix`` is what to do."""

    fix = "run tiedown verify; restore the issue from a backup of the folder, or set it aside: tiedown aside JOB ISSUE"


class LaterRecordError(RecordError):
    """A later version of the program wrote the record."""

    fix = "run the later version of tiedown that wrote the issue"


def finished(record: Record) -> Record:
    """Return a record as its file will have it, in JSON's own types.

    Lengths are rounded to `DECIMALS`, what stands under "longitude" or "latitude" to that of degrees, the length of
    a unit and what the job gives as particulars not at all; what is not finite becomes null.

    Raises ValueError for an absolute path or rows that do not add up, and TypeError for a value that JSON has no form
    for.
    """
    rows = record["rows"]
    if rows["read"] != rows["points"] + rows["on_marks"] + rows["held_back"]:
        raise ValueError(f"the rows do not add up: {rows}")
    for entry in record["inputs"]:
        if _absolute(entry["path"]):
            raise ValueError(f"an input's path has to be the job file's own, relative to it: {entry['path']}")
    # what the surveyor wrote is no length of ours
    return cast("Record", {**_plain(record), "particulars": record["particulars"]})


def sealed(record: Record) -> SealedRecord:
    """Return a record with the sum of all that it says."""
    return cast("SealedRecord", {**record, "sum": sum_of(record)})


def serialise(record: Mapping[str, Any]) -> bytes:
    """Return a record as the bytes of its file: keys sorted, UTF-8, lines ending in a line feed."""
    text = json.dumps(record, sort_keys=True, ensure_ascii=False, indent=2, allow_nan=False)
    return f"{text}\n".encode()


def sum_of(record: Mapping[str, Any]) -> str:
    """Return the SHA-256, in hexadecimal, of everything that a record says but its own ``sum``."""
    return hashlib.sha256(serialise({key: value for key, value in record.items() if key != "sum"})).hexdigest()


def is_sealed(said: Mapping[str, Any], written: bytes) -> bool:
    """Tell whether the sum that a record states is that of all that it says; ``written`` are the bytes of its file.

    Bytes that are as they were written say so by themselves, ten times sooner than what they say written again.
    """
    return is_as_written(said, written) or said["sum"] == sum_of(said)


def is_as_written(said: Mapping[str, Any], written: bytes) -> bool:
    """Tell whether the sum that a record states is that of the bytes of its file, ``written``."""
    return bool(said["sum"] == hashlib.sha256(_SUM.sub(b"", written, count=1)).hexdigest())


def write_record(folder: Path, record: Record) -> SealedRecord:
    """Write ``issue.json`` into ``folder`` with the sum of all that it says, read it back and return it.

    Raises OSError, FileExistsError where there is one already, and RecordError where it does not read back the same.
    """
    path, bare = folder / NAME, serialise({key: value for key, value in record.items() if key != "sum"})
    made = cast("SealedRecord", {**record, "sum": hashlib.sha256(bare).hexdigest()})
    place = next(key.start() for key in _KEY.finditer(bare) if key[1] > b"sum")
    write_synced(path, b'%s  "sum": "%s",\n%s' % (bare[:place], made["sum"].encode(), bare[place:]))
    if read_record(path) != made:
        raise RecordError(f"{path} does not read back as it was written")
    return made


def read_record(path: Path) -> SealedRecord:
    """Read an ``issue.json`` of this version or an earlier one, which is read as one of this (see `earlier_records`).

    Raises RecordError where it is not in the form of its version or was written by a later one, OSError where there is
    no file.
    """
    return parse_record(read_any_version(path), path)


def read_any_version(path: Path) -> dict[str, Any]:
    """Return what stands in an ``issue.json`` of whatever version. Raises as `read_record` where it is no object.

    A byte order mark, which editors put before what they save, says nothing; `verify` tells of it as of other bytes.
    """
    check_regular(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
        record = json.loads(text, object_pairs_hook=_object)
        if not _shallow(record, _DEEPEST):
            raise RecursionError
        if _HALF.search(text):
            json.dumps(record, ensure_ascii=False).encode()  # as its sum will be made
    except RecursionError as error:
        raise RecordError(f"{path} is not an issue's record: it is nested too deeply") from error
    except UnicodeEncodeError as error:
        raise RecordError(f"{path} is not an issue's record: half of a pair of surrogates stands alone") from error
    except UnicodeDecodeError as error:
        raise RecordError(f"{path} is not an issue's record: it is no UTF-8, as an editor may have saved it") from error
    except ValueError as error:
        raise RecordError(f"{path} is not an issue's record: {error}") from error
    if not isinstance(record, dict):
        raise RecordError(f"{path} is not an issue's record: it is no JSON object")
    return record


def parse_record(record: Mapping[str, Any], path: Path) -> SealedRecord:
    """Return what stands in an ``issue.json`` as a record of this version. Raises as `read_record`."""
    schema = record.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool) or schema < 1:
        raise RecordError(f"{path} is not an issue's record: it has no schema version")
    if schema > SCHEMA:
        raise LaterRecordError(f"{path} has schema version {schema}; this version of tiedown reads up to {SCHEMA}")
    from pipeline.issue.record_form import complaints  # takes time to load, and not every record needs a look

    known = upgraded(record)
    if schema < SCHEMA:
        known["sum"] = _NOT_YET  # what the file says is not what it is read as
    if wrong := complaints(known):
        more = f", and {len(wrong) - _SAID} more" if len(wrong) > _SAID else ""
        raise RecordError(f"{path} is not an issue's record: {', '.join(wrong[:_SAID])}{more}")
    read = cast("SealedRecord", known)
    return sealed(read) if schema < SCHEMA else read


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return a JSON object. Raises ValueError for a key that it has twice: readers would differ in which counts."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} appears twice")
        found[key] = value
    return found


def _shallow(value: Any, levels: int) -> bool:
    """Say whether a value lies no more than so many levels deep; level by level, which takes few calls."""
    level = [value]
    for _ in range(levels):
        outer = [one.values() if isinstance(one, dict) else one for one in level if isinstance(one, dict | list)]
        level = [one for inner in outer for one in inner]
        if not level:
            return True
    return False


def _plain(value: Any, key: str = "") -> Any:
    """Return ``value`` in JSON's own types; NumPy's numbers are taken for Python's."""
    if value is None or type(value) in (str, bool, int):
        return value
    if isinstance(value, str):
        return value.value if isinstance(value, Enum) else value
    if isinstance(value, int | Integral):
        return int(value)
    if isinstance(value, float | Real):
        return _number(float(value), key)
    if isinstance(value, Mapping):
        return {str(_plain(name)): _plain(inner, str(name)) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner, key) for inner in value]
    raise TypeError(f"{key or 'a value'} of an issue's record is a {type(value).__name__}: {value!r}")


def _number(value: float, key: str) -> float | None:
    if not math.isfinite(value):
        return None
    if key == _UNIT:
        return value
    return round(value, DECIMALS_OF_DEGREES if key in _DEGREES else DECIMALS) + 0.0  # no minus zero


def _absolute(path: str) -> bool:
    return PurePosixPath(path).is_absolute() or PureWindowsPath(path).is_absolute()
