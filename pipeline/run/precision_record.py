"""Compares stated precision with the scatter of repeats and occupations, for the record and its notes."""

import math
from collections.abc import Iterator, Sequence

from msgspec import Struct
from msgspec.structs import astuple

from pipeline.adjust.components import chance_of, least
from pipeline.arrays import Floats
from pipeline.draft.common_offsets import common_offsets, sessions_apart
from pipeline.draft.later_readings import LaterApart, later_apart, without_vectors
from pipeline.draft.precision import MarkOff, Precision, mark_off, precision
from pipeline.draft.repeat_pairs import Pairs, Repeated
from pipeline.intake.file_log import RTK_SIGMA, stated_sizes
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.replace import replace
from pipeline.run.layers import Laid
from pipeline.solve.solve import Solved
from pipeline.visible import one_line
from pipeline.words import Doubt, counted

#: With fewer degrees of freedom nothing can be told: twice too good would look like as good as stated.
_ENOUGH = 6.0
#: The chance that readings which are as good as stated are called worse, in a whole job.
_CHANCE = 0.005
#: A smaller scale makes no difference to anybody.
_LARGE = 1.2
#: No receiver's noise is so many times larger than it states: something else is in what differs. Ours, no source.
_ABSURD = 10.0
#: A scale in height so many times that in plan, where readings are as good as stated, is one of heights alone. Ours.
_UNLIKE = 1.5
#: Metres, in plan and in height: standard uncertainties of fixed solutions are smaller. Ours, no source.
_NOISE = (0.05, 0.1)
#: A scale of one kind of axis below which it is not told.
_NOTHING_LEFT = 0.05
#: A scale beyond which a job's is doubted (`examine/uncertainties.py`).
_MOST_SCALE = 20.0
#: A scale from which on readings that state less than RTK gives are told, where they are too few to know better.
_CLEARLY = 2.0
_LOOK = (
    "check what the columns mapped as standard uncertainties hold, and their unit, or leave them out and state"
    " sigma_horizontal and sigma_vertical in [quality]"
)


class Precisions(Struct, frozen=True):
    """The record's ``precision``, and what it was found by.

    ``misfits`` are those of each (`adjust/components.py:misfit`); ``repeated`` the readings and pairs that it took;
    ``later`` the vectors taken out of these, by which the later readings of points lie off the earlier.
    """

    recorded: list[record_types.Precision]
    misfits: list[tuple[float, int]]
    repeated: Repeated
    later: tuple[LaterApart, ...] = ()


def precisions(survey: Survey, solved: Solved, laid: Laid) -> Precisions:
    """Return the record's ``precision``; where readings seem to be worse than stated, without what later ones share."""
    found = _found(survey, solved, laid.repeated)
    if any(one["too_good"] for one in found.recorded):
        later = later_apart(laid.repeated, survey)
        if later:
            return replace(_found(survey, solved, without_vectors(laid.repeated, later)), later=tuple(later))
    return found


def _found(survey: Survey, solved: Solved, repeated: Repeated) -> Precisions:
    found = precision(survey, solved, repeated)
    recorded = [_recorded(one, survey, _CHANCE / len(found)) for one in found]
    return Precisions(recorded, [one.misfit for one in found], repeated)


def by_failing_repeats(found: Precisions, survey: Survey, solved: Solved) -> bool:
    """Tell whether it is repeats that fail, each told by its name, which make uncertainties look stated too good."""
    pairs = found.repeated.pairs
    if pairs.passed.all() or not any(one["too_good"] for one in found.recorded):
        return False
    kept = Pairs(*(values[pairs.passed] for values in astuple(pairs)))
    others = _found(survey, solved, replace(found.repeated, pairs=kept))
    return not any(one["too_good"] for one in others.recorded)


def by_one_mark(found: Precisions, survey: Survey, solved: Solved) -> MarkOff | None:
    """Return the mark whose coordinates alone, being off, make uncertainties look stated too good; None where none."""
    if not any(one["too_good"] for one in found.recorded):
        return None
    mark = mark_off(survey, solved, found.repeated)
    if mark is None:
        return None
    others = [_recorded(one, survey, _CHANCE / len(mark.others)) for one in mark.others]
    return None if any(one["too_good"] for one in others) else mark


def _recorded(one: Precision, survey: Survey, chance: float) -> record_types.Precision:
    scale, freedom = float(one.whole.scale[0]), float(one.whole.freedom[0])
    enough = freedom >= _ENOUGH
    low, high = (float(bound[0]) for bound in one.whole.bounds()) if enough else (None, None)
    return {
        "file": None if one.file is None else survey.exports[one.file].shown,
        "differences": one.differences,
        "left_out": one.left_out,
        "degrees_of_freedom": freedom,
        "enough": enough,
        "scale": _known(scale),
        "low": low,
        "high": high,
        "scale_horizontal": _known(one.plan.scale[0]) if enough else None,
        "scale_vertical": _known(one.height.scale[0]) if enough else None,
        "too_good": enough and scale >= _LARGE and least(scale, freedom, chance) > 1.0,
    }


