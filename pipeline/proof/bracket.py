"""Proof in time: each occupation of a control mark is evidence, at its time, that the base stood where it should."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.words import Place, Proof, Verdict

#: Codes of the proof words in the arrays that `Evidence.words` gives.
PROOFS: tuple[Proof, ...] = (Proof.BRACKETED, Proof.UNCLOSED, Proof.SUSPECT, Proof.UNCHECKED)


@dataclass(frozen=True)
class Evidence:
    """The occupations of control marks in one session, in the order of their times.

    Args:
        times: (n,) UTC milliseconds since 1970, ascending.
        passed: (n,) whether the occupation agreed with the mark within the tolerances.
        independent: whether one of them is a check on a mark that does not tie this session.
    """

    times: NDArray[np.int64]
    passed: NDArray[np.bool_]
    independent: bool

    def words(self, times: NDArray[np.int64]) -> NDArray[np.uint8]:
        """Return (m,) index into `PROOFS` of the proof word at each of (m,) times.

        Between two passing occupations a time is bracketed; with a passing one on one side and nothing on the other
        it is unclosed; next to a failing one, on either side, it is suspect. Without any independent check every
        time is unchecked, unless a failing tie makes it suspect.
        """
        count = len(self.times)
        # One more place for "nothing there", which neither passes nor fails.
        passed = np.append(self.passed, False)
        failed = np.append(~self.passed, False)
        before = np.searchsorted(self.times, times, side="right") - 1
        before = np.where(before < 0, count, before)
        after = np.searchsorted(self.times, times, side="left")
        suspect = failed[before] | failed[after]
        bracketed = passed[before] & passed[after]
        word = np.where(bracketed, PROOFS.index(Proof.BRACKETED), PROOFS.index(Proof.UNCLOSED))
        if not self.independent:
            word = np.full_like(word, PROOFS.index(Proof.UNCHECKED))
        return np.where(suspect, PROOFS.index(Proof.SUSPECT), word).astype(np.uint8)

    def stretches(self, start: int, end: int) -> list[tuple[int, int, Proof]]:
        """Return the parts of the time from ``start`` to ``end`` with their proof words: from, until, word.

        Times are UTC milliseconds. Neighbours with one word are one part; an occupation belongs to both its sides.
        """
        within = self.times[(self.times > start) & (self.times < end)]
        edges = np.unique(np.concatenate([[start], within, [end]]).astype(np.int64))
        found: list[tuple[int, int, Proof]] = []
        # doubled, so that every part has an inside, however short it is
        inside = Evidence(2 * self.times, self.passed, self.independent).words(edges[:-1] + edges[1:])
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

    A session is proven when an independent check passed, nothing failed, and passing occupations stand at or
    before its first and at or after its last point.
    """
    if not tied:
        return Verdict.UNTIED
    if not evidence.passed.all():
        return Verdict.FAILED
    if not evidence.independent:
        return Verdict.UNCHECKED
    if first_point is None or last_point is None:
        return Verdict.PROVEN
    closed = evidence.times[0] <= first_point and evidence.times[-1] >= last_point
    return Verdict.PROVEN if closed else Verdict.UNCLOSED


#: From best to worst: a job's verdict is the worst of its sessions'.
_SEVERITY = (Verdict.PROVEN, Verdict.UNCLOSED, Verdict.UNCHECKED, Verdict.UNTIED, Verdict.FAILED)


def worst(verdicts: list[Verdict]) -> Verdict:
    """Return the worst of the verdicts; of none, unchecked."""
    return max(verdicts, key=_SEVERITY.index, default=Verdict.UNCHECKED)
