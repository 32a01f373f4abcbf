"""Finds exports whose readings leap to and fro, faster than any rover moves: two of them in one file."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags
from pipeline.intake.file_log import FileLog
from pipeline.intake.ledger import CANDIDATE, ReadingRows
from pipeline.intake.row_steps import RowSteps
from pipeline.plausible import on_sphere
from pipeline.plausible.two_tracks import DRIVEN, HURRIED, LEAPS, WALKED, Pace, TwoTracks, two_tracks
from pipeline.read.correction_headings import says_crew
from pipeline.read.exports import Export
from pipeline.replace import replace
from pipeline.words import counted

#: Rows of an export beyond which it is no rover's day.
_MOST = 200_000
#: Of so many steps one at the least is too fast for a walker where two rovers share an export.
_SELDOM = 20


class InTurn(Struct, frozen=True):
    """An export on one site whose readings lie by turns on two tracks, faster than anybody walks between them.

    Args:
        export: number of the export.
        row: row of the first reading behind a leap.
        leaps: how they leap.
        back: row from which on the readings of the session go back in time; 0 where they do nowhere.
        sure: whether that is worth a word though every check passes: rows that go back in time may have been pasted
            there, and so fast to and fro goes nobody who stays at each place.
    """

    export: int
    row: int
    leaps: TwoTracks
    back: int = 0
    sure: bool = False


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
    for number, (step, export, log) in enumerate(zip(steps, exports, logs, strict=True)):
        if (step.leaps < LEAPS and not step.back) or _of_several(export, log):
            continue
        if (one := _in_turn(rows, once, number, DRIVEN)) is not None:
            found = one.leaps
            yield (
                f"{export.shown}:{one.row}: this reading lies {found.metres / 1000:,.1f} km from the one"
                f" {found.seconds:,.0f} s before it, and {counted(found.count, 'time')} in all one rover would be too"
                " slow for that: are two rovers, two jobs or two clocks in one file? The checks of one do not"
                " prove the other"
            )


def in_turn(
    rows: ReadingRows, once: Flags, steps: Sequence[RowSteps], exports: Sequence[Export], logs: Sequence[FileLog]
) -> tuple[InTurn, ...]:
    """Return the exports that two rovers of one site seem to share, though no column says whose each reading is.

    The arguments are those of `leap_notes`. An honest crew may drive: where none is sure, it takes a failing check.
    """
    each = zip(steps, exports, logs, strict=True)
    asked = [at for at, (one, export, log) in enumerate(each) if not _of_several(export, log) and _hasty(one)]
    found = list[InTurn]()
    for at in asked:
        hurried, walked = (_in_turn(rows, once, at, pace) for pace in (HURRIED, WALKED))
        one = hurried or walked
        if one is not None:
            sure = hurried is not None or one.back > 0
            # what lies on another site is told already
            found.append(replace(one, sure=sure and _in_turn(rows, once, at, DRIVEN) is None))
    return tuple(found)


def _hasty(step: RowSteps) -> bool:
    """Tell whether rows leap often enough; in their order they tell nothing where they go back in time."""
    return step.back > 0 or step.hasty >= max(WALKED.leaps, step.count // _SELDOM)


def _in_turn(rows: ReadingRows, once: Flags, number: int, pace: Pace) -> InTurn | None:
    """Return the first leap between two tracks of an export, None where there are no such."""
    ends = np.append(rows.starts, len(rows))
    start, end = int(ends[number]), int(ends[number + 1])
    if end - start > _MOST:
        return None
    # marks may have come back from the controller with the time of their upload
    which = start + np.flatnonzero(once[start:end] & ((rows.flags[start:end] & CANDIDATE) == 0))
    time, longitude, latitude, base = rows.columns.take(which, "time", "longitude", "latitude", "base")
    order = np.lexsort((time, base, rows.session[which]))
    which, time, places = which[order], time[order], on_sphere(longitude, latitude)[order]
    heads = np.flatnonzero((np.diff(rows.session[which]) != 0) | (np.diff(base[order]) != 0)) + 1
    for part in np.split(np.arange(len(which)), heads):
        if (found := two_tracks(places[part], time[part], pace)) is not None:
            written = np.sort(which[part])
            behind = np.flatnonzero(np.diff(time[part][np.argsort(which[part])]) < 0) + 1
            row, *back = rows.source_row(np.append(which[part][found.at], written[behind[:1]])).tolist()
            return InTurn(number, row, found, back[0] if back else 0)
    return None


def _of_several(export: Export, log: FileLog) -> bool:
    """Tell whether a column says whose each reading is: one of people, or one of rovers that has more than one."""
    rovers = (left for left in log.left_columns.values() if left.word == "rover")
    return any(left.many or len(left.written) > 1 for left in rovers) or any(
        says_crew(field.name) for field in export.carried
    )