def _known(scale: float) -> float | None:
    """Return a scale, None where nothing says how large: marks may hold positions alone, and one axis be exact."""
    return float(scale) if math.isfinite(scale) else None


def precision_notes(
    precise: Precisions,
    survey: Survey,
    *,
    fails: bool = False,
    repeats_fail: bool = False,
    one_off: bool = False,
    one_mark: MarkOff | None = None,
    sloping: bool = False,
) -> Iterator[str]:
    """Yield in words which uncertainties are stated too good, and what takes that in; of all only where no file is.

    Where an occupation ``fails``, a base is in doubt, or the scale is absurd, a mistake may be all of it: a scale would
    hide that, and is not proposed, unless what is stated is absurd itself and all is within the tolerances. Likewise
    where it is repeats that fail, ``repeats_fail``, where one tie or mark may be off, ``one_off``, or coordinates by
    place, ``sloping``, as a note tells, and where ``one_mark`` explains it.
    """
    found = precise.recorded
    whole = [one for one in found if one["too_good"]]
    of_files = [one for one in whole if one["file"] is not None]
    for one in of_files or whole:
        whose = f"{one['file']}: readings" if one["file"] is not None else "readings"
        where = "[quality]" if one["file"] is None else "[quality], or in its [[points]] only"
        scaled = "as scaled by the job " if _taken(one["file"], survey) != (1.0, 1.0) else ""
        yield (
            f"{whose} differ by more than their standard uncertainties {scaled}allow, by a factor of {one['scale']:.1f}"
            f" (95 %: {one['low']:.1f} to {one['high']:.1f}{_axes(one)})"
            + (
                "; what fails or is in doubt may be the cause: resolve that first"
                if fails
                else "; repeats that fail are all of it: look for those with the largest differences"
                if repeats_fail
                else "; a tie or mark that is off, as a note tells, may be all of it: rule that out first"
                if one_off
                else _of_mark(one_mark)
                if one_mark is not None
                else "; coordinates computed without the file of shifts do so too: rule that out before you set a scale"
                if sloping
                else _cure(one, where, survey)
            )
        )
    if not whole and not fails:
        yield from _far_too_small(found, precise.misfits, survey)


def _of_mark(mark: MarkOff) -> str:
    return (
        f"; mark {one_line(mark.name)} is all of it: in {counted(mark.sessions, 'session')} alike, readings on it lie"
        f" {_by(mark.by)} its coordinates in the register; check whether these were revised or the mark moved, before"
        " you set a scale"
    )


def _cure(one: record_types.Precision, where: str, survey: Survey) -> str:
    """Return what to do where readings differ by a factor more than their standard uncertainties allow."""
    file, scale = one["file"], one["scale"] or 1.0
    taken, (plan, up) = _taken(file, survey)[0], _stated(file, survey)
    in_plan, in_height = one["scale_horizontal"], one["scale_vertical"]
    if in_plan is not None and in_height is not None and in_plan < 1.0 < _UNLIKE * in_plan < in_height <= _ABSURD:
        vertical = _taken(file, survey)[1] * in_height
        return f", by their heights, so vu95 is too small; set scale_vertical = {vertical:.1f} in {where}"
    if scale <= _ABSURD:
        return f", so hu95 and vu95 are too small; set scale = {taken * scale:.1f} in {where}"
    if not (plan < RTK_SIGMA[0] and up < RTK_SIGMA[1] and scale * plan < _NOISE[0] and scale * up < _NOISE[1]):
        return (
            "; this is too much for noise and no scale would cover it: look for the occupations and repeats with the"
            " largest differences"
        )
    return f"; {_small(plan, up)}, so hu95 and vu95 are too small by that factor: {_instead(taken * scale, where)}"


def _instead(scale: float, where: str) -> str:
    if scale > _MOST_SCALE:
        return _LOOK
    return f"{_LOOK}; if they are what the receiver states, set scale = {scale:.1f} in {where}"


def _small(plan: float, up: float) -> str:
    return (
        f"what is stated is {1000 * plan:.1f} mm in plan and {1000 * up:.1f} mm in height (root mean square), less than"
        f" RTK gives ({1000 * RTK_SIGMA[0]:g} and {1000 * RTK_SIGMA[1]:g} mm at best)"
    )


