"""A doubt of frames whose earlier issue is gone or damaged: it is taken along until its key is taken back.

The previous issue is what shows such a fault. Without it the doubt that the newest issue records is all that is left.
"""

import re
from collections.abc import Callable, Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import DoubtNoted, Record
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frame_doubts import UNSETTLED, frame_doubts
from pipeline.reissue.frames import TERMS, FrameChanges, control_words, frame_changes, now_by_step
from pipeline.solve.solve import Solved
from pipeline.words import Doubt

_OF_STEP = "|".join(TERMS.values())
#: What a doubt says: what moved since which issue, why, and what to do.
_SAID = re.compile(
    r"(?P<what>(?:the same ties on the same numbers of the register|since issue \d+) .*?):"
    rf" (?P<why>(?:\[control\]|the grid file|{_OF_STEP}).*?); {UNSETTLED}(?P<cure>.*?)(?= -> nothing of it counts|$)"
)
_SINCE = re.compile(r"(?:^since|than in) issue (\d+)")
#: The reasons of a doubt: what differs, what it was, and what it is.
_KEY = re.compile(r"(\[control\] \w+) was (.*) and is .*")
_FILE = re.compile(r"(the grid file (.*) has another content) \(SHA-256 (\w+)\.\.\. was, \w+\.\.\. is\)")
_OPERATION = re.compile(rf"(({_OF_STEP}): the operation) was (.*) and is .*")
_DIFFERS = re.compile(rf"\[control\] \w+|the grid file .* has another content|(?:{_OF_STEP}): the operation")


def standing_doubts(
    newest: Record, record_of: Callable[[int], Record | None], survey: Survey, solved: Solved, now: Fingerprint
) -> tuple[Doubtful, ...]:
    """Return the doubts that frames bring against the issues before, those that the newest one had among them.

    Args:
        newest: the record of the newest issue.
        record_of: the record of an issue by its number, None where it cannot be read.
        survey: the job.
        solved: the same, adjusted.
        now: what it is made from.
    """
    newest = _with_control(newest, record_of, survey)
    noted = [doubt for doubt in newest["doubts"] if UNSETTLED in doubt["what"] and not doubt["confirmed"]]
    if not noted:
        return frame_doubts(newest, survey, solved, now)
    bases = {number: record_of(number) for number in {_since(doubt) for doubt in noted}}
    lost = [doubt for doubt in noted if bases[_since(doubt)] is None]
    told = set().union(*(_differing(doubt["what"]) for doubt in lost))
    carried = [found for doubt in lost if (found := _carried(doubt, newest, survey)) is not None]
    doubts = list(confirmed_by(survey.job, carried))
    for base in [record for record in bases.values() if record is not None] or [newest]:
        # what is taken back differs from the newest issue too
        if not lost or not _keys(frame_changes(base, survey, now.sums)) <= told:
            doubts += frame_doubts(base, survey, solved, now)
    return tuple(doubts)


def _with_control(newest: Record, record_of: Callable[[int], Record | None], survey: Survey) -> Record:
    """Return the newest issue that had a register where the job has one: of one without it nobody can tell."""
    if newest["control"] is not None or survey.register is None:
        return newest
    earlier = (record_of(number) for number in range(newest["issue"] - 1, 0, -1))
    return next((record for record in earlier if record is not None and record["control"] is not None), newest)


def _since(doubt: DoubtNoted) -> int:
    """Return the number of the issue that a doubt was raised against, 0 where it does not say."""
    said = _SAID.search(doubt["what"])
    found = _SINCE.search(said["what"]) if said is not None else None
    return int(found[1]) if found is not None else 0


def _keys(changes: FrameChanges) -> set[str]:
    return {key for text in (*changes.control, *changes.files) for key in _differing(text)}


def _differing(text: str) -> set[str]:
    said = _SAID.search(text)
    return {found[0] for part in (said["why"] if said else text).split("; ") if (found := _DIFFERS.match(part))}


def _carried(doubt: DoubtNoted, newest: Record, survey: Survey) -> Doubtful | None:
    """Return a doubt as it stands now, None where all that it came of is as it was."""
    said, sentence = _SAID.search(doubt["what"]), doubt["what"].split(" -> ")[0]
    key = ("control", "height")
    if said is not None:
        why = [text for part in said["why"].split("; ") for text in _as_it_is(part, survey)]
        if not why:
            return None
        gone = f"; issue {_since(doubt):03d} is gone or damaged, so that nothing can be compared with it any more"
        sentence = f"{said['what']}: {'; '.join(why)}; {UNSETTLED}{said['cure'].removesuffix(gone)}{gone}"
        if not any(text.startswith("[control]") for text in why):
            key = ("target", "geoid")
        elif not any("] height" in text for text in why):
            key = ("control", "crs")
    spared = {row["session"] for row in newest["sessions"]} - set(doubt["sessions"])
    reached = tuple(window.index for window in survey.windows if window.session.name not in spared)
    return Doubtful(Doubt(doubt["kind"]), sentence, reached if spared else None, *survey.recorded_at(*key))


def _as_it_is(reason: str, survey: Survey) -> Iterator[str]:
    """Yield a reason with what it is now, nothing where that is what it was."""
    control, steps = control_used(survey.job), now_by_step(survey)
    if (found := _KEY.fullmatch(reason)) is not None:
        now = control_words(control).get(found[1]) if control is not None else None
        if now is None:
            yield reason
        elif now != found[2]:
            yield f"{found[1]} was {found[2]} and is {now}"
    elif (found := _FILE.fullmatch(reason)) is not None:
        sums = [grids[found[2]] for _, grids, _ in steps.values() if found[2] in grids]
        # one that is not used any more moves nothing
        if any(not one.startswith(found[3]) for one in sums):
            yield f"{found[1]} (SHA-256 {found[3]}... was, {sums[0][:8]}... is)"
    elif (found := _OPERATION.fullmatch(reason)) is not None:
        names = [steps[step][0] for step, term in TERMS.items() if term == found[2] and step in steps]
        if names != [found[3]]:
            yield f"{found[1]} was {found[3]} and is {names[0]}" if names else reason
    else:
        yield reason
