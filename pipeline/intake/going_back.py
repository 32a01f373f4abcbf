"""Finds the readings of an export, by base id, whose times go back somewhere in their file."""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.intake.file_sequence import FileSequence
from pipeline.intake.ledger import SOUND, ReadingRows
from pipeline.intake.time_runs import most_breaks
from pipeline.read.restarted_clocks import JITTER

#: Rows of a sequence beyond which it is not looked at: they are held while it is.
_LARGEST = 2_000_000


def sequences_going_back(rows: ReadingRows, here: slice, again: Integers, export: int) -> Iterator[FileSequence]:
    """Yield the readings of an export by base id, of those ids whose times go back; most files have none.

    Args:
        rows: every reading of the job.
        here: the numbers in the job of the export's readings.
        again: (k,) numbers of those that repeat another.
        export: the number of the export.
    """
    sound: Flags = (rows.flags[here] & SOUND) != 0
    repeated = again[(again >= here.start) & (again < here.stop)] - here.start
    sound[repeated] = False
    lengths = _lengths_of_those_going_back(rows, here, sound)
    for some in _together(lengths):
        pieces = []
        for time, base, which in _pieces(rows, here, sound):
            theirs = np.isin(base, some)
            pieces.append((base[theirs], time[theirs], which[theirs]))
        of_base, times, numbers = (np.concatenate(parts) for parts in zip(*pieces, strict=True))
        order = np.argsort(of_base, kind="stable")
        for own in np.split(order, np.flatnonzero(np.diff(of_base[order])) + 1):
            yield FileSequence(
                export=export,
                base=rows.bases[int(of_base[own[0]])],
                rows=rows,
                number=numbers[own],
                time=times[own],
                session=rows.session[numbers[own]],
                flags=rows.flags[numbers[own]],
            )


def _lengths_of_those_going_back(rows: ReadingRows, here: slice, sound: Flags) -> dict[int, int]:
    """Return how many sound readings have each base id (by its number, ascending) that has times which go back.

    Left out are those that go both back and forth more often than the order of a file, either way, allows, and those
    too long to be held.
    """
    steps: dict[int, Integers] = {}  # of each id all, those back, those forward
    last: dict[int, int] = {}
    for time, base, _ in _pieces(rows, here, sound):
        order = np.argsort(base, kind="stable")
        codes, begins = np.unique(base[order], return_index=True)
        for code, own in zip(codes.tolist(), np.split(time[order], begins)[1:], strict=True):
            if code in last:
                own = np.concatenate([[last[code]], own])
            last[code] = int(own[-1])
            step = np.diff(own)
            counted = np.array([len(step), (step < -JITTER).sum(), (step > JITTER).sum()])
            steps[code] = steps.get(code, np.zeros(3, np.int64)) + counted
    return {
        code: int(n) + 1
        for code, (n, *ways) in sorted(steps.items())
        if ways[0] and min(ways) <= most_breaks(n) and n < _LARGEST
    }


def _together(lengths: Mapping[int, int]) -> Iterator[list[int]]:
    """Yield base ids as they are gone through together: with no more readings than one may have, or one alone."""
    some: list[int] = []
    held = 0
    for code, length in lengths.items():
        held += length
        if some and held > _LARGEST:
            yield some
            some, held = [], length
        some.append(code)
    if some:
        yield some


def _pieces(rows: ReadingRows, here: slice, sound: Flags) -> Iterator[tuple[Integers, NDArray[np.int16], Integers]]:
    """Yield times, numbers of base ids and numbers of the sound readings of an export, piece by piece."""
    for place, (time, base) in rows.columns.pieces("time", "base"):
        start, stop = max(place.start, here.start), min(place.stop, here.stop)
        if start < stop:
            which = np.flatnonzero(sound[start - here.start : stop - here.start])
            own = slice(start - place.start, stop - place.start)
            yield time[own][which], base[own][which], which + start
