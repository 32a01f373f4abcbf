"""What a reading of blunders looks at, as arrays; variances are sums of squares by hand."""

from types import SimpleNamespace

import numpy as np
from few_occupations import TOLERANCE, Occupied, Plain, matrix_of, solved

from pipeline.blunders.scope import Case, evidence_of, scope_of
from pipeline.words import Role

MARKS = {"A": (1000.0, 2000.0, 10.0), "B": (1500.0, 2500.0, 20.0), "C": (0.0, 0.0, 0.0)}
TIE, CHECK = Role.TIE, Role.CHECK
LIMIT = SimpleNamespace(limit_horizontal=3.0, limit_vertical=10.0)


def case_of(*occupied: Occupied) -> Case:
    """A case whose sessions, of no set-up, are shifted by (1.5, 0, -2) each."""
    count = max(one.session for one in occupied) + 1
    job = SimpleNamespace(shift=LIMIT, quality=SimpleNamespace(centring=0.02))
    window = SimpleNamespace(session=SimpleNamespace(setup=None))
    survey = SimpleNamespace(
        job=job, windows=[window] * count, operations=SimpleNamespace(frames=SimpleNamespace(to_issued=Plain()))
    )
    case = Case(survey, solved(MARKS, list(occupied)))
    case.__dict__["local"] = np.tile([1.5, 0.0, -2.0], (count, 1))
    case.__dict__["rotation"] = lambda session: np.eye(3)
    return case


def test_a_shift_at_its_limit_counts_as_a_difference_at_its_tolerance() -> None:
    case = case_of(Occupied(0, "A", TIE))
    assert case.tolerance == TOLERANCE
    np.testing.assert_allclose(case.scale * [3.0, 3.0, 10.0], [0.03, 0.03, 0.05], rtol=0, atol=1e-15)


def test_what_two_occupations_have_in_common_is_their_mark_or_being_checks_of_one_session() -> None:
    """Sigma 0.01 and centring 0.02 of each, 0.005 of a mark, 0.02 of a shift; a temporary mark is known to nobody."""
    case = case_of(
        Occupied(0, "A", TIE), Occupied(0, "A", CHECK, (0.1, 0.2, 0.3)),
        Occupied(0, "B", CHECK), Occupied(1, "B", CHECK),
    )  # fmt: skip
    found = evidence_of(case, np.arange(4), (0,), np.eye(3))
    own, mark, shift = 0.01**2 + 0.02**2, 0.005**2, 0.02**2
    east = [
        [own + mark, mark, 0.0, 0.0],
        [mark, own + mark + shift, shift, 0.0],
        [0.0, shift, own + mark + shift, mark],
        [0.0, 0.0, mark, own + mark + shift],
    ]
    whitener, _ = found.white()
    covariance = np.array([np.linalg.inv(white.T @ white) for white in matrix_of(whitener, 5)])
    np.testing.assert_allclose(covariance[0, :4, :4], east, rtol=0, atol=1e-15)
    up = np.array(east) - np.eye(4) * 0.02**2  # nobody centres in height
    np.testing.assert_allclose(covariance[2, :4, :4], up, rtol=0, atol=1e-15)
    # the shift's row: three sigmas are the tolerance, and nothing is common to it and the occupations
    np.testing.assert_allclose(covariance[:, 4, 4], [0.01**2, 0.01**2, (0.05 / 3) ** 2], rtol=0, atol=1e-15)
    np.testing.assert_allclose(covariance[:, 4, :4], 0.0, rtol=0, atol=1e-15)
    np.testing.assert_allclose(found.difference[1], [0.1, 0.2, 0.3], rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.difference[4], [0.015, 0.0, -0.01], rtol=0, atol=1e-12)
    assert found.known.all()


def test_the_marks_in_question_are_followed_into_other_sessions() -> None:
    case = case_of(
        Occupied(0, "A", TIE), Occupied(0, "B", CHECK),
        Occupied(1, "A", CHECK), Occupied(1, "C", TIE), Occupied(1, "T", TIE),
    )  # fmt: skip
    scope = scope_of(case, (0,), np.array([1]), np.zeros(0, np.int64))
    assert scope is not None
    assert scope.marks == ("B", "A")
    assert [own.tolist() for own in scope.own] == [[0, 1]]
    assert scope.influence.rows.tolist() == [0, 1, 2]
    hidden = scope_of(case, (0,), np.array([1]), np.array([2]))
    assert hidden is not None and hidden.influence.rows.tolist() == [0, 1]


def test_there_is_nothing_to_look_at_where_temporary_marks_alone_tie() -> None:
    case = case_of(Occupied(0, "A", TIE), Occupied(1, "T", TIE))
    assert case.own(1).tolist() == []
    assert scope_of(case, (1,), np.zeros(0, np.int64), np.zeros(0, np.int64)) is None
