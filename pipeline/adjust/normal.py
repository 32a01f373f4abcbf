"""Weighted least squares over blocks of unknowns, with the covariances that the tests on the residuals need.

Observation i reads: sum over its slots k of ``design[i, k] @ x[unknown[i, k]] = observed[i] + v[i]``, weight matrix
``weight[i]``. The estimate makes the sum of v' P v smallest; with A the whole design and N = A' P A it is
x = N^-1 A' P l, its covariance N^-1 (for weights that are inverse covariances; a priori, so not scaled by what the
residuals say). Source of the formulas: any text on adjustment by observation equations (Gauss-Markov model).

The columns are scaled to unit diagonal of N, and the estimate is refined once by the residuals it leaves. Neither
replaces centring: subtract approximate values first, so that the numbers are small. (NIST's Longley problem comes out
to 12 digits as it stands and to 15 with centred columns; without scaling and refinement it is 7 as it stands.)
"""

import numpy as np
from msgspec import Struct

from pipeline.adjust.inverse import BlockInverse, BlockMatrix
from pipeline.arrays import Flags, Floats, Integers


class Equations(Struct, frozen=True):
    """``n`` observations of ``m`` components, each of which touches up to ``k`` unknowns of ``b`` components.

    ``unknown`` (n, k): indices, -1 where a slot is not used, no unknown twice in one observation; ``design``
    (n, k, m, b); ``observed`` (n, m); ``weight`` (n, m, m): inverse covariances, zero rows and columns for components
    that are not observed.
    """

    unknown: Integers
    design: Floats
    observed: Floats
    weight: Floats


class Solution(Struct, frozen=True):
    """What an adjustment of ``u`` unknowns gives.

    ``parameters`` (u, b) and their ``covariance`` (u, b, b); ``residuals`` (n, m), adjusted minus observed;
    ``fitted`` (n, m, m), the covariance A N^-1 A' of each observation's adjusted value; ``between`` (n, b, b), that of
    the parameters in its first two slots, zero where it touches one only; ``square_sum``, v' P v.
    """

    parameters: Floats
    covariance: Floats
    residuals: Floats
    fitted: Floats
    between: Floats
    square_sum: float


class _Meetings(Struct, frozen=True):
    """Where two unknowns meet in an observation: its row, the slots of the lower and the higher, and their pair."""

    row: Integers
    lower: Integers
    upper: Integers
    pair: Integers
    pairs: Integers  # (e, 2), every two unknowns that meet, once


class Factored:
    """The normal equations of some observations, inverted once: their solution, and questions about single ones."""

    def __init__(self, equations: Equations, unknowns: int, eliminated: Flags | None = None) -> None:
        """Form and invert the normal matrix of ``equations`` for ``unknowns`` blocks of unknowns.

        ``eliminated`` (unknowns,) marks those to eliminate first, no two of which may meet in one observation; without
        it one dense matrix per connected part is inverted. Units are the caller's. Raises `ValueError` for an unknown
        that no observation touches or an observation that touches one twice, `numpy.linalg.LinAlgError` if the
        observations do not determine every unknown.
        """
        self._meetings = _meetings(equations.unknown, unknowns)
        self._scaled, self._scale, matrix = _normal(equations, self._meetings, unknowns)
        self._inverse = BlockInverse(matrix, np.zeros(unknowns, bool) if eliminated is None else eliminated)

    def solution(self) -> Solution:
        """Return what the adjustment gives."""
        scaled, scale, inverse = self._scaled, self._scale, self._inverse
        parameters = inverse.times(_right_side(scaled, scaled.observed, len(scale)))
        left = scaled.observed - _adjusted(scaled, parameters)
        parameters = parameters + inverse.times(_right_side(scaled, left, len(scale)))
        residuals = _adjusted(scaled, parameters) - scaled.observed
        diagonal, beside = inverse.blocks()
        return Solution(
            parameters=scale * parameters,
            covariance=scale[:, :, None] * diagonal * scale[:, None, :],
            residuals=residuals,
            fitted=_fitted(scaled, self._meetings, diagonal, beside),
            between=_between(scaled.unknown, self._meetings, beside, scale),
            square_sum=float(np.einsum("ni,nij,nj->", residuals, scaled.weight, residuals)),
        )

    def change(self, row: int, observed: Floats) -> Floats:
        """Return (u, b) by how much the parameters change if observation ``row`` is (m,) larger: N^-1 A' P dl."""
        right = np.zeros_like(self._scale)
        used = self._scaled.unknown[row] >= 0
        weighted = self._scaled.weight[row] @ observed
        right[self._scaled.unknown[row, used]] = self._scaled.design[row, used].transpose(0, 2, 1) @ weighted
        return np.asarray(self._scale * self._inverse.times(right))

    def gain(self, unknown: int) -> Floats:
        """Return (n, b, m) by how much one unknown grows with each observation: its rows of N^-1 A' P."""
        columns = self.covariance(unknown) / self._scale[:, :, None]  # the design is that of the scaled unknowns
        used = (self._scaled.unknown >= 0)[:, :, None, None]
        design = np.where(used, self._scaled.design, 0.0)
        of_rows = columns[self._scaled.unknown]
        return np.asarray(np.einsum("nkbc,nkmb,nml->ncl", of_rows, design, self._scaled.weight, optimize=True))

    def covariance(self, unknown: int) -> Floats:
        """Return (u, b, b) the covariance of every unknown with one of them: its columns of N^-1."""
        columns = []
        for axis in range(self._scale.shape[1]):
            right = np.zeros_like(self._scale)
            right[unknown, axis] = self._scale[unknown, axis]
            columns.append(self._scale * self._inverse.times(right))
        return np.stack(columns, axis=2)


