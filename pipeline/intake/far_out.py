"""Compares the positions of one session's readings with its base and its middle, piece by piece."""

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.by_session import OfSession, Placed
from pipeline.intake.ledger import CANDIDATE
from pipeline.plausible import (
    LISTED,
    LOOKS,
    Fence,
    Look,
    Middle,
    alone,
    distances,
    limit_of_middle,
    misread,
    on_sphere,
)
from pipeline.replace import replace

#: How what is said of a reading that is too far away begins.
LIES = "is"


class Findings(Struct):
    """What was found of one session: what is said of readings, by their numbers; runs that jump, with metres.

    ``height_jumps`` are runs whose heights do, metres with sign; ``fast`` are runs aside, metres and seconds away.
    ``not_from_base`` says why distances do not count from the base although the job states how large they may be.
    """

    held: dict[int, str] = field(default_factory=dict)
    doubtful: dict[int, str] = field(default_factory=dict)
    jumps: list[tuple[list[int], float]] = field(default_factory=list)
    height_jumps: list[tuple[list[int], float]] = field(default_factory=list)
    fast: list[tuple[list[int], float, float]] = field(default_factory=list)
    not_from_base: str | None = None

    def tells(self, numbers: Integers) -> bool:
        """Return whether something is said of one of these readings (k,) by itself."""
        return any(number in self.held or number in self.doubtful for number in numbers.tolist())


class Against(Struct, frozen=True):
    """What a session's readings are compared with.

    Args:
        mid: the middle of them, or of the whole job.
        limit: metres that they may be away from the base, or from where most of them end.
        apart: metres from the middle from which on a reading stands apart.
        heights: between which ordinary ones lie.
        of: from what distances are said to be.
        base: (3,) place of the base, where distances count from that.
    """

    mid: Middle
    limit: float
    apart: float
    heights: Fence
    of: str
    base: Floats | None = None

    def with_base(self, base: Floats, of: str) -> "Against":
        """Return it with distances that count from the base (3,): longitude, latitude, height."""
        at = on_sphere(base[:1], base[1:2])[0]
        heights = self.heights.with_base(float(base[2])) if np.isfinite(base[2]) else self.heights
        return replace(self, base=at, heights=heights, of=of)

    def distances(self, places: Floats, from_middle: Floats) -> tuple[Floats, Flags]:
        """Return how far places (n, 3) are away, and which are too far."""
        if self.base is None:
            return from_middle, from_middle > limit_of_middle(self.mid, self.limit)
        distance = distances(places, self.base)
        return distance, distance > self.limit


class PositionLook(Struct):
    """What a look at a session's positions gives; heights follow.

    Args:
        findings: what is to be said.
        far: how many are too far away.
        out: piece by piece the numbers of those that cannot be, their distances, and what they look like.
        near: piece by piece which positions may be right.
        beyond: of each piece, metres that heights lie outside of the ordinary ones at the most.
    """

    against: Against
    apart: "Apart"
    findings: Findings = field(default_factory=Findings)
    far: int = 0
    out: list[tuple[Integers, Floats, NDArray[np.uint8]]] = field(default_factory=list)
    near: list[Flags] = field(default_factory=list)
    beyond: list[float] = field(default_factory=list)

    def describe_far(self) -> None:
        """Say of each of those that are ``out`` how far, and what it looks like."""
        for piece in self.out:
            for number, distance, look in zip(*(part.tolist() for part in piece), strict=True):
                self.findings.held[number] = (
                    f"{LIES} {distance_in_words(distance, self.against.of)}{look_in_brackets(look)}"
                )


def look_at_positions(mine: OfSession, against: Against) -> PositionLook:
    """Hold the positions of a session's readings against what is known of it."""
    found, mid = PositionLook(against, Apart(against.apart)), against.mid
    for piece in mine:
        from_middle = distances(piece.places, mid.at)
        distance, far = against.distances(piece.places, from_middle)
        found.far += int(np.count_nonzero(far))
        looks = np.zeros(len(piece), np.uint8)
        out = np.flatnonzero(far | (from_middle > against.apart))
        looks[out] = misread(piece.longitude[out], piece.latitude[out], mid, against.limit)
        far |= (from_middle > against.apart) & (looks > 0)
        found.out.append((piece.number[far], distance[far], looks[far]))
        found.apart.take(piece, from_middle, ((piece.flags & CANDIDATE) == 0) & ~far)
        found.near.append(~far)
        found.beyond.append(float(np.abs(against.heights.beyond(piece.height)).max(initial=0.0)))
    return found


class Apart(Struct):
    """Gathers the readings that are further from the middle than ``beyond``; those that may be told of are kept.

    Where many are, that is no slip but the work: then none is told.
    """

    beyond: float
    many: int = 0
    number: list[Integers] = field(default_factory=list)
    places: list[Floats] = field(default_factory=list)
    distance: list[Floats] = field(default_factory=list)

    def take(self, piece: Placed, distance: Floats, told: Flags) -> None:
        """Take the next readings, with (n,) metres from the middle, and (n,) which may be told of."""
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


def distance_in_words(metres: float, where: str) -> str:
    """Return in words how far from where a reading lies."""
    return f"{length_in_words(metres)} from {where}" if np.isfinite(metres) else "nowhere on earth"


def length_in_words(metres: float) -> str:
    """Return in words how long something is."""
    if metres >= 1e7:
        return "more than 10,000 km"
    return f"{metres / 1000:,.0f} km" if metres >= 10_000 else f"{metres:,.0f} m"


def look_in_brackets(code: int) -> str:
    """Return in brackets what an impossible coordinate looks like; nothing where it looks like nothing."""
    words = LOOKS[Look(int(code))]
    return f" ({words})" if words else ""