def _far_too_small(
    found: Sequence[record_types.Precision], misfits: Sequence[tuple[float, int]], survey: Survey
) -> Iterator[str]:
    """Yield that readings state less than RTK gives, where the few differences that there are do not fit that.

    Static work states as little, and its checks fit: so what is stated alone is not told. With marks and poles far less
    certain than readings state to be, a scale of the readings is large by chance alone, so the differences must not
    fit what is stated of everything. By how much too small it is, so few do not tell.
    """
    plan, up = _stated(None, survey)
    if plan >= RTK_SIGMA[0] or up >= RTK_SIGMA[1]:
        return
    for one, misfit in zip(found, misfits, strict=True):
        if one["file"] is None and (one["scale"] or 0.0) > _CLEARLY and chance_of(*misfit) < _CHANCE:
            yield (
                f"{_small(plan, up)}, and occupations of marks and repeats differ by more than the uncertainties of"
                " readings and marks allow, though there are too few to tell by how much: hu95 and vu95 may be several"
                f" times too small: {_LOOK}"
            )


def _stated(file: str | None, survey: Survey) -> tuple[float, float]:
    """Return what exports state as the job takes it, scaled [m], in plan and in height; infinite where nothing."""
    logs = [
        (log, export)
        for log, export in zip(survey.first_pass.files, survey.exports, strict=True)
        if file in (None, export.shown)
    ]
    return stated_sizes([(log, survey.job.quality.scales(export.points)) for log, export in logs])


def one_vector_notes(survey: Survey, solved: Solved, repeated: Repeated) -> Iterator[str]:
    """Yield in words which exports have the same points by one vector apart; not those that a doubt tells of."""
    told = {(one.exports, one.session) for one in survey.first_pass.shifted}
    of_bases = {(one.file, one.sessions) for one in solved.doubts if one.kind == Doubt.BASE}
    for one in common_offsets(repeated, survey):
        first, second = (survey.exports[number].shown for number in one.exports)
        if (one.exports, one.session) in told or (second, (one.session,)) in of_bases:
            continue
        yield (
            f"session {survey.windows[one.session].session.name}: {counted(len(one.rows), 'pair')} of readings of one"
            f" point in {first} and {second} all differ by the same vector: those of {second} are"
            f" {_by(one.apart)} those of {first}; check the pole heights, the base that each used and"
            " whether one of the files was corrected"
        )


def later_notes(precise: Precisions, survey: Survey) -> Iterator[str]:
    """Yield in words in which sessions the later readings of points are one vector off the earlier ones."""
    for one in precise.later:
        yield (
            f"session {survey.windows[one.session].session.name}: {counted(len(one.rows), 'pair')} of readings of one"
            f" point all differ by the same vector: the later are {_by(one.apart)}"
            " those before in the mean, so unless the ground moved, or was milled, paved or filled"
            " meanwhile, one of the two is off; check the pole heights"
        )


def sessions_apart_notes(survey: Survey, solved: Solved, repeated: Repeated) -> Iterator[str]:
    """Yield in words which sessions have the same points by one vector apart; not those that share a doubt of that."""
    told = [one.sessions for one in solved.doubts if one.kind == Doubt.BASE and one.sessions is not None]
    for one in sessions_apart(repeated, survey):
        if any({*one.sessions} <= {*sessions} for sessions in told):
            continue
        first, second = (survey.windows[number].session.name for number in one.sessions)
        yield (
            f"sessions {first} and {second}: {counted(len(one.rows), 'pair')} of readings of one point all differ by"
            f" the same vector: those of {second} are {_by(one.apart)}"
            f" those of {first}, so unless the ground moved the points of one of the two are off; check the ties of"
            " both, whether their marks are of one adjustment, the pole heights, and whether rows were copied from one"
            " into the other"
        )


def _by(apart: Floats) -> str:
    """Return in words by how many metres (3,) readings lie to the east and the north of others, and above them."""
    east, north, up = apart.round(3) + 0.0  # no minus before zeros
    return f"{east:+.3f} m east, {north:+.3f} m north and {up:+.3f} m up of"


def _axes(one: record_types.Precision) -> str:
    """Return how many times too good positions and heights are stated, as far as that is known."""
    parts = (("position", one["scale_horizontal"]), ("height", one["scale_vertical"]))
    # nothing is left for readings where the register and the poles explain all of it
    told = ", ".join(f"{what} by {scale:.1f}" for what, scale in parts if scale is not None and scale >= _NOTHING_LEFT)
    return f"; {told}" if told else ""


def _taken(file: str | None, survey: Survey) -> tuple[float, float]:
    """Return the scales that the job takes already, of a raw file or of all, in plan and in height."""
    block = next((export.points for export in survey.exports if export.shown == file), None)
    return survey.job.quality.scales(block)
