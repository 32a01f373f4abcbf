"""Says that readings of an export have another base's id, in time between readings with the export's own.

Where two bases are at work at once, a rover's receiver may take the corrections of the other one for a while. Its
readings of that while are right if the id is; where the rover kept to its own base, they are off by the difference of
two shifts, and no check is among them that would show it. A few are told, and blocks of an export that occupied no mark
with the other base at all.
"""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.clock import HOUR, between
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows
from pipeline.intake.prepare import Prepared
from pipeline.near import listed
from pipeline.words import counted, plural

#: Readings in a row up to which they are few, how often that comes in an export up to which it is no habit, and rows
#: around them, for each of these, that have the export's own.
_FEW, _TIMES, _OWN = 4, 3, 2
#: Milliseconds from the readings before and behind within which the rover did not go to work elsewhere.
_MEANWHILE = HOUR
#: Rows of an export beyond which it is no rover's day.
_MOST = 2_000_000


def switch_notes(rows: ReadingRows, once: Flags, prepared: Prepared) -> Iterator[str]:
    """Yield a sentence per export with such readings.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        prepared: the job.
    """
    windows = [one for one in prepared.windows if one.base is not None and one.session.shift != "none"]
    pairs = [
        (one.index, other.index)
        for one, other in combinations(windows, 2)
        if one.base != other.base and one.start_ms < other.end_ms and other.start_ms < one.end_ms
    ]
    if not pairs:
        return
    ends = np.append(rows.starts, len(rows))
    for start, end in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        session = rows.session[start:end][once[start:end]].astype(np.int64)
        if end - start > _MOST or not any(np.isin(pair, session).all() for pair in pairs):
            continue
        numbers = start + np.flatnonzero(once[start:end])
        (time,) = rows.columns.take(numbers, "time")
        order = np.argsort(time, kind="stable")
        numbers, time, session = numbers[order], time[order].astype(np.int64), session[order]
        for few in _few(session, time, numbers, rows, pairs):
            yield _told(few, time, session, numbers, rows, prepared)


def _few(
    session: Integers, time: Integers, numbers: Integers, rows: ReadingRows, pairs: list[tuple[int, int]]
) -> Iterator[list[Integers]]:
    """Yield, by the session that they are in, the runs (k,) of few readings among those of another of a pair."""
    begins = np.flatnonzero(np.diff(session, prepend=-9))
    sizes = np.diff(begins, append=len(session))
    own, other, after = session[begins[:-2]], session[begins[1:-1]], session[begins[2:]]
    starts, ends, size = begins[1:-1], begins[2:], sizes[1:-1]
    away = np.maximum(time[starts] - time[starts - 1], time[ends] - time[ends - 1])
    several = int(session.max(initial=0)) + 1
    paired = [one * several + two for pair in pairs for one, two in (pair, pair[::-1])]
    turns = (own == after) & (np.minimum(own, other) >= 0) & (away <= _MEANWHILE)
    turns &= np.isin(own * several + other, paired)
    often = np.bincount(other[turns], minlength=several)
    # whoever stands on a mark with both bases changes over for it
    occupied = (rows.flags[numbers] & (CANDIDATE | NAMED)) != 0
    few = (size <= _FEW) & (np.minimum(sizes[:-2], sizes[2:]) >= _OWN * size)
    blocks = (size > _FEW) & ~np.isin(other, session[occupied]) & np.isin(own, session[occupied])
    found: dict[int, list[Integers]] = {}
    for at in np.flatnonzero(turns & (few | blocks) & (often[other] <= _TIMES)).tolist():
        run = np.arange(starts[at], ends[at])
        if not occupied[run].any():
            found.setdefault(int(other[at]), []).append(run)
    yield from found.values()


def _told(
    runs: list[Integers],
    time: Integers,
    session: Integers,
    numbers: Integers,
    rows: ReadingRows,
    prepared: Prepared,
) -> str:
    """Say of runs of readings of one export, places among the others, with which base id they are among which."""
    which = np.concatenate(runs)
    export = int(rows.export(numbers[which[:1]])[0])
    first = int(rows.source_row(numbers[which[:1]])[0])
    base, own = (prepared.windows[int(session[at])].base for at in (which[0], which[0] - 1))
    count = len(which)
    said = [text for run in runs for text in _lines(rows.source_row(numbers[run]))]
    block = any(len(run) > _FEW for run in runs)
    alone = f", and no reading of the file on a mark has {base}" if block else ""
    return (
        f"{prepared.exports[export].shown}:{first}: {counted(count, 'reading')}"
        f" {between(int(time[which].min()), int(time[which].max()))} ({plural(count, 'row', 'rows')} {listed(said)})"
        f" {plural(count, 'has', 'have')} the base id {base}, and the readings before and after {own}{alone}."
        f" {plural(count, 'It is', 'They are')} corrected with the shift of {base}: if the rover kept taking the"
        f" corrections of {own}, {plural(count, 'it is', 'they are')} off by the difference of the two shifts, which no"
        f" check shows; ask the crew, and correct the id or leave {plural(count, 'it', 'them')} out"
    )


def _lines(numbers: Integers) -> list[str]:
    """Return the (k,) numbers of a run's rows in their file: each, of many the least and the largest."""
    if len(numbers) > _FEW:
        return [f"{numbers.min()} to {numbers.max()}"]
    return [str(number) for number in numbers.tolist()]
