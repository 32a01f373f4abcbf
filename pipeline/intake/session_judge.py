"""Holds each session's readings against what is known of it: its base, its middle and the whole job."""

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.own_places import own_places
from pipeline.intake.base_log import SessionLog, ValueSeen
from pipeline.intake.by_session import BySession, OfSession
from pipeline.intake.far_out import (
    Against,
    Findings,
    PositionLook,
    distance_in_words,
    length_in_words,
    look_at_positions,
)
from pipeline.intake.ledger import CANDIDATE
from pipeline.intake.like_heights import LikeHeights
from pipeline.intake.misplaced_bases import SERVES, Misplaced, misplaced_base
from pipeline.intake.misread_exports import Misread, find_misread, places_of_marks
from pipeline.intake.prepare import Prepared
from pipeline.intake.session_heights import SessionHeights
from pipeline.plausible import (
    Middle,
    Mirrored,
    aside,
    distances,
    fence,
    from_base,
    jumps,
    limit_of_middle,
    middle,
    mirrored,
    on_sphere,
    too_fast,
)
from pipeline.words import counted

#: Readings from which on a session speaks for itself; a smaller one is compared with the whole job.
_ENOUGH, _JOB_ENOUGH = 5, 3
#: One in so many readings too far from the middle is no single slip: whole exports may be misread.
_SCATTERED = 10
#: Readings from which on one that stands apart is worth a word.
_COMPANY = 10
#: A reading stands apart so many times as far from the middle as four fifths of the others.
_REACHES = 4.0
#: Readings from which a session is known as well as from all.
_SAMPLE = 4_000
#: Network corrections serve a country, not the surroundings of a base: so many times the distance.
_NETWORK = 10.0
#: Metres within which the positions that points carry of their base are one base; a network's virtual ones are not.
_ONE_BASE = 1_000.0
#: Readings up to which a session is somebody's way from point to point.
_TRACK = 100_000

#: Gives of numbers of readings (n,), and what each looks like alone, what they look like.
Looks = Callable[[Integers, NDArray[np.uint8]], NDArray[np.uint8]]