def _meetings(unknown: Integers, unknowns: int) -> _Meetings:
    """List every meeting of two unknowns in one observation."""
    slots = unknown.shape[1]
    found = []
    for first in range(slots):
        for second in range(first + 1, slots):
            row = np.flatnonzero((unknown[:, first] >= 0) & (unknown[:, second] >= 0))
            swap = unknown[row, first] > unknown[row, second]
            found.append((row, np.where(swap, second, first), np.where(swap, first, second)))
    row, lower, upper = (
        np.concatenate([np.empty(0, dtype=np.int64), *(part[index] for part in found)]) for index in range(3)
    )
    low, high = unknown[row, lower], unknown[row, upper]
    if np.any(low == high):
        raise ValueError(f"observation {row[low == high][0]} touches an unknown twice")
    keys, pair = np.unique(low * unknowns + high, return_inverse=True)
    return _Meetings(row, lower, upper, pair, np.column_stack(np.divmod(keys, max(unknowns, 1))))


def _normal(equations: Equations, meetings: _Meetings, unknowns: int) -> tuple[Equations, Floats, BlockMatrix]:
    """Form the normal matrix; return the scaled equations, the scale (u, b) of the unknowns, and the matrix."""
    size = equations.design.shape[3]
    row, slot = np.nonzero(equations.unknown >= 0)
    unknown, design, weight = equations.unknown[row, slot], equations.design[row, slot], equations.weight[row]
    square = np.zeros((unknowns, size))
    np.add.at(square, unknown, np.einsum("rij,rik,rkj->rj", design, weight, design))
    if np.any(~(square > 0)):
        raise ValueError(f"no observation determines unknown {np.argwhere(~(square > 0))[0, 0]}")
    scale = 1.0 / np.sqrt(square)
    scaled = equations.design.copy()
    scaled[row, slot] = design * scale[unknown][:, None, :]
    diagonal = np.zeros((unknowns, size, size))
    np.add.at(diagonal, unknown, scaled[row, slot].transpose(0, 2, 1) @ weight @ scaled[row, slot])
    blocks = np.zeros((len(meetings.pairs), size, size))
    lower, upper = scaled[meetings.row, meetings.lower], scaled[meetings.row, meetings.upper]
    np.add.at(blocks, meetings.pair, lower.transpose(0, 2, 1) @ equations.weight[meetings.row] @ upper)
    matrix = BlockMatrix(diagonal, meetings.pairs, blocks)
    return Equations(equations.unknown, scaled, equations.observed, equations.weight), scale, matrix


def _right_side(equations: Equations, observed: Floats, unknowns: int) -> Floats:
    """A' P l, by unknown (u, b)."""
    row, slot = np.nonzero(equations.unknown >= 0)
    weighted = (equations.weight @ observed[:, :, None])[row]
    total = np.zeros((unknowns, equations.design.shape[3]))
    np.add.at(total, equations.unknown[row, slot], (equations.design[row, slot].transpose(0, 2, 1) @ weighted)[..., 0])
    return total


def _adjusted(equations: Equations, parameters: Floats) -> Floats:
    """A x, by observation (n, m)."""
    used = np.where(equations.unknown[:, :, None] >= 0, parameters[equations.unknown], 0.0)
    adjusted: Floats = np.einsum("nkij,nkj->ni", equations.design, used)
    return adjusted


def _fitted(equations: Equations, meetings: _Meetings, diagonal: Floats, beside: Floats) -> Floats:
    """A N^-1 A' of each observation (n, m, m), from the blocks of the inverse at the unknowns that it touches."""
    row, slot = np.nonzero(equations.unknown >= 0)
    design = equations.design[row, slot]
    fitted = np.zeros_like(equations.weight)
    np.add.at(fitted, row, design @ diagonal[equations.unknown[row, slot]] @ design.transpose(0, 2, 1))
    lower = equations.design[meetings.row, meetings.lower]
    upper = equations.design[meetings.row, meetings.upper]
    crossed = lower @ beside[meetings.pair] @ upper.transpose(0, 2, 1)
    np.add.at(fitted, meetings.row, crossed + crossed.transpose(0, 2, 1))
    return fitted


def _between(unknown: Integers, meetings: _Meetings, beside: Floats, scale: Floats) -> Floats:
    """The covariance (n, b, b) of the parameters in each observation's first two slots, zero where one is empty."""
    size = scale.shape[1]
    between = np.zeros((len(unknown), size, size))
    first_two = (meetings.lower < 2) & (meetings.upper < 2)
    row, turned = meetings.row[first_two], meetings.lower[first_two] == 1
    blocks = beside[meetings.pair[first_two]]
    blocks = np.where(turned[:, None, None], blocks.transpose(0, 2, 1), blocks)
    between[row] = scale[unknown[row, 0]][:, :, None] * blocks * scale[unknown[row, 1]][:, None, :]
    return between
