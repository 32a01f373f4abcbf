"""Finds readings on two levels that are the geoid separation apart: heights of two systems in one session.

Occupations of the one kind prove nothing of points of the other.
"""

from collections.abc import Iterator

from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.geoid_step import usual_separation
from pipeline.examine.height_leaps import leap_notes
from pipeline.examine.marks_apart import apart_doubts, apart_notes
from pipeline.geodesy.crs import source_crs
from pipeline.intake.implausible import TwoLevels
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, counted, plural

#: Metres: a smaller separation is not told from ground, nor is one below the other worth more than a word.
_LEAST, _TELLING = 5.0, 10.0
#: The part of the separation between the levels that is free of heights, and by which they may differ from it.
_FREE, _PART = 0.25, 0.12
#: Metres that models of the geoid may differ by, and standard errors of the levels. Ours, no source.
_MODELS, _ERRORS = 1.0, 3.0
#: So many times as wide as any among the most is a gap that chance does not leave; and the part of the separation that
#: readings side by side differ by otherwise, as one standard deviation. Ours, no source: of even spreads over up to
#: twice the separation a few in a thousand are taken for two levels, of hillsides none in thousands.
_CHANCE, _ROUGH = 2.0, 0.2
#: Of levels of whole exports: the least part of the separation that is free of heights, the most that the heights of a
#: level take, and the most by which the two may differ from it. Ours, no source: a quarry or a valley that another crew
#: worked in is seldom so deep to a twentieth, and a crew with marks of its own is not asked.
_EMPTY, _FLAT, _NEARLY = 0.75, 0.25, 0.05

_CURE = "check which heights each export has: ellipsoidal ones, or those above a height datum"


class _Mixed(Struct, frozen=True):
    """Levels of a session that are the ``separation`` [m] apart.

    ``mapped_level`` is whether the heights of the export that stood on no mark are mapped as those above a datum.
    """

    found: TwoLevels
    separation: float
    mapped_level: bool

    @property
    def certain(self) -> bool:
        """Whether no terrace or relief explains it, and no code says that the readings are of something else."""
        of = self.found.levels
        apart = self.sharp and (of.gap >= of.wide or self.side_by_side)
        certain = (of.mixed and apart and self.as_expected) or self.of_exports
        return certain and not self.found.things and abs(self.separation) >= _TELLING

    @property
    def as_expected(self) -> bool:
        """Whether the level on which no mark was occupied is to the side of the marks' where the other system has it.

        True too where both levels have occupations, or neither has.
        """
        fewer, others = self.found.on_marks
        if bool(fewer) == bool(others):
            return True
        above = self.found.levels.by if others else -self.found.levels.by
        return (above > 0) == ((self.separation > 0) == self.mapped_level)

    @property
    def of_exports(self) -> bool:
        """Whether a whole export that no mark proves lies off the others as heights of the other system do."""
        if self.found.without_mark is None:
            return False
        of, size = self.found.levels, abs(self.separation)
        above = self.separation if self.mapped_level else -self.separation
        near = abs(self.found.without_mark[1] - above) <= _NEARLY * size
        return near and of.gap >= _EMPTY * size and of.wide <= _FLAT * size

    @property
    def sharp(self) -> bool:
        """Whether heights that are spread over the whole relief leave no such gap."""
        return self.found.levels.gap >= _CHANCE * self.found.levels.inner

    @property
    def side_by_side(self) -> bool:
        """Whether readings next to one another differ by the separation, and hardly otherwise."""
        step, size = self.found.levels.step, abs(self.separation)
        if step is None or step.rough > _ROUGH * size:
            return False
        return abs(abs(step.by) - size) <= max(_MODELS, _ERRORS * step.error)


def mixed_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for sessions whose readings lie among others and off them by the geoid separation.

    Also for those of which all points lie so off all marks.
    """
    certain = [one for one in _mixed(survey) if one.certain]
    yield from apart_doubts(survey, {one.found.session for one in certain})
    for one in certain:
        of = one.found
        where = "Where no bridge, roof or gorge lies among the others"
        if of.without_mark is not None and not of.levels.mixed:
            where = f"Unless {survey.exports[of.without_mark[0]].shown} is of ground so far off the others'"
        what = f"{_told(survey, one)}. {where}, {_CURE}"
        yield Doubtful(Doubt.EXPORT_HEIGHTS, what, (of.session,), survey.exports[of.export].shown, of.row)


def mixed_notes(survey: Survey) -> Iterator[str]:
    """Yield the same where it may be a terrace; also that all points lie so off all marks, or few off the others."""
    mixed = list(_mixed(survey))
    told = {one.found.session for one in mixed}
    yield from apart_notes(survey, told)
    yield from leap_notes(survey, told)
    doubted = {number for one in apart_doubts(survey, ()) for number in one.sessions or ()}
    for one in mixed:
        if not one.certain and one.found.session not in doubted:
            of = one.found
            where = f"{survey.exports[of.export].shown}:{of.row}"
            yield f"{where}: {_told(survey, one)}; if there is no such step, {_CURE}"


def _told(survey: Survey, one: _Mixed) -> str:
    of, count = one.found.levels, len(one.found.levels.rows)
    fewer, others = one.found.on_marks
    return (
        f"session {survey.windows[one.found.session].session.name}: {counted(count, 'reading')}"
        f"{_all_on_marks(fewer, count)} (first one here) {plural(count, 'is', 'are')} {abs(of.by):.1f} m"
        f" {'above' if of.by > 0 else 'below'} the {counted(of.others, 'other')}{_all_on_marks(others, of.others)},"
        f" with no height in the {of.gap:.1f} m between them, and the geoid separation is {one.separation:+.1f} m:"
        " heights of two height systems may be mixed"
    )


def _all_on_marks(occupations: int, readings: int) -> str:
    return ", all on marks" if occupations == readings else ""


def _mapped_level(survey: Survey, found: TwoLevels) -> bool:
    export = survey.exports[found.without_mark[0] if found.without_mark else found.export]
    return source_crs(export.points.crs or "").is_compound


def _mixed(survey: Survey) -> Iterator[_Mixed]:
    found = survey.first_pass.implausible.levels
    separation = usual_separation(survey) if found else 0.0
    for one in found:
        most = min(_MODELS + _ERRORS * one.levels.error, _PART * abs(separation))
        off = abs(abs(one.levels.by) - abs(separation))
        # a hill and a valley that both have marks: were one in another system, checks would fail by the separation
        proven = all(one.on_marks) and not one.levels.mixed
        if not proven and abs(separation) >= _LEAST and off <= most and one.levels.gap >= _FREE * abs(separation):
            mixed = _Mixed(one, separation, _mapped_level(survey, one))
            if mixed.sharp or mixed.side_by_side:
                yield mixed
