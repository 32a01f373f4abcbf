"""Tells of points that were read with two codes where one reading of each is issued: the other code is not drawn."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.letter_case import folded
from pipeline.near import and_more
from pipeline.words import counted

#: Points that the note lists.
_LISTED = 3


class RepeatCodes(Struct, frozen=True):
    """Keeps, batch by batch, the codes of readings that give way to another, and of those that stand.

    Args:
        drafter: the job.
        wanted: numbers (k,) of these readings, ascending, each once.
        code: (k,) number of the code of each that was read, among the ``codes``.
    """

    drafter: Drafter
    wanted: Integers
    code: Integers
    codes: dict[str, int] = field(default_factory=dict)

    @classmethod
    def of(cls, drafter: Drafter) -> "RepeatCodes":
        """Return one that has seen no row."""
        wanted = np.unique(np.concatenate([drafter.merged.gone, drafter.merged.by]))
        return cls(drafter, wanted, np.zeros(len(wanted), np.int64))

    def take(self, drafted: Drafted) -> None:
        """Keep what is needed of one batch."""
        first, last = np.searchsorted(self.wanted, [drafted.start, drafted.start + len(drafted.held)])
        if first == last:
            return
        rows = pa.array(self.wanted[first:last] - drafted.start)
        coding = pc.dictionary_encode(pc.fill_null(drafted.batch.column("code").take(rows), ""))
        numbers = [self.codes.setdefault(text, len(self.codes)) for text in coding.dictionary.to_pylist()]
        self.code[first:last] = np.array(numbers)[np.asarray(coding.indices, np.int64)]

    def notes(self) -> list[str]:
        """Return in words which points have two codes; nothing where the job writes one code in two ways."""
        merged, texts = self.drafter.merged, list(self.codes)
        names = [self._same(text) for text in texts]
        first: dict[str, int] = {}
        alike = np.array([first.setdefault(name, len(first)) for name in names], np.int64)
        gone, by = (self.code[np.searchsorted(self.wanted, numbers)] for numbers in (merged.gone, merged.by))
        coded = np.array([bool(name) for name in names], bool)
        differ = np.flatnonzero(coded[gone] & (alike[gone] != alike[by])) if texts else np.zeros(0, np.int64)
        if not len(differ):
            return []
        points = counted(len(np.unique(merged.by[differ])), "point was", "points were")
        pairs = [(merged.instead[at], texts[gone[at]], texts[by[at]]) for at in differ[:_LISTED].tolist()]
        listed = "; ".join(f"{point}, {code} and {stands or 'no code'}" for point, code, stands in pairs)
        more = and_more(len(differ) - _LISTED, "; ")
        return [f"{points} read with two codes, of which that of the reading that stands is issued: {listed}{more}"]

    def _same(self, code: str) -> str:
        """Return what codes have in common that are one: without numbers and words of strings, and capitals."""
        return folded(self.drafter.survey.prepared.named(code).strip())
