"""Counts drafted points far beyond the marks that their session occupied, where no check says what they are worth.

What the marks of a session agree on holds among them. An error of scale or direction, of a base's position or of the
register, grows with distance: what passes over 1 km at 20 mm is 0.6 m at 30 km.
"""

from dataclasses import dataclass, field

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.near import listed
from pipeline.words import counted, plural

#: Metres from the nearest mark within which nothing is told, and how many times the extent of the marks. Ours, no
#: source: there, what tolerances of checks let pass has grown by half an order of magnitude.
_NEAR, _EXTENTS = 5_000.0, 5.0


class _Around(Struct, frozen=True):
    """What a session occupied: (k, 2) metres east and north, the middle and the diagonal of the rectangle around it."""

    places: Floats
    middle: Floats
    extent: float

    @classmethod
    def of(cls, places: Floats) -> "_Around":
        low, high = places.min(axis=0), places.max(axis=0)
        return cls(np.unique(places, axis=0), (low + high) / 2, float(np.hypot(*(high - low))))

    @property
    def limit(self) -> float:
        """Metres from the nearest mark beyond which a point is told."""
        return max(_NEAR, _EXTENTS * self.extent)

    def away(self, east: Floats, north: Floats) -> Floats:
        """Return (n,) metres from the nearest place."""
        found = np.full(len(east), np.inf)
        for at in self.places:
            np.minimum(found, (east - at[0]) ** 2 + (north - at[1]) ** 2, out=found)
        away: Floats = np.sqrt(found)
        return away


@dataclass
class FarFromMarks:
    """Counts, batch by batch, the points far from all that their session occupied.

    Args:
        drafter: the job.
        around: per session, what it occupied; None where it occupied nothing, or needs no shift, as of a network.
        middle: (S, 2) metres, the middles of these.
        reach: (S,) square metres: the square of the distance from the middle within which no point is far.
        count: (S,) points that are far.
        most: (S,) metres from its nearest mark of the farthest of them.
    """

    drafter: Drafter
    around: tuple[_Around | None, ...]
    middle: Floats
    reach: Floats
    count: Integers = field(init=False)
    most: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.count, self.most = np.zeros(len(self.around), np.int64), np.zeros(len(self.around))

    @classmethod
    def of(cls, drafter: Drafter) -> "FarFromMarks":
        """Return one that has looked at nothing."""
        around = tuple(
            _Around.of(places) if len(places) and window.session.shift != "none" else None
            for window, places in zip(drafter.survey.windows, _occupied(drafter), strict=True)
        )
        middle = np.array([one.middle if one is not None else (0.0, 0.0) for one in around]).reshape(-1, 2)
        # the nearest mark lies no farther than half the diagonal from the middle
        reach = np.array([(one.limit - one.extent / 2) ** 2 if one is not None else np.inf for one in around])
        return cls(drafter, around, middle, reach)

    def add(self, drafted: Drafted) -> None:
        """Look at one batch."""
        session, place = drafted.session, drafted.corrected
        if not len(session):
            return
        # most batches are of one session, for which nothing has to be looked up row by row
        at = session[:1] if (session == session[0]).all() else session
        east, north, _ = self.drafter.survey.axes.metres(place.easting, place.northing, place.height)
        square = (east - self.middle[at, 0]) ** 2 + (north - self.middle[at, 1]) ** 2
        far = np.flatnonzero((square > self.reach[at]) & drafted.points)
        for number in np.flatnonzero(np.bincount(session[far])).tolist():
            one, rows = self.around[number], far[session[far] == number]
            if one is None:
                continue
            away = one.away(east[rows], north[rows])
            self.count[number] += int((away > one.limit).sum())
            self.most[number] = max(self.most[number], float(away.max()))

    def notes(self) -> list[str]:
        """Return in words how many points lie far from the marks, and what that means; nothing where none do."""
        survey, found = self.drafter.survey, np.flatnonzero(self.count).tolist()
        if not found:
            return []
        names = [survey.windows[number].session.name for number in found]
        extent = max(one.extent for number in found if (one := self.around[number]) is not None)
        points, most = int(self.count[found].sum()), float(self.most[found].max())
        which = f"{plural(len(found), 'session')} {listed(names)}: " if len(found) < len(self.around) else ""
        among = f", and all that was occupied lies within {_km(extent)}" if extent else ""
        without = np.flatnonzero(~np.isfinite(survey.bases.receiver[found]).all(axis=1))
        unknown = [names[number] for number in without] if survey.job.quality.ppm > 0 else []
        of = "for them" if len(unknown) == len(found) else f"in {plural(len(unknown), 'session')} {listed(unknown)}"
        by_distance = (
            f" No base position is known {of}, so that quality.ppm counts for nothing and hu95 and vu95 are no larger"
            " than beside the base: map the base's position, or state the set-up."
        )
        return [
            f"{which}{counted(points, 'point')} {plural(points, 'lies', 'lie')} up to {_km(most)} from the nearest mark"
            f" that was occupied{among}. An error of scale or direction, of the base's position or of the register,"
            " that is too small to be seen there grows with the distance: occupy a mark near"
            f" {plural(points, 'that point', 'those points')}.{by_distance if unknown else ''}"
        ]


def _km(metres: float) -> str:
    return f"{metres / 1000:.1f} km"


def _occupied(drafter: Drafter) -> list[Floats]:
    """Return (k, 2) metres east and north per session: where its occupations lie, and its base set up over a mark."""
    survey, on_marks = drafter.survey, drafter.solved.occupations
    places = np.column_stack([on_marks.corrected.easting, on_marks.corrected.northing])
    base = survey.bases.mark + drafter.solved.shifts.shift
    east, north, _ = survey.operations.frames.to_issued.forward(*base.T)
    of_base = np.column_stack([east, north])
    every = [np.vstack([places[on_marks.session == number], at]) for number, at in enumerate(of_base)]
    return [some[np.isfinite(some).all(axis=1)] for some in every]
