"""The inverse of a large sparse matrix of small blocks, as far as an adjustment needs it.

Unknowns that never meet each other in an observation (in a tie network: sessions never meet sessions, nor marks
marks) have no blocks between them, so each is eliminated by inverting its own small block; only the rest, the *kept*
unknowns, form a dense matrix, one per connected part. Of the inverse just the blocks are worked out that lie where
the matrix itself has blocks: every diagonal one, and every one between two unknowns that meet.

With E the eliminated and K the kept unknowns, N = [[E, F], [F', K]], G = E^-1 F and S = K - F' G (the reduced
matrix), the inverse is [[E^-1 + G S^-1 G', -G S^-1], [-S^-1 G', S^-1]]: block inversion by the Schur complement.
"""

from typing import Any

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.groups import group_labels

#: Of so few unknowns nothing is kept sparse, which takes a fifth of a second to load.
FEW = 64
_NOT_POSITIVE = "the normal matrix is not positive definite"
#: Small connected parts are inverted together until they fill a dense matrix of about this many blocks a side.
_TOGETHER = 64
#: Up to this many rows numpy inverts a matrix as quickly.
_SMALL = 192
#: Columns of the reduced matrix formed at once; bounds the memory of the sparse product.
_COLUMNS = 768


class BlockMatrix(Struct, frozen=True):
    """A symmetric positive definite matrix of ``u`` by ``u`` blocks of ``b`` by ``b`` numbers.

    ``diagonal`` is (u, b, b); ``pairs`` (e, 2) lists the blocks beside the diagonal, the lower index first and each
    pair once; ``blocks`` (e, b, b) are those blocks, of row ``pairs[:, 0]`` and column ``pairs[:, 1]``.
    """

    diagonal: Floats
    pairs: Integers
    blocks: Floats


class _Links(Struct, frozen=True):
    """The blocks between an eliminated unknown (row) and a kept one (column), sorted by row."""

    pair: Integers  # which pair of the matrix
    turned: Flags  # the pair names the kept unknown first, so its block is transposed
    row: Integers
    column: Integers
    start: Integers  # links of row r are start[r] to start[r + 1]


class _Part(Struct, frozen=True):
    """Connected parts inverted together: the kept unknowns from ``start`` to ``end``, and their dense inverse."""

    start: int
    end: int
    inverse: Floats


