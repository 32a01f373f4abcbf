"""The least-squares core and the block inverse, against dense numpy, and what they refuse."""

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.adjust.inverse import BlockInverse, BlockMatrix
from pipeline.adjust.normal import Equations, Factored

Floats = NDArray[np.float64]


def _random_matrix(seed: int, unknowns: int, size: int, pairs: int) -> tuple[BlockMatrix, Floats]:
    """A sparse positive definite matrix in blocks, and the same as one dense array (u, b, u, b)."""
    random = np.random.default_rng(seed)
    ends = np.unique(np.sort(random.integers(0, unknowns, (pairs, 2)), axis=1), axis=0)
    ends = ends[ends[:, 0] != ends[:, 1]]
    dense = np.zeros((unknowns, size, unknowns, size))
    for first, second in ends:
        root = random.normal(size=(size, 2, size))
        for one, end in enumerate((first, second)):
            for other, far in enumerate((first, second)):
                dense[end, :, far, :] += root[:, one].T @ root[:, other]
    own = np.arange(unknowns)
    dense[own, :, own, :] += np.eye(size)
    first, second = ends.T
    return BlockMatrix(dense[own, :, own, :], ends, dense[first, :, second, :]), dense


def _independent(matrix: BlockMatrix, seed: int) -> NDArray[np.bool_]:
    """Some unknowns no two of which meet, chosen at random one after the other."""
    chosen = np.zeros(len(matrix.diagonal), dtype=bool)
    for node in np.random.default_rng(seed).permutation(len(chosen)):
        touching = matrix.pairs[(matrix.pairs == node).any(axis=1)]
        chosen[node] = not chosen[touching].any()
    return chosen


@pytest.mark.parametrize("unknowns", [1, 7, 40, 300])
@pytest.mark.parametrize("size", [1, 3])
@pytest.mark.parametrize("eliminate", [False, True])
def test_block_inverse(unknowns: int, size: int, eliminate: bool) -> None:
    """Every block asked for, and the product with a vector, equal those of numpy's inverse of the whole matrix."""
    matrix, dense = _random_matrix(unknowns, unknowns, size, unknowns)
    for array in (matrix.diagonal, matrix.pairs, matrix.blocks):
        array.setflags(write=False)
    chosen = _independent(matrix, 1) if eliminate else np.zeros(unknowns, dtype=bool)
    inverse = BlockInverse(matrix, chosen)
    expected = np.linalg.inv(dense.reshape(unknowns * size, -1)).reshape(dense.shape)
    diagonal, beside = inverse.blocks()
    own, (first, second) = np.arange(unknowns), matrix.pairs.T
    np.testing.assert_allclose(diagonal, expected[own, :, own, :], rtol=0, atol=1e-11)
    np.testing.assert_allclose(beside, expected[first, :, second, :], rtol=0, atol=1e-11)
    vector = np.random.default_rng(2).normal(size=(unknowns, size))
    product = np.einsum("iajb,jb->ia", expected, vector)
    np.testing.assert_allclose(inverse.times(vector), product, rtol=0, atol=1e-10)


def test_eliminated_unknowns_must_not_meet() -> None:
    """Eliminating two unknowns that meet would be wrong, so it is refused."""
    matrix = BlockMatrix(np.full((2, 1, 1), 2.0), np.array([[0, 1]]), np.ones((1, 1, 1)))
    with pytest.raises(ValueError, match="occur in one observation"):
        BlockInverse(matrix, np.array([True, True]))


@pytest.mark.parametrize("seed", range(4))
def test_solve_against_dense_numpy(seed: int) -> None:
    """Observations of 2 components on up to 3 of 8 unknowns of 2 components, with correlated weights."""
    random = np.random.default_rng(seed)
    unknown = np.array([random.permutation(8)[:3] for _ in range(40)])
    unknown[random.random(unknown.shape) < 0.2] = -1
    design, observed = random.normal(size=(40, 3, 2, 2)), random.normal(size=(40, 2))
    root = random.normal(size=(40, 2, 2))
    weight = root @ root.transpose(0, 2, 1) + 0.1 * np.eye(2)
    for array in (unknown, design, observed, weight):
        array.setflags(write=False)
    solution = Factored(Equations(unknown, design, observed, weight), 8).solution()
    whole, heavy = np.zeros((80, 16)), np.zeros((80, 80))
    for row in range(40):
        heavy[2 * row : 2 * row + 2, 2 * row : 2 * row + 2] = weight[row]
        for slot in np.flatnonzero(unknown[row] >= 0):
            place = 2 * unknown[row, slot]
            whole[2 * row : 2 * row + 2, place : place + 2] = design[row, slot]
    inverse = np.linalg.inv(whole.T @ heavy @ whole)
    expected = inverse @ whole.T @ heavy @ observed.ravel()
    np.testing.assert_allclose(solution.parameters.ravel(), expected, rtol=0, atol=1e-11)
    own, rows = np.arange(8), np.arange(40)
    np.testing.assert_allclose(solution.covariance, inverse.reshape(8, 2, 8, 2)[own, :, own, :], rtol=0, atol=1e-12)
    fitted = (whole @ inverse @ whole.T).reshape(40, 2, 40, 2)[rows, :, rows, :]
    np.testing.assert_allclose(solution.fitted, fitted, rtol=0, atol=1e-12)
    residuals = whole @ expected - observed.ravel()
    np.testing.assert_allclose(solution.residuals.ravel(), residuals, rtol=0, atol=1e-11)
    assert solution.square_sum == pytest.approx(residuals @ heavy @ residuals, rel=1e-12)


def _heights(unknown: list[list[int]]) -> Equations:
    ends = np.array(unknown)
    design = np.tile(np.array([1.0, -1.0])[:, None, None], (len(ends), 1, 1, 1))
    return Equations(ends, design, np.zeros((len(ends), 1)), np.ones((len(ends), 1, 1)))


def test_an_unknown_without_observation_is_named() -> None:
    """The error says which unknown nothing determines."""
    with pytest.raises(ValueError, match="unknown 2"):
        Factored(_heights([[0, -1], [0, 1]]), 3).solution()


def test_differences_alone_determine_no_height() -> None:
    """Height differences without a fixed height: the matrix is singular and is refused, not solved somehow."""
    with pytest.raises(np.linalg.LinAlgError):
        Factored(_heights([[0, 1], [1, 2], [2, 0]]), 3).solution()


def test_an_observation_touches_an_unknown_once() -> None:
    """The same unknown in two slots is refused, as its blocks would be added in the wrong place."""
    with pytest.raises(ValueError, match="observation 1"):
        Factored(_heights([[0, -1], [0, 0]]), 1).solution()
