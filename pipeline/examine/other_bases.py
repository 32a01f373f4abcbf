"""Doubts sessions with more than one base: readings of one without an occupied mark depend on another base's shift.

What tells are the positions of the base that points carry, and, where a session names no base, their base ids. A mark
that was occupied with a base says whether it is where the others are: what is told here has none. Of a network the
station is wherever the network puts it; a virtual one never comes again once another took its place.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import combinations

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import stamp
from pipeline.examine.base_digits import digits_apart
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.groups import groups_of
from pipeline.intake.base_log import ValueSeen
from pipeline.intake.base_values import changes
from pipeline.intake.bases import Stand, carried, standing
from pipeline.intake.candidates import coded_checks
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.positions import working_positions
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.sessions.attach import base_key, spelled_alike
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import milliseconds
from pipeline.words import Doubt, counted

#: Positions or ids within a session beyond which they are a network's, or no base's at all.
_FEW = 5
#: Metres that one controller may have the base higher than another: it has the antenna, the other the mark.
_ANTENNA = 3.0
#: Metres beyond which another station is a network's: the radio of a base of one's own reaches no further for long.
_NETWORK = 5_000.0
#: Metres within which a change of the base's position is the field shift that the job states.
_FIELD = 0.020
#: Metres in plan and in height up to which a shift is none: a network's corrections, or a base on a known point.
_NO_SHIFT = (0.50, 0.50)
#: A self-averaged base is off by up to the limits of ``[shift]``, and another one by as much the other way.
_BOTH = 2.0
#: Files with one position that a sentence lists.
_FILES = 2
#: So often, and after so large a part of its readings, one of two positions comes after the other in one export that
#: two controllers were put together in it. A base starts anew once or twice; two rovers at work by turns change over
#: after some two readings.
_OFTEN, _TURNS = 4, 1.0 / 3.0


def base_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each session whose points say that they hang on more than one base."""
    marks = _Marks(survey)
    doubts = (_doubt(survey, window, _Session(survey, window, marks).other_bases()) for window in survey.windows)
    return [doubt for doubt in doubts if doubt is not None]


def far_base_doubts(survey: Survey, local: Floats, told: Sequence[Doubtful]) -> list[Doubtful]:
    """Return a doubt for each session of which readings carry another base's position, farther than two may err.

    Where the shift is none, stations of a network share a frame, wherever they are and however often they change.

    Args:
        survey: the job.
        local: (S, 3) shifts east, north, up, metres, NaN where there is none.
        told: the doubts that are known already; a session that has one about its base gets no second.
    """
    marks, doubts = _Marks(survey), []
    of_bases = [doubt.sessions or () for doubt in told if doubt.kind is Doubt.BASE]
    for window, shift in zip(survey.windows, local, strict=True):
        if is_shifted(shift) and not any(window.index in sessions for sessions in of_bases):
            doubts.append(_doubt(survey, window, _Session(survey, window, marks).far_bases()))
    return [doubt for doubt in doubts if doubt is not None]


def is_shifted(shift: Floats) -> bool:
    """Tell whether a shift (3,) east, north, up [m] is more than a network's corrections need; NaN is none."""
    return bool(np.hypot(shift[0], shift[1]) > _NO_SHIFT[0] or abs(shift[2]) > _NO_SHIFT[1])


def station_notes(survey: Survey) -> list[str]:
    """Return in words which of the few base ids of a session without a shift has readings that no mark speaks for.

    A network's corrections need no shift, those of a base of one's own do. Ids that change often are of virtual
    stations.
    """
    marks = _Marks(survey)
    return [note for window in survey.windows for note in _Session(survey, window, marks).strange_stations()]


def _doubt(survey: Survey, window: SessionWindow, others: Iterator[tuple[str, ValueSeen]]) -> Doubtful | None:
    """Return the doubt for the first of the other bases of a session, None where it has none."""
    if (first := next(others, None)) is None:
        return None
    what, seen = first
    text = f"session {window.session.name}: its points have {what}; give each base its own session"
    return Doubtful(Doubt.BASE, text, (window.index,), survey.exports[seen.export].shown, seen.row)


