"""Rows in time order of which one coordinate alone was sorted, as in a spreadsheet: it rises while the others turn.

Looked for are stretches in which a coordinate rises, or falls, from row to row without exception. Of those in plan,
the other coordinate goes to and fro over several times the way; along a road, a river or a line of a grid it does not,
unless one walks a zigzag, whose steps are like one another, while the steps of sorted numbers are of any size. Of
heights, rows of other times that lie nearer than one goes from row to row differ by many times what the heights change
by from row to row. A road in hairpins looks alike, so nothing is in doubt by this alone.
"""

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.intake.positions import local_metres, raw_positions
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.tables import milliseconds

#: Rows of a stretch, at least, and those at its beginning by which heights are compared.
_LEAST, _COMPARED = 30, 500
#: Of two steps in a row between sorted numbers the larger one is three times the smaller by the median, as of any two
#: gaps between numbers that chance laid down; steps of a zigzag, a ramp or hairpins are more alike.
_UNEVEN = 2.0
#: The share of rows that may have the number of the one before, by the digits that they are written to.
_ALIKE = 0.2
#: How many times as far the other coordinate goes in all as the sorted one, and as far as it gets.
_TO_AND_FRO, _TURNING = 2.0, 1.5
#: How far the other coordinate gets, as a part of how far the sorted one does.
_ACROSS = 0.5
#: Points of a section; the correlation of steps along such, at the least, and standard deviations of that by chance.
_POINTS, _ALONG, _BY_CHANCE = range(2, 17), 0.35, 3.5
#: The part of that which is asked for where steps of sections repeat as well, and steps of which anything is said.
_HALF, _SAID = 0.5, 8
#: The cosine between both coordinates' steps from which on a section is straight, however far its points are apart.
_STRAIGHT = 0.85
#: Metres that the other coordinate, or the position, changes by from row to row at the least.
_MOVING = 1.0
#: What was sorted leaps where it begins and ends within an export: by so many times nine of ten of its steps, at one
#: of so many rows, since others may go the same way by chance. A walk goes on as before. Ours, no source.
_LEAPS, _EDGE = 1.2, 3
#: Rows between two that lie close to each other and are no neighbours in time; how many of them have such a one.
_OTHER_TIME, _CLOSE = 5, 3
#: How many times the height changes as much to those as from row to row, and metres, at the least.
_STEEP, _HIGH = 10.0, 0.3
#: Eight flags that are all set, in one word.
_WORD = np.ones(8, bool).view(np.uint64)[0]
#: Stretches of one coordinate that are looked at in a batch, and that are told of an export.
_LOOKED, _TOLD = 20, 20

_Place = tuple[Floats, Floats, Floats]


class SortedRows(Struct, frozen=True):
    """Rows of an export, ``first`` to ``last`` by their numbers in the file, with one coordinate in ascending order.

    ``axis`` is which of the three, ``count`` how many rows, ``rises`` False where the order is descending. Of a plan
    coordinate ``other`` and ``own`` are the metres that the other and this one go in all; of heights, the metres by
    which ``close`` rows differ from those close to them, and by which rows differ from the next, by the median.
    """

    export: int
    axis: int
    first: int
    last: int
    count: int
    rises: bool
    other: float
    own: float
    close: int = 0


class SortedColumns(Struct):
    """Collects, batch by batch, rows of which one coordinate seems to have been sorted."""

    told: list[SortedRows] = field(default_factory=list)

    def take(self, sifted: SiftedBatch) -> None:
        """Look at the readings of a batch that are sound and stand on no mark.

        Those on marks are left out, since a column that was sorted with them shows at the marks.
        """
        batch, number, export, free = sifted.batch, sifted.number, sifted.export, sifted.free
        if export.points.columns.z is not None or np.count_nonzero(free) < _LEAST:
            return
        columns = raw_positions(batch)
        if not free.all():
            first, second, third = (column[free] for column in columns)
            columns = first, second, third
        stretches = [_one_way(column) for column in columns]
        if not any(len(starts) for starts, _ in stretches):
            return
        time, place = milliseconds(batch)[free], local_metres(columns, export)
        for axis, (starts, stops) in enumerate(stretches):
            for start, stop in _turning(place, axis, starts, stops):
                told = _judged(place, start, stop, axis)
                if told is None or not _in_order(time[start:stop]):
                    continue
                if sum(one.export == number for one in self.told) < _TOLD:
                    rows = np.asarray(batch.column("source_row"), np.int64)[free][start:stop]
                    rises = bool(place[axis][stop - 1] > place[axis][start])
                    begin, end, count = int(rows[0]), int(rows[-1]), stop - start
                    self.told.append(SortedRows(number, axis, begin, end, count, rises, *told))

    def found(self) -> tuple[SortedRows, ...]:
        """Return what was found."""
        return tuple(self.told)