class BlockInverse:
    """The inverse of a `BlockMatrix`, held in factors that multiply a vector and give the blocks asked for."""

    def __init__(self, matrix: BlockMatrix, eliminated: Flags) -> None:
        """Eliminate and invert.

        ``eliminated`` (u,) marks the unknowns to eliminate; no two of them may meet (`ValueError`). Raises
        `numpy.linalg.LinAlgError` if the matrix is not positive definite.
        """
        if eliminated[matrix.pairs].all(axis=1).any():
            raise ValueError("two of the unknowns to be eliminated occur in one observation")
        labels = group_labels(matrix.pairs[:, 0], matrix.pairs[:, 1], len(matrix.diagonal))
        kept = np.flatnonzero(~eliminated)
        self._matrix = matrix
        self._gone: Integers = np.flatnonzero(eliminated)
        self._kept: Integers = kept[np.argsort(labels[kept], kind="stable")]
        self._place: Integers = np.empty(len(eliminated), dtype=np.int64)  # of an unknown among its own kind
        self._place[self._gone] = np.arange(len(self._gone))
        self._place[self._kept] = np.arange(len(self._kept))
        self._own: Floats = np.asarray(np.linalg.inv(matrix.diagonal[self._gone]), dtype=np.float64)
        self._links = _links(matrix.pairs, eliminated, self._place)
        self._gain: Floats = self._own[self._links.row] @ self._meeting()
        self._f, self._g = self._joint(self._meeting()), self._joint(self._gain)
        self._both_kept: Integers = np.flatnonzero(~eliminated[matrix.pairs].any(axis=1))
        self._parts = [self._invert(start, end) for start, end in _spans(labels[self._kept])]

    def _meeting(self) -> Floats:
        return _turn(self._matrix.blocks[self._links.pair], self._links.turned)

    def _joint(self, blocks: Floats) -> Any:
        """Blocks at the links as one matrix, eliminated by kept: sparse, unless the unknowns are few."""
        size = self._matrix.diagonal.shape[1]
        shape = (len(self._gone) * size, len(self._kept) * size)
        if len(self._gone) == 0 or len(self._matrix.diagonal) <= FEW:
            dense = np.zeros((len(self._gone), size, len(self._kept), size))
            dense[self._links.row, :, self._links.column, :] = blocks
            return dense.reshape(shape)
        from scipy.sparse import bsr_array, csc_array  # a fifth of a second that few unknowns need not wait for

        if len(blocks) == 0:
            return csc_array(shape)
        return bsr_array((blocks, self._links.column, self._links.start), shape=shape).tocsc()

    def _invert(self, start: int, end: int) -> _Part:
        """Form the reduced matrix of the kept unknowns from ``start`` to ``end`` and invert it."""
        size = self._matrix.diagonal.shape[1]
        reduced = np.zeros(((end - start) * size,) * 2, order="F")
        for first, second, blocks in self._kept_blocks(start, end):
            _four(reduced, size)[first, :, second, :] = blocks
        span = slice(start * size, end * size)
        if isinstance(self._f, np.ndarray):
            reduced -= self._f[:, span].T @ self._g[:, span]
            return _Part(start, end, _inverse_of(reduced))
        transposed, gain = self._f[:, span].T.tocsr(), self._g[:, span]
        for column in range(0, reduced.shape[1], _COLUMNS):
            columns = slice(column, column + _COLUMNS)
            reduced[:, columns] -= (transposed @ gain[:, columns]).toarray()
        return _Part(start, end, _inverse_of(reduced))

    def _kept_blocks(self, start: int, end: int) -> list[tuple[Integers, Integers, Floats]]:
        """Rows, columns and blocks of the matrix among the kept unknowns of one part, counted within the part."""
        own = np.arange(end - start)
        first, second, chosen = self._kept_pairs(start, end)
        blocks = self._matrix.blocks[chosen]
        return [
            (own, own, self._matrix.diagonal[self._kept[start:end]]),
            (first, second, blocks),
            (second, first, blocks.transpose(0, 2, 1)),
        ]

    def _kept_pairs(self, start: int, end: int) -> tuple[Integers, Integers, Integers]:
        """Row and column within the part, and the pair's number, of every pair of kept unknowns in a part."""
        first, second = self._place[self._matrix.pairs[self._both_kept]].T
        inside = (first >= start) & (first < end)  # a pair lies within one connected part
        return first[inside] - start, second[inside] - start, self._both_kept[inside]

    def times(self, vector: Floats) -> Floats:
        """Return the inverse times ``vector`` (u, b), again (u, b)."""
        size = vector.shape[1]
        own = (self._own @ vector[self._gone, :, None])[..., 0]
        right = vector[self._kept].ravel() - self._f.T @ own.ravel()
        kept = np.empty_like(right)
        for part in self._parts:
            span = slice(part.start * size, part.end * size)
            # for an error in one observation nearly all of the right side is zero, and the product a few columns' work
            filled = np.flatnonzero(right[span])
            few = len(filled) * 4 < len(right[span])
            kept[span] = part.inverse[:, filled] @ right[span][filled] if few else part.inverse @ right[span]
        product = np.empty_like(vector)
        product[self._kept] = kept.reshape(-1, size)
        product[self._gone] = own - (self._g @ kept).reshape(-1, size)
        return product

    def blocks(self) -> tuple[Floats, Floats]:
        """Return the inverse's diagonal blocks (u, b, b) and its blocks at the matrix's pairs (e, b, b)."""
        diagonal, beside = np.empty_like(self._matrix.diagonal), np.empty_like(self._matrix.blocks)
        diagonal[self._gone] = self._own  # of an unknown that meets no other; the rest are filled below
        for part in self._parts:
            inverse = _four(part.inverse, diagonal.shape[1])
            own = np.arange(part.end - part.start)
            diagonal[self._kept[part.start : part.end]] = inverse[own, :, own, :]
            first, second, pairs = self._kept_pairs(part.start, part.end)
            beside[pairs] = inverse[first, :, second, :]
        for row, part in zip(*self._linked_rows(), strict=True):
            links = slice(self._links.start[row], self._links.start[row + 1])
            own_block, linked = self._back_substitute(links, part)
            diagonal[self._gone[row]] += own_block
            beside[self._links.pair[links]] = _turn(linked, self._links.turned[links])
        return diagonal, beside

    def _linked_rows(self) -> tuple[Integers, list[_Part]]:
        """The eliminated unknowns that meet a kept one, each with the part that it belongs to."""
        rows = np.flatnonzero(np.diff(self._links.start))
        starts = np.array([part.start for part in self._parts], dtype=np.int64)
        found = np.searchsorted(starts, self._links.column[self._links.start[rows]], side="right") - 1
        return rows, [self._parts[index] for index in found]

    def _back_substitute(self, links: slice, part: _Part) -> tuple[Floats, Floats]:
        """G S^-1 G' of one eliminated unknown (b, b), and its blocks -G S^-1 with its neighbours (k, b, b)."""
        size = self._matrix.diagonal.shape[1]
        columns = self._links.column[links] - part.start
        places = (columns[:, None] * size + np.arange(size)).ravel()
        gain = self._gain[links].transpose(1, 0, 2).reshape(size, -1)
        product = gain @ part.inverse[np.ix_(places, places)]
        return product @ gain.T, -product.reshape(size, -1, size).transpose(1, 0, 2)


