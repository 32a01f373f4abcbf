"""Doubts about height systems and datums: what the marks of all sessions, and the bases, have in common."""

from collections.abc import Collection, Iterable, Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.geometry_heights import geometry_notes
from pipeline.examine.mark_heights import Above, BySession, above_readings, by_session, known_places, looks
from pipeline.examine.stood_on import Stood
from pipeline.examine.systematic import (
    ALIKE,
    LEAST,
    alike,
    by_separation,
    near_separation,
    one_height,
    some_by_separation,
)
from pipeline.examine.unit_doubts import foot_notes, unit_doubts
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.words import Doubt, plural

#: Names that one sentence lists.
_NAMED = 3


def system_doubts(survey: Survey, stood: Stood | None) -> list[Doubtful]:
    """Return the doubts about the register's and the exports' height systems and datums."""
    looked = _looked(survey, stood)
    if looked is None:
        return []
    units, in_feet = unit_doubts(survey, looked.register, looked.above, looked.by_separation())
    return [*looked.unfilled(), *looked.heights(in_feet), *looked.common(), *units]


def system_notes(survey: Survey, stood: Stood | None) -> list[str]:
    """Return in words which bases are off by the geoid separation or another foot, where chance would do as well."""
    looked = _looked(survey, stood)
    if looked is None:
        return []
    told = [*foot_notes(survey, looked.register, looked.above), *looked.one_after_another()]
    if any(looked.heights()):
        return told
    told += geometry_notes(survey, looked.register, looked.of)
    signs = near_separation(looked.of.off, looked.of.separation)
    for sign in (1, -1):
        if not len(rows := np.flatnonzero(signs == sign)):
            continue
        up, apart = float(np.median(looked.of.off[rows, 2])), float(np.median(looked.of.separation[rows]))
        told.append(
            f"{looked.sessions(looked.of.session[rows])}: the marks are {up:+.2f} m above the raw readings on them, and"
            f" the geoid separation is {apart:+.2f} m. Either the base is off by that much by chance, or the heights of"
            " the register, the export or the base are in a height system other than stated. Checks on marks of one"
            " register cannot show which: check control.height, crs and the height entered in the base"
        )
    return told


def _looked(survey: Survey, stood: Stood | None) -> "_Looked | None":
    register = survey.register
    if register is None or stood is None:
        return None
    above = above_readings(survey, register, stood, set_up=True)
    if not len(above.session):
        return None
    return _Looked(survey, register, survey.register_file, above, by_session(survey, above))


#: Another cause of it. Told of bases apart are ids alone, where no export and no set-up says where a base stood.
_SAME_BASE = (
    ", or this is one base set up again at the same coordinates under another id (columns with the base position, or"
    " setup of the sessions, would show that)"
)


