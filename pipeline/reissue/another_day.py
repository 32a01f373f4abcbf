"""Finds sessions whose name other work has now: no point of theirs is there any more, by name, time or place.

An office that copies yesterday's folder, lays today's export over yesterday's and moves the session's times by a day,
but forgets the job's name, would else draw today's points into yesterday's drawing.
"""

from collections.abc import Collection, Iterator, Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Integers
from pipeline.clock import milliseconds_of
from pipeline.geodesy.axes import Axes
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.known_again import on_grid
from pipeline.reissue.occupied import ALIKE
from pipeline.tables import milliseconds

#: Metres in plan within which a point lies where another lay: of work that was only numbered, timed or tied anew.
_THERE = 0.1
#: So many points of a session, evenly chosen, are looked for by their place.
_ASKED = 500


def wholly_gone(
    before: pa.Table, after: pa.Table, gone: Integers, came: Integers, axes: Axes, had: Mapping[str, int]
) -> frozenset[str]:
    """Return the sessions of an issue that the next one has no point of, whatever it is called and whenever it was.

    Where new points lie at half of the places of the old ones, the work is the same, with other names and times.

    Args:
        before: the rows of the earlier issue.
        after: those of the next.
        gone: which points of the earlier issue are not there any more, not even held back.
        came: which points of the next are new.
        axes: how the grid writes coordinates.
        had: how many points of each session the earlier issue has.
    """
    sessions = before.column("session").take(pa.array(gone)).cast(pa.string()).combine_chunks()
    lost = {entry["values"]: entry["counts"] for entry in pc.value_counts(sessions.drop_null()).to_pylist()}
    found = {name for name, count in lost.items() if count >= had.get(name, 0)}
    for name in list(found):
        rows = gone[np.asarray(pc.fill_null(pc.equal(sessions, name), False))]
        if 2 * int(_there(before, after, rows[:: -(-len(rows) // _ASKED)], came, axes).sum()) >= min(len(rows), _ASKED):
            found.discard(name)
    return frozenset(found)


def _there(before: pa.Table, after: pa.Table, rows: Integers, came: Integers, axes: Axes) -> Flags:
    """Return (k,) at which of some rows' places a new point lies."""
    scale = np.abs(axes.counts()[:2])
    old, new = on_grid(before)[rows, :2] * scale, on_grid(after)[came, :2] * scale
    new = new[np.argsort(new[:, 0], kind="stable")]
    first, last = (np.searchsorted(new[:, 0], old[:, 0] + off) for off in (-_THERE, _THERE))
    each = zip(old, first.tolist(), last.tolist(), strict=True)
    return np.array([bool((np.hypot(*(new[a:b] - at).T) <= _THERE).any()) for at, a, b in each], bool)


def of_another_day(current: Record, survey: Survey, gone: Collection[str]) -> set[str]:
    """Return which of the sessions wholly ``gone`` bear the name of other work now: none of their occupations is there.

    A session that got the name of one that was taken out of the job file is no such work: it is in the last issue too.
    """
    windows = {window.session.name: (window.start_ms, window.end_ms) for window in survey.windows}
    before = {
        row["session"]: (milliseconds_of(row["start"]), milliseconds_of(row["end"])) for row in current["sessions"]
    }
    found = set()
    for name in windows.keys() & set(gone):
        start, end = windows[name]
        others = (window for other, window in before.items() if other != name)
        if not any(start < its_end and its_start < end for its_start, its_end in others):
            found.add(name)
    return found.difference(_still_occupied(current, survey)) if found else found


def _still_occupied(current: Record, survey: Survey) -> Iterator[str]:
    """Yield the sessions of the last issue of which a reading that was an occupation is there, held back or not."""
    table = survey.first_pass.candidates
    there: dict[str, list[int]] = {}
    for name, time in zip(table.column("name").to_pylist(), milliseconds(table).tolist(), strict=True):
        there.setdefault(name or "", []).append(time)
    for row in current["checks"]:
        at = milliseconds_of(row["observed"])
        if any(abs(time - at) <= ALIKE for time in there.get(row["point"] or "", ())):
            yield row["session"]
