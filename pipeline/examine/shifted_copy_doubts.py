"""Doubts exports that hold the same points as measured and as corrected: the shift is right for only one of the two.

No check tells: the file that no mark was occupied in hangs on the shift of the other, so that every point of it is off
by the difference, and which file that is depends on what was done to them, not on what the marks say.
"""

from collections.abc import Iterator
from itertools import groupby

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.shifted_copies import ShiftedCopies
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, counted

#: Sessions of which a sentence gives the difference.
_LISTED = 3
_WHY = "one copy is already corrected, or has a different base position, pole height or datum"


def shifted_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for every two exports whose readings of one time, and most often name, all differ by one vector."""
    found = [one for one in survey.first_pass.shifted if not _parted(survey, one)]
    for (one, other), of in groupby(sorted(found, key=lambda each: each.exports), lambda each: each.exports):
        several = sorted(of, key=lambda each: each.session)
        first, second = (survey.exports[number].shown for number in (one, other))
        count, off = sum(len(each.pairs) for each in several), _off(survey, several)
        told = counted(count, "reading")
        if all(each.named for each in several):
            within, of_first = "with one name and time", f"{first}'s names and times"
        else:  # of many not all are held
            told = f"at least {told}"
            within, of_first = "at one time, under two names", f"{first}'s times, under other names"
        if one == other:
            has = f"has {told} twice, {within}, the second off by {off}"
            cure = "export each reading once"
        else:
            has = f"has {told} of {of_first}, all off by {off}"
            cure = "give one of the files"
        what = f"{has}: {_WHY}, so every such point is issued twice; {cure}"
        yield Doubtful(Doubt.BASE, what, tuple(each.session for each in several), second, several[0].rows[1])


def _off(survey: Survey, several: list[ShiftedCopies]) -> str:
    told = []
    for one in several[:_LISTED]:
        east, north, up = one.apart + 0.0
        by = f"{east:+.3f} m east, {north:+.3f} m north, {up:+.3f} m up"
        told.append(by if len(several) == 1 else f"{by} in session {survey.windows[one.session].session.name}")
    more = counted(len(several) - _LISTED, "more session")
    further = f"; and by other amounts in {more}" if len(several) > _LISTED else ""
    return "; by ".join(told) + further


def _parted(survey: Survey, found: ShiftedCopies) -> bool:
    """Tell whether the job states that one of the two files carries a field shift, which it takes out of that one."""
    stated = [one for one in survey.prepared.field_windows if one.session == found.session]
    return any(one.exports is not None and len({*found.exports} & {*one.exports}) == 1 for one in stated)
