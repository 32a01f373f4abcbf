"""Readings that repeat another digit for digit: name, time, position and base all alike."""

from collections.abc import Iterable, Iterator
from hashlib import blake2b
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.tables import each_once

Hashes = NDArray[np.uint64]

#: Bytes of a text from which on it is hashed by itself.
_LONG = 1024
_PRIME = np.uint64(0x9E3779B97F4A7C15)
_ALL = np.uint64(2**64 - 1)
#: Hashes that are sorted at a time, or up to twice as many.
_AT_ONCE = 1 << 20
_NONE = np.zeros(0, np.uint64)


def mixed(values: Hashes) -> Hashes:
    """Spread every bit over all bits (the finaliser of the public-domain SplitMix64 generator)."""
    values = (values ^ (values >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    values = (values ^ (values >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return values ^ (values >> np.uint64(31))


def text_hashes(column: pa.Array) -> Hashes:
    """Hash each string, eight bytes after eight; null is like the empty string."""
    column = column.cast(pa.large_string())
    offsets = np.frombuffer(column.buffers()[1], np.int64)[column.offset : column.offset + len(column) + 1]
    first, last = int(offsets[0]), int(offsets[-1])
    content = np.zeros(last - first + 8, np.uint8)  # so that the last string has eight bytes from any of its own
    if last > first:
        content[:-8] = np.frombuffer(column.buffers()[2], np.uint8, last)[first:]
    eights = np.ndarray(len(content) - 7, np.dtype("<u8"), content.data, strides=(1,))
    at, left = offsets[:-1] - first, np.diff(offsets)
    found = mixed(left.astype(np.uint64))
    for row in np.flatnonzero(left > _LONG).tolist():
        text = content[at[row] : at[row] + left[row]].tobytes()
        found[row] = int.from_bytes(blake2b(text, digest_size=8).digest(), "little")
    rows = np.flatnonzero((left > 0) & (left <= _LONG))
    at, left = at[rows], left[rows]
    while len(rows):
        word = eights[at] & (_ALL >> (8 * (8 - np.minimum(left, 8))).astype(np.uint64))
        found[rows] = mixed_with(found[rows], word)
        longer = left > 8
        rows, at, left = rows[longer], at[longer] + 8, left[longer] - 8
    return found


def observation_hashes(batch: pa.RecordBatch, names: Hashes | None = None) -> Hashes:
    """Return (n,) 64-bit hashes of name, base, time and raw position of a batch of readings.

    ``names`` (n,) are hashes of the names where those are known already, or where names are told apart otherwise.
    Two different observations share one with a chance of n² / 2^65 in n readings: 3e-6 in ten million.
    """
    found = text_hashes(batch.column("name")) if names is None else names
    found = mixed_with(found, each_once(batch.column("base"), text_hashes))
    found = mixed_with(found, np.asarray(batch.column("time").cast(pa.int64()).fill_null(-1)).astype(np.int64))
    for name in ("first", "second", "third"):
        values = np.ascontiguousarray(batch.column(name).to_numpy(zero_copy_only=False), np.float64)
        found = mixed_with(found, values)
    return found


def mixed_with(hashes: Hashes, values: Integers | NDArray[np.uint64] | Floats) -> Hashes:
    """Return (n,) hashes that also depend on the bits of (n,) values of eight bytes."""
    return mixed(hashes * _PRIME + values.view(np.uint64))


def place_hashes(name: NDArray[np.uint32], *position: NDArray[np.floating[Any]]) -> Hashes:
    """Return (n,) hashes of name and position of readings, whenever they were observed."""
    found = mixed_with(name.astype(np.uint64), np.zeros(len(name), np.uint64))
    for values in position:
        found = mixed_with(found, values.astype(np.float64))
    return found


def repeated(hashes: Iterable[Hashes], whole: Flags) -> tuple[Integers, Integers]:
    """Find the readings that repeat an earlier one.

    Args:
        hashes: (n,) from `observation_hashes` in pieces, in the order of reading; gone through several times.
        whole: (n,) which readings could be read in full; the others repeat nothing.

    Returns:
        (k,) the repeating readings' numbers, ascending, and (k,) the number of the first reading that each repeats.
    """
    several = occurring_again(hashes, whole)
    numbers, found = having(several, hashes, whole)
    _, first, place = np.unique(found, return_index=True, return_inverse=True)
    first = numbers[first[place]]
    again = first != numbers
    return numbers[again], first[again]


def occurring_again(hashes: Iterable[Hashes], which: Flags) -> Hashes:
    """Return the hashes, ascending, that several of ``which`` (n,) rows have.

    They are sorted by turns, those alike in their first bits at a time, so that few are held at once.
    """
    # sorting the bare numbers is several times as fast as finding their order, and mostly nothing repeats
    bits = max(len(which) // _AT_ONCE, 1).bit_length() - 1
    several = []
    for turn in range(1 << bits):
        ordered = np.concatenate([_NONE, *_of_turn(hashes, which, bits, turn)])
        ordered.sort()
        several.append(np.unique(ordered[1:][ordered[1:] == ordered[:-1]]))
    return np.concatenate(several)


def having(some: Hashes, hashes: Iterable[Hashes], which: Flags) -> tuple[Integers, Hashes]:
    """Return the numbers (k,), ascending, of those of ``which`` (n,) rows that have ``some`` hash, and (k,) which.

    ``some`` (m,) ascend.
    """
    if not len(some):
        return np.zeros(0, np.int64), _NONE
    numbers, found, start = [np.zeros(0, np.int64)], [_NONE], 0
    for piece in hashes:
        at = np.minimum(np.searchsorted(some, piece), len(some) - 1)
        here = np.flatnonzero(which[start : start + len(piece)] & (some[at] == piece))
        numbers.append(here + start)
        found.append(piece[here])
        start += len(piece)
    return np.concatenate(numbers), np.concatenate(found)


def _of_turn(hashes: Iterable[Hashes], which: Flags, bits: int, turn: int) -> Iterator[Hashes]:
    start = 0
    for piece in hashes:
        here = which[start : start + len(piece)]
        start += len(piece)
        yield piece[here if not bits else here & (piece >> np.uint64(64 - bits) == turn)]
