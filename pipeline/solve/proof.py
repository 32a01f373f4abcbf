"""Proof in time: each occupation of a control mark is evidence, at its time, that the base stood where it should."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.replace import replace
from pipeline.words import Place, Proof, Verdict

#: Codes of the proof words in the arrays that `Evidence.words` gives.
PROOFS: tuple[Proof, ...] = (Proof.BRACKETED, Proof.UNCLOSED, Proof.SUSPECT, Proof.UNCHECKED)

#: How much less than the others each word of `PROOFS` proves. It is its own inverse.
LESS_PROVEN = np.array([0, 1, 3, 2])


class Evidence(Struct, frozen=True):
    """The occupations of control marks in one session, in the order of their times.

    Args:
        times: (n,) UTC milliseconds since 1970, ascending.
        passed: (n,) whether the occupation agreed with the mark within the tolerances.
        independent: whether checks on marks that do not tie this session judge its position and its height, and no
            doubt takes away what they prove.
        judged: (n, 2) whether the mark holds position, height, and so judges it; without it every mark holds both.
    """

    times: Integers
    passed: Flags
    independent: bool
    judged: Flags | None = None

    def doubted(self, doubted: bool) -> "Evidence":
        """Return the evidence that is left where a doubt takes the proof of every check away: what failed, failed."""
        return replace(self, independent=self.independent and not doubted)

    @property
    def spans(self) -> bool:
        """Whether the occupations stand at more than one time: else none is before or after anything."""
        return len(self.times) > 0 and bool(self.times[0] < self.times[-1])

    def parts(self) -> list["Evidence"]:
        """Return the evidence on position and that on height; what failed speaks against both."""
        if self.judged is None or self.judged.all():
            return [self]
        rows = [self.judged[:, column] | ~self.passed for column in (0, 1)]
        return [Evidence(self.times[these], self.passed[these], self.independent) for these in rows]

    def words(self, times: Integers) -> NDArray[np.uint8]:
        """Return (m,) index into `PROOFS` of the proof word at each of (m,) times.

        Between two passing occupations a time is bracketed; with a passing one on one side and nothing on the other, or
        where all occupations have one time, it is unclosed; next to a failing one, on either side, it is suspect.
        Without any independent check every time is unchecked, unless a failing tie makes it suspect. Of position and
        height the less proven counts.
        """
        found = [part._words(times) for part in self.parts()]
        return np.asarray(LESS_PROVEN[np.max([LESS_PROVEN[words] for words in found], axis=0)], np.uint8)

    def beside_failing(self, times: Integers) -> Flags:
        """Return (m,) at which of (m,) times the occupation before or behind fails."""
        return np.asarray(np.any([part._failing(times) for part in self.parts()], axis=0), bool)

    def _around(self, times: Integers) -> tuple[Integers, Integers]:
        """Return (m,) the occupation before and (m,) that behind each time; their count where none is there."""
        before = np.searchsorted(self.times, times, side="right") - 1
        return np.where(before < 0, len(self.times), before), np.searchsorted(self.times, times, side="left")

    def _failing(self, times: Integers) -> Flags:
        before, after = self._around(times)
        failed = np.append(~self.passed, False)  # nothing there neither passes nor fails
        return np.asarray(failed[before] | failed[after], bool)

    def _words(self, times: Integers) -> NDArray[np.uint8]:
        before, after = self._around(times)
        passed = np.append(self.passed, False)
        suspect = self._failing(times)
        bracketed = passed[before] & passed[after] & self.spans
        word = np.where(bracketed, PROOFS.index(Proof.BRACKETED), PROOFS.index(Proof.UNCLOSED))
        if not self.independent:
            word = np.full_like(word, PROOFS.index(Proof.UNCHECKED))
        return np.where(suspect, PROOFS.index(Proof.SUSPECT), word).astype(np.uint8)

    def least(self, start: int, end: int) -> int:
        """Return the index into `PROOFS` of what proves least of the times from ``start`` to ``end``, both included."""
        within = self.times[(self.times > start) & (self.times < end)]
        words = self.words(np.concatenate([[start], within, [end]]).astype(np.int64))
        return int(LESS_PROVEN[LESS_PROVEN[words].max()])

    def stretches(self, start: int, end: int) -> list[tuple[int, int, Proof]]:
        """Return the parts of the time from ``start`` to ``end`` with their proof words: from, until, word.

        Times are UTC milliseconds. Neighbours with one word are one part; an occupation belongs to both its sides.
        """
        within = self.times[(self.times > start) & (self.times < end)]
        edges = np.unique(np.concatenate([[start], within, [end]]).astype(np.int64))
        found: list[tuple[int, int, Proof]] = []
        # doubled, so that every part has an inside, however short it is
        inside = replace(self, times=2 * self.times).words(edges[:-1] + edges[1:])
        for since, until, code in zip(edges[:-1].tolist(), edges[1:].tolist(), inside.tolist(), strict=True):
            if found and found[-1][2] is PROOFS[code]:
                since = found.pop()[0]
            found.append((since, until, PROOFS[code]))
        return found


def place(time: int, first_point: int | None, last_point: int | None) -> Place:
    """Return where an occupation stands among its session's drafted points (UTC milliseconds; None: no points)."""
    if first_point is None or last_point is None or time <= first_point:
        return Place.OPENING
    return Place.CLOSING if time >= last_point else Place.BETWEEN


def verdict(evidence: Evidence, tied: bool, first_point: int | None, last_point: int | None) -> Verdict:
    """Return a session's verdict from its evidence and the times of its first and last drafted point.

    A session is proven when an independent check passed, nothing failed, and passing occupations of more than one time
    stand at or before its first and at or after its last point.
    """
    if not tied:
        return Verdict.UNTIED
    if not evidence.passed.all():
        return Verdict.FAILED
    if not evidence.independent:
        return Verdict.UNCHECKED
    if first_point is None or last_point is None:
        return Verdict.PROVEN
    closed = all(
        part.spans and part.times[0] <= first_point and part.times[-1] >= last_point for part in evidence.parts()
    )
    return Verdict.PROVEN if closed else Verdict.UNCLOSED


#: From best to worst: a job's verdict is the worst of its sessions'.
_SEVERITY = (Verdict.PROVEN, Verdict.UNCLOSED, Verdict.UNCHECKED, Verdict.UNTIED, Verdict.FAILED)


def worst(verdicts: list[Verdict]) -> Verdict:
    """Return the worst of the verdicts; of none, unchecked."""
    return max(verdicts, key=_SEVERITY.index, default=Verdict.UNCHECKED)
