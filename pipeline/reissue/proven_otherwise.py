"""Points that are in two issues with other proof words: they stand on other layers of a drawing, and no row says so."""

from collections import Counter

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.duplicates import mixed_with
from pipeline.duplicates.exact import Hashes
from pipeline.intake.columns import DiskColumns
from pipeline.issue.drawn_changes import proof_message
from pipeline.reissue.left_over import left_over, ranked
from pipeline.solve.proof import PROOFS

_WORDS = pa.array([str(proof) for proof in PROOFS])


class Proven:
    """The points of one issue, each as a sum of name and time, and its proof word."""

    def __init__(self) -> None:
        self._columns = DiskColumns({"point": np.uint64, "proof": np.uint64})

    def add(self, points: Hashes, words: pa.Array) -> None:
        """Take points, (n,) sums of name and time, with their words."""
        codes = pc.fill_null(pc.index_in(words.cast(pa.string()), _WORDS), len(PROOFS))
        self._columns.add({"point": points, "proof": np.asarray(codes).astype(np.uint64)})

    def otherwise(self, now: "Proven") -> list[str]:
        """Return in words how many points have another word ``now``; nothing where one of the issues has none."""
        if not len(self._columns) or not len(now._columns):
            return []
        rows = left_over(
            *((mixed_with(*both) for _, both in one._columns.pieces("point", "proof")) for one in (self, now))
        )
        was, is_ = (one._columns.take(those, "point", "proof") for one, those in zip((self, now), rows, strict=True))
        _, old, new = np.intersect1d(ranked(was[0]), ranked(is_[0]), return_indices=True)
        pairs = Counter(zip(was[1][old].tolist(), is_[1][new].tolist(), strict=True))
        known = {pair: count for pair, count in pairs.items() if pair[0] != pair[1] and max(pair) < len(PROOFS)}
        named = sorted(known.items(), key=lambda one: (-one[1], one[0]))
        return proof_message([(str(PROOFS[one]), str(PROOFS[other]), count) for (one, other), count in named])
