"""A session's evidence; expectations by hand."""

import numpy as np
import pytest
from few_occupations import Occupied, solved

from pipeline.solve.compare import checked_sessions, evidence, span
from pipeline.words import Role

TIE, CHECK = Role.TIE, Role.CHECK
#: A2 is A under another name, 0.3 m from it; D stands 3 m above A.
MARKS = {
    "A": (1000.0, 2000.0, 10.0), "A2": (1000.3, 2000.0, 10.0), "B": (1500.0, 2500.0, 20.0), "D": (1000.0, 2000.0, 13.0),
}  # fmt: skip
KNOWN = {name: np.array(at) for name, at in MARKS.items()}
NONE = (None, None)


def independent(
    *occupied: Occupied, over: str | None = None, sole: tuple[str | None, str | None] = NONE, session: int = 0
) -> bool:
    return evidence(solved(MARKS, list(occupied)).occupations, session, over, sole, KNOWN).independent


def test_a_check_on_another_mark_than_the_tie_is_independent() -> None:
    assert independent(Occupied(0, "A", TIE), Occupied(0, "B", CHECK))


@pytest.mark.parametrize(("check", "proves"), [("A", False), ("A2", False), ("D", True), ("B", True)])
def test_a_mark_does_not_prove_itself_under_another_name(check: str, proves: bool) -> None:
    assert independent(Occupied(0, "A", TIE), Occupied(0, check, CHECK)) is proves
    assert independent(Occupied(0, check, CHECK), over="A") is proves
    assert independent(Occupied(0, check, CHECK), sole=("A", "A")) is proves


def test_a_position_that_hangs_on_the_check_itself_is_not_proven_by_the_height() -> None:
    assert not independent(Occupied(0, "B", CHECK), sole=("B", None))
    assert not independent(Occupied(0, "B", CHECK), sole=(None, "B"))


def test_ties_alone_and_checks_of_other_sessions_prove_nothing() -> None:
    assert not independent(Occupied(0, "A", TIE), Occupied(0, "B", TIE))
    assert not independent(Occupied(0, "A", TIE), Occupied(1, "B", CHECK))


def test_evidence_are_the_judged_occupations_of_the_session_in_their_order() -> None:
    """The third is on a temporary mark, which judges nobody; the fourth is 0.2 m off."""
    on_marks = solved(
        MARKS,
        [
            Occupied(0, "A", TIE), Occupied(1, "B", CHECK), Occupied(0, "T", TIE),
            Occupied(0, "B", CHECK, (0.2, 0.0, 0.0)), Occupied(0, "B", CHECK, (0.0, 0.0, 0.04)),
        ],
    ).occupations  # fmt: skip
    found = evidence(on_marks, 0, None, NONE, KNOWN)
    assert found.times.tolist() == [0, 180_000, 240_000]
    assert found.passed.tolist() == [True, False, True]
    assert checked_sessions(on_marks, 3).tolist() == [True, True, False]


def test_a_span_of_no_points_has_no_ends() -> None:
    assert span(np.array([10, 20])) == (10, 20)
    assert span(np.array([10, 10])) == (10, 10)
    assert span(np.array([20, 10])) == (None, None)
