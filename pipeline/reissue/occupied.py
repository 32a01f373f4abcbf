"""The occupations of the newest issue, and what it carried as doubts: failed ones, and readings that seem to be checks.

What failed may not be left out, nor left untested, so two questions are asked of each. `vanished` asks before anything
is solved whether it is a sound reading of an occupation still; `unjudged` asks afterwards, of what is there, whether
anything tests it. Here is what both need: which those were, which reading is the same one now, and what a doubt says of
one in the record of an issue, by which it is known again and taken along. It is known by these data, never by words.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import iso, milliseconds_of, moment, stamp
from pipeline.examine.doubtful import THIS_ISSUE, Doubtful
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import LostOccupation, Now, Part
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.issue.session_types import Session
from pipeline.reissue.earlier import another_frame
from pipeline.reissue.named_occupations import named_occupations
from pipeline.sessions.attach import base_key
from pipeline.solve.never_of_mark import never_beyond
from pipeline.words import Doubt, Holds, Role

#: What is told of one that failed, as its sentence goes on.
GONE, TIE, UNTESTED = "is no longer an occupation in the job", "is now a tie", "is no longer tested in {}"
#: What is added of one in the place of which another reading of its name was put.
REPLACED = f"{GONE}: another reading has its name now; put its own row back into the export beside that one"
#: The two parts of an occupation, as sentences have them.
PARTS: tuple[Part, Part] = ("position", "height")
_SENTENCE = "{named} (observed {seen} UTC) {then} in issue {issue} and {how}"
#: Milliseconds: an export may come again with its times to the second.
ALIKE = 1000
#: Metres further than the limit of a shift that a reading may be, as exported, from where it lay.
BESIDE = 1.0


class EarlierOccupation(Struct, frozen=True):
    """An occupation that the newest issue had, or one that it told of as gone, untested or compared with no mark.

    Args:
        issue: the number of the issue that had it.
        point, mark: what it was called, and the mark that it was on; "" where it seemed to be a check far from all.
        time: UTC milliseconds.
        sessions: which sessions it would be of now.
        reach: those and what its own session is now: it loses what the occupation said.
        row: its row in the newest issue; None where that only told of it.
        parts: (2,) whether its position, its height failed; None where nobody knows.
        place: (3,) easting, northing, height that it had, on the grid of the job; None where these are not known.
        moved: metres that its session was moved by in the newest issue; NaN where that only told of it.
        others: the times at which its reading stands now that its own is put right; none where it has its own.
    """

    issue: int
    point: str
    mark: str
    time: int
    sessions: tuple[int, ...]
    reach: tuple[int, ...]
    row: CheckRow | None = None
    parts: Flags | None = None
    place: Floats | None = None
    moved: float = np.nan
    others: tuple[int, ...] = ()

    @property
    def failed(self) -> bool:
        """Return whether it failed."""
        return self.row is None or self.row["passed"] is False

    @property
    def called(self) -> str:
        """Return what it is called where it did not fail."""
        return f"{self.point} on {self.mark} (observed {stamp(self.time)} UTC)"

    def at(self, times: Integers) -> Flags:
        """Return (n,) which of (n,) UTC milliseconds are its time, or another at which its reading stands now."""
        return np.asarray((np.abs(times[:, None] - [self.time, *self.others]) <= ALIKE).any(axis=1))

    def at_any(self, times: Sequence[int]) -> bool:
        """Tell whether it is at one of the times, UTC milliseconds, as `at` does."""
        return bool(self.at(np.array(times, np.int64)).any())

    @property
    def key(self) -> tuple[str, str, int]:
        """Return what tells it from all others: names and time, to the second, as records of before have it."""
        return self.point, self.mark, self.time // 1000

    def told(self, how: str) -> str:
        """Return the sentence that tells of it where it failed, and goes on by `GONE`, `TIE` or `UNTESTED`."""
        name, then = self.point or "a reading", "failed" if self.mark else "was compared with no mark"
        named = f"{name} on {self.mark}" if self.mark else name
        return _SENTENCE.format(named=named, seen=stamp(self.time), then=then, issue=f"{self.issue:03d}", how=how)

    def doubt(self, now: Now, how: str, sessions: tuple[int, ...], file: str = "", line: int = 0) -> Doubtful:
        """Return the doubt that it is, told by a sentence that goes on like ``how``, which is known again by its data.

        Args:
            now: what has become of it.
            how: the same in words, as for `told`.
            sessions: what loses its proof.
            file, line: where it is seen.
        """
        parts: list[Part] | None = None
        if self.parts is not None:
            parts = [part for part, failed in zip(PARTS, self.parts, strict=True) if failed]
        origin = LostOccupation(
            of="occupation", point=self.point, mark=self.mark, observed=iso(moment(self.time)), failed_in=self.issue,
            parts=parts, now=now,
        )  # fmt: skip
        return Doubtful(Doubt.UNANSWERED_CHECK, self.told(how), sessions, file, line, origin=origin)

    def told_by(self, doubt: Doubtful) -> bool:
        """Say whether a doubt tells of it, whichever issue it names, and whatever has become of it."""
        return doubt.origin is not None and doubt.origin["of"] == "occupation" and key_of(doubt.origin) == self.key

    def asked_by(self, doubt: Doubtful) -> bool:
        """Say whether a doubt of this run is of its reading, as one that seems to be a check of whichever mark."""
        one = doubt.origin
        if one is None or one["of"] != "occupation" or one["failed_in"] != THIS_ISSUE or one["point"] != self.point:
            return False
        return self.at_any([milliseconds_of(one["observed"])])

    def never_of_it(self, survey: Survey) -> bool:
        """Say whether it lay so far off that it was none of the mark: it was called a check by mistake."""
        row = self.row
        if row is None:
            return not self.mark
        most = never_beyond(survey.job, self.moved)
        return row["role"] == Role.CHECK and self.failed and (row["d_horizontal"] or 0.0) > most

    def noted_as_point(self) -> str:
        """Say of one that was called a check by mistake that it is a point."""
        if self.row is None:
            return f"{self.told(GONE)}: it is an ordinary point, far from every mark"
        off = self.row["d_horizontal"] or 0.0
        return f"{self.told(GONE)}: it is an ordinary point {off:.1f} m from the mark and never was an occupation of it"

    def lies_there(self, raw: Floats, survey: Survey) -> Flags:
        """Return (n,) which readings, at (n, 3) raw positions in the working frame, may lie where this one lay.

        A base may be off by as much as the job's limits of a shift.
        """
        if self.place is None or not len(raw):
            return np.zeros(len(raw), bool)
        issued = np.column_stack(survey.axes.written(*survey.operations.frames.to_issued.forward(*raw.T)))
        limits = survey.job.shift
        most = np.hypot(limits.limit_horizontal, limits.limit_vertical) + BESIDE
        off = (issued - self.place) * survey.axes.counts()
        return np.asarray(np.linalg.norm(off, axis=1) <= most)


def occupied(last: Record, survey: Survey) -> Iterator[EarlierOccupation]:
    """Yield the occupations that the newest issue had; what was only noted in the field is none."""
    before, holds = {one["session"]: one for one in last["sessions"]}, _holds(last)
    placed = another_frame(last, survey.target) is None
    for named in named_occupations(last):
        row, time, session = named.row, named.time, before.get(named.row["session"])
        sessions = sessions_at(survey, time, row["session"], session)
        own = tuple(one.index for one in survey.windows if one.session.name == row["session"])
        # where it is of another session now, what its own lost by that is at stake as well
        reach = tuple(sorted({*sessions, *(own or _parts_of(survey, session))}))
        parts = _parts(row, holds.get(row["mark"], np.ones(2, bool)))
        place = np.array([row["easting"], row["northing"], row["height"]], float)
        there = place if placed and np.isfinite(place).all() else None
        moved = _moved(session)
        yield EarlierOccupation(last["issue"], named.name, row["mark"], time, sessions, reach, row, parts, there, moved)


def told_before(last: Record, survey: Survey) -> Iterator[EarlierOccupation]:
    """Yield what the newest issue told of already: that is taken along from issue to issue."""
    before = {one["session"]: one for one in last["sessions"]}
    for doubt in last["doubts"]:
        one = doubt["origin"]
        if one is None or one["of"] != "occupation":
            continue
        parts = None if one["parts"] is None else np.array([part in one["parts"] for part in PARTS])
        time, names = milliseconds_of(one["observed"]), (one["failed_in"], one["point"], one["mark"])
        every = {at for name in doubt["sessions"] for at in _concerned(survey, time, name, before.get(name))}
        sessions = tuple(sorted(every))
        yield EarlierOccupation(*names, time, sessions, sessions, parts=parts)


def _concerned(survey: Survey, time: int, name: str, before: Session | None) -> set[int]:
    """Return what a session that a doubt concerned is now: that of its name, and what it was cut into or renamed."""
    own = {window.index for window in survey.windows if window.session.name == name}
    found = own or set(_parts_of(survey, before))
    if before is not None and _span(before)[0] <= time < _span(before)[1]:
        found |= set(sessions_at(survey, time, name, before))
    return found


def key_of(one: LostOccupation) -> tuple[str, str, int]:
    """Return the `EarlierOccupation.key` of the one that a doubt of a record is about."""
    return one["point"], one["mark"], milliseconds_of(one["observed"]) // 1000


def sessions_at(survey: Survey, time: int, name: str, before: Session | None) -> tuple[int, ...]:
    """Return the session at a time that has a name, or else those that may have its base.

    Where none runs at that time any more, those count that the session was cut down to.
    """
    base = None if before is None else before["base"]
    here = [window for window in survey.windows if window.start_ms <= time < window.end_ms]
    if not here and before is not None:
        start, end = _span(before)
        here = [window for window in survey.windows if window.start_ms < end and start < window.end_ms]
    same = [window for window in here if window.session.name == name]
    other = [window for window in here if base_key(base) in (None, base_key(window.base)) or window.base is None]
    return tuple(window.index for window in same or other)


def _parts_of(survey: Survey, before: Session | None) -> tuple[int, ...]:
    """Return the sessions that run within one of the newest issue, with its base."""
    if before is None:
        return ()
    (start, end), base = _span(before), base_key(before["base"])
    within = [one for one in survey.windows if one.start_ms < end and start < one.end_ms]
    return tuple(one.index for one in within if one.base is None or base in (None, base_key(one.base)))


def _span(session: Session) -> tuple[int, int]:
    """Return the start and the end of a session of an issue, UTC milliseconds."""
    return milliseconds_of(session["start"]), milliseconds_of(session["end"])


def _moved(session: Session | None) -> float:
    """Return the metres that a session of an issue was moved by in plan, NaN where it was not."""
    if session is None or session["shift_east"] is None or session["shift_north"] is None:
        return np.nan
    return float(np.hypot(session["shift_east"], session["shift_north"]))


def _holds(last: Record) -> dict[str, Flags]:
    """Return (2,) whether a mark of the register held position, height."""
    words = {row["mark"]: row["holds"] for row in last["register"]}
    return {mark: np.array([word != Holds.HEIGHT, word != Holds.POSITION]) for mark, word in words.items()}


def _parts(row: CheckRow, held: Flags) -> Flags | None:
    """Return (2,) which of position and height failed; None where the row does not say."""
    off = np.array([row["d_horizontal"], row["d_height"]], float)
    parts = held & (np.abs(np.nan_to_num(off)) > np.array([row["tolerance_h"], row["tolerance_v"]], float))
    return np.asarray(parts) if parts.any() else None
