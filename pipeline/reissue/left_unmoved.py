"""Finds marks that stayed where they were while those around them moved alike: left out of a readjusted register."""

from collections.abc import Iterator, Sequence
from itertools import compress

import numpy as np

from pipeline.arrays import Flags, Floats
from pipeline.control.register_rows import POSITION
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import RegisterMark
from pipeline.near import listed
from pipeline.reissue.history import History
from pipeline.reissue.moved_register import number_written
from pipeline.sphere import DEGREE
from pipeline.visible import one_line
from pipeline.words import Holds, counted, plural

#: Marks that move alike from which on it is the network that moved. Ours, no source.
_SEVERAL = 3
#: Metres up to which a mark did not move, and from which on others did. Ours, no source.
_STILL, _MOVED = 0.0005, 0.005
#: Metres within which vectors are one: at the least, at the most, and the part of the vector itself between them.
_LEAST, _MOST, _PART = 0.002, 0.05, 0.25


def left_unmoved_notes(history: History, survey: Survey, rows: Sequence[RegisterMark]) -> Iterator[str]:
    """Yield which marks did not move since the newest issue, among three or more that moved by one vector or step.

    Args:
        history: the issues before.
        survey: the job.
        rows: the register's rows that the job uses.
    """
    newest, register = None if history.newest is None else history.newest.record, survey.register
    if newest is None or register is None or newest["control"] != control_used(survey.job):
        return
    before = {row["mark"]: row for row in newest["register"]}
    used = [row for row in rows if row["mark"] in before]
    if len(used) <= _SEVERAL:
        return
    names = [one_line(row["mark"]) for row in used]
    now = _written(used, register.kind) * register.unit
    moved = now - _written([before[row["mark"]] for row in used], register.kind) * register.unit
    places = now[:, :2].copy()
    if register.kind == "geographic":
        to_metres = DEGREE * np.array([np.cos(np.radians(np.nanmean(now[:, 1]))), 1.0])
        moved[:, :2], places = moved[:, :2] * to_metres, places * to_metres
    found: dict[tuple[tuple[str, ...], int], list[str]] = {}
    for part, words in (
        (slice(0, 2), "one vector (east {:+.3f}, north {:+.3f} m)"),
        (slice(2, 3), "one step in height ({:+.3f} m)"),
    ):
        alike, still = _alike_and_still(moved[:, part], places)
        if still.any():
            by = np.round(np.median(moved[alike, part], axis=0), 3) + 0.0  # no minus zero
            found.setdefault((tuple(compress(names, still)), int(alike.sum())), []).append(words.format(*by))
    for (still_there, count), by_what in found.items():
        yield (
            f"since issue {newest['issue']:03d} {counted(count, 'mark')} that the job uses moved in the register by"
            f" {' and '.join(by_what)}, and {plural(len(still_there), 'mark')} {listed(still_there)} among them did"
            f" not: if the network was adjusted again, {plural(len(still_there), 'it was', 'they were')} left out, and"
            " what is tied there stays in the old numbers; ask for all of them"
        )


def _written(rows: Sequence[RegisterMark], kind: str) -> Floats:
    """Return (n, 3) coordinates as the register writes them, NaN where one is not held or not written as a number."""
    found = np.full((len(rows), 3), np.nan)
    for at, row in enumerate(rows):
        texts = dict(row)
        for column, (axis, without) in enumerate(
            zip((*POSITION[kind], "height"), (Holds.HEIGHT, Holds.HEIGHT, Holds.POSITION), strict=True)
        ):
            if row["holds"] != without and texts.get(axis):
                try:
                    found[at, column] = number_written(texts[axis])
                except ValueError:
                    continue
    return found


def _alike_and_still(moved: Floats, places: Floats) -> tuple[Flags, Flags]:
    """Return (n,) which marks moved by one vector, and which lie among those and did not; none where others differ.

    ``moved`` is (n, 2) or (n, 1), ``places`` (n, 2) [m]. Farther from all of them than these are apart, a mark is of
    another part of the network.
    """
    none = np.zeros(len(moved), bool)
    length = np.linalg.norm(moved, axis=1)
    known, still = np.isfinite(length), length <= _STILL
    alike = known & ~still
    if alike.sum() < _SEVERAL or alike.sum() <= still.sum():
        return none, none
    vector = np.median(moved[alike], axis=0)
    size = float(np.linalg.norm(vector))
    within = min(max(_LEAST, _PART * size), _MOST)
    if size < _MOVED or float(np.linalg.norm(moved[alike] - vector, axis=1).max()) > within:
        return none, none
    apart = np.linalg.norm(places[:, None] - places[None, alike], axis=2)
    with np.errstate(invalid="ignore"):
        near = apart.min(axis=1) <= np.nanmax(apart[alike], initial=0.0)
    return alike, still & (near | ~np.isfinite(places).all(axis=1))