@dataclass(frozen=True)
class _Marks:
    """Which readings are occupations by what job and code say, found once for all sessions where one asks."""

    survey: Survey

    @cached_property
    def occupied(self) -> Flags:
        """(n,) of the survey's candidates."""
        candidates = self.survey.candidates
        named = np.array([said is not None for said in candidates.named], bool)
        coded: Flags = np.asarray(coded_checks(candidates.table, self.survey.prepared), bool)
        return named | coded


class _Session:
    """One session, and the marks that were occupied in it."""

    def __init__(self, survey: Survey, window: SessionWindow, marks: _Marks) -> None:
        self.survey, self.window, self.marks = survey, window, marks
        self.log = survey.first_pass.log.sessions[window.index]
        self.stands = survey.bases.stands[window.index]
        self.field = [shift for shift in survey.prepared.field_windows if shift.session == window.index]
        self.network = window.session.shift == "none"

    def other_bases(self) -> Iterator[tuple[str, ValueSeen]]:
        """Yield what differs, and the value that no mark speaks for."""
        if len(self.stands) > 1:
            yield from self._positions(self._another)
        if self.window.base is None and not self.network:
            yield from self._ids()
        if self.window.base is not None or not self.network:
            yield from self._antennas()

    def far_bases(self) -> Iterator[tuple[str, ValueSeen]]:
        """Yield likewise a base that is farther from the others than two positions of one may be."""
        if len(self.stands) > 1 and not self.network:
            yield from self._positions(self._elsewhere, shifted=True)

    def strange_stations(self) -> Iterator[str]:
        """Yield the base ids of a session without a shift that no mark was occupied with, if it has a few ids."""
        seen = self._ids_in_time()
        if not self.network or not 1 < len(seen) <= _FEW or self.log.ids.further:
            return
        pairs = combinations(range(len(seen)), 2)
        alike = [(one, other) for one, other in pairs if spelled_alike(seen[one].text, seen[other].text)]
        keys = [str(base.key[0]) for base in seen]
        marked = self._occupied_with(keys)
        for group in unmarked(groups_of(len(seen), alike), marked, seen) if marked else ():
            first, others = seen[group[0]], [other for place, other in enumerate(seen) if place not in group]
            at = f"{self.survey.exports[first.export].shown}:{first.row}"
            listed = ", ".join(f"{other.text} ({counted(other.count, 'reading')})" for other in others)
            yield (
                f"session {self.window.session.name}: {at}: no mark was occupied with base id {first.text} of"
                f" {counted(sum(seen[place].count for place in group), 'reading')} from {stamp(first.time)} to"
                f" {stamp(max(seen[place].last for place in group))} UTC (first one here), besides {listed}. If it is"
                " no station of the same network, these readings need a shift of their own: give it its own session,"
                " with ties"
            )

    def _occupied(self) -> pa.Table:
        """Return the session's readings that ties and checks are, or are to be."""
        candidates = self.survey.candidates
        own = self.marks.occupied & (candidates.session == self.window.index)
        return candidates.table.take(pa.array(np.flatnonzero(own)))

    def _occupied_with(self, keys: list[str]) -> set[int]:
        """Return which of some base ids, by their keys, marks were occupied with."""
        own = self._occupied().column("base").to_pylist()
        return {keys.index(key) for text in own if (key := base_key(text)) in keys}

    def _ids_in_time(self) -> list[ValueSeen]:
        """Return the session's base ids, each as first seen."""
        return sorted(self.log.ids, key=lambda base: (base.time, base.export, base.row))

    def _positions(
        self, another: Callable[[Stand, Stand, bool], bool], shifted: bool = False
    ) -> Iterator[tuple[str, ValueSeen]]:
        """Yield the positions of bases without an occupied mark that are ``another`` base than one of the others.

        ``another`` is also told whether there are so many positions as only a network has; a session that is
        ``shifted`` has none of these where one base of its own comes back among them.
        """
        marked = set(self._stood_on().tolist())
        pairs = list(combinations(range(len(self.stands)), 2))
        alike = [pair for pair in pairs if self._one_place(*(self.stands[place] for place in pair))]
        groups = groups_of(len(self.stands), alike)
        several = len(groups) > _FEW or self.log.positions.further > 0
        bases = [self._together(group) for group in groups]
        if shifted and several:
            several = not self._comes_back(bases, [bool(marked & set(group)) for group in groups], marked)
        for group in unmarked(groups, marked, [stand.seen for stand in self.stands]):
            base = bases[groups.index(group)]
            for other in bases:
                if other is not base and another(base, other, several):
                    apart = float(np.linalg.norm(base.xyz - other.xyz))
                    which = f"{self._written(other.seen)} and {self._written(base.seen)}"
                    what = f"{len(groups)} positions of the base: {which} are {apart:.3f} m apart"
                    yield f"{what}, and {_none_on(base.seen)}", base.seen

    def _comes_back(self, bases: Sequence[Stand], occupied: Sequence[bool], marked: set[int]) -> bool:
        """Tell whether one of many positions has all occupations, most readings, and some before and after another's.

        No virtual station comes again. So that one is a base of its own, if it needs a shift, and no network's.
        """
        if sum(occupied) != 1 or -1 in marked:
            return False
        own = bases[occupied.index(True)].seen
        readings = sum(base.seen.count for base in bases) + self.log.positions.further
        between = any(own.time < base.seen.time and base.seen.last < own.last for base in bases)
        return 2 * own.count > readings and between

    def _written(self, seen: ValueSeen) -> str:
        """Return a position of the base as its export has it, with what readings have it."""
        export, (first, second, height) = self.survey.exports[seen.export], seen.value
        decimals = 3 if export.points.columns.base_longitude is None else 8
        files = ", ".join(self.survey.exports[number].shown for number in sorted(seen.exports)[:_FILES])
        more = and_more(len(seen.exports) - _FILES)
        place = f"{first:.{decimals}f} {second:.{decimals}f} {height:.3f}"
        return f"{place} ({counted(seen.count, 'reading')} of {files}{more})"

    def _together(self, group: Sequence[int]) -> Stand:
        stands = [self.stands[place] for place in group]
        return Stand(stands[0].xyz, reduce(ValueSeen.and_also, [stand.seen for stand in stands]))

    def _stood_on(self) -> Integers:
        """Return (k,) which of the positions each occupation of a mark carries, -1 for none."""
        table = self._occupied()
        export, time = np.asarray(table.column("export"), np.int64), milliseconds(table)
        block = np.array([self.survey.exports[number].block for number in export.tolist()], np.int64)
        for axis, name in zip(("first", "second", "third"), ("base_first", "base_second", "base_third"), strict=True):
            table = table.set_column(table.schema.get_field_index(axis), axis, table.column(name))
        places = np.full((len(block), 3), np.nan)
        operations = self.survey.operations
        for number in np.unique(block).tolist():
            rows = np.flatnonzero(block == number)
            epochs = np.full(len(rows), operations.epochs[self.window.index, number])
            taken = table.take(pa.array(rows))
            places[rows] = working_positions(taken, operations.frames.to_working[number], epochs)
        stood_on = standing(places, self.stands)
        for row in np.flatnonzero(stood_on < 0).tolist():
            stood_on[row] = self._set_up_before(int(export[row]), int(time[row]))
        return stood_on

    def _set_up_before(self, export: int, time: int) -> int:
        """Return which position an export has last before a time, if it says it once per set-up; else -1."""
        own = [place for place, stand in enumerate(self.stands) if export in stand.seen.exports]
        without = sum(seen.count for seen in self.log.bare if export in seen.exports)
        before = [place for place in own if self.stands[place].seen.time <= time]
        if not before or without <= sum(self.stands[place].seen.count for place in own):
            return -1
        return max(before, key=lambda place: self.stands[place].seen.time)

    def _local(self, one: Stand, other: Stand) -> tuple[float, float]:
        """Return how far apart two positions are horizontally, and how much higher the other is, metres."""
        longitude, latitude, _ = self.survey.operations.frames.to_geographic.forward(*one.xyz)
        east, north, up = np.ravel(geocentric_to_local(other.xyz - one.xyz, longitude, latitude))
        return float(np.hypot(east, north)), float(up)

    def _one_place(self, one: Stand, other: Stand) -> bool:
        """Tell whether two positions may be those of one base, as two controllers or a stated field shift have it."""
        limits = self.survey.job.checks
        if any(self._parts(shift, one, other) or self._parts(shift, other, one) for shift in self.field):
            return True
        if one.seen.exports & other.seen.exports and not _by_turns(one.seen, other.seen):
            return float(np.linalg.norm(other.xyz - one.xyz)) <= limits.horizontal
        level, up = self._local(one, other)
        plan, height = digits_apart(self.survey, one.seen, other.seen)
        return level <= limits.horizontal + plan and abs(up) <= max(limits.vertical, _ANTENNA) + height

    def _parts(self, shift: FieldWindow, within: Stand, without: Stand) -> bool:
        """Tell whether one position is another with a stated field shift: what a tie gave goes by who has it, and when.

        A field shift of one base id says nothing of which positions carry it, but for their times.
        """
        if not _carries(shift, within.seen):
            return False
        stated = shift.stated
        if stated.east is None or stated.north is None or stated.up is None:
            return shift.base is not None or _free_of(shift, without.seen)
        level, up = self._local(without, within)
        return abs(level - np.hypot(stated.east, stated.north)) <= _FIELD and abs(up - stated.up) <= _FIELD

    def _another(self, one: Stand, other: Stand, several: bool) -> bool:
        """Tell whether one position is a base that no shift of the other's counts for."""
        level, up = self._local(one, other)
        most, own = self.survey.job.shift, bool(one.seen.exports & other.seen.exports)
        around = own and one.seen.time < other.seen.last and other.seen.time < one.seen.last
        near = level <= _BOTH * most.limit_horizontal and abs(up) <= _BOTH * most.limit_vertical
        if self.network:
            return around and near and not several and not _by_turns(one.seen, other.seen)
        if not near:
            return around and not several and level <= _NETWORK
        return around or not several

    def _elsewhere(self, one: Stand, other: Stand, several: bool) -> bool:
        """Tell whether one position is a base of its own: beyond what two positions of one may differ by."""
        level, up = self._local(one, other)
        most = self.survey.job.shift
        near = level <= _BOTH * most.limit_horizontal and abs(up) <= _BOTH * most.limit_vertical
        return not near and not several and level <= _NETWORK

    def _ids(self) -> Iterator[tuple[str, ValueSeen]]:
        seen = self._ids_in_time()
        if not 1 < len(seen) <= _FEW or self.log.ids.further:
            return
        keys = [str(base.key[0]) for base in seen]
        at = self._positions_by_id()
        alike = [pair for pair in combinations(range(len(seen)), 2) if self._one_base(seen[pair[0]], seen[pair[1]], at)]
        marked = self._occupied_with(keys)
        for group in unmarked(groups_of(len(seen), alike), marked, seen):
            first = group[0]
            if not self._far(at.get(keys[first], set()), set().union(*(at.get(key, set()) for key in keys))):
                names = " and ".join(sorted(base.text for base in seen)[:2])
                yield f"different base ids, {names}, and {_none_on(seen[first], 'id')}", seen[first]

    def _positions_by_id(self) -> dict[str, set[int]]:
        """Return by base id the positions that readings with it carry."""
        found: dict[str, set[int]] = {}
        for one in self.log.ids_at:
            place = carried(one, self.survey.prepared, self.survey.operations, self.window.index)
            found.setdefault(one.text, set()).add(int(standing(place[None], self.stands)[0]))
        return {key: places - {-1} for key, places in found.items()}

    def _one_base(self, one: ValueSeen, other: ValueSeen, at: dict[str, set[int]]) -> bool:
        """Tell whether two ids are of one base: spelled alike, of one position, or parted by a stated field shift."""
        if spelled_alike(one.text, other.text):
            return True
        first, second = at.get(str(one.key[0]), set()), at.get(str(other.key[0]), set())
        if first and second:
            pairs = [(self.stands[a], self.stands[b]) for a in first for b in second]
            return any(a is b or self._one_place(a, b) for a, b in pairs)
        return any(_parted(shift, one, other) or _parted(shift, other, one) for shift in self.field)

    def _far(self, own: set[int], every: set[int]) -> bool:
        """Tell whether a base stands as far from all others as only stations of a network do."""
        pairs = [(self.stands[one], self.stands[other]) for one in own for other in every - own]
        return bool(pairs) and all(self._local(*pair)[0] > _NETWORK for pair in pairs)

    def _antennas(self) -> Iterator[tuple[str, ValueSeen]]:
        for export in dict.fromkeys(seen.export for seen in self.log.antennas):
            heights = {seen.value[0]: seen for seen in self.log.antennas if seen.export == export}
            if max(heights) - min(heights) > self.survey.job.checks.vertical:
                for seen in _between(list(heights.values())):
                    yield (
                        f"base antenna heights that alternate between {min(heights):.3f} and {max(heights):.3f} m, a"
                        f" different one from {stamp(seen.time)} to {stamp(seen.last)} UTC (first reading here): checks"
                        " before and after do not prove those readings",
                        seen,
                    )


