"""Notes runs of heights that leap and come back, as in another unit or height system or as nobody climbs."""

from collections.abc import Collection, Iterator

from pipeline.examine.geoid_step import usual_separation
from pipeline.intake.implausible import HeightLeap
from pipeline.intake.survey import Survey
from pipeline.plausible import JumpLook
from pipeline.words import counted, plural

#: Metres by which models of the geoid may differ, besides what ground does. Ours, no source.
_MODELS = 0.3
#: What a leap looks like besides, and what to do about it: one that is neither a digit's nor left open.
_LOOKS = {
    JumpLook.FEET: "and level with them if their heights are taken for the other of metres and feet",
    JumpLook.SIGN: "and level with them if the sign of their heights is turned",
    JumpLook.STEEP: "hard by them or with others among them",
}
_CURES = {
    JumpLook.FEET: "check the unit of these heights",
    JumpLook.SIGN: "check the sign of these heights",
    JumpLook.STEEP: "check these heights, and the base height and height system that were set then",
}


def leap_notes(survey: Survey, mixed: Collection[int]) -> Iterator[str]:
    """Yield in words which runs leap; not by the separation in sessions that are told to be ``mixed`` already."""
    found = survey.first_pass.implausible.leaps
    separation = usual_separation(survey) if found else 0.0
    for one in found:
        times = _times(one, separation)
        if times == 1 and one.session in mixed:
            continue
        if times:
            twice = "twice " if times > 1 else ""
            looks = f"which is {twice}the geoid separation of {separation:+.1f} m"
            cure = "check whether these heights are ellipsoidal, or above a height datum"
        elif one.jump.looks is JumpLook.OPEN:
            continue
        else:
            looks, cure = _LOOKS[one.jump.looks], _CURES[one.jump.looks]
        count, by = len(one.jump.rows), one.jump.by
        yield (
            f"{survey.exports[one.export].shown}:{one.row}: session {survey.windows[one.session].session.name}:"
            f" {counted(count, 'reading')} in a row {plural(count, 'is', 'are')} {abs(by):,.1f} m"
            f" {'above' if by > 0 else 'below'} those before and after (first one here), {looks}: if no roof, tower,"
            f" cliff, bridge or pit was measured there, {cure}"
        )


def _times(one: HeightLeap, separation: float) -> int:
    """Return how many separations a leap is, 0 where none or other than one or two."""
    within = max(one.jump.miss, _MODELS)
    off = (abs(abs(one.jump.by) - times * abs(separation)) <= within for times in (1, 2))
    return next((times for times, fits in zip((1, 2), off, strict=True) if fits), 0)