class _Looked(Struct, frozen=True):
    """What is looked at: the job, its register (``path`` for messages), its marks over the readings on them."""

    survey: Survey
    register: Register
    path: str
    above: Above
    of: BySession

    @property
    def ellipsoidal(self) -> bool:
        control = self.survey.job.control
        return control is not None and control.height == "ellipsoid"

    def unfilled(self) -> Iterator[Doubtful]:
        """Yield that the heights of the occupied marks were never filled in."""
        marks = np.unique(self.above.mark[self.register.holds_height[self.above.mark]])
        place = np.column_stack([self.register.first, self.register.second])[marks]
        marks = marks[np.sort(np.unique(place, axis=0, return_index=True)[1])]  # a mark under two names has one height
        if not one_height(self.register.third[marks]):
            return
        what = (
            f"all {len(marks)} occupied marks have the height {self.register.written[marks[0]][2]}: the heights were"
            " never filled in, or the marks have no published height (holds = position)"
        )
        yield Doubtful(Doubt.REGISTER_HEIGHTS, what, None, self.path, self.register.lines[marks[0]])

    def heights(self, explained: Collection[int] = ()) -> Iterator[Doubtful]:
        """Yield that the heights of sessions are off by the geoid separation, as the register or as the exports.

        Sessions that something else has ``explained`` are left out.
        """
        signs = np.where(np.isin(self.of.session, list(explained)), 0, self._signs())
        for sign in (1, -1):
            rows = np.flatnonzero(signs == sign)
            if len(rows):
                yield self._heights(rows, sign)

    def by_separation(self) -> dict[int, float]:
        """Return the sessions that the separation explains, and the metres that it leaves unexplained.

        They are those of which `heights` tells, and those of which some marks alone are off by it.
        """
        left = np.abs(np.abs(self.of.off[:, 2]) - np.abs(self.of.separation))
        rows = np.flatnonzero(self._signs())
        found = dict(zip(self.of.session[rows].tolist(), left[rows].tolist(), strict=True))
        for session, separation in zip(self.of.session.tolist(), self.of.separation.tolist(), strict=True):
            some = some_by_separation(self.above.off[self.above.session == session, 2], separation)
            found |= {} if some is None or session in found else {session: some}
        return found

    def _signs(self) -> Integers:
        """Return (k,) per session +1 or -1 where its heights are off by plus or minus the separation, else 0."""
        signs = by_separation(self.of.base, self.of.off, self.of.separation)
        same = alike(self.of.base, self.of.off)
        up, apart = self.of.off[:, 2], self.of.separation
        with np.errstate(invalid="ignore"):
            by_it = same & (np.abs(np.abs(up) - np.abs(apart)) <= ALIKE[1]) & (np.abs(apart) >= LEAST)
        return np.where((signs == 0) & by_it, np.where(up * apart > 0, 1, -1), signs).astype(np.int64)

    def _heights(self, rows: Integers, sign: int) -> Doubtful:
        sessions = self.of.session[rows]
        here, known = np.isin(self.above.session, sessions), np.isfinite(self.above.off[:, 2])
        marks, others = np.unique(self.above.mark[here & known]), np.unique(self.above.mark[~here & known])
        every = len(rows) == len(self.of.session)
        off = float(np.median(self.of.off[rows, 2]))
        is_what = f"and the geoid separation is {np.median(self.of.separation[rows]):+.1f} m"
        reached = None if every else self._with_silent(sessions)
        if not every and np.isin(marks, others).any():
            return self._export(rows, sign, f"{abs(off):.1f} m {'below' if off > 0 else 'above'}", is_what, reached)
        which = "the occupied marks" if every else f"the marks of {self.sessions(sessions)}"
        other = " (or each export height like a height above a datum)" if sign > 0 and not self.ellipsoidal else ""
        what = (
            f"{which} are {off:+.1f} m above the raw readings on them, {is_what}: each height looks like"
            f" {looks(sign, self.ellipsoidal)}{other}"
        )
        return Doubtful(Doubt.REGISTER_HEIGHTS, what, reached, self.path, self.register.lines[int(marks[0])])

    def _export(self, rows: Integers, sign: int, how: str, is_what: str, reached: tuple[int, ...] | None) -> Doubtful:
        sessions = self.of.session[rows]
        first = self.survey.first_pass.log.sessions[int(sessions[0])].first
        file, line = ("", 0) if first is None else (self.survey.exports[first.export].shown, first.row)
        like = "a height above a datum, not an ellipsoidal one" if sign > 0 else "one with the separation added twice"
        what = (
            f"the raw readings of {self.sessions(sessions)} are {how} the marks that agree with other sessions,"
            f" {is_what}: each height of the export looks like {like}"
        )
        return Doubtful(Doubt.EXPORT_HEIGHTS, what, reached, file, line)

    def _with_silent(self, sessions: Integers) -> tuple[int, ...]:
        """Return sessions and those that no mark of the register says anything of: they may hang on the former."""
        silent = set(range(len(self.survey.windows))) - set(self.of.session.tolist())
        return tuple(sorted({*sessions.tolist(), *silent}))

    def one_after_another(self) -> Iterator[str]:
        """Yield that sessions are taken for those of one base under several ids, where two would be in doubt."""
        if any(self.common()):
            return
        for doubt in self._common(self.of.called):
            same = alike(self.of.called, self.of.off)
            east, north, up = np.median(self.of.off[same], axis=0)
            system = "datum or epoch" if doubt.kind is Doubt.DATUM else "height datum or unit"
            yield (
                f"{self.sessions(self.of.session[same])}: the bases have different ids, but follow each other without a"
                f" gap, and in each session the marks are {east:+.2f} m east, {north:+.2f} m north and {up:+.2f} m"
                " above the raw readings on them, to within centimetres: they are taken for one base that was switched"
                f" on again. If they are two, the register seems to be in a {system} other than stated"
            )

    def common(self) -> Iterator[Doubtful]:
        """Yield that bases which have nothing to do with each other are off by one vector."""
        yield from self._common(self.of.base)

    def _common(self, base: Integers) -> Iterator[Doubtful]:
        """Yield the same by the numbers (k,) of the sessions' bases."""
        same = alike(base, self.of.off)
        if not same.any():
            return
        east, north, up = np.median(self.of.off[same], axis=0)
        apart = float(np.median(self.of.separation[same]))
        how = (
            f"the bases of {self.sessions(self.of.session[same])} have nothing in common, yet in each the marks are"
            f" {east:+.2f} m east, {north:+.2f} m north and {up:+.2f} m above the raw readings on them"
        )
        line = self.register.lines[int(self.above.mark[0])]
        # of bases of which nothing but the ids is known
        other = "" if known_places(self.survey)[self.of.session[same]].all() else _SAME_BASE
        if np.hypot(east, north) > ALIKE[1]:
            what = f"{how}: the register or source.crs seems to be in a datum or epoch other than stated{other}"
            yield Doubtful(Doubt.DATUM, what, None, self.path, line)
        elif abs(up) > ALIKE[1] and not (abs(abs(up) - abs(apart)) <= ALIKE[1] and abs(apart) >= LEAST):
            what = f"{how}: the register's heights seem to be in another height datum or another unit{other}"
            yield Doubtful(Doubt.REGISTER_HEIGHTS, what, None, self.path, line)

    def sessions(self, numbers: Iterable[int]) -> str:
        """Return sessions in words, by their names."""
        names = [self.survey.windows[number].session.name for number in numbers]
        more = and_more(len(names) - _NAMED)
        return f"{plural(len(names), 'session')} {', '.join(names[:_NAMED])}{more}"
