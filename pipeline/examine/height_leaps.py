"""Notes runs of heights that leap and come back, as in another unit or height system or as nobody climbs."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence

from pipeline.examine.geoid_step import usual_separation
from pipeline.intake.implausible import HeightLeap
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.plausible import JumpLook
from pipeline.words import counted, plural

#: Metres by which models of the geoid may differ, besides what ground does. Ours, no source.
_MODELS = 0.3
#: Sessions and rows that a sentence lists.
_LISTED = 6
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
    """Yield in words which runs leap, once for each export and way in which they do.

    Not by the separation in sessions that are told to be ``mixed`` already.
    """
    found = survey.first_pass.implausible.leaps
    separation = usual_separation(survey) if found else 0.0
    alike: dict[tuple[int, int, JumpLook], list[HeightLeap]] = defaultdict(list)
    for one in found:
        times = _times(one, separation)
        if (times or one.jump.looks is not JumpLook.OPEN) and (times != 1 or one.session not in mixed):
            alike[one.export, times, JumpLook.OPEN if times else one.jump.looks].append(one)
    for (export, times, look), runs in alike.items():
        if times:
            looks = f"which is {'twice ' if times > 1 else ''}the geoid separation of {separation:+.1f} m"
            cure = "check whether these heights are ellipsoidal, or above a height datum"
        else:
            looks, cure = _LOOKS[look], _CURES[look]
        yield (
            f"{survey.exports[export].shown}:{runs[0].row}: {_runs(survey, runs)}, {looks}: if no roof, tower,"
            f" cliff, bridge or pit was measured there, {cure}"
        )


def _runs(survey: Survey, runs: Sequence[HeightLeap]) -> str:
    """Say of runs of one export, one or more, in which sessions they are, where, and how far they leap."""
    names = [survey.windows[number].session.name for number in dict.fromkeys(one.session for one in runs)]
    sessions = f"{plural(len(names), 'session')} {', '.join(names[:_LISTED])}{and_more(len(names) - _LISTED)}"
    count, leaps = sum(len(one.jump.rows) for one in runs), [one.jump.by for one in runs]
    sides = [side for side, there in (("above", max(leaps) > 0), ("below", min(leaps) < 0)) if there]
    low, high = (f"{metres:,.1f}" for metres in (min(map(abs, leaps)), max(map(abs, leaps))))
    far = f"{low if low == high else f'{low} to {high}'} m {' or '.join(sides)} those before and after"
    if len(runs) == 1:
        return f"{sessions}: {counted(count, 'reading')} in a row {plural(count, 'is', 'are')} {far} (first one here)"
    rows = ", ".join(str(one.row) for one in runs[:_LISTED]) + and_more(len(runs) - _LISTED)
    return f"{sessions}: readings in a row, {counted(len(runs), 'time')} ({count:,} in all, from rows {rows}) are {far}"


def _times(one: HeightLeap, separation: float) -> int:
    """Return how many separations a leap is, 0 where none or other than one or two."""
    within = max(one.jump.miss, _MODELS)
    off = (abs(abs(one.jump.by) - times * abs(separation)) <= within for times in (1, 2))
    return next((times for times, fits in zip((1, 2), off, strict=True) if fits), 0)
