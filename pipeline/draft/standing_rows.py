"""Which rows held back as duplicates are issued as another: the row that they copy, or the point measured again."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.intake.survey import Survey


class Standing(Struct, frozen=True):
    """Notes, while the second pass runs, whether the rows are used that stand in the place of others.

    Args:
        number: (k,) numbers, ascending, of the rows that give way.
        by: (k,) number of the row that stands for each.
        every: (m,) the numbers of those, ascending, each once.
        used: (m,) which of them are points or occupations of marks, as far as the pass has come.
        copied: numbers of the exports that copy one other file row by row: that one of the two has another's name is
            for somebody to look at, since what it should hold may be missing.
    """

    number: Integers
    by: Integers
    every: Integers
    used: Flags
    copied: frozenset[int]

    @classmethod
    def of(cls, drafter: Drafter) -> "Standing":
        """Return one that has seen no row."""
        first, merged = drafter.survey.first_pass, drafter.merged
        number = np.concatenate([first.duplicates, merged.gone])
        order = np.argsort(number, kind="stable")
        number, by = number[order], np.concatenate([first.duplicate_of, merged.by])[order]
        by = _followed(by, merged.gone, merged.by)  # the reading that was copied may give way itself
        every = np.unique(by)
        return cls(number, by, every, np.zeros(len(every), bool), _copied(drafter.survey))

    def take(self, drafted: Drafted) -> None:
        """Note what became of the rows of one batch."""
        first, last = np.searchsorted(self.every, [drafted.start, drafted.start + len(drafted.held)])
        self.used[first:last] = drafted.held[self.every[first:last] - drafted.start] == 0

    def gives_way(self, start: int, rows: int) -> Integers:
        """Return (k,) places, ascending, of those of the next ``rows`` from ``start`` on that give way to another."""
        first, last = np.searchsorted(self.number, [start, start + rows])
        return np.unique(self.number[first:last]) - start

    def elsewhere(self, numbers: Integers) -> Flags:
        """Return (n,) for which rows, all of which give way, another is used; once all batches were taken."""
        by = self.by[np.searchsorted(self.number, numbers)]
        used: Flags = self.used[np.searchsorted(self.every, by)]
        return used


def _followed(by: Integers, gone: Integers, instead: Integers) -> Integers:
    """Return the rows (k,) that stand, where some of those named are ``gone`` (m,), ascending, for others."""
    if not len(gone):
        return by
    at = np.minimum(np.searchsorted(gone, by), len(gone) - 1)
    return np.where(gone[at] == by, instead[at], by)


def _copied(survey: Survey) -> frozenset[int]:
    """Return the exports whose duplicates all stand in one other file, which has as many rows."""
    first = survey.first_pass
    export, other = first.export_of(first.duplicates), first.export_of(first.duplicate_of)
    rows, found = first.rows, set[int]()
    for at in np.unique(export).tolist():
        of = np.unique(other[export == at]).tolist()
        same = len(of) == 1 and survey.exports[of[0]].file != survey.exports[at].file
        if same and rows[of[0]] == rows[at]:
            found.add(at)
    return frozenset(found)
