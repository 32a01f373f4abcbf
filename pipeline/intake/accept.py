"""Selects the readings that are good enough to be drafted, by solution and the limits of ``[quality]``."""

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.intake.positions import column_numbers, stated_sigmas
from pipeline.job.model import Quality
from pipeline.letter_case import folded
from pipeline.tables import each_once, flags_of, folded_column
from pipeline.words import Reason

#: Metres: no solution is accepted that is as uncertain as this; 99.99 and the like are written where it is not known.
_ABSURD = 99.0


def not_fixed(batch: pa.RecordBatch, quality: Quality) -> Flags:
    """Return (n,) which readings have a solution that ``quality.solutions`` does not accept; none is not accepted."""
    accepted = pa.array(list(map(folded, quality.solutions)), pa.string())
    return ~each_once(
        batch.column("solution"), lambda words: flags_of(pc.is_in(folded_column(words), value_set=accepted))
    )


class _Limit(Struct, frozen=True):
    """A limit that the job sets, by its key of ``[quality]``: what is limited in words, and (n,) its values.

    ``none`` (n,) are values that stand for none, as -1 does for an age; they are among those that are not known.
    """

    key: str
    what: str
    values: Floats
    most: float
    none: Flags


def _limits(batch: pa.RecordBatch, quality: Quality) -> Iterator[_Limit]:
    """Yield every limit that the job sets; an unknown value (NaN) exceeds nothing.

    No figure of quality is below zero, and no PDOP is zero. A standard uncertainty below zero is no reading, and one of
    zero is told wherever it stands (`placeholders`).
    """
    nothing = np.zeros(batch.num_rows, bool)
    if quality.max_sigma_horizontal is not None:
        east, north, _ = stated_sigmas(batch)
        values = np.fmax(east, north)
        what = "horizontal standard uncertainty (larger of east and north)"
        yield _Limit("max_sigma_horizontal", what, values, quality.max_sigma_horizontal, nothing)
    for key, what, column, most in (
        ("max_sigma_vertical", "vertical standard uncertainty", "sigma_up", quality.max_sigma_vertical),
        ("max_pdop", "PDOP", "pdop", quality.max_pdop),
        ("max_correction_age", "age of corrections", "correction_age", quality.max_correction_age),
    ):
        if most is not None:
            values = column_numbers(batch, column)
            none = (values < 0.0) | ((values == 0.0) & (key == "max_pdop"))
            yield _Limit(key, what, values, most, none)


def unjudged(batch: pa.RecordBatch, quality: Quality) -> dict[str, Flags]:
    """Return by the key of each limit (n,) which readings it cannot judge, as nothing is stated that it limits."""
    return {limit.key: np.isnan(limit.values) for limit in _limits(batch, quality)}


def none_stated(batch: pa.RecordBatch, quality: Quality) -> dict[str, Flags]:
    """Return by the key of each limit (n,) which readings it cannot judge, as what is stated stands for nothing."""
    return {limit.key: limit.none for limit in _limits(batch, quality)}


def poor(batch: pa.RecordBatch, quality: Quality) -> Flags:
    """Return (n,) which readings exceed a limit of ``[quality]``."""
    found = np.zeros(batch.num_rows, bool)
    for limit in _limits(batch, quality):
        found |= limit.values > limit.most
    return found


def absurd(batch: pa.RecordBatch) -> Flags:
    """Return (n,) which readings have a standard uncertainty so large that it stands for one that is not known."""
    found: Flags = np.any([sigma >= _ABSURD for sigma in stated_sigmas(batch)], axis=0)
    return found


def why(batch: pa.RecordBatch, row: int, quality: Quality, reason: Reason) -> str:
    """Return in words why `not_fixed`, `poor` or `absurd` caught one row of a batch."""
    if reason is Reason.IMPLAUSIBLE:
        largest = np.nanmax([sigma[row] for sigma in stated_sigmas(batch)])
        return f"a standard uncertainty of {largest:g} m means that it is not known"
    if reason is Reason.NOT_FIXED:
        found = batch.column("solution")[row].as_py()
        accepted = ", ".join(quality.solutions)
        return f'solution "{found}", accepted: {accepted}' if found else f"no solution stated, accepted: {accepted}"
    return "; ".join(
        f"{limit.what} {limit.values[row]:g} over the limit of {limit.most:g}"
        for limit in _limits(batch, quality)
        if limit.values[row] > limit.most
    )