def _links(pairs: Integers, eliminated: Flags, place: Integers) -> _Links:
    """Find the pairs of one eliminated and one kept unknown; sort them by the eliminated one."""
    pair = np.flatnonzero(eliminated[pairs].any(axis=1))
    turned = eliminated[pairs[pair, 1]]
    row, column = (place[np.where(turned, *ends)] for ends in (pairs[pair, ::-1].T, pairs[pair].T))
    order = np.argsort(row, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=int(eliminated.sum())))])
    return _Links(pair[order], turned[order], row[order], column[order], start)


def _spans(labels: Integers) -> list[tuple[int, int]]:
    """Cut the sorted ``labels`` into spans of whole parts, small ones together."""
    ends = np.flatnonzero(np.diff(labels, append=-1)) + 1
    spans, start = [], 0
    for end in ends.tolist():
        if end - start >= _TOGETHER or end == len(labels):
            spans.append((start, end))
            start = end
    return spans


def _inverse_of(matrix: Floats) -> Floats:
    """Invert a symmetric positive definite matrix; a large one in its own memory (LAPACK potrf and potri)."""
    if len(matrix) <= _SMALL:
        try:
            half = np.linalg.inv(np.linalg.cholesky(matrix))
        except np.linalg.LinAlgError as error:
            raise np.linalg.LinAlgError(_NOT_POSITIVE) from error
        return half.T @ half
    from scipy.linalg.lapack import dpotrf, dpotri

    factor, info = dpotrf(matrix, lower=1, overwrite_a=1)
    if info != 0:
        raise np.linalg.LinAlgError(_NOT_POSITIVE)
    inverse, _ = dpotri(factor, lower=1, overwrite_c=1)
    for column in range(0, len(inverse), _COLUMNS):  # potri fills the lower triangle only
        stop = column + _COLUMNS
        inverse[column:stop, stop:] = inverse[stop:, column:stop].T
        corner = np.tril(inverse[column:stop, column:stop])
        inverse[column:stop, column:stop] = corner + np.tril(corner, -1).T
    symmetric: Floats = inverse
    return symmetric


def _four(matrix: Floats, size: int) -> Floats:
    """View a square matrix as (blocks, size, blocks, size); splitting axes never copies, so it may be written to."""
    count = len(matrix) // size
    return matrix.reshape(count, size, count, size)


def _turn(blocks: Floats, turned: Flags) -> Floats:
    """Transpose the blocks that are marked."""
    return np.where(turned[:, None, None], blocks.transpose(0, 2, 1), blocks)
