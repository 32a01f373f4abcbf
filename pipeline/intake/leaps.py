"""Says of an export that its readings leap to and fro, faster than any rover moves: two of them in one file."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.arrays import Flags
from pipeline.intake.file_log import FileLog
from pipeline.intake.ledger import CANDIDATE, ReadingRows
from pipeline.intake.row_steps import RowSteps
from pipeline.plausible import on_sphere
from pipeline.plausible.two_tracks import LEAPS, two_tracks
from pipeline.read.correction_headings import says_crew
from pipeline.read.exports import Export
from pipeline.words import counted

#: Rows of an export beyond which it is no rover's day.
_MOST = 200_000


def leap_notes(
    rows: ReadingRows, once: Flags, steps: Sequence[RowSteps], exports: Sequence[Export], logs: Sequence[FileLog]
) -> Iterator[str]:
    """Yield a sentence for each export whose readings leap between two tracks.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        steps: those of each export from row to row.
        exports: the exports.
        logs: what was noted of each.
    """
    ends = np.append(rows.starts, len(rows))
    for number, (step, export, log) in enumerate(zip(steps, exports, logs, strict=True)):
        start, end = int(ends[number]), int(ends[number + 1])
        if step.leaps < LEAPS or end - start > _MOST or _of_several(export, log):
            continue
        # marks may have come back from the controller with the time of their upload
        which = start + np.flatnonzero(once[start:end] & ((rows.flags[start:end] & CANDIDATE) == 0))
        time, longitude, latitude, base = rows.columns.take(which, "time", "longitude", "latitude", "base")
        order = np.lexsort((time, base, rows.session[which]))
        which, time, places = which[order], time[order], on_sphere(longitude, latitude)[order]
        heads = np.flatnonzero((np.diff(rows.session[which]) != 0) | (np.diff(base[order]) != 0)) + 1
        for part in np.split(np.arange(len(which)), heads):
            if (found := two_tracks(places[part], time[part])) is None:
                continue
            row = int(rows.source_row(which[part][found.at : found.at + 1])[0])
            yield (
                f"{export.shown}:{row}: this reading lies {found.metres / 1000:,.1f} km from the one"
                f" {found.seconds:,.0f} s before it, and {counted(found.count, 'time')} in all one rover would be too"
                " slow for that: are two rovers, two jobs or two clocks in one file? The checks of one do not"
                " prove the other"
            )
            break


def _of_several(export: Export, log: FileLog) -> bool:
    """Tell whether a column says whose each reading is: one of people, or one of rovers that has more than one."""
    rovers = (left for left in log.left_columns.values() if left.word == "rover")
    return any(left.many or len(left.written) > 1 for left in rovers) or any(
        says_crew(field.name) for field in export.carried
    )
