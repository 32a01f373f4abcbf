"""Finds exports that end before rows which an earlier issue read of them, with an occupation that had passed.

A file that was copied in part may end behind a row, and nothing in it shows that rows are missing. The earlier issue
does: up to the end the file has the same points in the same rows, and what is gone lay behind it. Where points alone
are gone, `changes` lists them; where an occupation is, what proved the points of its session is gone as well.
"""

from collections.abc import Iterator, Sequence
from contextlib import closing

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.duplicates.exact import Hashes
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import ChangedNumbers
from pipeline.issue.geopackage.earlier_rows import Lost, read_batches
from pipeline.problems import JobError
from pipeline.read.exports import Export
from pipeline.read.exports import read_batches as read_export
from pipeline.reissue.changed_readings import open_changes
from pipeline.reissue.doubted_sessions import still_doubted
from pipeline.reissue.earlier import Last
from pipeline.reissue.history import History
from pipeline.reissue.occupations_before import OccupationsBefore
from pipeline.reissue.occupied import EarlierOccupation
from pipeline.reissue.vanished import passed_and_gone
from pipeline.tables import TIME, milliseconds
from pipeline.words import Doubt, counted

_COLUMNS = ("name", "observed", "session", "source_file", "source_row")
_SECOND = 1000
#: Occupations that a doubt names.
_LISTED = 3


def shortened(before: OccupationsBefore, history: History, survey: Survey) -> tuple[Doubtful, ...]:
    """Return doubts for sessions whose occupations passed in an issue and lay behind the end that an export has now.

    The newest issue is asked, and each that an open doubt of it for this names: an issue that was made of a file cut
    short does not know what is missing.

    Args:
        before: the occupations of the newest issue.
        history: the issues before.
        survey: the job.
    """
    noted = [(doubt, origin) for doubt, origin in open_changes(before.record, "readings", (Doubt.CUT_OFF,))]
    found = dict[tuple[str, int], Doubtful]()
    for number in dict.fromkeys((before.record["issue"], *(origin["since"] for _, origin in noted))):
        try:
            if (base := history.issue(number)) is None:
                raise Lost(f"issue {number} is gone")
            of = (
                before if number == before.record["issue"] else OccupationsBefore.of(base.record, survey, history.issue)
            )
            for doubt in _of_issue(base, passed_and_gone(of, survey), survey):
                found.setdefault((doubt.file, doubt.line), doubt)
        except Lost:  # without the issue that had the rows nobody knows whether they are back
            for one, origin in noted:
                if origin["since"] == number:
                    sessions = still_doubted(one, before.record, survey)
                    found[origin["what"], 0] = Doubtful(Doubt.CUT_OFF, origin["what"], sessions, origin=origin)
    return confirmed_by(survey.job, found.values())


def _of_issue(base: Last, gone: Sequence[EarlierOccupation], survey: Survey) -> Iterator[Doubtful]:
    """Yield what an issue shows of exports that have fewer rows than it read of them. Raises `Lost`."""
    had = {entry["path"]: entry for entry in base.record["inputs"]}
    for number, export in enumerate(survey.exports):
        entry, rows = had.get(export.shown), survey.first_pass.rows[number]
        if not gone or entry is None or entry["sha256"] == export.sha256 or rows >= entry["rows"]:
            continue
        points = _Points.of(base, export)
        lost = [one for one in gone if one.row is not None and one.row["session"] in points.sessions]
        last = _last_row_alike(points, export) if lost else None
        if last is None:
            continue
        called = ", ".join(one.called for one in lost[:_LISTED])
        more = f" and {len(lost) - _LISTED:,} more" if len(lost) > _LISTED else ""
        issue = f"issue {base.record['issue']:03d}"
        what = (
            f"the file ends behind this row, and has {counted(rows, 'row')} where {issue} read {entry['rows']:,}, the"
            f" points up to here in the same rows: what lay behind them is missing, and with it {called}{more}: export"
            " or copy the file again, or confirm that it was shortened on purpose"
        )
        sessions = tuple(sorted({session for one in lost for session in one.sessions}))
        origin = ChangedNumbers(of="readings", since=base.record["issue"], what=f"{export.shown}:{last}: {what}")
        yield Doubtful(Doubt.CUT_OFF, what, sessions, export.shown, last, origin=origin)


class _Points(Struct, frozen=True):
    """The (n,) points that an issue had of an export: by ascending row, each with a hash of its name and time."""

    row: Integers
    key: Hashes
    sessions: frozenset[str]

    @classmethod
    def of(cls, base: Last, export: Export) -> "_Points":
        """Read them. Raises `Lost`."""
        rows, keys, sessions = [np.zeros(0, np.int64)], [np.zeros(0, np.uint64)], set[str]()
        with closing(read_batches(base.package, "points", _COLUMNS)) as batches:
            for batch in batches:
                mine = batch.filter(pa.compute.equal(batch.column("source_file").cast(pa.string()), export.shown))
                mine = mine.filter(pa.compute.is_valid(mine.column("source_row")))
                rows.append(np.asarray(mine.column("source_row"), np.int64))
                times = np.asarray(mine.column("observed").cast(TIME).cast(pa.int64()).fill_null(-1), np.int64)
                keys.append(_keys(mine.column("name").cast(pa.string()), times))
                sessions |= set(mine.column("session").cast(pa.string()).unique().to_pylist())
        row, key = np.concatenate(rows), np.concatenate(keys)
        order = np.argsort(row, kind="stable")
        return cls(row[order], key[order], frozenset(sessions))


def _keys(names: pa.Array, times: Integers) -> Hashes:
    return mixed_with(text_hashes(names), times // _SECOND)


def _last_row_alike(points: _Points, export: Export) -> int | None:
    """Return the last row of an export that has every point of before up to it in its row; None where it has not."""
    last, seen = 0, 0
    try:
        for batch in read_export(export):
            row = np.asarray(batch.column("source_row"), np.int64)
            if not len(row):
                continue
            key = _keys(batch.column("name").cast(pa.string()), milliseconds(batch))
            last = max(last, int(row.max()))
            low, high = np.searchsorted(points.row, (row.min(), row.max() + 1))
            at = np.minimum(np.searchsorted(row, points.row[low:high]), len(row) - 1)
            alike = (row[at] == points.row[low:high]) & (key[at] == points.key[low:high])
            if not alike.all():
                return None
            seen += int(high - low)
    except JobError:  # a file that changed meanwhile is told where the points are made
        return None
    whole = seen == np.searchsorted(points.row, last, side="right")
    return last if seen and whole else None
