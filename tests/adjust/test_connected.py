"""What is tied, what would tie the rest, and what is eliminated first; against searches by hand on small networks."""

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.adjust.connected import Ties, best_eliminated, find_ties, missing_ties

ALL, POSITION, HEIGHT = (True, True, True), (True, True, False), (False, False, True)
Row = tuple[int, int, tuple[bool, bool, bool]]


def _ties(rows: list[Row], sessions: int, marks: int) -> Ties:
    session, mark = (np.array([row[index] for row in rows], dtype=np.int64) for index in (0, 1))
    present = np.array([row[2] for row in rows], dtype=bool).reshape(-1, 3)
    for array in (session, mark, present):
        array.setflags(write=False)
    return find_ties(session, mark, present, sessions, marks)


def _random_rows(seed: int, sessions: int, marks: int) -> list[Row]:
    random = np.random.default_rng(seed)
    kinds = [ALL, POSITION, HEIGHT]
    rows = [
        (int(random.integers(sessions)), int(random.integers(marks)), kinds[random.integers(3)])
        for _ in range(int(random.integers(1, sessions + marks)))
    ]
    rows += [(-1, int(random.integers(marks)), kinds[random.integers(3)]) for _ in range(int(random.integers(0, 3)))]
    return rows + [(int(random.integers(sessions)), -1, ALL)] * int(random.integers(0, 2))


def _by_walking(rows: list[Row], component: int, sessions: int, marks: int) -> NDArray[np.bool_]:
    """Spread from what is held along the occupations until nothing more is reached."""
    tied = {(0, session) for session, mark, present in rows if present[component] and mark < 0}
    tied |= {(1, mark) for session, mark, present in rows if present[component] and session < 0}
    for _ in range(sessions + marks):
        for session, mark, present in rows:
            if present[component] and session >= 0 and mark >= 0 and {(0, session), (1, mark)} & tied:
                tied |= {(0, session), (1, mark)}
    return np.array([(0, s) in tied for s in range(sessions)] + [(1, m) in tied for m in range(marks)])


@pytest.mark.parametrize("seed", range(20))
def test_ties_by_walking(seed: int) -> None:
    """Position and height are tied where a walk along the occupations gets to from control or a stated shift."""
    rows = _random_rows(seed, 5, 4)
    ties = _ties(rows, 5, 4)
    np.testing.assert_array_equal(ties.position, _by_walking(rows, 0, 5, 4))
    np.testing.assert_array_equal(ties.height, _by_walking(rows, 2, 5, 4))


def test_a_temporary_mark_chains_sessions() -> None:
    """Control - session 0 - temporary mark - session 1: both sessions are tied; session 2 on its own mark is not."""
    ties = _ties([(-1, 0, ALL), (0, 0, ALL), (0, 1, ALL), (1, 1, ALL), (2, 2, ALL)], 3, 3)
    assert ties.session_position.tolist() == ties.session_height.tolist() == [True, True, False]
    assert ties.mark_position.tolist() == [True, True, False]
    (missing,) = missing_ties(ties)
    assert (missing.sessions, missing.marks, missing.position, missing.height) == ((2,), (2,), True, True)


def test_a_mark_of_position_only_leaves_the_height_untied() -> None:
    """Position control alone: one tie in height is missing, and any session or mark of the group can get it."""
    ties = _ties([(-1, 0, POSITION), (0, 0, ALL), (0, 1, ALL), (1, 1, ALL)], 2, 2)
    assert ties.position.all() and not ties.height.any()
    (missing,) = missing_ties(ties)
    assert (missing.sessions, missing.marks, missing.position, missing.height) == ((0, 1), (0, 1), False, True)


def test_marks_that_hold_nothing_back_are_not_listed() -> None:
    """A temporary mark that no session occupies lacks everything, and nobody is asked to tie it."""
    assert missing_ties(_ties([(-1, 0, ALL), (0, 0, ALL)], 1, 2)) == ()


@pytest.mark.parametrize("seed", range(20))
def test_missing_ties_suffice_and_are_fewest(seed: int) -> None:
    """Making every tie of the list ties all sessions; no shorter list of full ties on sessions or marks does."""
    rows = _random_rows(seed, 4, 3)
    missing = missing_ties(_ties(rows, 4, 3))
    made = list(rows)
    for tie in missing:
        present = (tie.position, tie.position, tie.height)
        made.append((tie.sessions[0], -1, present) if tie.sessions else (-1, tie.marks[0], present))
    after = _ties(made, 4, 3)
    assert after.session_position.all() and after.session_height.all()
    choices: list[Row] = [(s, -1, ALL) for s in range(4)] + [(-1, m, ALL) for m in range(3)]
    for size in range(len(missing)):
        for extra in combinations(choices, size):
            fewer = _ties([*rows, *extra], 4, 3)
            assert not (fewer.session_position.all() and fewer.session_height.all())


@pytest.mark.parametrize("seed", range(20))
def test_eliminated_is_the_largest_set_that_never_meets(seed: int) -> None:
    """No two of the eliminated meet, and no larger set of sessions and marks has that property (by trying all)."""
    random = np.random.default_rng(seed)
    session, mark = random.integers(-1, 4, 9), random.integers(-1, 4, 9)
    chosen = best_eliminated(session, mark, 4, 4)
    meeting = {(int(s), int(m) + 4) for s, m in zip(session, mark, strict=True) if s >= 0 and m >= 0}

    def independent(nodes: set[int]) -> bool:
        return not any(first in nodes and second in nodes for first, second in meeting)

    assert independent(set(np.flatnonzero(chosen).tolist()))
    larger = combinations(range(8), int(chosen.sum()) + 1)
    assert not any(independent(set(nodes)) for nodes in larger)
