"""Finds readings of no rover beside those of rovers, by what a column says of them or what of quality they lack.

And by how much they lie above those next to them, which on level ground shows whether they are in other coordinates.
"""

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags
from pipeline.intake.blank_figures import FIGURES, NO_SATELLITE, lacked
from pipeline.intake.file_log import FileLog
from pipeline.intake.ledger import CANDIDATE, PLACEHOLDER, ReadingRows
from pipeline.intake.left_columns import LeftColumn
from pipeline.plausible import Step, levelled, on_sphere, step_over
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export
from pipeline.read.way_words import by_rover, otherwise

#: Values of a column beyond which it says nothing of how readings were made. Ours, no source.
_FEW = 12
#: The share of other readings that have what some lack, how many there must be, and how many figures of those are
#: lacked by readings that are more than the others. Ours, no source.
_MOST, _OTHERS, _ALL = 0.8, 5, 3
#: Readings of a kind from which their heights say something, and readings of a session up to which that is asked.
_LEAST, _MANY = 5, 100_000


class OtherKind(Struct, frozen=True):
    """Readings of an export that a column calls no rover's, or that lack figures of quality that others have.

    ``name`` is the column's heading, "" of what they lack; ``keys`` are their values of it, each with the figures that
    it lacks; ``usual`` are the values of readings of rovers. ``steps`` are by session how they lie above the readings
    next to them, where there are enough: in metres, as exported.
    """

    name: str
    left: LeftColumn
    keys: dict[str, frozenset[str]]
    usual: list[str]
    steps: dict[int, Step]


def other_kinds(
    rows: ReadingRows, once: Flags, exports: Sequence[Export], logs: Sequence[FileLog]
) -> tuple[tuple[OtherKind, ...], ...]:
    """Return for each export what is found in it: of its columns, and of what readings lack.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        exports: the exports.
        logs: what is noted of each.
    """
    found = []
    for at, (export, log) in enumerate(zip(exports, logs, strict=True)):
        unit = lengths_of(export.points).up
        kinds = [*_said(log), *_bare_of(log)]
        found.append(
            tuple(
                OtherKind(name, left, keys, usual, _steps(rows, once, at, unit, left, keys))
                for name, left, keys, usual in kinds
            )
        )
    return tuple(found)


def _said(log: FileLog) -> Iterator[tuple[str, LeftColumn, dict[str, frozenset[str]], list[str]]]:
    """Yield columns that say so of some readings, and of others that they are of a rover."""
    for name, left in log.left_columns.items():
        usual = [key for key, text in left.written.items() if by_rover(text, left.word == "solution")]
        strange = {key: frozenset[str]() for key, text in left.written.items() if otherwise(text)}
        if not left.many and len(left.written) <= _FEW and usual and strange:
            yield name, left, strange, usual


def _bare_of(log: FileLog) -> Iterator[tuple[str, LeftColumn, dict[str, frozenset[str]], list[str]]]:
    if keys := lacking(log.blanks):
        yield "", log.blanks, keys, []


def _steps(
    rows: ReadingRows, once: Flags, at: int, unit: float, left: LeftColumn, keys: dict[str, frozenset[str]]
) -> dict[int, Step]:
    """Return by session how readings of export ``at`` with ``keys`` lie above others; ``unit`` is in metres."""
    start, stop = int(rows.starts[at]), int(rows.starts[at] + rows.counts()[at])
    here = start + np.flatnonzero(once[start:stop] & ((rows.flags[start:stop] & PLACEHOLDER) == 0))
    found = {}
    for session in sorted(left.counts):
        mine = here[rows.session[here] == session]
        if not 2 * _LEAST <= len(mine) <= _MANY or not any(left.counts[session][key] for key in keys):
            continue
        strange = np.isin(left.of_rows(rows.source_row(mine)), list(keys))
        strange &= (rows.flags[mine] & CANDIDATE) == 0
        longitude, latitude, height = rows.columns.take(mine, "longitude", "latitude", "height")
        known = np.isfinite(height)
        if min(np.count_nonzero(strange & known), np.count_nonzero(~strange & known)) < _LEAST:
            continue
        plan = levelled(on_sphere(longitude[known], latitude[known]))
        step = step_over(plan, height[known].astype(np.float64) * unit, strange[known])
        if step is not None:
            found[session] = step
    return found


def lacking(left: LeftColumn) -> dict[str, frozenset[str]]:
    """Return the values of `blank_figures` of readings that lack what nearly all others have, with what they lack.

    They lack two figures or more, and are no more than half; more only where they lack all of three figures or more.
    """
    total = sum(left.counts.values(), Counter[str]())
    usual = frozenset(FIGURES) - {each for each in FIGURES if 2 * _with(total, each) < total.total()}
    few = _without(total, usual)
    others = Counter({key: count for key, count in total.items() if key not in few})
    if few and others.total() >= max(_OTHERS, sum(total[key] for key in few)):
        usual = frozenset(each for each in FIGURES if _with(others, each) >= _MOST * others.total())
        said = {NO_SATELLITE: frozenset(("satellites",))}  # more is not known of it
        return {key: said.get(key, lacked(key) & usual) for key in _without(total, usual)}
    return _bare(total)


def _bare(total: Counter[str]) -> dict[str, frozenset[str]]:
    """Return the value of readings that lack all that only some have, three figures or more; none with some of it."""
    some = frozenset(each for each in FIGURES if 0 < _with(total, each) < total.total())
    whole = [key for key in total if not lacked(key) & some]
    bare = [key for key in total if some <= lacked(key)]
    if len(some) < _ALL or len(whole) + len(bare) < len(total) or sum(total[key] for key in whole) < _OTHERS:
        return {}
    return dict.fromkeys(bare, some)


def _with(total: Counter[str], figure: str) -> int:
    return sum(count for key, count in total.items() if figure not in lacked(key))


def _without(total: Counter[str], usual: frozenset[str]) -> list[str]:
    """Return the values of readings that lack two figures that are usual, or that no satellite took part in."""
    return [key for key in total if len(lacked(key) & usual) > 1 or (key == NO_SATELLITE and "satellites" in usual)]