def _one_way(values: Floats) -> tuple[Integers, Integers]:
    """Return start and stop of the stretches of values (n,) that rise, or fall, throughout, though some are equal."""
    starts, stops = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for goes in (values[1:] >= values[:-1], values[1:] <= values[:-1]):
        # a stretch has a whole word of steps; hardly any other rows have
        if not (goes[: len(goes) // 8 * 8].view(np.uint64) == _WORD).any():
            continue
        edges = np.concatenate([[-1], np.flatnonzero(~goes), [len(goes)]])
        long = np.flatnonzero(np.diff(edges) >= _LEAST)
        starts.append(edges[long] + 1)
        stops.append(edges[long + 1] + 1)
    return np.concatenate(starts), np.concatenate(stops)


def _turning(place: _Place, axis: int, starts: Integers, stops: Integers) -> list[tuple[int, int]]:
    """Return those stretches of places, (n,) of each coordinate, that do not lead on one way, the longest ones."""
    if not len(starts):
        return []
    first, second, _ = place
    gone = np.hypot(np.diff(first), np.diff(second)) if axis == 2 else np.abs(np.diff(place[1 - axis]))
    along = np.concatenate([[0.0], np.cumsum(gone)])
    way = along[stops - 1] - along[starts]
    east, north, _ = between = [values[stops - 1] - values[starts] for values in place]
    net = _TURNING * np.hypot(east, north) if axis == 2 else _TO_AND_FRO * np.abs(between[axis])
    which = np.flatnonzero(way >= net)
    which = which[np.argsort(starts[which] - stops[which], kind="stable")][:_LOOKED]
    return sorted(zip(starts[which].tolist(), stops[which].tolist(), strict=True))


def _judged(place: _Place, start: int, stop: int, axis: int) -> tuple[float, float, int] | None:
    """Return what is told of a stretch of places, (n,) of each coordinate, that seems to be sorted, else None."""
    own = np.abs(np.diff(place[axis][start:stop]))
    alike = np.count_nonzero(own == 0.0) > _ALIKE * len(own)
    if alike or not _uneven(own):
        return None
    if axis == 2:
        return _like_no_ground(np.column_stack(place), start, stop)
    if not _leaps(place[axis], start, stop):
        return None
    values = place[1 - axis][start:stop]
    other = np.abs(np.diff(values))
    # along a road the objects left and right of it lie close to a line; a sorted column has all of a site across it
    turning = other.sum() >= _TURNING * np.ptp(values) and np.median(other) >= _MOVING
    turning = turning and np.ptp(values) >= _ACROSS * own.sum() and not _sections(own, np.diff(values))
    return (float(other.sum()), float(own.sum()), 0) if turning else None


def _leaps(values: Floats, start: int, stop: int) -> bool:
    """Return whether values (n,) leap at both ends of a stretch, where others lie beyond.

    In thousands of rows some stretch of a walk goes one way by chance; at its ends a step is as large as any other.
    """
    usual = float(np.quantile(np.abs(np.diff(values[start:stop])), 0.9))
    ends = [values[start - 1 : start + _EDGE]] if start else []
    ends += [values[stop - 1 - _EDGE : stop + 1]] if stop < len(values) else []
    return all(float(np.abs(np.diff(end)).max()) > _LEAPS * usual for end in ends)


def _sections(own: Floats, other: Floats) -> bool:
    """Return whether steps (n,) are those of sections across a road or river, each walked from the same side.

    Along each of these both coordinates go on in one proportion, and the steps of one section are those of the next;
    the gaps between sorted numbers know neither of the other coordinate nor of those before.
    """
    one_way = max((other > 0.0, other < 0.0), key=np.count_nonzero)
    across = np.abs(other[one_way])
    straight = own[one_way] @ across > _STRAIGHT * np.sqrt((own[one_way] @ own[one_way]) * (across @ across))
    along = _alike(own[one_way], across)
    return (
        bool(straight) or along > 1.0 or (along > _HALF and any(_alike(own[lag:], own[:-lag]) > 1.0 for lag in _POINTS))
    )


def _alike(one: Floats, other: Floats) -> float:
    """Return how far the one (n,) goes with the other, above 1 where by more than chance makes it do."""
    if len(one) < _SAID:
        return 0.0
    one, other = one - one.mean(), other - other.mean()
    size = float(np.sqrt((one @ one) * (other @ other)))
    return float(one @ other) / size / max(_ALONG, _BY_CHANCE / np.sqrt(len(one))) if size else 0.0


def _uneven(steps: Floats) -> bool:
    """Return whether steps (n,) follow one another in any sizes."""
    smaller, larger = np.minimum(steps[1:], steps[:-1]), np.maximum(steps[1:], steps[:-1])
    return bool(np.count_nonzero(larger >= _UNEVEN * smaller) * 2 > len(smaller))


def _like_no_ground(places: Floats, start: int, stop: int) -> tuple[float, float, int] | None:
    """Return by how much heights differ to close places of other times, and from row to row, and how many do.

    Looked for are those in the stretch and around it.
    """
    here = places[start : min(stop, start + _COMPARED)]
    number = np.arange(max(start - _COMPARED, 0), min(stop + _COMPARED, len(places)))
    around = places[number]
    steps = np.abs(np.diff(here, axis=0))
    step, rise = float(np.median(np.hypot(steps[:, 0], steps[:, 1]))), float(np.median(steps[:, 2]))
    east, north, up = (np.abs(own[:, None] - other[None, :]) for own, other in zip(here.T, around.T, strict=True))
    later = np.abs(np.arange(start, start + len(here))[:, None] - number[None, :]) >= _OTHER_TIME
    # the most alike: of two hairpins the nearer one in height
    differ = np.where((np.hypot(east, north) <= step) & later, up, np.inf).min(axis=1)
    differ = differ[np.isfinite(differ)]
    if step < _MOVING or len(differ) < _CLOSE:
        return None
    high = float(np.median(differ))
    return (high, rise, len(differ)) if high >= max(_HIGH, _STEEP * rise) else None


def _in_order(time: Integers) -> bool:
    """Return whether rows of these times (n,) stand in their order, or against it, most with a time of their own."""
    steps = np.diff(time)
    return bool(((steps >= 0).all() or (steps <= 0).all()) and np.count_nonzero(steps) * 2 > len(steps))
