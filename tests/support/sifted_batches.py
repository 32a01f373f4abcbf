"""A batch as collectors are handed it: the readings of one export, all in one session and none on a mark."""

import numpy as np
import pyarrow as pa

from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.intake.sort import Sifted
from pipeline.occupations.signs import Signs
from pipeline.read.exports import Export


def sifted_batch(batch: pa.RecordBatch, export: Export, sound: np.ndarray | None = None) -> SiftedBatch:
    """Return it; (n,) ``sound`` where not all readings are."""
    count = batch.num_rows
    held = np.zeros(count, np.uint8) if sound is None else (~sound).astype(np.uint8)
    none = np.zeros(count, bool)
    signs = Signs(none, none, none, np.zeros(0, np.int64))
    nowhere = np.full(count, np.nan)
    return SiftedBatch(batch, 0, export, 0, Sifted(np.zeros(count, np.int32), held), signs, (nowhere,) * 3)