class SessionJudge:
    """Holds sessions' readings against what is known of each session.

    Args:
        rows: every reading of the job that is looked at, by session.
        prepared: the job.
        logs: what the exports say of each session's base.
        alike: which of the readings have heights that count from one level.

    ``heights`` keeps what their heights say together; ``middles`` are those of the sessions, ``mirrored`` session,
    reading and what was found of those across zero degrees, and ``far_bases`` bases that are nowhere near.
    """

    def __init__(self, rows: BySession, prepared: Prepared, logs: Sequence[SessionLog], alike: LikeHeights) -> None:
        self._rows, self._prepared, self._logs = rows, prepared, logs
        self._quality = prepared.loaded.job.quality
        self._whole: tuple[Floats, Floats] | None = None
        self.heights = SessionHeights(rows.rows, prepared, alike)
        self.middles: dict[int, Middle] = {}
        self.mirrored: list[tuple[int, int, Mirrored]] = []
        self.far_bases: dict[int, Misplaced] = {}

    def judge(self, session: int) -> Findings:
        """Return what is to be said of a session's readings."""
        mine = self._rows.of(session)
        if not mine.count:
            return Findings()
        network = self._prepared.windows[session].session.shift == "none"
        quality = self._quality
        limit = quality.max_distance * (_NETWORK if network else 1.0)
        around, high, misread = self._references(mine, limit)
        own = len(around) >= _ENOUGH
        if not own:
            around, high = self._job()
        base = None if self._misplaced(session, around, network) or network else self._base(session)
        if not own:
            limit = limit if base is not None else max(limit, quality.max_distance * _NETWORK)
        if base is not None and len(around) < _JOB_ENOUGH:
            around, high = on_sphere(base[:1], base[1:2]), base[2:]
        elif len(around) < _JOB_ENOUGH:
            return Findings()
        name = f"session {self._prepared.windows[session].session.name}"
        mid = self.middles[session] = middle(around)
        of_middle = f"the middle of {name}" if own else "the job's middle"
        beyond = max(quality.doubtful_distance, _REACHES * min(mid.reach, limit))
        against = Against(mid, limit, beyond, fence(high), of_middle)
        positions = self._positions(mine, against, base, name)
        positions.out = [(number, away, misread(number, looks)) for number, away, looks in positions.out]
        positions.describe_far()
        ordinary = own and mine.count >= _COMPANY
        for number, away in positions.apart.alone(mine) if ordinary else ():
            positions.findings.doubtful[number] = f"is {distance_in_words(away, of_middle)}"
        self.heights.look_at_each(positions, mine, ordinary, session)
        if mine.count <= _TRACK:
            self._jumps(positions, mine, session)
            self.heights.look_at_ground(positions, mine, session)
        return positions.findings

    def _positions(self, mine: OfSession, against: Against, base: Floats | None, name: str) -> PositionLook:
        """Hold positions against the base (3,), if one is known and serves most of them, else against the middle."""
        if base is None:
            return look_at_positions(mine, against)
        found = look_at_positions(mine, against.with_base(base, f"the base of {name}"))
        stated, away = "max_distance" in self._quality.model_fields_set, _away(base, against.mid)
        if from_base(found.far, mine.count) or (stated and away <= max(against.limit, SERVES)):
            return found
        far, found = found.far, look_at_positions(mine, against)
        if stated:
            found.findings.not_from_base = _not_from_base(name, far, mine.count, away, against.limit)
        return found

    def _references(self, mine: OfSession, limit: float) -> tuple[Floats, Floats, Looks]:
        """Return what a session's readings are held against, and what those look like that are misread as a whole."""
        around, high = mine.references_of(max(mine.references // _SAMPLE, 1))
        found = self._misread(mine, around, limit)
        if found is None:
            return around, high, lambda _, looks: looks
        return found.places, found.heights, lambda number, looks: found.look(self._rows.rows.export(number), looks)

    def _misread(self, mine: OfSession, around: Floats, limit: float) -> Misread | None:
        """Return which exports of a session are misread as a whole, where many of its places (n, 3) are scattered."""
        register, control = self._prepared.register, self._prepared.loaded.job.control
        if len(around) < _ENOUGH or len(self._prepared.exports) < 2 or register is None or control is None:
            return None
        mid = middle(around)
        far = int(np.count_nonzero(distances(around, mid.at) > limit_of_middle(mid, limit)))
        if far * _SCATTERED <= len(around):
            return None
        try:
            longitude, latitude, _ = own_places(control.crs, register.first, register.second, 0.0 * register.first)
        except OperationError:
            return None
        marks = places_of_marks(longitude, latitude)
        return find_misread(mine, self._rows.rows.export, marks, self._quality.max_distance)

    def _jumps(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Add runs of readings that jump and come back, or else note those that lie mirrored across zero degrees.

        One that does so by a digit is not said to be too fast as well.
        """
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            number, places = piece.number[near], piece.places[near]
            group, marks = self._rows.rows.export(number).astype(np.int64), (piece.flags[near] & CANDIDATE) != 0
            if (turned := mirrored(places, group, marks)) is not None:
                self.mirrored.append((session, int(number[turned.row]), turned))
                continue
            if (beyond := aside(places, marks)) is not None:
                self.mirrored.append((session, int(number[beyond.row]), beyond))
            (time,) = self._rows.rows.columns.take(number, "time")
            for run, metres in jumps(places, time, group, marks):
                found.findings.jumps.append((number[run].tolist(), metres))
            told = {one for run, _ in found.findings.jumps for one in run}
            for run, metres, seconds in too_fast(places, time, group, marks):
                own = number[run].tolist()
                if told.isdisjoint(own) and not found.findings.tells(number[run]):
                    found.findings.fast.append((own, metres, seconds))

    def _job(self) -> tuple[Floats, Floats]:
        """Return places and heights of the whole job, for a session that is too small."""
        if self._whole is None:
            self._whole = self._rows.references()
        return self._whole

    def _base(self, session: int) -> Floats | None:
        """Return (3,) longitude, latitude, height of a session's base, as broadcast; None where it is not known."""
        setup = self._prepared.windows[session].session.setup
        if setup is not None:
            return np.array([setup.longitude, setup.latitude, setup.ellipsoid_height])
        found = [place for _, place in self._carried(session)]
        if not found or not np.isfinite(found).all():
            return None
        places = on_sphere(np.array(found)[:, 0], np.array(found)[:, 1])
        return found[0] if np.linalg.norm(places - places[0], axis=1).max() <= _ONE_BASE else None

    def _misplaced(self, session: int, around: Floats, network: bool) -> bool:
        """Tell whether a session's base, as logged, is nowhere near places (k, 3), and keep what to say of it."""
        if self._prepared.windows[session].session.setup is not None or len(around) < _JOB_ENOUGH:
            return False
        carried = list(self._carried(session))
        found = misplaced_base(carried, self._prepared.exports, middle(around), network=network) if carried else None
        if found is not None:
            self.far_bases[session] = found
        return found is not None and not found.believed

    def _carried(self, session: int) -> Iterator[tuple[ValueSeen, Floats]]:
        for seen in sorted(self._logs[session].positions, key=lambda seen: (seen.time, seen.export, seen.row)):
            crs = self._prepared.exports[seen.export].points.crs or ""
            yield seen, np.array([np.ravel(part)[0] for part in own_places(crs, *([part] for part in seen.value))])


def _away(base: Floats, mid: Middle) -> float:
    """Return how far [m] a base (3,), longitude, latitude, height, is from the middle of the readings."""
    return float(distances(on_sphere(base[:1], base[1:2]), mid.at)[0])


def _not_from_base(name: str, far: int, count: int, away: float, limit: float) -> str:
    return (
        f"{name}: {far:,} of {counted(count, 'reading')} are farther from the base than quality.max_distance ="
        f" {limit:g} m; its stated position, {length_in_words(away)} away, is taken to be wrong, so the limit counts"
        " from the middle of the readings: correct the position, or raise the limit if the base stood there"
    )
