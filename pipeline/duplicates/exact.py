"""Readings that repeat another digit for digit: name, time, position and base all alike."""

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

Hashes = NDArray[np.uint64]

_PRIME = np.uint64(0x9E3779B97F4A7C15)


def mixed(values: Hashes) -> Hashes:
    """Spread every bit over all bits (the finaliser of the public-domain SplitMix64 generator)."""
    values = (values ^ (values >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    values = (values ^ (values >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return values ^ (values >> np.uint64(31))


def text_hashes(column: pa.Array) -> Hashes:
    """Hash each string as a polynomial in an odd number over its bytes; null is like the empty string."""
    column = column.cast(pa.large_string())
    offsets = np.frombuffer(column.buffers()[1], np.int64)[column.offset : column.offset + len(column) + 1]
    data = column.buffers()[2]
    total = int(offsets[-1])
    content = np.frombuffer(data, np.uint8, total) if data is not None and total else np.zeros(0, np.uint8)
    content = content[offsets[0] :].astype(np.uint64) + np.uint64(1)
    lengths = np.diff(offsets)
    within = np.arange(len(content)) - np.repeat(offsets[:-1] - offsets[0], lengths)
    powers = np.cumprod(np.full(int(lengths.max(initial=0)) + 1, _PRIME))
    summed = np.concatenate([np.zeros(1, np.uint64), np.cumsum(content * powers[within])])
    return mixed(np.diff(summed[offsets - offsets[0]]) + lengths.astype(np.uint64))


def observation_hashes(batch: pa.RecordBatch, names: Hashes | None = None) -> Hashes:
    """Return (n,) 64-bit hashes of name, base, time and raw position of a batch of readings.

    ``names`` (n,) are hashes of the names where those are known already, or where names are told apart otherwise.
    Two different observations share one with a chance of n² / 2^65 in n readings: 3e-6 in ten million.
    """
    found = text_hashes(batch.column("name")) if names is None else names
    found = mixed_with(found, text_hashes(batch.column("base")))
    found = mixed_with(found, np.asarray(batch.column("time").cast(pa.int64()).fill_null(-1)).astype(np.int64))
    for name in ("first", "second", "third"):
        values = np.ascontiguousarray(batch.column(name).to_numpy(zero_copy_only=False), np.float64)
        found = mixed_with(found, values)
    return found


def mixed_with(hashes: Hashes, values: NDArray[np.int64] | NDArray[np.uint64] | NDArray[np.float64]) -> Hashes:
    """Return (n,) hashes that also depend on the bits of (n,) values of eight bytes."""
    return mixed(hashes * _PRIME + values.view(np.uint64))


def repeated(hashes: Hashes, whole: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Find the readings that repeat an earlier one.

    Args:
        hashes: (n,) from `observation_hashes`, in the order of reading.
        whole: (n,) which readings could be read in full; the others repeat nothing.

    Returns:
        (k,) the repeating readings' numbers, ascending, and (k,) the number of the first reading that each repeats.
    """
    numbers = np.flatnonzero(whole)
    order = np.argsort(hashes[numbers], kind="stable")
    numbers = numbers[order]
    ordered = hashes[numbers]
    fresh = np.ones(len(ordered), bool)
    fresh[1:] = ordered[1:] != ordered[:-1]
    first = numbers[np.maximum.accumulate(np.where(fresh, np.arange(len(ordered)), 0))]
    again = np.sort(numbers[~fresh])
    by_number = np.argsort(numbers[~fresh])
    return again, first[~fresh][by_number]
