"""Tells where readings differ by more than their stated uncertainties allow, and what to do about it."""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from pipeline.adjust.components import chance_of
from pipeline.draft.precision import MarkOff
from pipeline.examine.uncertainties import MOST_SCALE
from pipeline.intake.file_log import RTK_SIGMA, stated_sizes
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.run.precision_record import CHANCE, Precisions
from pipeline.run.vector_notes import by_vector
from pipeline.visible import one_line
from pipeline.words import counted

#: No receiver's noise is so many times larger than it states: something else is in what differs. Ours, no source.
_ABSURD = 10.0
#: A scale in height so many times that in plan, where readings are as good as stated, is one of heights alone. Ours.
_UNLIKE = 1.5
#: Metres, in plan and in height: standard uncertainties of fixed solutions are smaller. Ours, no source.
_NOISE = (0.05, 0.1)
#: A scale of one kind of axis below which it is not told.
_NOTHING_LEFT = 0.05
#: A scale from which on readings that state less than RTK gives are told, where they are too few to know better.
_CLEARLY = 2.0
_LOOK = (
    "check what the columns mapped as standard uncertainties hold, and their unit, or leave them out and state"
    " sigma_horizontal and sigma_vertical in [quality]"
)


class OtherCauses(Struct, frozen=True):
    """What else may make readings look worse than stated: a scale would hide it, and is not proposed then.

    Args:
        fails: whether an occupation fails, or a base is in doubt.
        repeats_fail: whether it is repeats that fail.
        one_off: whether one tie or mark may be off, as a note tells.
        one_mark: the mark that explains all of it.
        sloping: whether coordinates may be off by place, as a note tells.
    """

    fails: bool = False
    repeats_fail: bool = False
    one_off: bool = False
    one_mark: MarkOff | None = None
    sloping: bool = False

    def first(self) -> str | None:
        """Return what is to be ruled out before all else; None where a scale may be proposed."""
        if self.fails:
            return "; what fails or is in doubt may be the cause: resolve that first"
        if self.repeats_fail:
            return "; repeats that fail are all of it: look for those with the largest differences"
        if self.one_off:
            return "; a tie or mark that is off, as a note tells, may be all of it: rule that out first"
        if self.one_mark is not None:
            return _of_mark(self.one_mark)
        if self.sloping:
            return "; coordinates computed without the file of shifts do so too: rule that out before you set a scale"
        return None


def precision_notes(precise: Precisions, survey: Survey, others: OtherCauses) -> Iterator[str]:
    """Yield in words which uncertainties are stated too good, and what takes that in; of all only where no file is.

    Where there are too few differences to say by how much, that is told only where nothing fails.
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
            f" (95 %: {one['low']:.1f} to {one['high']:.1f}{_axes(one)}){others.first() or _cure(one, where, survey)}"
        )
    if not whole and not others.fails:
        yield from _far_too_small(found, precise.misfits, survey)


def _of_mark(mark: MarkOff) -> str:
    return (
        f"; mark {one_line(mark.name)} is all of it: in {counted(mark.sessions, 'session')} alike, readings on it lie"
        f" {by_vector(mark.by)} its coordinates in the register; check whether these were revised or the mark moved,"
        " before you set a scale"
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
    if scale > MOST_SCALE:
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
        if one["file"] is None and (one["scale"] or 0.0) > _CLEARLY and chance_of(*misfit) < CHANCE:
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
