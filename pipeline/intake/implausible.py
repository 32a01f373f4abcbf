"""Every sound reading held against its session: what cannot lie where it says, and what had better be looked at."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.crs import kind_of, source_crs
from pipeline.geodesy.operations import own_places
from pipeline.intake.base_log import SessionLog
from pipeline.intake.ledger import CANDIDATE, PLACEHOLDER, SOUND, Rows
from pipeline.intake.prepare import Prepared
from pipeline.plausible import (
    LOOKS,
    Fence,
    Look,
    Middle,
    alone,
    among,
    distances,
    far_out,
    fence,
    height_looks,
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
    numbers = np.flatnonzero(sound)
    order = numbers[np.argsort(rows.session[numbers], kind="stable")]
    ends = np.searchsorted(rows.session[order], np.arange(len(prepared.windows) + 1))
    judged = _Judge(rows, numbers, prepared, logs)
    held: dict[int, str] = {}
    notes = []
    for window in prepared.windows:
        told = judged.session(window.index, order[ends[window.index] : ends[window.index + 1]])
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
    first = sorted(told)[:_LISTED]
    where = [f"{prepared.exports[rows.observed.export[row]].shown}:{rows.source_row[row]} {told[row]}" for row in first]
    return "; ".join(where) + (f" and {len(told) - _LISTED:,} more" if len(told) > _LISTED else "")


class _Judge:
    """Holds sessions' readings against what is known of each session."""

    def __init__(self, rows: Rows, numbers: Integers, prepared: Prepared, logs: Sequence[SessionLog]) -> None:
        self.rows, self.numbers, self.prepared, self.logs = rows, numbers, prepared, logs
        self.quality = prepared.loaded.job.quality
        self.middles: dict[int, Middle] = {}
        self._whole: tuple[Floats, Floats] | None = None

    def session(self, session: int, mine: Integers) -> _Told:
        """Return what is to be said of a session's readings (n,), ascending."""
        told = _Told()
        if not len(mine):
            return told
        network = self.prepared.windows[session].session.shift == "none"
        base = None if network else self._base(session)
        quality = self.quality
        limit = quality.max_distance * (_NETWORK if network else 1.0)
        places, height, reference = self._of(mine)
        chosen = self._sample(mine, reference)
        around, high = places[chosen], height[chosen]
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
        from_middle = distances(places, mid.at)
        distance, far, by_base = far_out(places, at, from_middle, mid, limit)
        of = f"the {'base' if by_base else 'middle'} of session {name}" if own or by_base else "the job's middle"
        apart = max(quality.doubtful_distance, _REACHES * min(mid.reach, limit))
        longitude, latitude = self.rows.observed.longitude[mine], self.rows.observed.latitude[mine]
        looks = np.zeros(len(mine), np.uint8)
        out = np.flatnonzero(far | (from_middle > apart))
        looks[out] = misread(longitude[out], latitude[out], mid, limit)
        far |= (from_middle > apart) & (looks > 0)
        for row in np.flatnonzero(far).tolist():
            told.held[int(mine[row])] = f"{_LIES} {_distance(distance[row], of)}{_look(looks[row])}"
        ordinary = ~self.rows.having(CANDIDATE)[mine] if own and len(mine) >= _COMPANY else np.zeros(len(mine), bool)
        for row in np.flatnonzero(alone(places, from_middle, apart) & ordinary & ~far).tolist():
            told.doubtful[int(mine[row])] = f"lies {_distance(from_middle[row], 'the middle of session ' + name)}"
        self._heights(told, mine, (places, height, ~far), fence(high), base if by_base else None, ordinary)
        return told

    def _heights(
        self,
        told: _Told,
        mine: Integers,
        of: tuple[Floats, Floats, Flags],
        around: Fence,
        base: Floats | None,
        ordinary: Flags,
    ) -> None:
        """Add what is to be said of the heights; ``of`` are places, heights, and which positions may be right."""
        places, height, near = of
        if base is not None and np.isfinite(base[2]):
            around = around.with_base(float(base[2]))
        placeholder = self.rows.having(PLACEHOLDER)[mine]
        beyond = around.beyond(height)
        quiet = around.level and not placeholder.any()
        if quiet and np.abs(beyond).max(initial=0.0) <= self.quality.doubtful_height_difference:
            return
        impossible = near & (np.abs(beyond) > self.quality.max_height_difference)
        off, false, odd = np.zeros(len(mine)), np.zeros(len(mine), bool), np.zeros(len(mine), bool)
        rest = np.flatnonzero(near & ~impossible)
        if len(rest):
            doubtful = self.quality.doubtful_height_difference
            off[rest], false[rest], odd[rest] = out_of_place(
                places[rest], height[rest], placeholder[rest], around, doubtful
            )
        looks = np.zeros(len(mine), np.uint8)
        some = np.flatnonzero(impossible | false | (odd & ordinary))
        looks[some] = height_looks(height[some], around, placeholder[some])
        for row in some.tolist():
            by = off[row] if off[row] else beyond[row]
            where = "above" if by > 0 else "below"
            written = f"{height[row]:.3f}" if abs(height[row]) < _PRINTED else f"{height[row]:g}"
            said = f"has a height of {written} m, {_length(abs(by))} {where} its neighbours"
            into = told.held if impossible[row] or false[row] else told.doubtful
            into[int(mine[row])] = said + _look(looks[row])

    def _of(self, mine: Integers) -> tuple[Floats, Floats, Flags]:
        """Return places, heights, and which readings others may be held against."""
        of = self.rows.observed
        places, height = on_sphere(of.longitude[mine], of.latitude[mine]), of.height[mine].astype(np.float64)
        return places, height, np.isfinite(places).all(axis=1) & ~self.rows.having(PLACEHOLDER)[mine]

    def _sample(self, mine: Integers, reference: Flags) -> Integers:
        """Return places among a session's readings to learn from: all, or of many some, whatever their order."""
        found = np.flatnonzero(reference)
        every = np.uint64(max(len(found) // _SAMPLE, 1))
        return found if every == 1 else found[self.rows.hashes[mine[found]] % every == 0]

    def _job(self) -> tuple[Floats, Floats]:
        """Return places and heights of the whole job, for a session that is too small."""
        if self._whole is None:
            places, height, reference = self._of(self.numbers)
            self._whole = places[reference], height[reference]
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
