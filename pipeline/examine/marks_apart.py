"""Doubts heights where all points of a session lie off all its marks as heights of another unit or system do."""

from collections.abc import Collection, Iterator

from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.geoid_step import usual_separation
from pipeline.geodesy.crs import source_crs
from pipeline.intake.implausible import OffMarks
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, counted, plural

#: Metres of height, and besides per metre away, from which on heights that fit in feet are no mountain side.
#: Ours, no source.
_RISES, _SLOPE = 50.0, 0.5
#: Metres: a separation below the first is not told from ground, one below the second is worth a note and no doubt.
#: Ours, no source.
_LEAST, _TELLING = 5.0, 15.0
#: Metres that models of the geoid may differ by, standard errors and the part of the separation within which the two
#: fit; and metres of height per metre away that nobody sets marks above all work. Ours, no source.
_MODELS, _ERRORS, _PART, _WALL = 0.5, 2.0, 0.06, 1.0

_ALIKE = "check that marks and points were exported alike"


class _Apart(Struct, frozen=True):
    """Marks of a session that lie off its points; ``separation`` [m] is None where it is the unit that explains it.

    ``as_expected`` tells whether points in the other height system would lie to this side of the marks.
    """

    found: OffMarks
    separation: float | None
    as_expected: bool = True

    @property
    def certain(self) -> bool:
        """Whether hardly any site has its marks so far from the work in height, and so near in plan."""
        by, away = abs(self.found.apart.by), self.found.apart.away
        if self.separation is None:
            return by > _RISES + _SLOPE * away
        several = self.found.apart.spots > 1
        return several and self.as_expected and abs(self.separation) >= _TELLING and by > _WALL * away


def apart_doubts(survey: Survey, told: Collection[int]) -> Iterator[Doubtful]:
    """Yield a doubt for sessions whose points are hard by their marks and off them as in another unit or system.

    Nothing is said of sessions that are ``told`` already.
    """
    for one in _apart(survey):
        if one.certain and one.found.session not in told:
            kind, look_at = Doubt.EXPORT_HEIGHTS, "which heights each kind has"
            if one.separation is None:
                kind, look_at = Doubt.UNITS, "units and crs of each block"
            of = one.found
            what = f"{_told(survey, one)}. Unless the work lies so far off all marks, {_ALIKE}, and {look_at}"
            yield Doubtful(kind, what, (of.session,), survey.exports[of.export].shown, of.row)


def apart_notes(survey: Survey, told: Collection[int]) -> Iterator[str]:
    """Yield the same where a hill or a pit may be, but of sessions ``told`` already."""
    for one in _apart(survey):
        if not one.certain and one.found.session not in told:
            where = f"{survey.exports[one.found.export].shown}:{one.found.row}"
            yield f"{where}: {_told(survey, one)}; if the ground does not rise so between them, {_ALIKE}"


def _told(survey: Survey, one: _Apart) -> str:
    of = one.found.apart
    name = survey.windows[one.found.session].session.name
    fits = (
        "they are level with them if their heights are taken for the other of metres and feet"
        if one.separation is None
        else f"the geoid separation is {one.separation:+.1f} m"
    )
    looks = "units" if one.separation is None else "height systems"
    return (
        f"session {name}: {counted(of.others, 'reading')} on no mark (first one here) {plural(of.others, 'is', 'are')}"
        f" {abs(of.by):,.1f} m {'below' if of.by > 0 else 'above'} the {counted(of.marks, 'reading')} on marks, the"
        f" nearest {of.away:,.0f} m away, and {fits}: points and marks may have heights of different {looks}"
    )


def _apart(survey: Survey) -> Iterator[_Apart]:
    found = survey.first_pass.implausible.off_marks
    separation = usual_separation(survey) if found else 0.0
    steep = {one.session for one in survey.first_pass.implausible.cliffs}
    for one in found:
        if one.apart.feet:
            if one.session not in steep:
                yield _Apart(one, None)
            continue
        size = abs(separation)
        off = abs(abs(one.apart.by) - size)
        if size >= _LEAST and off <= min(max(_MODELS, _ERRORS * one.apart.error), _PART * size):
            # ellipsoidal heights of points lie above those of marks by the separation, heights of a datum below
            level = source_crs(survey.exports[one.export].points.crs or "").is_compound
            yield _Apart(one, separation, ((one.apart.by > 0) == (separation > 0)) != level)