def _by_turns(one: ValueSeen, other: ValueSeen) -> bool:
    """Tell whether two positions come in turn in an export, as those of two controllers that were put together do."""
    return min(one.entered, other.entered) >= max(_OFTEN, _TURNS * min(one.count, other.count))


def _none_on(seen: ValueSeen, what: str = "one") -> str:
    return (
        f"no mark was occupied with the {what} of {counted(seen.count, 'reading')} from {stamp(seen.time)} to"
        f" {stamp(seen.last)} UTC (first one here): checks with another do not prove those"
    )


def _carries(shift: FieldWindow, seen: ValueSeen) -> bool:
    """Tell whether all readings with a value carry a field shift, as far as their times and exports say."""
    of_exports = shift.exports is None or seen.exports <= set(shift.exports)
    return of_exports and shift.start <= seen.time and seen.last < shift.until


def _free_of(shift: FieldWindow, seen: ValueSeen) -> bool:
    """Tell whether no reading with a value carries a field shift, by the same."""
    apart = shift.exports is not None and not seen.exports & set(shift.exports)
    return apart or seen.last < shift.start or shift.until <= seen.time


def _parted(shift: FieldWindow, within: ValueSeen, without: ValueSeen) -> bool:
    """Tell whether a field shift is of all readings with one base id and of none with another."""
    mine, other = (shift.base in (None, one.key[0]) for one in (within, without))
    return mine and _carries(shift, within) and (not other or _free_of(shift, without))


def unmarked(groups: list[list[int]], marked: set[int], seen: Sequence[ValueSeen]) -> list[list[int]]:
    """Return the groups that no mark was occupied with; where none was at all, all but the one with most readings."""
    if marked:
        return [group for group in groups if not marked & set(group)]
    most = max(groups, key=lambda group: sum(seen[place].count for place in group))
    return [group for group in groups if group is not most]


def _between(values: Sequence[ValueSeen]) -> Iterator[ValueSeen]:
    """Yield a value that came before another one was seen for the last time."""
    found = changes(np.array([one.time for one in values]), np.array([one.last for one in values]))
    yield from (values[change.after] for change in found if change.until > change.since)
