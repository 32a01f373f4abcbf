"""Compares what the exports state of the bases (positions, heights, ids) with the sessions."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import cast

import numpy as np

from pipeline.arrays import Floats
from pipeline.clock import between, iso, moment, stamp
from pipeline.examine.base_ids import id_notes
from pipeline.examine.other_bases import station_notes
from pipeline.examine.unmapped_corrections import unmapped_notes
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.intake.base_log import ValueSeen
from pipeline.intake.base_values import ValueChange, antenna_slip, changes
from pipeline.intake.bases import Stand
from pipeline.intake.candidates import coded_checks
from pipeline.intake.survey import Survey
from pipeline.issue.session_types import BaseLog, BasePosition, Logged
from pipeline.job.model import FieldShift
from pipeline.near import and_more
from pipeline.sessions.toml_lines import (
    Reading,
    instead,
    needs_ties,
    noted_lines,
    occupation_lines,
    part_names,
    set_up_lines,
    table_lines,
)
from pipeline.sessions.windows import SessionWindow
from pipeline.words import Role, counted

#: Metres within which the base on the points and the job's set-up are the same, and two antenna heights.
_SAME, _SAME_ANTENNA = 0.010, 0.001
#: Metres from the base within which the day's first reading is expected. Common practice, no source.
_BESIDE = 50.0
#: Metres within which a change of the base's position is the field shift that the job states.
_FIELD = 0.020
#: Values of one thing that a sentence lists.
_LISTED = 4


def base_notes(survey: Survey, *, clock_told: bool = False) -> list[str]:
    """Return in words where the exports and the sessions disagree on the bases, and on the clock if not yet told."""
    told: list[str] = []
    sessions = [_Session(survey, window) for window in survey.windows]
    far = [(at, distance) for at in sessions if (distance := at.far_start()) is not None]
    begun = _begun_on_marks(survey) if far else frozenset()
    far = [(at, distance) for at, distance in far if at.window.index not in begun]
    for at in sessions:
        of_session = [*at.moved(), *at.gaps(), *at.off_setup(), *at.antennas(), *at.ids()]
        told += [f"session {at.session.name}: {sentence}" for sentence in of_session]
    if far:
        told.append(_far(far))
    told += [*station_notes(survey), *unmapped_notes(survey), *id_notes(survey)]
    return [*told, *filter(None, [None if clock_told else survey.clock_offset])]


def base_facts(survey: Survey) -> list[BaseLog | None]:
    """Return per session what its points carry of its base, None where they carry nothing and no base is known."""
    return [_Session(survey, window).facts() for window in survey.windows]


class _Session:
    """What is said of one session."""

    def __init__(self, survey: Survey, window: SessionWindow) -> None:
        self.survey, self.window = survey, window
        self.session = window.session
        self.log = survey.first_pass.log.sessions[window.index]
        self.stands = survey.bases.stands[window.index]
        known = survey.bases.receiver[window.index]
        self.base = known if np.isfinite(known).all() else self.stands[0].xyz if self.stands else None
        # network corrections come from wherever the network puts its station, and need not stay there
        self.network = self.session.shift == "none"

    def at(self, seen: ValueSeen) -> str:
        """Return file and row of the earliest reading with a value."""
        return f"{self.survey.exports[seen.export].shown}:{seen.row}"

    def local(self, vector: Floats) -> Floats:
        """Return (3,) east, north, up of a geocentric vector at the base."""
        assert self.base is not None
        longitude, latitude, _ = self.survey.operations.frames.to_geographic.forward(*self.base)
        return np.ravel(geocentric_to_local(vector, longitude, latitude))

    def moved(self) -> Iterator[str]:
        """Yield that the points carry more than one position of the base."""
        if len(self.stands) < 2 or self.network:
            return
        seen = [stand.seen for stand in self.stands]
        position_changes = changes(np.array([one.time for one in seen]), np.array([one.last for one in seen]))
        if len(seen) == 2 and any(self._is_field_shift(position_changes[0], one) for one in self.session.field_shifts):
            return
        positions = [f"first one ({_span(seen[0])}; {self.at(seen[0])})"]
        for stand in self.stands[1:_LISTED]:
            east, north, up = self.local(stand.xyz - self.stands[0].xyz)
            off = f"{east:+.3f} m east, {north:+.3f} m north, {up:+.3f} m up"
            positions.append(f"then one {off} of the first ({_span(stand.seen)}; {self.at(stand.seen)})")
        further = and_more(len(seen) - _LISTED)
        clean = all(change.clean for change in position_changes) and not self.log.positions.further
        yield (
            f"its points carry {'more than ' if self.log.positions.further else ''}{len(seen)} positions of the base: "
            + ", ".join(positions)
            + further
            + (f"; {self._split(position_changes)}" if clean and not further else _in_turn(position_changes))
        )

    def _is_field_shift(self, change: ValueChange, stated: FieldShift) -> bool:
        """Tell whether a change of the base's position is a stated field shift: what a tie gave goes by its time."""
        start = round(stated.start.timestamp() * 1000)
        if not change.clean or not change.until < start <= change.since:
            return False
        if stated.east is None or stated.north is None or stated.up is None:
            return True
        east, north, up = self.local(self.stands[change.after].xyz - self.stands[change.before].xyz)
        level = abs(np.hypot(east, north) - np.hypot(stated.east, stated.north))
        return bool(level <= _FIELD and abs(up - stated.up) <= _FIELD)

    def _split(self, found: list[ValueChange]) -> str:
        """Return the lines of the job file that part the session where the position changes."""
        field = f"field_shift = {{ from = {iso(moment(found[0].since))}, ... }}"
        return (
            f"a position corrected in the field is a {field}; a base set up again needs its own session, with ties:\n"
            + "\n".join(self._parts(found)).rstrip()
        )

    def _parts(self, found: list[ValueChange]) -> Iterator[str]:
        edges = [self.window.start_ms, *(change.since for change in found), self.window.end_ms]
        taken = [other.session.name for other in self.survey.windows]
        names = part_names(self.session.name, taken, len(edges) - 1)
        candidates = self.survey.candidates
        marks = {row: named for row, named in enumerate(candidates.named) if named is not None}
        mine = [row for row in marks if candidates.session[row] == self.window.index]
        yield from instead(self.session.name, self.survey.job.sessions)
        for number, (name, (start, end)) in enumerate(zip(names, pairwise(edges), strict=True)):
            yield from table_lines(name, self.session, start, end)
            if number == 0:
                yield from set_up_lines(self.session)
            here = [row for row in mine if start <= candidates.time[row] < end]
            ties = [row for row in here if marks[row].role is Role.TIE]
            # only the first part still has the session's set-up or given shift
            needed = number > 0 or needs_ties(self.session)
            if not ties and needed:
                ties = [row for row in here if marks[row].mark == marks[here[0]].mark]
            seen: dict[int, Reading] = {
                row: (candidates.names[row], marks[row].mark, int(candidates.time[row])) for row in here
            }
            checks = [seen[row] for row in here if row not in ties]
            yield from occupation_lines([seen[row] for row in ties], checks, start, end, needed)
            yield from noted_lines(self.session, start, end)
            yield ""

    def gaps(self) -> Iterator[str]:
        """Yield that a few readings of an export carry no position of the base, though those around them do."""
        for bare in self.log.bare:
            around = [seen for seen in self.log.positions if bare.export in seen.exports]
            before = any(seen.time < bare.time for seen in around)
            # an export that mostly has none says it once per set-up, and leaves nothing out
            if before and any(seen.last > bare.last for seen in around) and bare.count < sum(s.count for s in around):
                yield (
                    f"{counted(bare.count, 'reading')} {between(bare.time, bare.last)} ({self.at(bare)}) carry no"
                    " position of the base, though readings before and after do: the export does not show whether it"
                    " was in the same place"
                )

    def off_setup(self) -> Iterator[str]:
        """Yield that the base on the points is not where the job's set-up has it."""
        setup = self.session.setup
        if setup is None or not self.stands or self.base is None:
            return
        stand = self.stands[0]
        east, north, up = self.local(stand.xyz - self.base)
        if np.hypot(east, north) <= _SAME and abs(up) <= _SAME:
            return
        slip = antenna_slip(float(np.hypot(east, north)), float(up), setup.antenna_height, _SAME)
        why = {
            1: "; that is the antenna height: setup has the mark's own height, or the points have it added twice",
            -1: "; that is the antenna height: the points have the mark's own height, or setup has it added twice",
            0: "",
        }[slip]
        yield (
            f"the base's position on its points ({self.at(stand.seen)}) differs from setup by {east:+.3f} m east,"
            f" {north:+.3f} m north, {up:+.3f} m up{why}"
        )

    def antennas(self) -> Iterator[str]:
        """Yield antenna heights that differ from the set-up's; without one, those that change within an export."""
        heights = list(self.log.antennas)
        setup = self.session.setup
        if setup is not None and "antenna_height" in setup.model_fields_set:
            for seen in heights[:_LISTED]:
                if abs(seen.value[0] - setup.antenna_height) > _SAME_ANTENNA:
                    yield (
                        f"setup has an antenna height of {setup.antenna_height:.3f} m, its points one of"
                        f" {seen.value[0]:.3f} m ({_span(seen)}; {self.at(seen)})"
                    )
            return
        for export in dict.fromkeys(seen.export for seen in heights):
            own = sorted((seen for seen in heights if seen.export == export), key=lambda seen: seen.time)
            if len(own) > 1 or self.log.antennas.further:
                listed = ", ".join(f"{seen.value[0]:.3f} m ({_span(seen)}; {self.at(seen)})" for seen in own[:_LISTED])
                more = " and others" if len(own) > _LISTED or self.log.antennas.further else ""
                yield f"its points carry different antenna heights: {listed}{more}"

    def ids(self) -> Iterator[str]:
        """Yield that the points of a session without a base id carry more than one."""
        found = sorted(self.log.ids, key=lambda seen: seen.time)
        if len(found) > 1 and not self.network:
            listed = ", ".join(f"{seen.text} ({_span(seen)}; {self.at(seen)})" for seen in found[:_LISTED])
            more = " and others" if len(found) > _LISTED else ""
            yield f"it names no base, and its points carry different base ids: {listed}{more}; give each base a session"

    def far_start(self) -> float | None:
        """Return the first reading's distance from the base, metres, where it was not taken beside it, else None."""
        distance = self.first_distance()
        return None if distance is None or distance <= _BESIDE or self.network else distance

    def first_distance(self) -> float | None:
        """Return how far from the base, as broadcast, the first reading is, metres; None where that is not known."""
        first = self.log.first
        if first is None or self.base is None or self.window.index in self.survey.first_pass.implausible.misplaced:
            return None
        time = self.survey.operations.year(self.window.index, first.block, first.time)
        place = self.survey.operations.frames.to_working[first.block].forward(*first.place, time)
        distance = float(np.linalg.norm(np.ravel(place) - self.base))
        return distance if np.isfinite(distance) else None

    def facts(self) -> BaseLog | None:
        """Return the record's ``base_log`` of the session."""
        if not self.stands and not self.log.antennas and self.base is None:
            return None
        first, distance = self.log.first, self.first_distance()
        return {
            "positions": [self._position(stand) for stand in self.stands],
            "antenna_heights": [
                {"antenna_height": seen.value[0], **self._where(seen)}
                for seen in sorted(self.log.antennas, key=lambda seen: (seen.time, seen.export, seen.key))
            ],
            "first_reading": None
            if first is None or distance is None
            else {
                "point": first.name,
                "observed": iso(moment(first.time)),
                "from_base": distance,
                "source_file": self.survey.exports[first.export].shown,
                "source_row": first.row,
            },
        }

    def _position(self, stand: Stand) -> BasePosition:
        columns = self.survey.exports[stand.seen.export].points.columns
        names = ("longitude", "latitude") if columns.base_longitude is not None else ("easting", "northing")
        place = dict(zip((*names, "height"), stand.seen.value, strict=True))
        return cast(BasePosition, {**place, **self._where(stand.seen)})

    def _where(self, seen: ValueSeen) -> Logged:
        return {
            "from": iso(moment(seen.time)),
            "until": iso(moment(seen.last)),
            "readings": seen.count,
            "source_file": self.survey.exports[seen.export].shown,
            "source_row": seen.row,
        }


