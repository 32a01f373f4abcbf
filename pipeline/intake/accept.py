"""Which readings are good enough to be drafted: the solution and the limits of ``[quality]``."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Floats
from pipeline.job.model import Quality
from pipeline.words import Reason

_SIGMAS = ("sigma_east", "sigma_north", "sigma_up")
#: Metres: no solution is accepted that is as uncertain as this; 99.99 and the like are written where it is not known.
_ABSURD = 99.0


def _column(batch: pa.RecordBatch, name: str) -> Floats:
    return np.asarray(batch.column(name).to_numpy(zero_copy_only=False), np.float64)


def not_fixed(batch: pa.RecordBatch, quality: Quality) -> Flags:
    """Return (n,) which readings have a solution that ``quality.solutions`` does not accept; none is not accepted."""
    accepted = pa.array([solution.strip().lower() for solution in quality.solutions], pa.string())
    known = pc.is_in(pc.utf8_lower(batch.column("solution")), value_set=accepted)
    return ~np.asarray(known.to_numpy(zero_copy_only=False), bool)


def _over(batch: pa.RecordBatch, quality: Quality) -> list[tuple[str, Floats, float]]:
    """Return (what, values, limit) for every limit that the job sets; an unknown value (NaN) exceeds nothing."""
    horizontal = np.fmax(_column(batch, "sigma_east"), _column(batch, "sigma_north"))
    limits = [
        ("horizontal standard uncertainty (larger of east and north)", horizontal, quality.max_sigma_horizontal),
        ("vertical standard uncertainty", _column(batch, "sigma_up"), quality.max_sigma_vertical),
        ("PDOP", _column(batch, "pdop"), quality.max_pdop),
        ("age of corrections", _column(batch, "correction_age"), quality.max_correction_age),
    ]
    return [(what, values, limit) for what, values, limit in limits if limit is not None]


def poor(batch: pa.RecordBatch, quality: Quality) -> Flags:
    """Return (n,) which readings exceed a limit of ``[quality]``."""
    found = np.zeros(batch.num_rows, bool)
    for _, values, limit in _over(batch, quality):
        found |= values > limit
    return found


def absurd(batch: pa.RecordBatch) -> Flags:
    """Return (n,) which readings have a standard uncertainty so large that it stands for one that is not known."""
    found = np.zeros(batch.num_rows, bool)
    for name in _SIGMAS:
        found |= _column(batch, name) >= _ABSURD
    return found


def why(batch: pa.RecordBatch, row: int, quality: Quality, reason: Reason) -> str:
    """Return in words why `not_fixed`, `poor` or `absurd` caught one row of a batch."""
    if reason is Reason.IMPLAUSIBLE:
        largest = np.nanmax([_column(batch, name)[row] for name in _SIGMAS])
        return f"a standard uncertainty of {largest:g} m stands for one that is not known"
    if reason is Reason.NOT_FIXED:
        found = batch.column("solution")[row].as_py()
        accepted = ", ".join(quality.solutions)
        return f'solution "{found}", accepted: {accepted}' if found else f"no solution stated, accepted: {accepted}"
    return "; ".join(
        f"{what} {values[row]:g} over the limit of {limit:g}"
        for what, values, limit in _over(batch, quality)
        if values[row] > limit
    )
