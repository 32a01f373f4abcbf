"""A point as every issue has it, and whether the newest one agrees with what is worked out from the raw rows."""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from pipeline.issue.folder.publish import issues
from pipeline.issue.folder.thinned_issues import read_thinned
from pipeline.issue.geopackage.point_rows import find_reasons, find_rows
from pipeline.issue.record import read_record
from pipeline.replace import replace
from pipeline.trace.model import Agreement, Found, Reading
from pipeline.trace.numbers import vector

#: Metres. A hundredth of a millimetre: below it lies arithmetic, and nothing that anybody measures.
AGREES = 1e-5

#: The layers in which a reading of each outcome stands.
_LAYER = {"point": "points", "on mark": "check_marks", "held back": "held_back"}

#: A row of one name: its observed time, and which of those alike it is.
_Key = tuple[datetime | None, int]


def find_everywhere(folder: Path, names: Sequence[str]) -> dict[int, list[Found]]:
    """Return the rows of a point's names in every issue of a job's folder, oldest issue first, with what moved in each;
    an issue whose files were removed by `issue.keep` has none.

    A row is known again in the next issue by the time of its observation, which survives files exported again.

    Raises OSError, RecordError, ValueError or sqlite3.DatabaseError where an issue cannot be read (see `verify`).
    """
    found: dict[int, list[Found]] = {}
    before: dict[_Key, Found] = {}
    for number, path in issues(folder):
        if read_thinned(path.parent) is not None:
            continue
        package = path.with_name(f"{read_record(path)['job']}-{number:03d}.gpkg")
        rows = [_as_found(number, row) for row in find_rows(package, names)]
        because = tuple(find_reasons(package, names)) if before else ()
        keyed = _keyed(rows)
        rows = [_moved(row, before.get(key), because) for key, row in keyed.items()]
        before |= {key: row for key, row in keyed.items() if row.easting is not None}
        found[number] = rows
    return found


def _as_found(number: int, row: dict[str, Any]) -> Found:
    observed = row.pop("observed")
    time = None if observed is None else datetime.fromisoformat(observed)
    return Found(issue=number, observed=time, moved=None, because=(), **row)


def _keyed(rows: Sequence[Found]) -> dict[_Key, Found]:
    seen: Counter[datetime | None] = Counter()
    keyed: dict[_Key, Found] = {}
    for row in rows:
        keyed[row.observed, seen[row.observed]] = row
        seen[row.observed] += 1
    return keyed


def _moved(row: Found, before: Found | None, because: tuple[str, ...]) -> Found:
    if before is None or None in (row.easting, before.easting, row.height, before.height):
        return replace(row, because=because)
    off = np.array([row.easting, row.northing, row.height], float) - [before.easting, before.northing, before.height]
    return replace(row, moved=vector(off), because=because)


def compare(
    readings: Sequence[Reading], found: dict[int, list[Found]]
) -> tuple[tuple[Reading, ...], tuple[Found, ...]]:
    """Give each reading its row in every issue, and its difference from the newest; return what belongs to none too."""
    given: set[int] = set()
    told = []
    rows_of = [_Rows.of(rows) for rows in found.values()]
    for rank, reading in _ranked(readings):
        mine = [row for rows in rows_of if (row := rows.find(reading, rank)) is not None]
        given |= {id(row) for row in mine}
        newest = next((row for row in mine if row.issue == max(found)), None)
        told.append(replace(reading, found=tuple(mine), difference=_difference(reading, newest)))
    gone = tuple(row for rows in found.values() for row in rows if id(row) not in given)
    return tuple(told), gone


def _ranked(readings: Sequence[Reading]) -> list[tuple[int, Reading]]:
    """Return each reading with which of those observed at the same time it is: those not held back come first."""
    order = sorted(range(len(readings)), key=lambda at: readings[at].outcome == "held back")
    seen: dict[datetime | None, int] = {}
    ranks = {}
    for at in order:
        observed = readings[at].observed
        ranks[at] = seen.get(observed, 0)
        seen[observed] = ranks[at] + 1
    return [(ranks[at], reading) for at, reading in enumerate(readings)]


class _Rows(Struct, frozen=True):
    """An issue's rows of the name, by file, row and time, and by time and rank."""

    exact: dict[tuple[str | None, int | None, datetime | None], Found]
    keyed: dict[_Key, Found]

    @classmethod
    def of(cls, rows: Sequence[Found]) -> "_Rows":
        exact = {(row.source_file, row.source_row, row.observed): row for row in reversed(rows)}
        return cls(exact, _keyed(rows))

    def find(self, reading: Reading, rank: int) -> Found | None:
        """Return a reading's row: by file and row, else by the time of its observation."""
        exact = self.exact.get((reading.file, reading.row, reading.observed))
        return exact or self.keyed.get((reading.observed, rank))


def _difference(reading: Reading, row: Found | None) -> tuple[float, float, float] | None:
    if row is None or reading.issued is None or None in (row.easting, row.northing, row.height):
        return None
    return vector(np.array([row.easting, row.northing, row.height], float) - reading.issued)


def agreement(readings: Sequence[Reading], newest: int, changed: Sequence[str], gone: Sequence[Found]) -> Agreement:
    """Hold the readings against the newest issue (0: there is none)."""
    told = [f"{reading.file}:{reading.row}: {what}" for reading in readings for what in _off(reading, newest)]
    told += [
        f"{row.layer} has a row observed {row.observed or 'at an unknown time'} that no export has"
        for row in gone
        if row.issue == newest
    ]
    return Agreement(newest, tuple(changed), tuple(told) if newest else ())


def _off(reading: Reading, newest: int) -> list[str]:
    row = next((row for row in reading.found if row.issue == newest), None)
    if row is None:
        return ["it is not in the issue"]
    told = []
    if row.layer != _LAYER[reading.outcome]:
        told.append(f"it is in {row.layer}, recomputed as {reading.outcome}")
    elif reading.outcome != "on mark" and row.word != (reading.reason or reading.proof):
        told.append(f"it is {row.word} there, recomputed as {reading.reason or reading.proof}")
    has, worked = row.easting is not None and row.height is not None, reading.issued is not None
    if has != worked:
        told.append("it has coordinates only in the issue" if has else "it has coordinates only as recomputed")
    if reading.difference is not None and max(map(abs, reading.difference)) > AGREES:
        east, north, height = reading.difference
        told.append(
            "its coordinates differ from the recomputed ones by"
            f" east {east:+.5f}, north {north:+.5f}, height {height:+.5f} m"
        )
    return told