def _begun_on_marks(survey: Survey) -> frozenset[int]:
    """Return the sessions in which a mark was occupied before all points: that tells more than standing by the base."""
    every = survey.candidates
    coded = np.asarray(coded_checks(every.table, survey.prepared), bool)
    on_mark = coded | np.array([said is not None for said in every.named], bool)
    opening = on_mark & (every.time <= survey.first_pass.first_point[every.session])
    return frozenset(every.session[opening].tolist())


def _far(far: Sequence[tuple[_Session, float]]) -> str:
    """Say of all sessions together that their first readings were not taken beside the base."""
    listed = []
    for at, distance in far[:_LISTED]:
        first = at.log.first
        assert first is not None
        where = f"{at.survey.exports[first.export].shown}:{first.row}"
        listed.append(
            f"{first.name or 'one without a name'} of session {at.session.name} at {stamp(first.time)} UTC ({where}),"
            f" {distance:,.0f} m"
        )
    more = f" and those of {counted(len(far) - _LISTED, 'more session')}" if len(far) > _LISTED else ""
    return (
        "the first reading is far from the base, and no mark was occupied before the points:"
        f" {'; '.join(listed)}{more}; a mark, or else a point beside the base, occupied before the rover leaves shows"
        " in time whether the two agree"
    )


def _in_turn(found: list[ValueChange]) -> str:
    mixed = [change for change in found if not change.clean]
    if not mixed:
        return ""
    since = stamp(mixed[0].since)
    return f"; from {since} UTC on they alternate: more than one base, each of which needs an id and a session"


def _span(seen: ValueSeen) -> str:
    return f"{seen.count:,} {between(seen.time, seen.last)}"
