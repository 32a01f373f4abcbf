"""Every sound reading held against its session: what cannot lie where it says, and what had better be looked at."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.crs import kind_of, source_crs
from pipeline.geodesy.operations import own_places
from pipeline.intake.base_log import SessionLog
from pipeline.intake.by_session import BySession, OfSession, Placed
from pipeline.intake.ledger import CANDIDATE, SOUND, Rows
from pipeline.intake.prepare import Prepared
from pipeline.plausible import (
    LISTED,
    LOOKS,
    Fence,
    Look,
    Middle,
    alone,
    among,
    distances,
    fence,
    from_base,
    height_looks,
    limit_of_middle,
    middle,
    misread,
    on_sphere,
    out_of_place,
    raw_variants,
)
from pipeline.words import counted

_LIES = "lies"
#: Readings from which on a session speaks for itself; a smaller one is held against the whole job.
_ENOUGH, _JOB_ENOUGH = 5, 3
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
#: Metres from which on a height is no place's and is shortened.
_PRINTED = 1e7
#: Readings that a note lists.
_LISTED = 3


@dataclass(frozen=True)
class Implausible:
    """Readings that cannot lie where they say: (k,) numbers in the job, ascending, and why in words; ``notes``."""

    numbers: Integers
    details: tuple[str, ...]
    notes: tuple[str, ...] = ()
    middles: Mapping[int, Middle] = field(default_factory=dict)

    def detail(self, number: int) -> str:
        """Return why the reading ``number`` of the job is one of them."""
        return self.details[int(np.searchsorted(self.numbers, number))]

    def detail_of(self, number: int, session: int, crs: str, raw: Sequence[float], limit: float) -> str:
        """Return the same, with what else its (3,) raw coordinates may have been meant as where those are metres."""
        said, mid = self.detail(number), self.middles.get(session)
        if mid is None or "(" in said or not said.startswith(_LIES) or kind_of(source_crs(crs)) != "projected":
            return said
        looks, variants = raw_variants(raw[0], raw[1])
        longitude, latitude, _ = own_places(crs, variants[:, 0], variants[:, 1], np.full(len(looks), raw[2]))
        fits = np.flatnonzero(among(on_sphere(longitude, latitude), mid, limit))
        return said + (_look(looks[fits[0]]) if len(fits) else "")


@dataclass
class _Told:
    """What was found of one session."""

    held: dict[int, str] = field(default_factory=dict)
    doubtful: dict[int, str] = field(default_factory=dict)


def find_implausible(rows: Rows, repeats: Integers, prepared: Prepared, logs: Sequence[SessionLog]) -> Implausible:
    """Hold every sound reading that repeats no other against its base, its session and its neighbours."""
    sound = rows.having(SOUND)
    sound[repeats] = False
    judged = _Judge(BySession(rows, sound), prepared, logs)
    held: dict[int, str] = {}
    notes = []
    for window in prepared.windows:
        told = judged.session(window.index)
        held |= told.held
        name = f"session {window.session.name}"
        if told.held:
            notes.append(f"{name}: {_cannot(len(told.held))}: {_listed(rows, prepared, told.held)}")
        if told.doubtful:
            some = counted(len(told.doubtful), "reading lies", "readings lie")
            listed = _listed(rows, prepared, told.doubtful)
            notes.append(f"{name}: {some} apart from the others and should be looked at: {listed}")
    found = np.array(sorted(held), np.int64)
    return Implausible(found, tuple(held[number] for number in found.tolist()), tuple(notes), judged.middles)


def _cannot(count: int) -> str:
    return counted(count, "reading cannot lie where it says", "readings cannot lie where they say")


def _listed(rows: Rows, prepared: Prepared, told: dict[int, str]) -> str:
    first = np.array(sorted(told)[:_LISTED], np.int64)
    places = zip(rows.export(first).tolist(), rows.source_row(first).tolist(), first.tolist(), strict=True)
    where = [f"{prepared.exports[export].shown}:{line} {told[row]}" for export, line, row in places]
    return "; ".join(where) + (f" and {len(told) - _LISTED:,} more" if len(told) > _LISTED else "")


class _Judge:
    """Holds sessions' readings against what is known of each session."""

    def __init__(self, rows: BySession, prepared: Prepared, logs: Sequence[SessionLog]) -> None:
        self.rows, self.prepared, self.logs = rows, prepared, logs
        self.quality = prepared.loaded.job.quality
        self.middles: dict[int, Middle] = {}
        self._whole: tuple[Floats, Floats] | None = None

    def session(self, session: int) -> _Told:
        """Return what is to be said of a session's readings."""
        told, mine = _Told(), self.rows.of(session)
        count = sum(len(piece) for piece in mine)
        if not count:
            return told
        network = self.prepared.windows[session].session.shift == "none"
        base = None if network else self._base(session)
        quality = self.quality
        limit = quality.max_distance * (_NETWORK if network else 1.0)
        around, high = self._sample(mine)
        own = len(around) >= _ENOUGH
        if not own:
            around, high = self._job()
            limit = limit if base is not None else max(limit, quality.max_distance * _NETWORK)
        if base is not None and len(around) < _JOB_ENOUGH:
            around, high = on_sphere(base[:1], base[1:2]), base[2:]
        elif len(around) < _JOB_ENOUGH:
            return told
        name = self.prepared.windows[session].session.name
        mid = self.middles[session] = middle(around)
        at = None if base is None else on_sphere(base[:1], base[1:2])[0]
        from_there = at is not None and from_base(_beyond(mine, at, limit), count)
        of = f"the {'base' if from_there else 'middle'} of session {name}" if own or from_there else "the job's middle"
        apart = _Apart(max(quality.doubtful_distance, _REACHES * min(mid.reach, limit)))
        ordinary = own and count >= _COMPANY
        near = []
        for piece in mine:
            from_middle = distances(piece.places, mid.at)
            distance, most = from_middle, limit_of_middle(mid, limit)
            if from_there and at is not None:
                distance, most = distances(piece.places, at), limit
            far = distance > most
            looks = np.zeros(len(piece), np.uint8)
            out = np.flatnonzero(far | (from_middle > apart.beyond))
            looks[out] = misread(piece.longitude[out], piece.latitude[out], mid, limit)
            far |= (from_middle > apart.beyond) & (looks > 0)
            for row in np.flatnonzero(far).tolist():
                told.held[int(piece.number[row])] = f"{_LIES} {_distance(distance[row], of)}{_look(looks[row])}"
            apart.take(piece, from_middle, self._ordinary(piece) & ~far if ordinary else np.zeros(len(piece), bool))
            near.append(~far)
        for number, away in apart.alone(mine):
            told.doubtful[number] = f"lies {_distance(away, 'the middle of session ' + name)}"
        self._heights(told, mine, near, fence(high), base if from_there else None, ordinary)
        return told

    def _heights(
        self,
        told: _Told,
        mine: OfSession,
        near: Sequence[Flags],
        around: Fence,
        base: Floats | None,
        ordinary: bool,
    ) -> None:
        """Add what is to be said of the heights; ``near`` says, piece by piece, which positions may be right."""
        if base is not None and np.isfinite(base[2]):
            around = around.with_base(float(base[2]))
        quiet = around.level and not any(piece.placeholder.any() for piece in mine)
        most = [np.abs(around.beyond(piece.height)).max(initial=0.0) for piece in mine]
        if quiet and np.max(most) <= self.quality.doubtful_height_difference:
            return
        pieces = list(mine)
        number = np.concatenate([piece.number for piece in pieces])
        places = np.concatenate([piece.places for piece in pieces])
        height = np.concatenate([piece.height for piece in pieces])
        placeholder = np.concatenate([piece.placeholder for piece in pieces])
        told_of = np.concatenate([self._ordinary(piece) for piece in pieces]) & ordinary
        del pieces
        right, beyond = np.concatenate(near), around.beyond(height)
        impossible = right & (np.abs(beyond) > self.quality.max_height_difference)
        off, false, odd = np.zeros(len(number)), np.zeros(len(number), bool), np.zeros(len(number), bool)
        rest = np.flatnonzero(right & ~impossible)
        if len(rest):
            doubtful = self.quality.doubtful_height_difference
            off[rest], false[rest], odd[rest] = out_of_place(
                places[rest], height[rest], placeholder[rest], around, doubtful
            )
        looks = np.zeros(len(number), np.uint8)
        some = np.flatnonzero(impossible | false | (odd & told_of))
        looks[some] = height_looks(height[some], around, placeholder[some])
        for row in some.tolist():
            by = off[row] if off[row] else beyond[row]
            where = "above" if by > 0 else "below"
            written = f"{height[row]:.3f}" if abs(height[row]) < _PRINTED else f"{height[row]:g}"
            said = f"has a height of {written} m, {_length(abs(by))} {where} its neighbours"
            into = told.held if impossible[row] or false[row] else told.doubtful
            into[int(number[row])] = said + _look(looks[row])

    def _ordinary(self, piece: Placed) -> Flags:
        """Return (k,) which readings stand on no mark as far as they say."""
        found: Flags = (self.rows.rows.flags[piece.number] & CANDIDATE) == 0
        return found

    def _sample(self, mine: OfSession) -> tuple[Floats, Floats]:
        """Return places and heights of a session to learn from: all, or of many some, whatever their order."""
        every = np.uint64(max(sum(int(piece.reference.sum()) for piece in mine) // _SAMPLE, 1))
        places, height = [], []
        for piece in mine:
            chosen = piece.reference
            if every > 1:
                (hashes,) = self.rows.rows.columns.take(piece.number, "hashes")
                chosen = chosen & (hashes % every == 0)
            places.append(piece.places[chosen])
            height.append(piece.height[chosen])
        return np.concatenate(places), np.concatenate(height)

    def _job(self) -> tuple[Floats, Floats]:
        """Return places and heights of the whole job, for a session that is too small."""
        if self._whole is None:
            pieces = [(piece.places[piece.reference], piece.height[piece.reference]) for piece in self.rows.every()]
            places, height = (np.concatenate(parts) for parts in zip(*pieces, strict=True))
            self._whole = places, height
        return self._whole

    def _base(self, session: int) -> Floats | None:
        """Return (3,) longitude, latitude, height of a session's base, as broadcast; None where it is not known."""
        setup = self.prepared.windows[session].session.setup
        if setup is not None:
            return np.array([setup.longitude, setup.latitude, setup.ellipsoid_height])
        found = list(self._carried(session))
        if not found or not np.isfinite(found).all():
            return None
        places = on_sphere(np.array(found)[:, 0], np.array(found)[:, 1])
        return found[0] if np.linalg.norm(places - places[0], axis=1).max() <= _ONE_BASE else None

    def _carried(self, session: int) -> Iterator[Floats]:
        for seen in sorted(self.logs[session].positions, key=lambda seen: (seen.time, seen.export, seen.row)):
            crs = self.prepared.exports[seen.export].points.crs or ""
            yield np.array([np.ravel(part)[0] for part in own_places(crs, *([part] for part in seen.value))])


def _distance(metres: float, where: str) -> str:
    return f"{_length(metres)} from {where}" if np.isfinite(metres) else "nowhere on earth"


def _length(metres: float) -> str:
    if metres >= 1e7:
        return "more than 10,000 km"
    return f"{metres / 1000:,.0f} km" if metres >= 10_000 else f"{metres:,.0f} m"


def _look(code: int) -> str:
    words = LOOKS[Look(int(code))]
    return f" ({words})" if words else ""


def _beyond(mine: OfSession, at: Floats, limit: float) -> int:
    """Return how many of a session's readings are further from (3,) a place than a limit."""
    return sum(int(np.count_nonzero(distances(piece.places, at) > limit)) for piece in mine)


@dataclass
class _Apart:
    """Gathers the readings that are further from the middle than ``beyond``; those that may be told of are kept.

    Where many are, that is no slip but the work: then none is told.
    """

    beyond: float
    many: int = 0
    number: list[Integers] = field(default_factory=list)
    places: list[Floats] = field(default_factory=list)
    distance: list[Floats] = field(default_factory=list)

    def take(self, piece: Placed, distance: Floats, told: Flags) -> None:
        """Take the next readings, with their distances from the middle, and which may be told of."""
        out = (distance > self.beyond) & np.isfinite(distance)
        self.many += int(np.count_nonzero(out))
        if self.many <= LISTED and (some := np.flatnonzero(out & told)).size:
            self.number.append(piece.number[some])
            self.places.append(piece.places[some])
            self.distance.append(distance[some])

    def alone(self, mine: OfSession) -> list[tuple[int, float]]:
        """Return which of them have hardly another near them, with their distances from the middle."""
        if self.many > LISTED or not self.number:
            return []
        number, places = np.concatenate(self.number), np.concatenate(self.places)
        distance = np.concatenate(self.distance)
        lone = alone((piece.places for piece in mine), places, distance)
        return list(zip(number[lone].tolist(), distance[lone].tolist(), strict=True))
